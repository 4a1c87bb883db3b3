"""From a photograph to the pattern that a fit compares: light along x, or from a centre.

A pattern of rulings is the mean of the rows across its bright band, straightened; that of a round
opening or of powder the mean over circles about its centre. Values stay as the picture has them
(encoded, 0 to 1): the tone curve is a matter of the fit.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from wavesim.arrays import Floats
from wavesim.errors import InputError, PlateFileError
from wavesim.fitting.exif import FileNotes, upright_pixels
from wavesim.fitting.rings import reach_of, ring_means, ring_shape
from wavesim.fitting.straighten import highest_frequency, straightened, turn_and_spread
from wavesim.text import counted

BURNT = 0.985  # of full scale: from here on a value counts as burnt out
PLATES = (".h5", ".hdf5", ".nxs")
_FEWEST = 24
_LEAST_CONTRAST = 0.02  # of full scale: below, there is no pattern
_MOST_SAMPLES = 4000
_LEAST_SAMPLES = 400
_PER_PERIOD = 8  # samples to the shortest period that stands above the noise
_BAND = 0.6  # of the bright rows' height that is averaged


@dataclass(frozen=True)
class PhotographReading:
    """How a photograph is to be read.

    Attributes
    ----------
    pixel_m : [m] width of one of its pixels on the plate
    left_m : [m] x of its left edge on the plate, or None where the fit finds it
    tone : "fitted", "srgb", "linear", "film", or an exponent such as 2.2
    axis_rad : [rad] turn of the pattern, clockwise; None to find it
    """

    pixel_m: float
    left_m: float | None = None
    tone: str | float = "fitted"
    axis_rad: float | None = None


@dataclass(frozen=True, eq=False)
class PhotographPattern:
    """What is compared with the engine.

    Attributes
    ----------
    x_m : (n,) [m] position from the picture's left edge, or distance from the centre
    value : (n, c) as in the picture, 0 to 1, one column a colour channel
    noise : (n, c) standard error of each
    usable : (n, c) neither burnt out nor at the very bottom
    burnt : (n, c) whether burnt out
    radial : whether x_m is a distance from the centre
    step_m : [m] distance of two samples
    left_m : of the reading
    width_m, height_m : [m] of the picture
    reach_m : [m] largest x_m
    resolving : samples that the finest detail asks for
    turned_rad : [rad] taken out
    slant : relative change of scale across the picture that was taken out: of lines over a height
        as large as its width, of rings along the steepest direction
    ellipse : relative difference of the rings' axes that was taken out
    reading : how it was read
    notes : what the file says of itself
    origin : its file
    linear : whether values are light rather than encoded
    """

    x_m: Floats
    value: Floats
    noise: Floats
    usable: NDArray[np.bool_]
    burnt: NDArray[np.bool_]
    radial: bool
    step_m: float
    left_m: float | None
    width_m: float
    height_m: float
    reach_m: float
    resolving: int
    turned_rad: float
    slant: float
    ellipse: float
    reading: PhotographReading
    notes: FileNotes
    origin: str
    linear: bool = False

    @property
    def channels(self) -> int:
        """Colour channels that are compared."""
        return int(self.value.shape[1])

    def only(self, channel: int) -> PhotographPattern:
        """With one channel alone."""
        part = slice(channel, channel + 1)
        return replace(
            self,
            value=self.value[:, part],
            noise=self.noise[:, part],
            usable=self.usable[:, part],
            burnt=self.burnt[:, part],
        )

    def beyond(self, x_m: float) -> PhotographPattern:
        """With samples up to a distance left out."""
        return replace(self, usable=self.usable & (self.x_m > x_m)[:, None])

    def coarse(self, bins: int) -> PhotographPattern:
        """Means of `bins` neighbouring samples."""
        if bins < 2:
            return self
        samples = _Taken(self.x_m, self.value, self.noise, self.burnt.astype(np.float64))
        mean = samples.binned(bins)
        fraction = self.usable[: len(mean.x) * bins].reshape(-1, bins, self.channels).mean(axis=1)
        return replace(
            self,
            x_m=mean.x,
            value=mean.value,
            noise=mean.noise,
            burnt=mean.burnt > 0.02,
            usable=fraction > 0.5,
            step_m=self.step_m * bins,
        )


def read_photograph(
    path: str | Path, reading: PhotographReading, *, radial: bool
) -> PhotographPattern:
    """The pattern of a picture file, or of a plate file.

    Raises
    ------
    PlateFileError
        Missing, damaged, or not a picture.
    InputError
        A picture without a pattern.
    """
    name = Path(path)
    if name.suffix.lower() in PLATES:
        light, pixel = _of_plate(name)
        return _pattern(
            light,
            replace(reading, pixel_m=pixel, tone="linear"),
            radial,
            str(path),
            FileNotes(),
            True,
        )
    raw, notes = upright_pixels(name)
    if raw.dtype.kind == "f":
        light = raw.astype(np.float64) / max(float(raw.max()), 1e-300)
    else:
        full = float(np.iinfo(raw.dtype).max) if raw.dtype != np.bool_ else 1.0
        light = raw.astype(np.float64) / full
    if light.ndim == 2:
        light = light[..., None]
    light = light[..., :3] if light.shape[2] >= 3 else light[..., :1]
    return _pattern(light, reading, radial, str(path), notes, False)


def _of_plate(path: Path) -> tuple[Floats, float]:
    """Linear light of a plate file in sRGB's primaries, upper edge first, and its pixel [m]."""
    from wavesim.colorimetry.rendering import linear_rgb
    from wavesim.lightpath import open_plate

    plate = open_plate(path)
    light = linear_rgb(
        plate.shown_xyz[::-1], space="srgb", white_xyz=np.ones(3), white_level=1.0, balance="none"
    )
    light = np.maximum(np.asarray(light, dtype=np.float64), 0.0)
    return light / max(float(light.max()), 1e-300) * 0.95, plate.scene.plate.pixel_m


