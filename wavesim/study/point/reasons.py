"""The first sentence on a point: what is taken from the light there, what is left, what it looks.

In the order of the light: the filter, the element's envelope (missing orders), the interference
of the rulings, the orders that overlap; then the colour on this exposure.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from wavesim.scene import Lamp, Laser
from wavesim.study.point.bands import NAMED_M, Extinguished, Remaining
from wavesim.study.point.particulars import particulars, strayed
from wavesim.study.visibility.result import BURNT_STOPS, FAINT

if TYPE_CHECKING:
    from wavesim.study.point import PlatePoint

_MOST = 3  # stretches and bands named one by one
_COUNTS = 0.05  # fraction of the mixture from which a band counts for the colour
_MOSTLY = 0.75  # of the colour: from here on what lies between the orders is left out
_FILTERED = 0.05  # of the most that the source sends: what a filter stops
_NARROW = 0.7  # of the spectrum extinguished by interference: what is left is reported instead
_WEAKENED = 0.7  # of the brightest third of the spectrum: less is worth a word
_TWO_ENDS_M = (500e-9, 590e-9)  # mixtures of below and above look purple
_THIRDS = (("blue", 400e-9, 490e-9), ("green", 490e-9, 580e-9), ("red", 580e-9, 700e-9))
_NOUNS = {"slits": "slit", "wires": "gap", "grating": "groove"}


def why(found: PlatePoint) -> str:
    """Place, causes, and the resulting colour as this exposure shows it."""
    position = f"at x = {found.x_m * 1e3:.4g} mm ({math.degrees(found.beta_rad):.4f} deg)"
    if math.isinf(found.colour.stops) or not found.remaining:
        return f"{position} no visible light arrives"
    causes = [*_source(found), *_losses(found), *_orders(found)]
    return f"{position} {'; '.join(causes)}: {_result(found)}"


def element_noun(found: PlatePoint) -> str:
    """ "the single slit", for its like."""
    if found.ruling is not None and found.ruling.count == 1:
        return "the slit"
    return f"the single {_NOUNS.get(found.scene.aperture.kind, 'element')}"


def _source(found: PlatePoint) -> list[str]:
    """What source and filters send, where that is not all of the visible spectrum."""
    if isinstance(found.scene.source, Laser):
        return []
    inside = _named(found)
    sent = inside & (found.sent > _FILTERED)
    if not sent.any() or sent.sum() > 0.7 * inside.sum():
        return []
    if isinstance(found.scene.source, Lamp):
        return ["the lamp emits lines only"]
    sent_m = found.spectrum.wavelength_m[sent]
    what = "the filter passes" if found.scene.source.filters else "the source emits"
    return [f"{what} only {wavelengths(float(sent_m[0]), float(sent_m[-1]))}"]


def _losses(found: PlatePoint) -> list[str]:
    """What is extinguished, by cause; what is weakened, where nothing is extinguished."""
    dark = [band for band in found.extinguished if band.cause != "source"]
    if _nearly_all(dark):
        return []
    texts = []
    for cause in ("element", "interference", ""):
        chosen = [band for band in dark if band.cause == cause]
        if chosen:
            texts.append(f"{_stretches(chosen)} extinguished{_by(found, cause, chosen)}")
    return texts or _weakened(found)


def _nearly_all(dark: Sequence[Extinguished]) -> bool:
    """Whether interference leaves narrow bands only."""
    lo, hi = NAMED_M
    total = sum(band.hi_m - band.lo_m for band in dark if band.cause == "interference")
    return total > _NARROW * (hi - lo)


def _stretches(chosen: Sequence[Extinguished]) -> str:
    if len(chosen) > _MOST:
        lo, hi = chosen[0].lo_m, chosen[-1].hi_m
        return f"{len(chosen)} bands between {wavelengths(lo, hi, ' and ')} are"
    texts = [wavelengths(band.lo_m, band.hi_m) for band in chosen]
    return f"light of {' and of '.join(texts)} is"


def _by(found: PlatePoint, cause: str, chosen: Sequence[Extinguished]) -> str:
    if cause == "element":
        missing = sorted({m for band in chosen for m in band.missing_orders})
        orders = ", ".join(map(str, missing))
        text = f" by {element_noun(found)}"
        return f"{text} (missing order {orders})" if missing else text + _path(chosen)
    if cause == "interference" and found.ruling is not None:
        noun = _NOUNS.get(found.scene.aperture.kind, "element")
        return f" by interference of the {found.ruling.count:,} {noun}s{_path(chosen)}"
    return " by diffraction at the aperture"


def _path(chosen: Sequence[Extinguished]) -> str:
    """The path difference at the one zero that there is."""
    zeros = [zero for band in chosen for zero in band.zeros]
    if len(zeros) != 1:
        return ""
    wavelength = f"{zeros[0].wavelength_m * 1e9:.0f} nm"
    return f" (path difference {zeros[0].path_difference:.2f} wavelengths at {wavelength})"


def _weakened(found: PlatePoint) -> list[str]:
    """Which third of the spectrum is weaker than the strongest, of what the source sends."""
    if found.sent[_named(found)].min() < _FILTERED:
        return []
    spectrum = found.spectrum
    means = {}
    for name, lo, hi in _THIRDS:
        inside = (spectrum.wavelength_m >= lo) & (spectrum.wavelength_m <= hi)
        means[name] = float(np.mean(spectrum.passed[inside]))
    most = max(means.values())
    weak = [f"{name} to {100 * mean / most:.0f} %" for name, mean in means.items()
            if mean < _WEAKENED * most]  # fmt: skip
    first, last = (f"{w * 1e9:.0f}" for w in NAMED_M)
    text = f"nothing between {first} and {last} nm is extinguished"
    if not weak:
        return [text]
    strongest = max(means, key=lambda name: means[name])
    return [f"{text}, but diffraction weakens {' and '.join(weak)} of the {strongest}"]


def _orders(found: PlatePoint) -> list[str]:
    """Which orders meet there, or which maximum it is."""
    ruled = found.ruling
    strong = [band for band in found.remaining if band.colour_fraction >= _COUNTS]
    if ruled is None or ruled.count == 1 or not strong:
        return []
    held = [band for band in strong if band.orders and not band.stray]
    only = f"{_rulings(found)} leave only " if _nearly_all(found.extinguished) else ""
    if len(held) > _MOST:
        return [f"{only or 'what remains are '}parts of {len(held)} overlapping orders"]
    if held:
        named = [f"{_order(b)} ({wavelengths(b.lo_m, b.hi_m)})" for b in held]
        return [_held(named, only, _between(held, strong)), *particulars(found, held)]
    if all(band.stray for band in strong):
        return strayed(found, strong)
    low = math.floor(strong[0].path_difference)
    where = f"between orders {low} and {low + 1}"
    return [f"it lies {where}, where only subsidiary maxima remain"] if ruled.count > 2 else []


def _between(held: Sequence[Remaining], strong: Sequence[Remaining]) -> bool:
    """Whether as much of the colour comes from between the orders as would change it."""
    part = sum(band.colour_fraction for band in held)
    return part < _MOSTLY * sum(band.colour_fraction for band in strong)


def _held(named: Sequence[str], only: str, between: bool) -> str:
    """Which orders remain, and whether alone."""
    joined = named[0] if len(named) == 1 else f"{', '.join(named[:-1])} and {named[-1]}"
    if between:
        return f"{only or 'what remains are '}{joined} and subsidiary maxima between the orders"
    if len(named) == 1:
        return f"{only}{joined}" if only else f"{joined} alone remains"
    return f"{only}{joined}, which overlap" if only else f"{joined} overlap"


def _rulings(found: PlatePoint) -> str:
    count = 0 if found.ruling is None else found.ruling.count
    return f"the {count:,} interfering {_NOUNS.get(found.scene.aperture.kind, 'element')}s"


def _order(band: Remaining) -> str:
    first, last = band.orders[0], band.orders[-1]
    return f"order {first}" if first == last else f"orders {first} to {last}"


def _result(found: PlatePoint) -> str:
    colour = found.colour
    if colour.stops > BURNT_STOPS:
        text = f"burnt out to white, {colour.stops:.1f} stops above white on this exposure"
        neutral = colour.name in ("white", "grey")
        return text if neutral else f"{text}; a shorter exposure shows {colour.name}"
    if colour.stops < math.log2(FAINT):
        below = f"{-colour.stops:.1f} stops below white"
        return f"too faint to show on this exposure ({below}); a longer one shows {colour.name}"
    name = "white" if colour.as_exposed == "white" else colour.as_exposed
    return f"{_ends(found)}the result is {name} on this exposure"


def _ends(found: PlatePoint) -> str:
    """Said of a purple of both ends of the spectrum."""
    lo, hi = _TWO_ENDS_M
    colour = found.colour
    strong = [band for band in found.remaining if band.colour_fraction >= _COUNTS]
    purple = math.isnan(colour.dominant_m) and math.isfinite(colour.complementary_m)
    if purple and strong and all(band.mixing_m < lo or band.mixing_m > hi for band in strong):
        return "both ends of the spectrum without the green between them; "
    return ""


def _named(found: PlatePoint) -> npt.NDArray[np.bool_]:
    lo, hi = NAMED_M
    return (found.spectrum.wavelength_m >= lo) & (found.spectrum.wavelength_m <= hi)


def wavelengths(lo_m: float, hi_m: float, joined: str = " to ") -> str:
    """A stretch of wavelengths, as fine as it is narrow."""
    digits = 0 if hi_m - lo_m > 2.5e-9 else 2 if hi_m - lo_m > 0.05e-9 else 3
    return f"{lo_m * 1e9:.{digits}f}{joined}{hi_m * 1e9:.{digits}f} nm"
