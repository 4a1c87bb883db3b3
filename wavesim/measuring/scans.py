"""From a picture (a scanned photograph, or a picture made here) to a profile.

The picture is decoded to linear light, its rotation against the lines is found and taken out,
and a band of rows is averaged. The picture's x runs to the right, its y downwards.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path

import numpy as np

from wavesim import raster
from wavesim.arrays import Flags, Floats, Samples
from wavesim.errors import InputError, PlateFileError
from wavesim.measuring.orientation import ORIENTATION, exif_tags, upright
from wavesim.measuring.profile import Profile, noise_of
from wavesim.text import counted

_CLIPPED = 0.996  # of full scale: 254 of 255 and above count as clipped
_LOSSY = 0.01  # of the brightest line: beside it a JPEG file ripples by as much (measured)
_GAP = 5  # samples from one clipped sample to the next that belong to one top
_BANDS = 24
_STRIPS = 16  # of the band, whose disagreement tells how well a line is placed
_CORRELATED = 1.6  # interpolated samples share errors, so smoothing quietens them less
_MOST_TURN = math.radians(5.0)
_TINY = 1e-300
_MOST_PIXELS = 100_000_000


@dataclass(frozen=True)
class Scan:
    """How a picture is to be read.

    Attributes
    ----------
    pixel_m : [m] width of a pixel on the plate
    left_m : [m] x of the picture's left edge from the camera's axis; None puts 0 in its middle
    rows : first and last row of the band as fractions of the height, counted from the top
    encoding : "srgb", "linear", or a plain exponent such as 2.2
    straighten : find the rotation and take it out
    slit_image_m : [m] width of the source slit's image, 0 where unknown
    """

    pixel_m: float
    left_m: float | None = None
    rows: tuple[float, float] = (0.25, 0.75)
    encoding: str | float = "srgb"
    straighten: bool = True
    slit_image_m: float = 0.0

    def __post_init__(self) -> None:
        if not self.pixel_m > 0:
            raise InputError(
                "a picture carries no scale", key="pixel", value=self.pixel_m,
                expected='the size of a pixel on the plate, such as "10 um"',
            )  # fmt: skip
        low, high = self.rows
        if not 0 <= low < high <= 1:
            raise InputError(
                "is not a band of rows", key="rows", value=self.rows,
                expected="two increasing fractions of the height from 0 to 1",
            )  # fmt: skip


def read_picture(path: str | Path, scan: Scan) -> Profile:
    """The profile of a picture file (PNG, TIFF or what else the imaging library reads).

    Raises
    ------
    PlateFileError
        The file is missing, no picture, or too small to hold a profile.
    """
    light, clipped = _decoded(Path(path), scan.encoding)
    if light.shape[1] < 8:
        raise PlateFileError(
            f"is only {counted(light.shape[1], 'pixel')} wide",
            file=path,
            expected="at least 8 columns",
        )
    found = from_light(light, clipped, scan, origin=str(path))
    return replace(found, least=_LOSSY) if _is_jpeg(Path(path)) else found


def _is_jpeg(path: Path) -> bool:
    with path.open("rb") as stream:
        return stream.read(2) == b"\xff\xd8"


def from_light(light: Floats, clipped: Flags, scan: Scan, *, origin: str = "picture") -> Profile:
    """The profile of linear light (ny, nx), row 0 on top, with its clipped pixels marked."""
    rows, columns = light.shape
    first = min(int(scan.rows[0] * rows), rows - 1)
    last = max(first + 1, round(scan.rows[1] * rows))
    band, mask = light[first:last], clipped[first:last]
    below = np.arange(first, last) - (rows - 1) / 2
    turn = rotation(band) if scan.straighten else 0.0
    offset = below * math.sin(turn)
    value = _averaged(band, offset, math.cos(turn))
    saturated = _without_gaps(_averaged(mask.astype(np.float64), offset, math.cos(turn)) > 0.3)
    left = -columns * scan.pixel_m / 2 if scan.left_m is None else scan.left_m
    x = np.asarray(left + (np.arange(columns) + 0.5) * scan.pixel_m, dtype=np.float64)
    inside = np.isfinite(value)
    if inside.sum() < 8:
        raise PlateFileError("leaves fewer than 8 columns", file=origin, expected="a wider picture")
    found = Profile(
        x[inside], value[inside], noise_of(value[inside]), saturated[inside],
        slit_image_m=scan.slit_image_m, turned_rad=turn, origin=origin,
    )  # fmt: skip
    noise = _CORRELATED * max(found.noise, _spread(band, offset, math.cos(turn)))
    strips = [
        _averaged(band[a:b], offset[a:b], math.cos(turn))[inside]
        for a, b in pairwise(
            np.linspace(0, len(band), min(_STRIPS, len(band) // 2) + 1).astype(int)
        )
    ]
    if len(strips) < 4:
        return replace(found, noise=noise)
    joined = _strip_correlation(np.array(strips), found.value, ~found.saturated)
    return replace(found, noise=noise, strips=np.array(strips), strip_correlation=joined)


def _without_gaps(clipped: Flags) -> Flags:
    """Clipped samples, and up to four between two of them: lossy files ripple on a flat top."""
    index = np.flatnonzero(clipped)
    gap = np.diff(index)
    filled = clipped.copy()
    for first, size in zip(index[:-1], gap, strict=True):
        filled[first : first + size] |= 1 < size <= _GAP
    return filled


def _strip_correlation(strips: Floats, mean: Floats, use: Flags) -> float:
    """Correlation of neighbouring bands' errors, what the mean of k bands takes off put back.

    Errors are what a band's level and background do not explain. Of k bands the mean takes off
    (1 + 2 r) / k of the variance, so that r + (1 - r) / k over 1 - 2 (1 - r) / k is expected of r
    measured.
    """
    columns = np.stack([mean[use], np.ones(int(use.sum()))], axis=1)
    part = strips[:, use].T
    rest = part - columns @ np.linalg.lstsq(columns, part, rcond=None)[0]
    power = float((rest**2).sum(axis=0).mean())
    if not power > 0:
        return 0.0
    found = float((rest[:, 1:] * rest[:, :-1]).sum(axis=0).mean()) / power
    off = (1 - found) / len(strips)
    return min(max((found + off) / (1 - 2 * off), 0.0), 1.0)


def rotation(light: Floats) -> float:
    """Angle by which the lines in a picture are turned [rad], positive clockwise from upright.

    The band is cut into up to 24 strips; each strip's shift against the middle one is read off
    the peak of their cross-correlation, and a straight line through the shifts (the median of
    all slopes, so that a few wrong ones do not matter) is the rotation. Peaks of correlations are
    drawn to whole pixels (0.5 degrees of 2.3 were missed), so shifts below a pixel then follow from
    the profile's slope. A turned line lies at x cos(t) + y sin(t) = const. with y downwards, so its
    shift falls by tan(t) a row. Good to about 0.01 pixel over the band's height.
    """
    turn = 0.0
    for shift in (_shift, _shift, _shift, *[_small_shift] * 4):
        slope = _slope(light, turn, shift)
        turn = float(np.clip(turn + slope, -_MOST_TURN, _MOST_TURN))
    return turn


def _slope(light: Floats, turn: float, shift: Callable[[Floats, Floats], float]) -> float:
    rows = light.shape[0]
    count = min(_BANDS, rows // 2)
    if count < 2:
        return 0.0
    below = np.arange(rows) - (rows - 1) / 2
    edges = np.linspace(0, rows, count + 1).astype(int)
    strips, positions = [], []
    for a, b in pairwise(edges):
        part = _averaged(light[a:b], below[a:b] * math.sin(turn), math.cos(turn))
        strips.append(np.nan_to_num(part, nan=float(np.nanmin(part))))
        positions.append(float(below[a:b].mean()))
    middle = strips[count // 2] if shift is _shift else np.mean(strips, axis=0)
    shifts = np.array([shift(strip, middle) for strip in strips])
    y = np.array(positions)
    i, j = np.triu_indices(count, 1)
    weight = np.abs(y[j] - y[i])
    slopes = (shifts[j] - shifts[i]) / (y[j] - y[i])
    return -math.atan(_weighted_median(slopes, weight))


def _shift(strip: Floats, middle: Floats) -> float:
    """Columns by which `strip` lies to the right of `middle`."""
    n = 2 * strip.size
    a = np.fft.rfft(strip - strip.mean(), n)
    b = np.fft.rfft(middle - middle.mean(), n)
    product = a * np.conj(b)
    frequency = np.arange(product.size) / product.size
    correlation = np.fft.irfft(product * np.exp(-((frequency / 0.5) ** 2)), n)
    k = int(np.argmax(correlation))
    left, top, right = correlation[k - 1], correlation[k], correlation[(k + 1) % n]
    bend = left - 2 * top + right
    part = 0.5 * (left - right) / bend if abs(bend) > _TINY else 0.0
    return float((k + n // 2) % n - n // 2 + part)


def _small_shift(strip: Floats, mean: Floats) -> float:
    """The same below a pixel: the least-squares multiple of the smoothed mean's slope."""
    kernel = np.exp(-0.5 * (np.arange(-4, 5) / 1.3) ** 2)
    kernel /= kernel.sum()
    if mean.size <= kernel.size:  # too narrow to have a slope once it is smoothed
        return 0.0
    smooth = np.convolve(mean, kernel, mode="valid")
    columns = np.stack([smooth, np.ones(smooth.size), -np.gradient(smooth)], axis=1)
    found = np.linalg.lstsq(columns, np.convolve(strip, kernel, mode="valid"), rcond=None)[0]
    return float(np.clip(found[2] / found[0], -1.0, 1.0)) if found[0] > 0 else 0.0