def _pattern(
    light: Floats,
    reading: PhotographReading,
    radial: bool,
    origin: str,
    notes: FileNotes,
    linear: bool,
) -> PhotographPattern:
    if min(light.shape[:2]) < 1 or light.shape[1] < _FEWEST:
        raise PlateFileError(
            f"is only {counted(light.shape[1], 'pixel')} wide",
            file=origin,
            expected=f"at least {_FEWEST} columns",
        )
    grey = light.mean(axis=2)
    low, high = np.percentile(grey, (2, 99.9))
    if high - low < _LEAST_CONTRAST:
        raise InputError(
            "shows no pattern: its brightness is uniform",
            file=origin,
            expected="a photograph with bright and dark parts",
        )
    samples = _from_centre(light, grey) if radial else _along(light, grey, reading)
    burnt = samples.burnt > 0.02
    usable = ~burnt & (samples.value > 0.004) if not linear else np.isfinite(samples.value)
    if usable.sum() < _FEWEST:
        raise InputError(
            "is burnt out or black nearly everywhere",
            file=origin,
            expected="a photograph with a shorter or longer exposure",
        )
    rows, columns = grey.shape
    return PhotographPattern(
        x_m=samples.x * reading.pixel_m,
        value=samples.value,
        noise=samples.noise,
        usable=usable,
        burnt=burnt & (not linear),
        radial=radial,
        step_m=float(reading.pixel_m * (samples.x[1] - samples.x[0])),
        left_m=reading.left_m,
        width_m=columns * reading.pixel_m,
        height_m=rows * reading.pixel_m,
        reach_m=float(samples.x[-1] * reading.pixel_m),
        resolving=_resolving(samples.value),
        turned_rad=samples.turned_rad,
        slant=samples.slant,
        ellipse=samples.ellipse,
        reading=reading,
        notes=notes,
        origin=origin,
        linear=linear,
    )


