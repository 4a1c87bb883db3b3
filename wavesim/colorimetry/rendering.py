"""From CIE XYZ on the plate to a picture that can be shown."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cache, lru_cache
from importlib import resources

import numpy as np
from numpy.typing import ArrayLike, NDArray

from wavesim.arrays import Floats, frozen
from wavesim.colorimetry.gamut import edges, matrices
from wavesim.colorimetry.spaces import (
    ADAPTATIONS,
    ROOTS_TO_OKLAB,
    XYZ_TO_LMS,
    adaptation,
    d65_xyz,
    encode,
    rgb_space,
    unit_white,
)
from wavesim.colorimetry.tone import Linear, Tone
from wavesim.colorimetry.whiteness import balance_degree
from wavesim.errors import InputError, one_of, positive, within
from wavesim.threads import each

_ENCODING_NODES = 8192
_BLOCK = 1 << 16  # pixels handed to a thread at a time
_THREADS = 2
_DEPTHS = {8: np.uint8, 16: np.uint16}
_GAMUTS = ("smooth", "css", "clip")
_KEEP = ("colour", "luminance")
_BALANCES = ("source", "none")


@dataclass(frozen=True)
class Rendering:
    """How XYZ becomes a picture; the defaults are for a screen.

    Attributes
    ----------
    space : "srgb", "display-p3" or "rec2020".
    depth : 8 or 16 bits a channel.
    tone : `Linear()`, `Film(...)` or `Logarithmic(...)`.
    gamut : "smooth" (below), "css" (CSS Color 4, binary search with local MINDE) or "clip"
        (each channel alone; shifts hues, for comparison).
    keep : what "smooth" keeps of a light too strong for the display to show in its colour: its
        "colour", which bleaches slowly as on film, or its "luminance", which pales at once.
    knee : share of the display's saturation up to which "smooth" changes nothing; from there
        chroma bends to reach the gamut's edge at 2 - knee. 1, the default, leaves every colour
        that the display can show as it is.
    crosstalk : how fast over-exposed colours bleach. A pure red, green or blue is white once it
        is 2 / crosstalk times over what the display can show, a pure yellow at half of that.
    dither : add a fixed blue-noise pattern of under one step before rounding.
    adaptation : "cat16" or "bradford", the transform of the white balance.
    """

    space: str = "srgb"
    depth: int = 8
    tone: Tone = field(default_factory=Linear)
    gamut: str = "smooth"
    keep: str = "colour"
    knee: float = 1.0
    crosstalk: float = 0.08
    dither: bool = True
    adaptation: str = "cat16"

    def __post_init__(self) -> None:
        rgb_space(self.space)
        one_of("depth", self.depth, _DEPTHS)
        one_of("gamut", self.gamut, _GAMUTS)
        one_of("keep", self.keep, _KEEP)
        one_of("adaptation", self.adaptation, ADAPTATIONS)
        within("knee", self.knee, 0.0, 1.0, above_low=True)
        within("crosstalk", self.crosstalk, 0.0, 10.0, above_low=True)


def picture(
    xyz: ArrayLike,
    *,
    white_xyz: ArrayLike,
    white_level: float,
    over_stops: float = 0.0,
    balance: str = "source",
    rendering: Rendering | None = None,
) -> NDArray[np.uint8] | NDArray[np.uint16]:
    """Picture (..., 3) of exposures xyz (..., 3) [lx s], encoded for a display.

    White light of the source with Y = white_level / 2^over_stops becomes the display's white.
    Steps: exposure and white balance (one matrix), OKLab, gamut, tone, encoding, dithering.

    "smooth" gamut mapping leaves every colour that the display can show as it is, and keeps
    OKLab hue, but for blues just beyond sRGB and Display P3, where it keeps the dominant wavelength
    (`gamut.cliff`). A colour more saturated than the display can show gets the largest
    saturation C / L of its hue (`gamut.py`), a little less beside the primaries, so that no line
    shows there in a spectrum, and keeps its luminance: a spectral colour stays as
    bright as it is, and linear in exposure. Where a channel would then overflow, the luminance
    cannot be had in that colour. With keep = "luminance" the colour pales along its hue to the
    most saturated one of that luminance, white at the most. With keep = "colour" it slides along
    the gamut's surface to white more slowly, as three overlapping colour layers saturate one
    after the other: with N the fullest channel, f(N) what the tone shows of it, S the sum of the
    channels over the fullest and g = (1 - s / s_max)^2, the saturation s falls by (1 - w / 2)^2,
    w = (N - f(N)) (g + crosstalk S) / (1 - g). This bleaching is our own; it gives luminance up.

    Parameters
    ----------
    xyz : (..., 3) [lx s], Y the luminous exposure. Small negative values (noise) are allowed.
    white_xyz : (3,) XYZ of the source's light.
    white_level : luminous exposure of white [lx s]; 78 / S for ISO speed S (ISO 12232).
    over_stops : exposure beyond that, in stops.
    balance : "source" takes the source's white to the display's, as far as it can pass for a
        white (`balance_degree`); "none" shows colours as under D65.

    Raises
    ------
    InputError
        Values that are not finite, a wrong shape, or an unknown option.
    """
    style = Rendering() if rendering is None else rendering
    values = _checked(xyz)
    scale = _scale(white_level, over_stops)
    to_lms = XYZ_TO_LMS @ balance_matrix(white_xyz, balance, style.adaptation)
    out = np.empty(values.shape, dtype=_DEPTHS[style.depth])
    width = values.shape[-2] if values.ndim > 1 else 1
    _render(values.reshape(-1, 3), out.reshape(-1, 3), max(width, 1), (scale, to_lms), style)
    return out


def linear_rgb(
    xyz: ArrayLike,
    *,
    white_xyz: ArrayLike,
    white_level: float,
    over_stops: float = 0.0,
    balance: str = "source",
    space: str = "srgb",
) -> Floats:
    """Unbounded linear RGB (..., 3): exposure and white balance only, 1 = white.

    For 32-bit float files that others grade. Spectral colours have negative channels.
    """
    values = _checked(xyz)
    matrix = rgb_space(space).from_xyz() @ balance_matrix(white_xyz, balance)
    return np.asarray(values @ (matrix * _scale(white_level, over_stops)).T)


def balance_matrix(white_xyz: ArrayLike, balance: str, transform: str = "cat16") -> Floats:
    """Matrix (3, 3) from XYZ under the source to XYZ under D65; the identity for "none"."""
    one_of("balance", balance, _BALANCES)
    if balance == "none":
        return np.eye(3)
    return _balance(tuple(float(part) for part in unit_white(white_xyz)), transform)


@lru_cache(maxsize=64)  # the search for a white's temperature takes 2 ms, a row of a plate 1
def _balance(white_xyz: tuple[float, ...], transform: str) -> Floats:
    white = np.array(white_xyz)
    matrix = adaptation(white, d65_xyz(), transform=transform, degree=balance_degree(white))
    matrix.flags.writeable = False
    return matrix


def _checked(xyz: ArrayLike) -> Floats:
    values = np.ascontiguousarray(xyz, dtype=np.float64)
    if values.ndim < 1 or values.shape[-1] != 3:
        raise InputError(
            "the last axis holds X, Y, Z", key="xyz", value=values.shape, expected="shape (..., 3)"
        )
    return values


def _scale(white_level: float, over_stops: float) -> float:
    stops = within("over_stops", over_stops, -100.0, 100.0)
    return float(min(2.0**stops / positive("white_level", white_level), 1e200))


def _render(
    values: Floats,
    out: NDArray[np.uint8] | NDArray[np.uint16],
    width: int,
    exposure: tuple[float, Floats],
    style: Rendering,
) -> None:
    from wavesim.colorimetry import kernels

    linear = isinstance(style.tone, Linear)
    to_roots, to_rgb = matrices(style.space)
    settings = (
        exposure[0],
        np.ascontiguousarray(exposure[1]),
        edges(style.space),
        to_roots,
        to_rgb,
        np.ascontiguousarray(np.linalg.inv(to_rgb)),
        ROOTS_TO_OKLAB,
        np.ascontiguousarray(rgb_space(style.space).to_xyz()[1]),
        _GAMUTS.index(style.gamut),
        kernels.LINEAR if linear else kernels.TABLE,
        np.zeros(2) if linear else _tone_table(style.tone),
        style.knee,
        style.crosstalk,
        kernels.LUMINANCE if style.keep == "luminance" else kernels.COLOUR,
        _encoding(rgb_space(style.space).curve),
        _dither_mask() if style.dither else np.full((1, 1), 0.5),
        float(np.iinfo(out.dtype).max),
    )

    # plates and tables come read-only or not: one kind for the kernel, which is compiled for each
    seen, *fixed = (frozen(s) if isinstance(s, np.ndarray) else s for s in (values, *settings))
    rows = (len(values) // width + 1) // 2
    step = max(1, _BLOCK // (2 * width))

    def block(start: int) -> int:
        stop = min(start + step, rows)
        return int(kernels.render(seen, start, stop, width, *fixed, out))

    bad = [found for found in _each(block, range(0, rows, step)) if found >= 0]
    if bad:
        raise InputError(
            f"value number {min(bad)} is not finite",
            key="xyz",
            value=values[min(bad)].tolist(),
            expected="finite exposures in lx s",
        )


def _each(work: Callable[[int], int], starts: range) -> list[int]:
    return each(work, starts, most=_THREADS)


def _tone_table(tone: Tone) -> Floats:
    from wavesim.colorimetry import kernels

    stops = kernels.TONE_LOWEST + np.arange(64 * kernels.TONE_PER_STOP) / kernels.TONE_PER_STOP
    return np.clip(tone.shown(np.exp2(stops)), 0.0, 1.0)


@cache
def _encoding(curve: str) -> Floats:
    return encode(np.linspace(0, 1, _ENCODING_NODES + 1) ** 2, curve)


@cache
def _dither_mask() -> Floats:
    with resources.files("wavesim.colorimetry").joinpath("data/dither.npy").open("rb") as stream:
        rank = np.load(stream)
    return np.asarray((rank + 0.5) / rank.size, dtype=np.float64)
