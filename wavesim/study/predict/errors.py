"""What every other error does to a line: its loss, the diffuse light, the broadening, the focus.

All figures are for one order and relative to the line that the perfect ruling would give, in
scalar theory and to the first order that does not vanish, unless a closed form is named.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from wavesim.aperture import Element, Rays, Slit
from wavesim.aperture.grooves import FacetGroove, SineGroove
from wavesim.scene import (
    Defect,
    DepthDefect,
    DriftDefect,
    MissingDefect,
    PeriodicDefect,
    RandomDefect,
    Scene,
    Span,
    StepDefect,
    WidthDefect,
)
from wavesim.study.formulas import (
    accumulated_factor,
    accumulated_width_orders,
    drift_curvature_per_m,
    focal_shift_m,
    parent_left,
    step_left,
    strehl_of_phase,
)
from wavesim.study.predict.ghosts import fraction_left, periods_of
from wavesim.study.predict.orders import Order
from wavesim.study.ruling import Ruling

_SAMPLES = 4001  # across the ruling for the phase of a drift; its error is below 1e-6
_MUCH_WAVES = 1.0  # phase from middle to edge beyond which the unfocused line says little
_ALONG = 16  # elements that stand for a change along the ruling


@dataclass(frozen=True)
class Effect:
    """What one defect does to one line.

    Attributes
    ----------
    kind : the defect's kind, and what of it where that matters
    order, wavelength_m : the line
    fraction_left : what is left of the line's peak
    diffuse : mean diffuse level over the perfect line's peak; 0 where it scatters nothing
    halo_orders : full width of the diffuse halo at half its height [orders], inf if even
    broadening_orders : width that the error adds to a line [orders]
    focal_shift_m : displacement of best focus along the camera's axis [m]
    text : the same in a sentence
    """

    kind: str
    order: int
    wavelength_m: float
    fraction_left: float = 1.0
    diffuse: float = 0.0
    halo_orders: float = math.inf
    broadening_orders: float = 0.0
    focal_shift_m: float = 0.0
    text: str = ""


def effects_of(scene: Scene, ruled: Ruling, line: Order) -> tuple[Effect, ...]:
    """One `Effect` for each defect of the scene, the periodic ones together."""
    defects: tuple[Defect, ...] = getattr(scene.aperture, "defects", ())
    found = [_periodic(scene, ruled, line)]
    found += [_effect(ruled, line, d) for d in defects if not isinstance(d, PeriodicDefect)]
    return tuple(effect for effect in found if effect is not None)


def _effect(ruled: Ruling, line: Order, defect: Defect) -> Effect | None:
    match defect:
        case RandomDefect(correlation="accumulated"):
            return _accumulated(ruled, line, defect)
        case RandomDefect():
            return _random(ruled, line, defect)
        case DriftDefect():
            return _drift(ruled, line, defect)
        case StepDefect():
            return _step(ruled, line, defect)
        case MissingDefect():
            return _missing(ruled, line, defect)
        case WidthDefect():
            return _width(ruled, line, defect)
        case DepthDefect():
            return _depth(ruled, line, defect)
        case _:
            text = "no closed form: the line profile computes it"
            return Effect(defect.kind, line.order, line.wavelength_m, text=text)


def _periodic(scene: Scene, ruled: Ruling, line: Order) -> Effect | None:
    periods = periods_of(scene, ruled)
    if periods.amplitude.size == 0:
        return None
    left = fraction_left(periods, line.order)
    text = f"periodic errors put {1 - left:.3g} of the line into ghosts"
    return Effect("periodic", line.order, line.wavelength_m, fraction_left=left, text=text)


def _random(ruled: Ruling, line: Order, defect: RandomDefect) -> Effect:
    left = float(parent_left(line.order, defect.rms_m / ruled.pitch_m))
    span = defect.correlation_span
    level, halo = (1 - left) / ruled.effective_count, math.inf
    where = "spread evenly between the orders"
    if isinstance(span, Span):
        length = span.in_rulings(ruled.pitch_m)
        level, halo = _halo(line.order, defect.rms_m / ruled.pitch_m, length, ruled)
        where = f"in a halo {halo:.3g} orders wide about the line"
    text = f"{1 - left:.3g} of the line becomes diffuse light {where}, mean level {level:.2g}"
    return Effect("random", line.order, line.wavelength_m, left, level, halo, text=text)


def _halo(order: int, rms: float, length: float, ruled: Ruling) -> tuple[float, float]:
    """Level of the halo at the line, and its width: displacements correlated exp(-(n/L)^2)."""
    exponent = (2 * math.pi * order * rms) ** 2
    lag = np.arange(-math.ceil(6 * length), math.ceil(6 * length) + 1)
    rho = np.exp(-((lag / length) ** 2))
    shape = np.exp(-exponent * (1 - rho)) - math.exp(-exponent)
    level = float(shape.sum()) / ruled.effective_count
    return level, min(1.0, 2 * math.sqrt(math.log(2)) / (math.pi * length))


def _accumulated(ruled: Ruling, line: Order, defect: RandomDefect) -> Effect:
    rms = defect.rms_m / ruled.pitch_m
    left = float(accumulated_factor(line.order, rms, ruled.count))
    width = accumulated_width_orders(line.order, rms)
    text = (
        f"accumulated errors broaden the line by {width:.3g} orders, leaving {left:.3g} of its peak"
    )
    return Effect(
        "random, accumulated",
        line.order,
        line.wavelength_m,
        fraction_left=left,
        broadening_orders=width,
        text=text,
    )


def _drift(ruled: Ruling, line: Order, defect: DriftDefect) -> Effect:
    width = ruled.count * ruled.pitch_m
    s = (np.arange(_SAMPLES) + 0.5) / _SAMPLES - 0.5
    path_waves = line.order * ruled.count * defect.displacement(s)
    tilt = np.polyfit(s, path_waves, 1)  # only moves the line
    path_waves = path_waves - np.polyval(tilt, s)
    curvature = drift_curvature_per_m(
        line.order,
        line.wavelength_m,
        pitch_m=ruled.pitch_m,
        beta_rad=line.beta_rad,
        drift_per_m=defect.linear / width,
    )
    shift = focal_shift_m(ruled.focal_m, curvature) + 0.0  # no "-0 mm" of order 0
    left = strehl_of_phase(path_waves)
    text = (
        f"the pitch drifts: best focus moves by {shift * 1e3:.3g} mm, the peak falls to {left:.3g}"
    )
    if float(np.ptp(path_waves)) > _MUCH_WAVES:
        waves = np.ptp(path_waves)
        text += f"; {waves:.2g} waves from the middle to the edge: refocus before judging the line"
    return Effect(
        "drift",
        line.order,
        line.wavelength_m,
        fraction_left=left,
        broadening_orders=_spread(line, defect),
        focal_shift_m=shift,
        text=text,
    )


def _spread(line: Order, defect: DriftDefect) -> float:
    """Range of the local order over the ruling: rms times sqrt(12), the tilt left out."""
    s = (np.arange(_SAMPLES) + 0.5) / _SAMPLES - 0.5
    return float(abs(line.order) * np.std(defect.change(s)) * math.sqrt(12))


def _step(ruled: Ruling, line: Order, defect: StepDefect) -> Effect:
    fraction_before = defect.rulings_before(ruled.count) / ruled.count
    left = step_left(line.order, defect.size_m / ruled.pitch_m, fraction_before)
    text = f"the step leaves {left:.3g} of the peak at the middle of the line"
    if left < 0.5:
        text += ", which is split in two"
    return Effect("step", line.order, line.wavelength_m, fraction_left=left, text=text)


def _missing(ruled: Ruling, line: Order, defect: MissingDefect) -> Effect:
    if defect.fraction is not None:
        missing = defect.fraction
        level = missing * (1 - missing) / ruled.effective_count
    else:
        missing = len([n for n in defect.indices if n < ruled.count]) / ruled.count
        level = missing / ruled.count
    left = (1 - missing) ** 2
    text = f"missing rulings leave {left:.4g} of the line, mean diffuse level {level:.2g}"
    return Effect("missing", line.order, line.wavelength_m, left, level, text=text)


def _width(ruled: Ruling, line: Order, defect: WidthDefect) -> Effect:
    width = ruled.element.width_m
    half = defect.growth_m / 2
    change = _Change(lambda dw: Slit(width + dw), (-half, half), defect.rms_m, 1e-3 * width)
    return _profile_change(ruled, line, "width", change)


def _depth(ruled: Ruling, line: Order, defect: DepthDefect) -> Effect:
    groove = ruled.element
    if not isinstance(groove, FacetGroove | SineGroove):
        return Effect("depth", line.order, line.wavelength_m, text="slits have no depth")
    change = _Change(lambda s: groove.deepened(1 + s), (0.0, -defect.wear), defect.rms, 1e-3)
    return _profile_change(ruled, line, "depth", change)


@dataclass(frozen=True)
class _Change:
    """An element that changes along the ruling: by `ends`, and at random by `rms`."""

    element: Callable[[float], Element]
    ends: tuple[float, float]
    rms: float
    small: float

    def amplitude(self, change: float, ruled: Ruling, line: Order) -> complex:
        sine = np.array([math.sin(line.beta_rad)])
        rays = Rays(ruled.sine_in, sine, line.wavelength_m)
        return complex(self.element(change).amplitude(rays)[0])


def _profile_change(ruled: Ruling, line: Order, kind: str, change: _Change) -> Effect:
    """Loss by the mean amplitude from end to end; diffuse light by the amplitude's slope."""

    def amplitude(value: float) -> complex:
        return change.amplitude(value, ruled, line)

    if line.missing:
        text = f"{kind} errors put light into an order that is missing with perfect grooves"
        return Effect(kind, line.order, line.wavelength_m, text=text)
    perfect, (first, last) = amplitude(0.0), change.ends
    node, weight = np.polynomial.legendre.leggauss(_ALONG)
    values = (first + last) / 2 + (last - first) / 2 * node
    mean = weight @ np.array([amplitude(float(v)) for v in values]) / 2
    curvature = (amplitude(change.small) - 2 * perfect + amplitude(-change.small)) / change.small**2
    mean += curvature * change.rms**2 / 2
    slopes = [
        (amplitude(v + change.small) - amplitude(v - change.small)) / (2 * change.small)
        for v in values
    ]
    scattered = float(weight @ np.abs(slopes) ** 2) / 2 * change.rms**2
    left = float(abs(mean / perfect) ** 2)
    level = scattered / abs(perfect) ** 2 / ruled.effective_count
    text = f"{kind} errors leave {left:.4g} of the line, mean diffuse level {level:.2g}"
    return Effect(kind, line.order, line.wavelength_m, left, level, text=text)
