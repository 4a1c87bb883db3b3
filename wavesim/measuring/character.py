"""What a plate shows: lines, or fringes and bands that are none.

A spectral line is narrow against its own wavelength; a maximum or minimum of the pattern of a few
slits is not: N slits make one of 0.89 / (m N) of it in order m. Where most of what stands out is
wider than 1/25, nothing is named.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from wavesim.measuring.fringes import FringePattern, find_pattern
from wavesim.measuring.instrument import Instrument
from wavesim.measuring.peaks import Feature
from wavesim.measuring.profile import Profile
from wavesim.measuring.result import Line, Measurement
from wavesim.text import length

BROAD = 1 / 25  # of its wavelength: no spectral line is as wide
_MOST = 0.5  # of all that stands out: with more as wide the plate shows no lines
_COUNTED = 0.02  # of the tallest: what is lower does not count


def without_lines(features: tuple[Feature, ...], instrument: Instrument) -> bool:
    """Whether most of what stands out is too broad for lines (the zero order apart)."""
    if not features:
        return False
    x = np.array([f.x_m for f in features])
    width = np.array([f.width_m for f in features])
    height = np.array([abs(f.height) for f in features])
    sine = instrument.sine(x)
    step = 1e-6 * instrument.focal_m
    per_m = np.abs(instrument.sine(x + step) - instrument.sine(x - step)) / (2 * step)
    counted = (np.abs(sine) > width * per_m) & (height > _COUNTED * height.max())
    if not counted.any():
        return True
    broad = width[counted] * per_m[counted] > BROAD * np.abs(sine[counted])
    return float(broad.mean()) > _MOST


def of_pattern(
    profile: Profile,
    features: tuple[Feature, ...],
    instrument: Instrument,
    wavelength_m: float,
    *,
    scene: str = "",
    photograph: str = "",
) -> Measurement:
    """A measurement that names nothing: what the plate shows, and how to get pitch and width.

    Parameters
    ----------
    wavelength_m : [m] in standard air, of the light or its mean; nan where unknown
    scene, photograph : names of files, for the command that fits the bench; "" where there is none
    """
    pattern = find_pattern(profile, instrument.sine(profile.x_m))
    top = max((abs(f.height) for f in features), default=1.0)
    kind = "band" if pattern is None or pattern.slits == 1 else "fringe"
    rows = tuple(
        Line(f.x_m, f.height / top, f.width_m, kind, 0, None, saturated=f.saturated)
        for f in sorted(features, key=lambda f: f.x_m)
    )
    if pattern is not None:
        pattern = replace(pattern, wavelength_m=wavelength_m)
    notes = sentences(pattern, instrument)
    slits = 2 if pattern is None else pattern.slits
    offer = _offer(scene, photograph, profile.pixel_m, slits)
    notes = (*notes, offer if pattern else f"if this is a pattern of slits, {offer}")
    return Measurement(rows, instrument, (), profile.turned_rad, notes, pattern)


def sentences(pattern: FringePattern | None, instrument: Instrument) -> tuple[str, ...]:
    """What a plate without lines shows."""
    if pattern is None:
        return (
            "broad bands and no lines: a continuum, or orders of white light that overlap; "
            "nothing is identified",
        )
    light = "light of many wavelengths" if pattern.white else "light of one wavelength"
    if pattern.slits == 1:
        first = "the bands of a single slit"
        ratios = f"width / wavelength = {1 / pattern.band:.5g}"
    else:
        apart = length(pattern.spacing * instrument.focal_m)
        first = f"fringes of {pattern.slits} slits in {light}, about {apart} apart"
        ratios = (
            f"pitch / wavelength = {1 / pattern.spacing:.6g}, width / wavelength = "
            f"{1 / pattern.band:.5g}"
        )
    out = [
        f"{first}: no lines, so nothing is identified",
        ratios + " from a fit of the whole pattern",
    ]
    return (*out, _lengths(pattern, instrument))


def _offer(scene: str, photograph: str, pixel_m: float, slits: int) -> str:
    """The command that fits the bench, and what its placeholders stand for."""
    pixel, unknown = length(pixel_m), []
    if not scene:
        unknown.append("write the scene of this bench to bench.toml first (see wavesim keys)")
    if not photograph:
        pixel = "10 um"
        unknown.append("photograph.jpg stands for a picture with pixels of 10 um on the plate")
    scale = "" if photograph.endswith((".h5", ".hdf5")) else f' --pixel "{pixel}"'
    command = (
        f"wavesim fit {scene or 'bench.toml'} {photograph or 'photograph.jpg'} --free "
        f"aperture.width{' --free aperture.pitch' if slits > 1 else ''}{scale}"
    )
    return "; ".join([f"to fit the whole bench: {command}", *unknown])


def _with_error(value: float, error: float) -> str:
    """A value and its standard uncertainty, both to the decimal of the latter's first digit."""
    decimals = max(0, min(6, -math.floor(math.log10(max(error, 1e-9)))))
    return f"{value:.{decimals}f} +- {max(error, 10.0**-decimals):.{decimals}f}"


def _lengths(pattern: FringePattern, instrument: Instrument) -> str:
    if not np.isfinite(pattern.wavelength_m):
        return "give --reference WAVELENGTH to convert these ratios to lengths"
    in_bench = float(instrument.geometry.bench_wavelength_m(pattern.wavelength_m))
    width, width_error = (1e6 * v for v in pattern.width(in_bench))
    noun = "slit" if pattern.slits == 1 else "slits"
    parts = [f"{noun} {_with_error(width, width_error)} um wide"]
    if pattern.slits > 1:
        pitch, error = (1e6 * v for v in pattern.pitch(in_bench))
        parts.insert(0, f"pitch {_with_error(pitch, error)} um")
    condition = f"for light of {pattern.wavelength_m * 1e9:.5g} nm"
    if pattern.white:
        condition += (
            " on average; in light of many wavelengths this is accurate to a few per cent only"
        )
    return ", ".join(parts) + " " + condition
