"""The answer in plain words."""

from __future__ import annotations

import math
from collections.abc import Sequence

from wavesim.study.point.bands import EXTINGUISHED, NAMED_M, Extinguished, Remaining, Zero
from wavesim.study.point.colour import Colour
from wavesim.study.point.spectrum import SEEN_M, PointSpectrum
from wavesim.study.ruling import Ruling
from wavesim.study.visibility import BURNT_STOPS

_MOST = 8  # bands and stretches told
_WHITE_PURITY = 0.02  # below this nobody asks for a dominant wavelength
_COUNTS = 0.05  # share of the mixture from which a band counts for the colour
_WHOLE_M = 230e-9  # a band this wide is white light but for its ends
_TWO_ENDS_M = (500e-9, 590e-9)  # mixtures of below and above look purple


def sentences(
    place: tuple[float, float],
    colour: Colour,
    seen: PointSpectrum,
    bands: Sequence[Remaining],
    dark: Sequence[Extinguished],
    ruled: Ruling | None,
) -> tuple[str, ...]:
    """What is to be said of a place (x [m], diffraction angle [rad])."""
    found = [_colour_words(place, colour)]
    if math.isinf(colour.stops) or not bands:
        return (*found, "no light that can be seen gets there")
    found.append(_reason(colour, bands, ruled))
    found += _remaining_words(bands, ruled)
    found += _extinguished_words(dark, ruled)
    found.append(_measures(seen))
    return tuple(found)


def _colour_words(place: tuple[float, float], colour: Colour) -> str:
    x, beta = place
    return (
        f"at x = {x * 1e3:.4g} mm ({math.degrees(beta):.4f} deg) a person sees {_article(colour)}"
        f"{_hue_words(colour)}; {_exposure_words(colour)}"
    )


def _article(colour: Colour) -> str:
    if colour.name in ("white", "black", "grey"):
        return colour.name
    return f"{'an' if colour.name[0] in 'aeiou' else 'a'} {colour.name}"


def _hue_words(colour: Colour) -> str:
    if not colour.purity >= _WHITE_PURITY:
        return ""
    purity = f"purity {100 * colour.purity:.0f} %"
    if math.isfinite(colour.dominant_m):
        return f", dominant wavelength {colour.dominant_m * 1e9:.0f} nm, {purity}"
    if math.isfinite(colour.complementary_m):
        nm = f"{colour.complementary_m * 1e9:.0f} nm"
        return f", complementary to {nm} (no single wavelength looks like it), {purity}"
    return f", {purity}"


def _exposure_words(colour: Colour) -> str:
    if math.isinf(colour.stops):
        return "no light"
    if colour.stops > BURNT_STOPS:
        return f"this exposure burns it out, {colour.stops:.1f} stops over white"
    if abs(colour.stops) <= BURNT_STOPS:
        return "as bright as white on this exposure"
    text = f"{-colour.stops:.1f} stops below white on this exposure"
    same = colour.as_exposed == colour.name
    return text if same else f"{text}, which shows it {colour.as_exposed}"


def _reason(colour: Colour, bands: Sequence[Remaining], ruled: Ruling | None) -> str:
    """Why it has that colour, in one sentence."""
    strong = [b for b in bands if b.colour_share >= _COUNTS]
    if not strong:
        return "why: many bands, none of which counts much"
    if len(strong) == 1:
        one = strong[0]
        wide = one.hi_m - one.lo_m > _WHOLE_M
        what = "nearly every wavelength" if wide else "one band of wavelengths alone"
        return f"why: {what} reaches it{_belongs(one, ruled)}"
    mix = " with ".join(f"{_nm(b.mixed_m)}{_belongs(b, ruled)}" for b in strong[:_MOST])
    lo, hi = _TWO_ENDS_M
    purple = math.isnan(colour.dominant_m) and math.isfinite(colour.complementary_m)
    if purple and all(b.mixed_m < lo or b.mixed_m > hi for b in strong):
        return f"why: both ends of the spectrum without the green between, {mix}"
    return f"why: a mixture, {mix}"


