"""Two plates compared in words: what was changed, and what came of it."""

from __future__ import annotations

import math
from collections.abc import Iterator

from wavesim.errors import WavesimError
from wavesim.live.handles import handles_of
from wavesim.plate import Plate
from wavesim.scene import Scene
from wavesim.study.predict import Ghost, Prediction, predict
from wavesim.text import length

_MOST_CHANGES = 4
_NOTICED = 0.02  # relative change that is worth a sentence
_MOST_GHOSTS = 2


def differences(first: Plate, second: Plate) -> tuple[str, ...]:
    """How the second plate differs from the first, in sentences."""
    texts = [*_changed(first.scene, second.scene), *_light(first, second)]
    try:
        a, b = predict(first.scene), predict(second.scene)
    except WavesimError:
        return tuple(texts)
    wave = a.principal_m if a.principal_m in b.wavelengths_m else b.principal_m
    return (*texts, *_maxima(a, b), *_orders(a, b, wave), *_ghosts(a, b))


def _changed(first: Scene, second: Scene) -> Iterator[str]:
    a, b = ({h.path: h for h in handles_of(scene)} for scene in (first, second))
    texts = [
        f"{b[path].name} {a[path].text} \N{RIGHTWARDS ARROW} {b[path].text}"
        for path in b
        if path in a and a[path].text != b[path].text and b[path].kind != "ratio"
    ]
    if first.source.kind != second.source.kind:
        texts.insert(0, f"{first.source.kind} \N{RIGHTWARDS ARROW} {second.source.kind}")
    new = len(second.source.filters) - len(first.source.filters)
    if new:
        texts.append("one filter more" if new > 0 else "one filter fewer")
    if texts:
        more = len(texts) - _MOST_CHANGES
        yield ", ".join(texts[:_MOST_CHANGES]) + (f" and {more} more" if more > 0 else "")


def _light(first: Plate, second: Plate) -> Iterator[str]:
    ratio = float(second.illuminance_lx.max()) / max(float(first.illuminance_lx.max()), 1e-300)
    if ratio > 0 and abs(ratio - 1) > _NOTICED:
        yield f"brightest point {_times(ratio)}"


def _maxima(a: Prediction, b: Prediction) -> Iterator[str]:
    more = b.widths.subsidiary_maxima - a.widths.subsidiary_maxima
    if not more or not (a.illuminated and b.illuminated):
        return
    noun = "maximum" if abs(more) == 1 else "maxima"
    side = "more" if more > 0 else "fewer"
    count = f"{abs(more):,} {side} subsidiary {noun} between orders"
    before, after = a.widths.first_subsidiary, b.widths.first_subsidiary
    if before > 0 and after > 0 and before != after:
        count += f", the first {after:.2g} of an order's height instead of {before:.2g}"
    yield count


def _orders(a: Prediction, b: Prediction, wavelength_m: float) -> Iterator[str]:
    """The first order's position and width, where both have one."""
    before = {o.order: o for o in a.orders if math.isclose(o.wavelength_m, wavelength_m)}
    after = {o.order: o for o in b.orders if math.isclose(o.wavelength_m, wavelength_m)}
    both = sorted(m for m in before.keys() & after.keys() if m and after[m].on_plate)[::-1]
    if not both:
        return
    old, new = before[both[0]], after[both[0]]
    nm = f"{wavelength_m * 1e9:.4g} nm"
    if abs(new.x_m - old.x_m) > _NOTICED * max(abs(old.x_m), 1e-6):
        yield f"order {both[0]} of {nm} at {length(new.x_m)} instead of {length(old.x_m)}"
    if abs(new.line_m - old.line_m) > _NOTICED * old.line_m:
        yield f"its line {length(new.line_m)} wide instead of {length(old.line_m)}"
    if old.missing != new.missing:
        yield f"order {both[0]} is {'missing' if new.missing else 'no longer missing'}"


def _ghosts(a: Prediction, b: Prediction) -> Iterator[str]:
    """Those of the orders on the plate, the strongest first."""
    before, after = _on_plate(a), _on_plate(b)
    if before and not after:
        yield "no ghosts"
    positions = {o.order: o.x_m for o in b.orders if o.wavelength_m == b.principal_m}
    texts: dict[int, str] = {}
    for ghost in after:
        harmonic = max(abs(k) for k in ghost.harmonics)
        if harmonic not in texts and len(texts) < _MOST_GHOSTS:
            away = length(abs(ghost.x_m - positions[ghost.order]))
            texts[harmonic] = (
                f"\N{PLUS-MINUS SIGN}{away}, {ghost.observed:.2g} of order {ghost.order}"
            )
    if texts and not before:
        yield "ghosts at " + "; ".join(texts[k] for k in sorted(texts))
    elif texts:
        change = after[0].observed / before[0].observed
        if abs(change - 1) > _NOTICED:
            yield f"strongest ghost {_times(change)}"


def _on_plate(found: Prediction) -> list[Ghost]:
    orders = {o.order for o in found.orders if o.on_plate and o.wavelength_m == found.principal_m}
    ghosts = [g for g in found.ghosts if g.order in orders and math.isfinite(g.x_m)]
    return sorted(ghosts, key=lambda ghost: -ghost.observed)


def _times(ratio: float) -> str:
    if ratio >= 1:
        return f"{ratio:.3g} times as bright"
    parts = {2: "half", 3: "a third", 4: "a quarter", 5: "a fifth", 10: "a tenth"}
    inverse = 1 / ratio
    near = round(inverse)
    if near in parts and abs(inverse - near) < 0.05 * near:
        return f"{parts[near]} as bright"
    return f"{ratio:.2g} times as bright"
