"""From a profile to a table of wavelengths: the whole measurement in one place."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from wavesim.errors import InputError
from wavesim.study.measure.budget import Budget, budget
from wavesim.study.measure.ghosts import Verdict, classify
from wavesim.study.measure.instrument import Instrument
from wavesim.study.measure.lists import Entry, line_list
from wavesim.study.measure.orders import VISIBLE_M, Assignment, assign, possible_orders
from wavesim.study.measure.peaks import Feature, Kind, find_lines
from wavesim.study.measure.profile import Profile
from wavesim.study.measure.result import Line, Measurement
from wavesim.study.measure.sides import subsidiary

_ZERO_REACH = 3.0  # line widths about the zero order that hold nothing else


@dataclass(frozen=True)
class Task:
    """What is asked of a plate.

    Attributes
    ----------
    kind : "bright" or "dark" lines
    least : smallest line, see `find_lines`; None for the usual
    element : line list for names, None for none
    order : the order of all lines where it is known
    range_m : shortest and longest wavelength [m] that the source sends
    zero_order : set the origin by the zero order where the plate shows it
    """

    kind: Kind = "bright"
    least: float | None = None
    element: str | None = None
    order: int | None = None
    range_m: tuple[float, float] = VISIBLE_M
    zero_order: bool = True

    def __post_init__(self) -> None:
        if self.order == 0:
            raise InputError(
                "shows no wavelengths", key="order", value=0, expected="an order but 0"
            )


def measure_profile(profile: Profile, instrument: Instrument, task: Task) -> Measurement:
    """Find, place, name and judge the lines of a profile.

    Parameters
    ----------
    profile : light against position
    instrument : pitch, focal length and angles, with their uncertainties
    task : what to look for

    Raises
    ------
    InputError
        No line stands out.
    """
    notes: list[str] = []
    zero = _zero_order(profile, instrument) if task.zero_order else None
    if zero is not None:
        instrument = _at_zero(instrument, zero)
        notes.append("the zero order is on the plate and sets the origin")
    features = _without_zero(find_lines(profile, task.kind, least=task.least), zero)
    if not features:
        raise InputError(
            f"shows no {task.kind} lines", key=profile.origin or None,
            expected="lines above nine times the noise; perhaps the other kind (bright or dark)",
        )  # fmt: skip
    entries: tuple[Entry, ...] = ()
    if task.element is not None:
        entries = line_list(task.element, _resolution_m(features, instrument, task))
    usual = [possible_orders(instrument, f.x_m, task.range_m) for f in features]
    lowest = tuple(task.order or (m[0] if m else 0) for m in usual)
    sides = [False] * len(features)
    if task.kind == "bright":
        sides = subsidiary(features, instrument, lowest)
    assigned = assign(
        features, instrument, entries, range_m=task.range_m, order=task.order, apart=tuple(sides)
    )
    orders = tuple(0 if a is None else a.order for a in assigned)
    verdicts: tuple[Verdict, ...] = tuple(Verdict("line") for _ in features)
    if task.kind == "bright":
        kept = [k for k in range(len(features)) if not sides[k]]
        judged, periods = classify(
            tuple(features[k] for k in kept), tuple(orders[k] for k in kept), instrument
        )
        back = dict(zip(kept, judged, strict=True))
        verdicts = tuple(
            _renumbered(back[k], kept) if k in back else Verdict("subsidiary maximum")
            for k in range(len(features))
        )
    else:
        periods = ()
    rows = _rows(features, assigned, verdicts, instrument, profile)
    if zero is not None:
        rows = (*rows, _zero_row(zero))
    rows = tuple(sorted(_relative(rows, task.kind), key=lambda r: r.x_m))
    return Measurement(rows, instrument, periods, profile.turned_rad, tuple(notes))


def _renumbered(verdict: Verdict, kept: list[int]) -> Verdict:
    return replace(verdict, parent=kept[verdict.parent]) if verdict.parent >= 0 else verdict


def _zero_order(profile: Profile, instrument: Instrument) -> Feature | None:
    """The zero order's image, if the plate reaches it and something stands out there."""
    place = float(instrument.position(0.0))
    reach = max(1e-3 * instrument.focal_m, 50 * profile.pixel_m)
    doubt = instrument.doubt
    reach += 3 * (doubt.origin_m + instrument.focal_m * (doubt.viewing_rad + doubt.incidence_rad))
    near = np.abs(profile.x_m - place) <= reach
    if not np.isfinite(place) or not near.any() or near.sum() < 8:
        return None
    part = replace(
        profile, x_m=profile.x_m[near], value=profile.value[near], saturated=profile.saturated[near]
    )
    lines = find_lines(part, "bright", least=0.5)
    if not lines:
        return None
    return max(lines, key=lambda f: f.height)


