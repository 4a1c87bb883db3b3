"""From a photograph to the pattern that a fit compares: light along x, or from a centre.

A pattern of rulings is the mean of the rows across its bright band, straightened; that of a round
opening or of powder the mean over circles about its centre. Values stay as the picture has them
(encoded, 0 to 1): the tone curve is a matter of the fit.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from wavesim.errors import InputError, PlateFileError
from wavesim.measuring.scans import pixels, rotation

Floats = NDArray[np.float64]

BURNT = 0.985  # of full scale: from here on a value counts as burnt out
_FEWEST = 24
_LEAST_CONTRAST = 0.02  # of full scale: below, there is no pattern
_MOST_SAMPLES = 1500
_BAND = 0.6  # of the bright rows' height that is averaged


@dataclass(frozen=True)
class Reading:
    """How a photograph is to be read.

    Attributes
    ----------
    pixel_m : [m] width of one of its pixels on the plate
    left_m : [m] x of its left edge on the plate, or None where the fit finds it
    tone : "fitted", "srgb", "linear", or an exponent such as 2.2
    axis_rad : [rad] turn of the pattern, clockwise; None to find it
    """

    pixel_m: float
    left_m: float | None = None
    tone: str | float = "fitted"
    axis_rad: float | None = None


@dataclass(frozen=True, eq=False)
class Pattern:
    """What is compared with the engine.

    Attributes
    ----------
    x_m : (n,) [m] position from the picture's left edge, or distance from the centre
    value : (n, c) as in the picture, 0 to 1, one column a colour channel
    noise : (n, c) standard error of each
    usable : (n, c) neither burnt out nor at the very bottom
    radial : whether x_m is a distance from the centre
    step_m : [m] distance of two samples
    left_m : of the reading
    width_m, height_m : [m] of the picture
    turned_rad : [rad] taken out
    reading : how it was read
    origin : its file
    linear : whether values are light rather than encoded
    """

    x_m: Floats
    value: Floats
    noise: Floats
    usable: NDArray[np.bool_]
    radial: bool
    step_m: float
    left_m: float | None
    width_m: float
    height_m: float
    turned_rad: float
    reading: Reading
    origin: str
    linear: bool = False


def read_photograph(path: str | Path, reading: Reading, *, radial: bool) -> Pattern:
    """The pattern of a picture file, or of a plate file.

    Raises
    ------
    PlateFileError
        Missing, damaged, or no picture.
    InputError
        A picture without a pattern.
    """
    name = Path(path)
    if name.suffix.lower() in (".h5", ".hdf5", ".nxs"):
        light, pixel = _of_plate(name)
        return _pattern(light, Reading(pixel, reading.left_m, "linear"), radial, str(path), True)
    raw = pixels(name)
    if raw.dtype.kind == "f":
        light = raw.astype(np.float64) / max(float(raw.max()), 1e-300)
    else:
        full = float(np.iinfo(raw.dtype).max) if raw.dtype != np.bool_ else 1.0
        light = raw.astype(np.float64) / full
    if light.ndim == 2:
        light = light[..., None]
    light = light[..., :3] if light.shape[2] >= 3 else light[..., :1]
    return _pattern(light, reading, radial, str(path), False)


def _of_plate(path: Path) -> tuple[Floats, float]:
    """Linear light of a plate file in sRGB's primaries, upper edge first, and its pixel [m]."""
    from wavesim.colorimetry.rendering import linear_rgb
    from wavesim.lightpath import open_plate

    plate = open_plate(path)
    light = linear_rgb(
        plate.xyz[::-1],
        space="srgb",
        white_xyz=plate.white_xyz,
        white_level=plate.white_exposure_lx_s,
        balance="source",
    )
    light = np.asarray(light, dtype=np.float64)
    return light / max(float(light.max()), 1e-300) * 0.95, plate.scene.plate.pixel_m


def _pattern(light: Floats, reading: Reading, radial: bool, origin: str, linear: bool) -> Pattern:
    if min(light.shape[:2]) < 1 or light.shape[1] < _FEWEST:
        raise PlateFileError(
            f"is only {light.shape[1]} pixels wide",
            file=origin,
            expected=f"at least {_FEWEST} columns",
        )
    grey = light.mean(axis=2)
    low, high = np.percentile(grey, (2, 99.9))
    if high - low < _LEAST_CONTRAST:
        raise InputError(
            "shows no pattern: it is as good as even",
            file=origin,
            expected="a photograph with light and dark",
        )
    taken = _radial(light, grey) if radial else _along(light, grey, reading)
    x, value, noise, burnt, turned = taken
    usable = (burnt < 0.02) & (value > 0.004) if not linear else np.isfinite(value)
    if usable.sum() < _FEWEST:
        raise InputError(
            "is burnt out or black nearly everywhere",
            file=origin,
            expected="a photograph with a shorter or longer exposure",
        )
    step = reading.pixel_m * (x[1] - x[0])
    rows, columns = grey.shape
    return Pattern(
        x_m=x * reading.pixel_m,
        value=value,
        noise=noise,
        usable=usable,
        radial=radial,
        step_m=float(step),
        left_m=reading.left_m,
        width_m=columns * reading.pixel_m,
        height_m=rows * reading.pixel_m,
        turned_rad=turned,
        reading=reading,
        origin=origin,
        linear=linear,
    )


