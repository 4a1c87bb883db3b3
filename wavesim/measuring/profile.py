"""What is measured: light along the dispersion, from a plate, a picture or a table."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from wavesim.arrays import Flags, Floats
from wavesim.constants import VISIBLE_HI_M, VISIBLE_LO_M
from wavesim.errors import PlateFileError
from wavesim.text import counted

if TYPE_CHECKING:
    from wavesim.plate import Plate
    from wavesim.scene import Bench, Scene


_FEWEST = 8
_EXPECTED = f"at least {_FEWEST} positions with a value each"
_FAINTEST = 1e-60  # of the brightest sample: its fourth power is still a number
_MIDDLE = 0.5  # of the plate's height that is averaged, where lines are straight enough
_POINTS, _MIDDLE_M = 33, 550e-9  # of a plate and its light, whose blur stands for all
_STRAIGHT = 0.05  # [pixel] bow of a line that averaging rows may smear


@dataclass(frozen=True, eq=False)
class Profile:
    """Light against position, evenly sampled.

    Attributes
    ----------
    x_m : (n,) [m] rising; from the camera's axis where that is known
    value : (n,) linear light, any unit
    noise : standard deviation of one sample's error, in the unit of `value`
    saturated : (n,) where the light is clipped
    slit_image_m : [m] width of the source slit's image, 0 where unknown or a point
    strips : (k, n) the same from each of k bands of a picture's rows, None where there are none
    strip_correlation : of the errors of neighbouring bands, by grain that spans rows
    least : of the brightest line, the smallest bright line that is looked for unless another is
        asked for
    defocus_m : [m] of the plate behind the focus, where it is known
    blurred : what else puts lines out of focus, in words
    turned_rad : [rad] rotation that was found in a picture and taken out
    origin : where the samples came from, in words
    """

    x_m: Floats
    value: Floats
    noise: float
    saturated: Flags
    slit_image_m: float = 0.0
    turned_rad: float = 0.0
    defocus_m: float = 0.0
    blurred: str = ""
    strips: Floats | None = None
    strip_correlation: float = 0.0
    least: float = 1e-4
    origin: str = ""

    @property
    def pixel_m(self) -> float:
        """Distance of two samples [m]."""
        return float(self.x_m[1] - self.x_m[0])


def profile(x_m: Floats, value: Floats, *, slit_image_m: float = 0.0, origin: str = "") -> Profile:
    """A profile of samples that hold no clipped light, with its noise estimated.

    Raises
    ------
    PlateFileError
        Fewer than 8 samples, uneven steps, a sample that is not finite or beyond 1e60.
    """
    x, v = np.asarray(x_m, dtype=np.float64), np.asarray(value, dtype=np.float64)
    if x.size < _FEWEST or x.shape != v.shape:
        raise PlateFileError(
            f"a profile of {x.size} positions and {v.size} values cannot be measured",
            file=origin or None,
            expected=_EXPECTED,
        )
    steps = np.diff(x)
    if not (np.all(np.isfinite(x)) and np.all(np.isfinite(v))):
        raise PlateFileError(
            "holds numbers that are not finite", file=origin or None, expected="finite numbers"
        )
    brightest = float(np.abs(v).max())
    if brightest and not _FAINTEST < brightest < 1 / _FAINTEST:
        raise PlateFileError(
            "holds light outside any plausible range", file=origin or None, value=brightest,
            expected=f"from {_FAINTEST:g} to {1 / _FAINTEST:g}, in any unit",
        )  # fmt: skip
    if steps.min() <= 0 or steps.max() - steps.min() > 1e-3 * steps.mean():
        raise PlateFileError(
            "positions are not evenly spaced",
            file=origin or None,
            expected="increasing positions at equal steps",
        )
    none = np.zeros(x.size, dtype=np.bool_)
    return Profile(x, v, noise_of(v), none, slit_image_m=slit_image_m, origin=origin)


def noise_of(value: Floats) -> float:
    """Standard deviation of the samples' error, from third differences.

    A third difference of independent errors has sqrt(20) times their deviation, and a smooth
    profile leaves nothing; the median shuts out the lines (1.4826 x median of |.| is the
    standard deviation of a Gaussian). Never below 1e-9 of the largest value, rounding's share.
    """
    third = np.abs(np.diff(value, 3))
    scale = float(np.abs(value).max(initial=0.0))
    return max(1.4826 * float(np.median(third)) / math.sqrt(20.0), 1e-9 * scale, 1e-300)


def from_plate(plate: Plate) -> Profile:
    """The profile of an exposed plate: its irradiance, averaged over the rows about the middle.

    Only what a real plate shows is read (irradiance against x), never the spectra that the
    computation keeps beside it. Rows are averaged as far out as lines are straight to 0.05
    pixel there, at most half of the plate's height.
    """
    if plate.x_m.size < _FEWEST:
        raise PlateFileError(f"is only {counted(plate.x_m.size, 'pixel')} wide", expected=_EXPECTED)
    from wavesim.study.ruling import source_angle_rad

    y = np.abs(plate.y_m)
    inside = y <= max(_MIDDLE * float(y.max()), float(y.min()))
    rows = inside & (y <= _straight_m(plate))
    rows |= y <= y.min() * (1 + 1e-9)
    bench = plate.scene.bench
    image = source_angle_rad(plate.scene) * bench.camera_focal_m
    image = math.hypot(image, _out_of_focus_m(plate.scene))
    mean = plate.irradiance[rows].mean(axis=0)
    found = profile(plate.x_m, mean, slit_image_m=image, origin="plate file")
    return replace(found, defocus_m=bench.defocus_m, blurred=_why_blurred(bench))


def _out_of_focus_m(scene: Scene) -> float:
    """Width [m] to which lines are blurred, root mean square over the plate; 0 in focus."""
    from wavesim.geometry import grating_geometry
    from wavesim.scene import Ruled
    from wavesim.study.focus import line_focus

    bench, aperture = scene.bench, scene.aperture
    if bench.far_field or not isinstance(aperture, Ruled):
        return 0.0
    wide = aperture.rulings * (aperture.mean_pitch_m or 0.0)
    if bench.beam is not None:
        wide = min(wide, bench.beam.diameter_m)
    geometry = grating_geometry(scene)
    x = np.linspace(*scene.plate.x_range_m, _POINTS)
    middle = float(geometry.order(float(x.mean()), _MIDDLE_M))
    wavelengths = geometry.wavelength_m(x, round(middle) or math.copysign(1.0, middle or 1.0))
    wavelengths = np.where(
        (wavelengths > VISIBLE_LO_M) & (wavelengths < VISIBLE_HI_M), wavelengths, _MIDDLE_M
    )
    focus = (line_focus(bench, float(p), float(w)) for p, w in zip(x, wavelengths, strict=True))
    beam = wide * math.cos(bench.camera_axis_rad)
    return math.sqrt(sum(f.blur_m(beam) ** 2 for f in focus) / _POINTS)


def _why_blurred(bench: Bench) -> str:
    """What puts lines out of focus besides the plate's distance, in words; "" if nothing does."""
    reasons = {
        "the focus depends on the wavelength": any(
            lens is not None and lens.coloured
            for lens in (bench.collimator_lens, bench.camera_lens)
        ),
        "the plate is turned": bench.plate_turned,
    }
    return " and ".join(reason for reason, holds in reasons.items() if holds)


def _straight_m(plate: Plate) -> float:
    """Height above the middle up to which a line at the plate's end is straight enough [m].

    A line at x is bowed by x y^2 / (2 f^2) on the plate (sin beta = const. is a cone), and by as
    much again through the source slit. Through a turned slit its positions on both sides of the
    middle cancel in the mean, which is taken as far as they spread by a pixel.
    """
    focal = plate.scene.bench.camera_focal_m
    sine = abs(math.sin(plate.scene.bench.camera_axis_rad)) + abs(
        math.sin(plate.scene.bench.alpha_rad)
    )
    lever = float(np.abs(plate.x_m).max()) / focal + sine
    pixel = float(plate.x_m[1] - plate.x_m[0])
    slit = plate.scene.source.slit
    lean = 0.0 if slit is None else abs(math.tan(slit.turn_rad))
    bowed = math.sqrt(2 * focal * _STRAIGHT * pixel / max(lever, 1e-12))
    return min(bowed, pixel / 2 / max(lean, 1e-12))