def _remaining_words(bands: Sequence[Remaining], ruled: Ruling | None) -> list[str]:
    shown = sorted(bands, key=lambda b: -b.colour_share)[:_MOST]
    found = [_band_words(band, ruled) for band in sorted(shown, key=lambda b: b.lo_m)]
    if len(bands) > len(shown):
        found.append(f"remains: {len(bands) - len(shown)} weaker bands")
    return found


def _band_words(band: Remaining, ruled: Ruling | None) -> str:
    shares = (
        f"{_percent(band.light_share)} of the light, {_percent(band.brightness_share)} of its "
        f"brightness, {_percent(band.colour_share)} of the mixture"
    )
    if band.stray:
        place = _waves(band, ruled)
        return f"remains: what strays here of {_nm(band.mixed_m)}{place}: {shares}"
    first, last = SEEN_M
    inner = band.lo_m < band.best_m < band.hi_m and band.hi_m - band.lo_m < _WHOLE_M
    best = f", best of {_nm(band.best_m)}" if inner and first < band.best_m < last else ""
    return f"remains: {_range(band.lo_m, band.hi_m)}{_belongs(band, ruled)}{best}: {shares}"


def _extinguished_words(dark: Sequence[Extinguished], ruled: Ruling | None) -> list[str]:
    if not dark:
        lo, hi = (f"{w * 1e9:.0f}" for w in NAMED_M)
        return [f"extinguished: nothing between {lo} and {hi} nm"]
    found = [_dark_words(one, ruled) for one in dark[:_MOST]]
    if len(dark) > _MOST:
        found.append(f"extinguished: {len(dark) - _MOST} more stretches")
    return found


def _dark_words(one: Extinguished, ruled: Ruling | None) -> str:
    text = f"extinguished: {_range(one.lo_m, one.hi_m)}"
    zeros = ", ".join(_zero_words(zero, ruled) for zero in one.zeros)
    return f"{text}; darkest {zeros}" if zeros else text


def _zero_words(zero: Zero, ruled: Ruling | None) -> str:
    at = _nm(zero.wavelength_m)
    if ruled is None:
        return at
    if ruled.count == 1:
        return f"{at} (the slit's edges differ by {zero.waves:.2f} waves)"
    if zero.by_element:
        return f"{at} (the single slit or groove sends nothing)"
    return f"{at} (neighbours differ by {zero.waves:.2f} waves)"


def _belongs(band: Remaining, ruled: Ruling | None) -> str:
    if ruled is None:
        return ""
    if band.stray:
        return " (stray light, its own place is elsewhere)"
    if ruled.count == 1:
        side = math.floor(abs(band.waves))
        return f" (the slit's side maximum {side})" if side else " (the slit's central maximum)"
    if not band.orders:
        low = math.floor(band.waves)
        return f" (between orders {low} and {low + 1})"
    first, last = band.orders[0], band.orders[-1]
    return f" (order {first})" if first == last else f" (orders {first} to {last} in one)"


def _waves(band: Remaining, ruled: Ruling | None) -> str:
    if ruled is None or not math.isfinite(band.waves):
        return ""
    return f" ({band.waves:.4f} waves between neighbours)"


def _measures(seen: PointSpectrum) -> str:
    lo, hi = (f"{w * 1e9:.0f}" for w in SEEN_M)
    step = seen.step_m * 1e9
    how = f"computed in steps of {step:.2g} nm" if seen.full else "read in steps of 1 nm"
    return (
        f"extinguished means below {100 * EXTINGUISHED:.0f} % of what passes at the best "
        f"wavelength; light is counted from {lo} to {hi} nm, {how}"
    )


def _range(lo_m: float, hi_m: float) -> str:
    digits = 0 if hi_m - lo_m > 2.5e-9 else 2 if hi_m - lo_m > 0.05e-9 else 3
    return f"{lo_m * 1e9:.{digits}f} to {hi_m * 1e9:.{digits}f} nm"


def _nm(wavelength_m: float) -> str:
    return f"{wavelength_m * 1e9:.1f} nm"


def _percent(share: float) -> str:
    percent = 100 * share
    if percent < 0.1:
        return "0.0 %"
    return f"{percent:.0f} %" if percent >= 10 else f"{percent:.1f} %"