@dataclass(frozen=True, eq=False)
class _Taken:
    """Samples of a picture: position [pixel], value, noise, part burnt out; what was taken out."""

    x: Floats
    value: Floats
    noise: Floats
    burnt: Floats
    turned_rad: float = 0.0
    slant: float = 0.0
    ellipse: float = 0.0

    def binned(self, bins: int) -> _Taken:
        """Means of `bins` neighbouring samples."""
        whole = self.x.size // bins * bins

        def mean(a: Floats) -> Floats:
            return np.asarray(a[:whole].reshape(-1, bins, *a.shape[1:]).mean(axis=1))

        error = np.sqrt(mean(self.noise**2) / bins)
        return replace(
            self, x=mean(self.x), value=mean(self.value), noise=error, burnt=mean(self.burnt)
        )


def _along(light: Floats, grey: Floats, reading: PhotographReading) -> _Taken:
    """Mean of the rows in the bright band, along lines that may be turned and spread."""
    rows = _bright_rows(grey)
    turn, spread = turn_and_spread(grey[rows], reading.axis_rad)
    straight = straightened(light[rows], float(np.tan(turn)), spread)
    value = np.asarray(np.nanmean(straight, axis=0), dtype=np.float64)
    inside = np.isfinite(straight).all(axis=(0, 2))
    burnt = np.asarray((straight >= BURNT).mean(axis=0), dtype=np.float64)
    noise = _noise(straight, value)
    columns = light.shape[1]
    middle = columns / 2  # a turned line is narrower across than along the rows
    x = middle + (np.arange(columns) + 0.5 - middle) * np.cos(turn)
    samples = _Taken(x[inside], value[inside], noise[inside], burnt[inside], turn, spread * columns)
    return samples.binned(_bins(samples))


def _bins(samples: _Taken) -> int:
    """Neighbouring samples whose mean loses no detail."""
    n = samples.x.size
    wanted = max(_PER_PERIOD / 2.5 * _resolving(samples.value), _LEAST_SAMPLES)
    return max(1, int(n // min(wanted, n)), n // _MOST_SAMPLES)


def _resolving(value: Floats) -> int:
    """Samples that the finest detail of any channel asks for."""
    finest = max(highest_frequency(np.asarray(c, dtype=np.float64)) for c in value.T)
    return int(np.ceil(2.5 * finest * value.shape[0]))


def _bright_rows(grey: Floats) -> slice:
    """The middle part of the rows that hold the pattern."""
    if grey.shape[0] < 4:
        return slice(0, grey.shape[0])
    spread = grey.std(axis=1)
    bright = np.flatnonzero(spread > 0.5 * np.median(np.sort(spread)[-max(1, spread.size // 4) :]))
    first, last = int(bright[0]), int(bright[-1]) + 1
    cut = int((last - first) * (1 - _BAND) / 2)
    return slice(first + cut, last - cut)


def _noise(straight: Floats, value: Floats) -> Floats:
    """Standard error of the mean over rows, smoothed along x, a quantum of 8 bits at the least."""
    rows = straight.shape[0]
    if rows >= 8:
        error = np.nanstd(straight - value, axis=0, ddof=1) / np.sqrt(rows / 2)
        width = max(3, value.shape[0] // 60)
        kernel = np.ones(width) / width
        error = np.sqrt(np.stack([np.convolve(e**2, kernel, "same") for e in error.T], axis=1))
    else:
        second = np.diff(value, 2, axis=0)
        error = np.full(value.shape, 1.4826 * np.nanmedian(np.abs(second)) / np.sqrt(6))
    return np.asarray(np.maximum(np.nan_to_num(error, nan=0.05), 0.3 / 255 / np.sqrt(rows)))


def _from_centre(light: Floats, grey: Floats) -> _Taken:
    """Mean over the rings about their centre, made round."""
    shape = ring_shape(grey)
    reach = reach_of(shape, grey.shape)
    radius, value, spread, burnt, count = ring_means(shape, light, reach)
    n = count[:, None]
    noise = spread / np.sqrt(np.maximum(n / 4, 1)) + 0.3 / 255 / np.sqrt(n)
    return _Taken(
        radius,
        value,
        noise,
        burnt,
        slant=float(2 * np.hypot(*shape.slant) * reach),
        ellipse=float(2 * np.hypot(*shape.ellipse)),
    )