def _weighted_median(values: Floats, weight: Floats) -> float:
    order = np.argsort(values)
    running = np.cumsum(weight[order])
    return float(values[order][np.searchsorted(running, running[-1] / 2)])


def _averaged(light: Floats, offset: Floats, scale: float) -> Floats:
    """Mean over rows along the lines: (nx,), NaN where a row does not reach.

    `offset` (ny,) is y sin(turn). The point (x, y) belongs to x cos(turn) + y sin(turn), so the
    value at the position p of the straight profile is read at x = (p - offset) / cos(turn).
    """
    columns = light.shape[1]
    centred = np.arange(columns) - (columns - 1) / 2
    total, count = np.zeros(columns), 0
    for row, shift in zip(light, offset, strict=True):
        wanted = (centred - shift) / scale
        total += np.interp(wanted, centred, row, left=np.nan, right=np.nan)
        count += 1
    return np.asarray(total / count)


def _spread(light: Floats, offset: Floats, scale: float) -> float:
    """Noise of the mean from the difference of even and odd rows (half of it)."""
    if light.shape[0] < 4:
        return 0.0
    even, odd = (_averaged(light[k::2], offset[k::2], scale) for k in (0, 1))
    apart = np.abs(even - odd)
    return 1.4826 * float(np.nanmedian(apart)) / 2