_Taken = tuple[Floats, Floats, Floats, Floats, float]


def _along(light: Floats, grey: Floats, reading: Reading) -> _Taken:
    """Mean of the rows in the bright band, along lines that may be turned."""
    rows = _bright_rows(grey)
    band, height = light[rows], rows.stop - rows.start
    turn = reading.axis_rad
    if turn is None:
        turn = rotation(grey[rows]) if height >= 8 else 0.0
    below = np.arange(height) - (height - 1) / 2
    straight = np.stack(
        [_straight(line, y * np.tan(turn)) for line, y in zip(band, below, strict=True)]
    )
    value = np.asarray(np.nanmean(straight, axis=0), dtype=np.float64)
    inside = np.isfinite(straight).all(axis=(0, 2))
    burnt = np.asarray((straight >= BURNT).mean(axis=0), dtype=np.float64)
    noise = _noise(straight, value)
    bins = max(1, light.shape[1] // _MOST_SAMPLES)
    x = (np.arange(light.shape[1], dtype=np.float64) + 0.5) * np.cos(turn)  # across the lines
    return _binned(x[inside], value[inside], noise[inside], burnt[inside], bins, turn)


def _bright_rows(grey: Floats) -> slice:
    """The middle part of the rows that hold the pattern."""
    if grey.shape[0] < 4:
        return slice(0, grey.shape[0])
    spread = grey.std(axis=1)
    bright = np.flatnonzero(spread > 0.5 * np.median(np.sort(spread)[-max(1, spread.size // 4) :]))
    first, last = int(bright[0]), int(bright[-1]) + 1
    cut = int((last - first) * (1 - _BAND) / 2)
    return slice(first + cut, last - cut)


def _straight(line: Floats, shift: float) -> Floats:
    """A row (nx, c) read `shift` pixels to the left; nan beyond its ends."""
    columns = np.arange(line.shape[0], dtype=np.float64)
    wanted = columns - shift
    out = np.stack(
        [np.interp(wanted, columns, channel, left=np.nan, right=np.nan) for channel in line.T],
        axis=1,
    )
    return out


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


def _radial(light: Floats, grey: Floats) -> _Taken:
    """Mean over circles about the centre of light."""
    row, column = _centre(grey)
    y, x = np.indices(grey.shape)
    distance = np.hypot(x - column, y - row)
    reach = min(column, row, grey.shape[1] - 1 - column, grey.shape[0] - 1 - row)
    if reach < _FEWEST:
        reach = float(max(column, grey.shape[1] - 1 - column))
    rings = np.floor(distance).astype(int)
    inside = rings < int(reach)
    index, count = rings[inside], np.bincount(rings[inside])
    held = count > 0
    sums = [np.bincount(index, weights=c[inside]) for c in np.moveaxis(light, 2, 0)]
    squares = [np.bincount(index, weights=c[inside] ** 2) for c in np.moveaxis(light, 2, 0)]
    burnt = [np.bincount(index, weights=(c[inside] >= BURNT)) for c in np.moveaxis(light, 2, 0)]
    radius = np.bincount(index, weights=distance[inside])[held] / count[held]
    n = count[held][:, None]
    value = np.stack(sums, axis=1)[held] / n
    spread = np.maximum(np.stack(squares, axis=1)[held] / n - value**2, 0.0)
    noise = np.sqrt(spread / np.maximum(n / 4, 1)) + 0.3 / 255 / np.sqrt(n)
    return radius, value, noise, np.stack(burnt, axis=1)[held] / n, 0.0


def _centre(grey: Floats) -> tuple[float, float]:
    """Row and column about which the picture is most nearly its own mirror image."""
    mean = np.median(grey)
    lifted = np.maximum(grey - mean, 0.0)
    found = []
    for axis in (0, 1):
        line = np.sqrt(lifted).sum(axis=1 - axis)
        size = 2 * line.size
        own = np.fft.irfft(np.fft.rfft(line, 2 * size) ** 2, 2 * size)
        k = int(np.argmax(own))
        a, b, c = own[k - 1], own[k], own[k + 1]
        bend = a - 2 * b + c
        found.append((k + (0.5 * (a - c) / bend if bend else 0.0)) / 2)
    return found[0], found[1]


def _binned(
    x: Floats, value: Floats, noise: Floats, burnt: Floats, bins: int, turn: float
) -> _Taken:
    """Means of `bins` neighbouring samples."""
    if bins == 1:
        return x, value, noise, burnt, turn
    whole = x.size // bins * bins
    mean = [a[:whole].reshape(-1, bins, *a.shape[1:]).mean(axis=1) for a in (x, value, burnt)]
    error = np.sqrt((noise[:whole] ** 2).reshape(-1, bins, noise.shape[1]).mean(axis=1) / bins)
    return mean[0], mean[1], np.asarray(error), mean[2], turn
