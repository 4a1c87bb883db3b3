"""A point of the plate in words: why it has its colour, and what that rests on."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import asdict
from typing import TYPE_CHECKING

import numpy as np

from wavesim.results import Sentence
from wavesim.study.point.bands import EXTINGUISHED, NAMED_M, Extinguished, Remaining, Zero
from wavesim.study.point.colour import Colour
from wavesim.study.point.reasons import element_noun, wavelengths, why
from wavesim.study.point.spectrum import VISIBLE_M, PointSpectrum
from wavesim.study.ruling import Ruling
from wavesim.study.visibility import BURNT_STOPS
from wavesim.text import counted

if TYPE_CHECKING:
    from wavesim.study.point import PlatePoint

_MOST = 8  # bands and stretches reported
_WHITE_PURITY = 0.02  # below this nobody asks for a dominant wavelength
_WHOLE_M = 230e-9  # a band this wide is white light but for its ends
_DARK, _DARK_STEP_M = 0.01, 1e-9


def report(found: PlatePoint) -> Iterator[Sentence]:
    """The cause first; then the colour, what remains, what is extinguished and how it was read."""
    yield Sentence("why", why(found))
    if math.isinf(found.colour.stops) or not found.remaining:
        return
    yield Sentence("colour", _colour(found.colour))
    yield from _labelled("remains", _remaining(found.remaining, found.ruling))
    yield from _labelled("dark", _extinguished(found))
    yield Sentence("note", _measures(found.spectrum))


def record(found: PlatePoint) -> dict[str, object]:
    """Plain values, SI."""
    spectrum = found.spectrum
    every = max(1, round(_DARK_STEP_M / spectrum.step_m))
    listed = (spectrum.passed > _DARK) | (np.arange(spectrum.passed.size) % every == 0)
    return {
        "x_m": found.x_m,
        "beta_rad": found.beta_rad,
        "colour": asdict(found.colour),
        "remaining": [asdict(band) for band in found.remaining],
        "extinguished": [asdict(dark) for dark in found.extinguished],
        "sentences": [sentence.text for sentence in found.sentences],
        "spectrum": {
            "full_resolution": spectrum.full,
            "wavelength_m": spectrum.wavelength_m[listed].tolist(),
            "irradiance_W_m2_nm": spectrum.irradiance[listed].tolist(),
            "passed": spectrum.passed[listed].tolist(),
        },
    }


def _labelled(label: str, texts: Sequence[str]) -> Iterator[Sentence]:
    for k, text in enumerate(texts):
        yield Sentence("" if k else label, text)


def _colour(colour: Colour) -> str:
    name = "a neutral white" if colour.name in ("white", "grey") else colour.name
    return f"{name}{_hue(colour)}; {_exposure(colour)}"


def _hue(colour: Colour) -> str:
    if not colour.purity >= _WHITE_PURITY:
        return ""
    purity = f"purity {100 * colour.purity:.0f} %"
    if math.isfinite(colour.dominant_m):
        return f", dominant wavelength {colour.dominant_m * 1e9:.0f} nm, {purity}"
    if math.isfinite(colour.complementary_m):
        nm = f"{colour.complementary_m * 1e9:.0f} nm"
        return f", complementary to {nm} (no single wavelength matches it), {purity}"
    return f", {purity}"


def _exposure(colour: Colour) -> str:
    if colour.stops > BURNT_STOPS:
        return f"{colour.stops:.1f} stops above white: burnt out on this exposure"
    if abs(colour.stops) <= BURNT_STOPS:
        return "at white on this exposure"
    text = f"{-colour.stops:.1f} stops below white on this exposure"
    same = colour.as_exposed == colour.name
    return text if same else f"{text}, where it appears {colour.as_exposed}"


def _remaining(bands: Sequence[Remaining], ruled: Ruling | None) -> list[str]:
    shown = sorted(bands, key=lambda b: -b.colour_fraction)[:_MOST]
    found = [_band(band, ruled) for band in sorted(shown, key=lambda b: b.lo_m)]
    if len(bands) > len(shown):
        found.append(f"and {counted(len(bands) - len(shown), 'weaker band')}")
    return found


def _band(band: Remaining, ruled: Ruling | None) -> str:
    fractions = (
        f"{_percent(band.light_fraction)} of the power, {_percent(band.brightness_fraction)} of "
        f"the luminance, {_percent(band.colour_fraction)} of the colour mixture"
    )
    if band.stray:
        return f"light of {_nm(band.mixing_m)}, whose maxima are elsewhere: {fractions}"
    first, last = VISIBLE_M
    inner = band.lo_m < band.strongest_m < band.hi_m and band.hi_m - band.lo_m < _WHOLE_M
    peak = f", strongest at {_nm(band.strongest_m)}" if inner and first < band.strongest_m < last \
        else ""  # fmt: skip
    return f"{wavelengths(band.lo_m, band.hi_m)}{_belongs(band, ruled)}{peak}: {fractions}"


def _belongs(band: Remaining, ruled: Ruling | None) -> str:
    if ruled is None:
        return ""
    if ruled.count == 1:
        side = math.floor(abs(band.path_difference))
        maximum = f"subsidiary maximum {side}" if side else "central maximum"
        return f" (the slit's {maximum})"
    if not band.orders:
        low = math.floor(band.path_difference)
        return f" (between orders {low} and {low + 1})"
    first, last = band.orders[0], band.orders[-1]
    return f" (order {first})" if first == last else f" (orders {first} to {last} merged)"


def _extinguished(found: PlatePoint) -> list[str]:
    dark = found.extinguished
    if not dark:
        lo, hi = (f"{w * 1e9:.0f}" for w in NAMED_M)
        return [f"nothing is extinguished between {lo} and {hi} nm"]
    texts = [_band_text(band, found) for band in dark[:_MOST]]
    if len(dark) > _MOST:
        texts.append(f"and {counted(len(dark) - _MOST, 'more band')}")
    return texts


def _band_text(band: Extinguished, found: PlatePoint) -> str:
    cause = {
        "source": "the source emits nothing",
        "element": f"extinguished by {element_noun(found)}",
        "interference": "extinguished by interference",
        "": "extinguished",
    }[band.cause]
    if band.missing_orders:
        cause += f", missing order {', '.join(map(str, band.missing_orders))}"
    zeros = ", ".join(_zero(zero, found.ruling) for zero in band.zeros)
    text = f"{wavelengths(band.lo_m, band.hi_m)}: {cause}"
    return f"{text}; darkest at {zeros}" if zeros else text


def _zero(zero: Zero, ruled: Ruling | None) -> str:
    wavelength = _nm(zero.wavelength_m)
    if ruled is None:
        return wavelength
    whose = "the slit's edges" if ruled.count == 1 else "neighbouring rulings"
    return f"{wavelength} (path difference of {whose} {zero.path_difference:.2f} wavelengths)"


def _measures(spectrum: PointSpectrum) -> str:
    lo, hi = (f"{w * 1e9:.0f}" for w in VISIBLE_M)
    step = spectrum.step_m * 1e9
    step_nm = f"{step:.2g}" if spectrum.full else "1"
    how = f"{'computed' if spectrum.full else 'read from the plate'} in steps of {step_nm} nm"
    return (
        f"extinguished means below {100 * EXTINGUISHED:.0f} % of the best transmitted "
        f"wavelength; spectrum from {lo} to {hi} nm, {how}"
    )


def _nm(wavelength_m: float) -> str:
    return f"{wavelength_m * 1e9:.1f} nm"


def _percent(fraction: float) -> str:
    percent = 100 * fraction
    if percent < 0.1:
        return "0.0 %"
    return f"{percent:.0f} %" if percent >= 10 else f"{percent:.1f} %"