def _decoded(path: Path, encoding: str | float) -> tuple[Floats, Flags]:
    """Linear light (ny, nx), the mean of the colour channels, and where any of them is clipped."""
    raw = upright(pixels(path), exif_tags(path).get(ORIENTATION))
    if raw.dtype.kind == "f":
        brightest = float(np.abs(raw).max())
        if not brightest < 1e60:  # nor NaN
            raise PlateFileError(
                "holds light outside any plausible range", file=path, value=brightest
            )
        light = raw.astype(np.float64)
        clipped = np.zeros(light.shape, dtype=np.bool_)
    else:
        full = float(np.iinfo(raw.dtype).max) if raw.dtype != np.bool_ else 1.0
        scaled = raw.astype(np.float64) / full
        clipped = scaled >= _CLIPPED
        light = _linear(scaled, encoding)
    if light.ndim == 3:
        colours = light[..., :3] if light.shape[2] >= 3 else light[..., :1]
        flags = np.asarray(clipped[..., : colours.shape[2]].any(axis=2))
        return np.asarray(colours.mean(axis=2)), flags
    return light, np.asarray(clipped)


def _linear(encoded: Floats, encoding: str | float) -> Floats:
    if encoding == "srgb":
        from wavesim.colorimetry.spaces import decode

        return np.asarray(decode(encoded))
    if encoding == "linear":
        return encoded
    try:
        exponent = float(encoding)
    except ValueError:
        exponent = -1.0
    if not 0.1 <= exponent <= 10:
        raise InputError(
            "is not a known encoding", key="encoding", value=encoding,
            expected='"srgb", "linear" or an exponent such as 2.2',
        )  # fmt: skip
    return np.asarray(encoded**exponent)


def pixels(path: Path) -> Samples:
    if path.suffix.lower() in (".tif", ".tiff"):
        return _grey_or_colour(raster.tiff(path, _MOST_PIXELS, PlateFileError), path)
    with raster.picture(path, _MOST_PIXELS, PlateFileError) as image:
        indirect = image.mode in ("P", "CMYK", "YCbCr", "LAB", "HSV")
        return _grey_or_colour(np.asarray(image.convert("RGB") if indirect else image), path)


def _grey_or_colour(raw: Samples, path: Path) -> Samples:
    if raw.ndim not in (2, 3) or 0 in raw.shape:
        raise PlateFileError(
            f"holds an array of shape {raw.shape}", file=path, expected="rows and columns"
        )
    if raw.dtype.kind not in "buif":
        raise PlateFileError(
            f"holds {raw.dtype} instead of grey or colour values",
            file=path,
            expected="grey or colour",
        )
    if raw.dtype == np.int32:  # how 16-bit grey may arrive
        return np.asarray(np.clip(raw, 0, 65535).astype(np.uint16))
    return raw