def _at_zero(instrument: Instrument, zero: Feature) -> Instrument:
    """The instrument with its origin moved so that the zero order lies where it was found."""
    by = zero.x_m - float(instrument.position(0.0))
    doubt = replace(instrument.doubt, origin_m=zero.x_error_m, viewing_rad=0.0)
    return replace(instrument, origin_m=instrument.origin_m + by, doubt=doubt)


def _without_zero(features: tuple[Feature, ...], zero: Feature | None) -> tuple[Feature, ...]:
    if zero is None:
        return features
    reach = _ZERO_REACH * zero.width_m
    return tuple(f for f in features if abs(f.x_m - zero.x_m) > reach)


def _resolution_m(features: tuple[Feature, ...], instrument: Instrument, task: Task) -> float:
    """Usual full width of a line as a wavelength [m], in the first order or the one given."""
    width = float(np.percentile([f.width_m for f in features], 30))
    middle = features[len(features) // 2].x_m
    return width * abs(instrument.dispersion(middle, task.order or 1))


def _rows(
    features: tuple[Feature, ...],
    assigned: tuple[Assignment | None, ...],
    verdicts: tuple[Verdict, ...],
    instrument: Instrument,
    profile: Profile,
) -> tuple[Line, ...]:
    wavelengths = [
        None if a is None else float(instrument.wavelength(f.x_m, a.order))
        for f, a in zip(features, assigned, strict=True)
    ]
    out = []
    for k, (feature, a, verdict) in enumerate(zip(features, assigned, verdicts, strict=True)):
        parts = None if a is None else budget(instrument, feature, a.order, profile.slit_image_m)
        parent = wavelengths[verdict.parent] if verdict.parent >= 0 else None
        out.append(_row(feature, a, verdict, (wavelengths[k], parts, parent)))
    return tuple(out)


def _row(
    feature: Feature,
    assignment: Assignment | None,
    verdict: Verdict,
    read: tuple[float | None, Budget | None, float | None],
) -> Line:
    wavelength, parts, parent = read
    true = verdict.kind == "line"
    entry = assignment.entry if assignment is not None and true else None
    return Line(
        x_m=feature.x_m,
        height=feature.height,
        width_m=feature.width_m,
        kind=verdict.kind,
        order=0 if assignment is None else assignment.order,
        wavelength_m=wavelength,
        uncertainty_m=None if parts is None else parts.total_m,
        u_pixel_m=None if parts is None else parts.pixel_m,
        u_slit_m=None if parts is None else parts.slit_m,
        u_pitch_m=None if parts is None else parts.pitch_m,
        u_angles_m=None if parts is None else parts.angles_m,
        u_air_m=None if parts is None else parts.air_m,
        name="" if entry is None else entry.name,
        listed_m=None if entry is None else entry.wavelength_m,
        u_identification_m=None if entry is None else entry.spread_m,
        ghost_of_m=parent,
        ghost_fraction=None if verdict.parent < 0 else verdict.fraction,
        confirmed=assignment is not None and true and assignment.confirmed,
        other_orders=() if assignment is None or not true else assignment.others,
        blended=feature.blended,
        saturated=feature.saturated,
    )


def _zero_row(zero: Feature) -> Line:
    return Line(
        x_m=zero.x_m,
        height=zero.height,
        width_m=zero.width_m,
        kind="zero order",
        order=0,
        wavelength_m=None,
        uncertainty_m=None,
        saturated=zero.saturated,
    )


def _relative(rows: tuple[Line, ...], kind: Kind) -> tuple[Line, ...]:
    """Heights of bright lines over that of the brightest line (the zero order apart)."""
    if kind == "dark":
        return rows
    lines = [r.height for r in rows if r.kind != "zero order"]
    top = max(lines)
    return tuple(replace(r, height=r.height / top) for r in rows)
