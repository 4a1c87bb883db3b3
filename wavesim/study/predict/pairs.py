"""Which pairs of the source's lines each order separates, and the source slit that just does.

A line on the plate is its diffraction pattern (sinc^2, or Gaussian in a Gaussian beam), averaged
over the source slit's image and the pixel. Two equal lines count as resolved where the intensity
midway is at most 8 / pi^2 of the peaks', as for two sinc^2 that stand peak on first zero
(Rayleigh's criterion; Born & Wolf 7.6.3).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from wavesim.arrays import Floats
from wavesim.scene import Grating, Lamp, Scene
from wavesim.study.formulas import RAYLEIGH_DIP, SINC_FWHM
from wavesim.study.predict.orders import Order
from wavesim.study.roots import falling_root
from wavesim.study.ruling import Ruling

_PIXEL_POINTS = 8
_PEAKS = 201  # positions searched for the peaks of the blend


@dataclass(frozen=True)
class Pair:
    """Two neighbouring lines of the source in one order.

    Attributes
    ----------
    order : m
    first_m, second_m : their wavelengths [m]
    separation_m : on the plate [m], with the order turned to the camera's axis
    dip : intensity midway over the peaks', two equal lines with this source slit
    resolved : whether that is at most 8 / pi^2
    slit_m : widest source slit [m] that resolves them; NaN where none does, or without a slit
    """

    order: int
    first_m: float
    second_m: float
    separation_m: float
    dip: float
    resolved: bool
    slit_m: float


@dataclass(frozen=True)
class BestOrder:
    """The order worth turning to the middle of the plate.

    Attributes
    ----------
    order, wavelength_m : which
    resolved, pairs : how many pairs of lines it resolves, of how many
    efficiency : fraction of the light on the grating that it gets
    key, angle_rad : the bench's key and its value [rad] that put it in the middle
    in_middle : whether it stands there already, to a tenth of the plate
    """

    order: int
    wavelength_m: float
    resolved: int
    pairs: int
    efficiency: float
    key: str
    angle_rad: float
    in_middle: bool


def pairs_of(
    scene: Scene, ruled: Ruling, lines: Sequence[Order], *, chosen: bool
) -> tuple[Pair, ...]:
    """Neighbouring lines of a lamp, or of wavelengths `chosen` by the user, in each order."""
    if ruled.count < 2 or not (chosen or isinstance(scene.source, Lamp)):
        return ()
    by_order: dict[int, list[Order]] = {}
    for line in lines:
        if line.order and not line.missing:
            by_order.setdefault(line.order, []).append(line)
    return tuple(
        _pair(scene, ruled, first, second)
        for order in sorted(by_order)
        for first, second in pairwise(sorted(by_order[order], key=lambda line: line.wavelength_m))
    )


def _pair(scene: Scene, ruled: Ruling, first: Order, second: Order) -> Pair:
    focal = ruled.focal_m
    scale = sum(math.cos(line.beta_rad - ruled.axis_rad) ** 2 for line in (first, second)) / 2
    apart = focal * abs(second.beta_rad - first.beta_rad)
    dip = _blend(ruled, apart, (first.line_m + second.line_m) / 2 * scale, scene.plate.pixel_m)
    image = (first.slit_image_m + second.slit_image_m) / 2 * scale
    now = dip(image)
    return Pair(
        order=first.order,
        first_m=first.wavelength_m,
        second_m=second.wavelength_m,
        separation_m=apart,
        dip=now,
        resolved=now <= RAYLEIGH_DIP,
        slit_m=_widest(scene, dip, apart, image),
    )


def _widest(scene: Scene, dip: Callable[[float], float], apart: float, image: float) -> float:
    """Widest source slit [m] whose image leaves the dip."""
    slit = scene.source.slit
    if slit is None or image == 0 or dip(0.0) > RAYLEIGH_DIP:
        return math.nan
    widest = falling_root(lambda width: RAYLEIGH_DIP - dip(width), 0.0, 2 * apart)
    return widest / image * slit.width_m


def _blend(ruled: Ruling, apart: float, line: float, pixel: float) -> Callable[[float], float]:
    """Intensity midway between two equal lines over their peaks', by the slit image's width."""
    node, weight = np.polynomial.legendre.leggauss(_PIXEL_POINTS)
    offset = pixel / 2 * node
    x = np.linspace(0, apart, _PEAKS)

    def profile(mu: Floats, image: float) -> Floats:
        positions = np.asarray(mu)[:, None] + offset
        return np.asarray(_line(ruled, positions, line, image) @ weight)

    def dip(image: float) -> float:
        both = profile(x - apart / 2, image) + profile(x + apart / 2, image)
        return float(2 * profile(np.array([apart / 2]), image)[0] / both.max())

    return dip


def _line(ruled: Ruling, x: Floats, fwhm: float, image: float) -> Floats:
    """A line of that full width at half maximum, averaged over the slit's image."""
    from scipy.special import erf, sici

    if ruled.uniform:
        zero = fwhm / SINC_FWHM  # distance of the first zero

        def integral(mu: Floats) -> Floats:
            t = np.where(mu == 0, 1e-12, mu / zero)
            wings = np.sin(np.pi * t) ** 2 / (np.pi**2 * t)
            return np.asarray(sici(2 * np.pi * t)[0] / np.pi - wings)

        unit = zero
    else:
        unit = fwhm / (2 * math.sqrt(math.log(2)))  # exp(-(x / unit)^2)

        def integral(mu: Floats) -> Floats:
            return np.asarray(math.sqrt(math.pi) / 2 * erf(mu / unit))

    wide = max(image, 1e-3 * fwhm)
    return np.asarray((integral(x + wide / 2) - integral(x - wide / 2)) * unit / wide)


def best_order(
    scene: Scene, ruled: Ruling, lines: Sequence[Order], pairs: Sequence[Pair], principal_m: float
) -> BestOrder | None:
    """The order that resolves most pairs, of those the brightest; None without a grating."""
    found = [
        line for line in lines
        if line.order and not line.missing and line.wavelength_m == principal_m
    ]  # fmt: skip
    if not isinstance(scene.aperture, Grating) or not found:
        return None

    def resolved(order: int) -> int:
        return sum(pair.resolved for pair in pairs if pair.order == order)

    line = max(
        found,
        key=lambda pair: (resolved(pair.order), pair.on_plate, pair.efficiency, pair.order > 0),
    )
    key, angle = _turned(scene, ruled, line)
    middle = abs(line.x_m - scene.plate.centre_m) < 0.1 * scene.plate.width_m
    total = sum(pair.order == line.order for pair in pairs)
    return BestOrder(
        line.order, principal_m, resolved(line.order), total, line.efficiency, key, angle, middle
    )


def _turned(scene: Scene, ruled: Ruling, line: Order) -> tuple[str, float]:
    """Key and angle [rad] that bring the line to the middle of the plate.

    A turntable of included angle 2K: m lambda = 2 d sin(phi) cos(K) on the camera's axis.
    """
    bench = scene.bench
    if bench.included_angle_rad is not None:
        half = bench.included_angle_rad / 2
        product = line.order * ruled.bench_m(line.wavelength_m)
        sine = product / (2 * ruled.pitch_m * math.cos(half))
        if abs(sine) < 1:
            return "turn", math.asin(sine)
    return "viewing", line.beta_rad - math.atan(scene.plate.centre_m / ruled.focal_m)
