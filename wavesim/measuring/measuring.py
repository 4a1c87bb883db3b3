"""From a profile to a table of wavelengths: the whole measurement in one place."""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass, replace

import numpy as np

from wavesim.errors import InputError
from wavesim.measuring.both_sides import subsidiary
from wavesim.measuring.budget import budget
from wavesim.measuring.character import BROAD, of_pattern, without_lines
from wavesim.measuring.fringes import find_pattern
from wavesim.measuring.ghosts import Classification, Period, classify
from wavesim.measuring.instrument import Instrument
from wavesim.measuring.lists import Entry, line_list
from wavesim.measuring.orders import (
    VISIBLE_M,
    Assignment,
    assign,
    only_fitting,
    possible_orders,
)
from wavesim.measuring.peaks import Feature, Kind, find_lines
from wavesim.measuring.profile import Profile
from wavesim.measuring.result import Line, Measurement
from wavesim.text import counted, length

_GAUSSIAN = 1.064  # area of a Gaussian over its height and full width
_STRENGTH_M = 1e-12  # [m] unit of a solar line's strength: its equivalent width
_LETTERED = 4.0
_USUAL_LEAST = 1e-4
_BURNT_OUT = 0.1  # of the profile: what is said of it
_DARKER = 4.0  # times that width: more is missing than lines make
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
    light_m : [m] wavelength of the light or its mean, which turns fringes into lengths; nan where
        it is not known
    scene, photograph : names of the files that hold them, where there are any: for messages
    cautions : for the eyes, as the light needs them; the measurement repeats them
    """

    kind: Kind = "bright"
    least: float | None = None
    element: str | None = None
    order: int | None = None
    range_m: tuple[float, float] = VISIBLE_M
    zero_order: bool = True
    light_m: float = math.nan
    scene: str = ""
    photograph: str = ""
    cautions: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        if self.order == 0:
            raise InputError(
                "separates no wavelengths", key="order", value=0, expected="an order other than 0"
            )


def measure_profile(profile: Profile, instrument: Instrument, task: Task) -> Measurement:
    """Find, place, name and classify the lines of a profile.

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
    return replace(_measured(profile, instrument, task), cautions=task.cautions)


def _measured(profile: Profile, instrument: Instrument, task: Task) -> Measurement:
    notes = _defocus(profile) + _burnt_out(profile)
    zero = _zero_order(profile, instrument) if task.zero_order else None
    if zero is not None:
        instrument = _at_zero(instrument, zero)
        notes.append("the zero order is on the plate and sets the origin")
    if profile.least > _USUAL_LEAST and task.least is None and task.kind == "bright":
        notes.append(
            f"JPEG compression leaves ripples beside bright lines: lines below {profile.least:g} "
            "of the brightest are omitted; --least finds them"
        )
    features = _without_zero(find_lines(profile, task.kind, least=task.least), zero)
    if without_lines(features, instrument) or (
        not features and _shows_fringes(profile, instrument)
    ):
        return of_pattern(
            profile, find_lines(profile), instrument, task.light_m, scene=task.scene,
            photograph=task.photograph,
        )  # fmt: skip
    if not features:
        raise InputError(
            f"shows no {task.kind} lines: its light varies smoothly"
            + "".join(f"; {note}" for note in _burnt_out(profile)),
            key=profile.origin or None,
            expected="lines above nine times the noise; perhaps the other kind (bright or dark)",
        )  # fmt: skip
    entries: tuple[Entry, ...] = ()
    if task.element is not None:
        entries = line_list(task.element, _resolution_m(features, instrument, task))
    sides, lines = _placed(features, entries, instrument, task)
    if task.kind == "dark":
        lines = [_or_band(line, entries, instrument) for line in lines]
    classified: tuple[Classification, ...] = tuple(Classification("line") for _ in lines)
    periods: tuple[Period, ...] = ()
    lost = task.order is not None and not any(p.assignment and p.assignment.entry for p in lines)
    if task.kind == "bright" and not (lost and entries):
        classified, periods = classify(
            tuple(line.feature for line in lines), tuple(line.order for line in lines), instrument
        )
    placed = [
        (line, classified_as, lines[classified_as.parent] if classified_as.parent >= 0 else None)
        for line, classified_as in zip(lines, classified, strict=True)
    ]
    placed += [(line, Classification("subsidiary maximum"), None) for line in sides]
    if zero is not None:
        placed.append((_Placed(zero, None), Classification("zero order"), None))
    rows = _relative([_row(*line, instrument, profile) for line in placed], task.kind)
    rows.sort(key=lambda row: row.x_m)
    notes += _unnamed(rows, entries, task) + _bands(rows)
    return Measurement(tuple(rows), instrument, periods, profile.turned_rad, tuple(notes))


def _shows_fringes(profile: Profile, instrument: Instrument) -> bool:
    """Whether the pattern of several slits explains a profile on which no line stands."""
    pattern = find_pattern(profile, instrument.sine(profile.x_m))
    return pattern is not None and pattern.slits > 1


def _defocus(profile: Profile) -> list[str]:
    if profile.blurred:
        wide = length(profile.slit_image_m)
        return [
            f"{profile.blurred}: lines are broadened, to {wide} on average over the plate "
            "including the slit's image, which the uncertainty allows for"
        ]
    if not profile.defocus_m:
        return []
    return [
        f"the plate is {length(abs(profile.defocus_m))} "
        f"{'behind' if profile.defocus_m > 0 else 'in front of'} the focus: lines are broadened, "
        f"to {length(profile.slit_image_m)} including the slit's image, which the uncertainty "
        "allows for"
    ]


def _burnt_out(profile: Profile) -> list[str]:
    part = float(profile.saturated.mean())
    if part < _BURNT_OUT:
        return []
    return [
        f"{100 * part:.0f} % of the profile is burnt out: details there are lost, and lines are "
        "measured by their flanks; a shorter exposure shows more"
    ]


def _unnamed(rows: list[Line], entries: tuple[Entry, ...], task: Task) -> list[str]:
    """What to say where a list was asked for and names nothing in the order given."""
    read = [r.wavelength_m for r in rows if r.wavelength_m is not None]
    if task.order is None or not entries or not read or any(r.name for r in rows):
        return []
    low, high = min(read) * 1e9, max(read) * 1e9
    listed = [e.wavelength_m * 1e9 for e in entries]
    return [
        f"no line is identified: in order {task.order} they would lie at {low:.4g} to {high:.4g} "
        f"nm, but the list of {task.element} covers {min(listed):.4g} to {max(listed):.4g} nm. "
        "Is the order correct?"
    ]


def _bands(rows: list[Line]) -> list[str]:
    bands = sum(row.kind == "band" for row in rows)
    if not bands:
        return []
    verb = "is" if bands == 1 else "are"
    return [
        f"{counted(bands, 'dark band')} {verb} broader or darker than a line of the source: a "
        "gap between overlapping orders, or absorption by the Earth's atmosphere"
    ]


@dataclass(frozen=True)
class _Placed:
    """A line and the order that it was given, if any; `band` where it is no line at all."""

    feature: Feature
    assignment: Assignment | None
    band: bool = False

    @property
    def order(self) -> int:
        return 0 if self.assignment is None else self.assignment.order

    def wavelength_m(self, instrument: Instrument) -> float | None:
        x = self.feature.x_m
        return float(instrument.wavelength(x, self.order)) if self.assignment else None


def _placed(
    features: tuple[Feature, ...],
    entries: tuple[Entry, ...],
    instrument: Instrument,
    task: Task,
) -> tuple[list[_Placed], list[_Placed]]:
    """Orders for all lines: those that are subsidiary maxima of others, and the rest."""
    usual = [possible_orders(instrument, f.x_m, task.range_m) for f in features]
    lowest = tuple(task.order or (m[0] if m else 0) for m in usual)
    side = [False] * len(features)
    if task.kind == "bright":
        side = subsidiary(features, instrument, lowest)
    assigned = assign(
        features, instrument, entries, range_m=task.range_m, order=task.order, apart=tuple(side)
    )
    if task.kind == "bright":
        assigned = only_fitting(features, assigned, instrument)
    each = [_Placed(f, a) for f, a in zip(features, assigned, strict=True)]
    pairs = list(zip(each, side, strict=True))
    return [feature for feature, is_side in pairs if is_side], [
        feature for feature, is_side in pairs if not is_side
    ]


def _or_band(line: _Placed, entries: tuple[Entry, ...], instrument: Instrument) -> _Placed:
    """The line, or a band without wavelength if more light is missing than lines take away.

    Gaps between orders and between fringes are broader than 1/25 of their wavelength, or darker
    than the line whose name they would get (than any line of the list, where they would get none).
    """
    if line.assignment is None or not entries:
        return line
    feature, entry = line.feature, line.assignment.entry
    width = feature.width_m * abs(instrument.dispersion(feature.x_m, line.order))
    strongest = max(e.strength for e in entries) if entry is None else entry.strength
    if entry is not None and "(" in entry.name:
        strongest *= _LETTERED  # of a letter more is missing than one line's: G is a band itself
    missing = _GAUSSIAN * feature.height * width
    wavelength = abs(float(instrument.wavelength(feature.x_m, line.order)))
    if missing <= _DARKER * strongest * _STRENGTH_M and width <= BROAD * wavelength:
        return line
    return _Placed(feature, None, band=True)


def _zero_order(profile: Profile, instrument: Instrument) -> Feature | None:
    """The zero order's image, if the plate reaches it and something stands out there."""
    expected_m = float(instrument.position(0.0))
    reach = max(1e-3 * instrument.focal_m, 50 * profile.pixel_m)
    uncertainties = instrument.uncertainties
    reach += 3 * (
        uncertainties.origin_m
        + instrument.focal_m * (uncertainties.viewing_rad + uncertainties.incidence_rad)
    )
    near = np.abs(profile.x_m - expected_m) <= reach
    if not np.isfinite(expected_m) or not near.any() or near.sum() < 8:
        return None
    part = replace(
        profile, x_m=profile.x_m[near], value=profile.value[near],
        saturated=profile.saturated[near],
        strips=None if profile.strips is None else profile.strips[:, near],
    )  # fmt: skip
    lines = find_lines(part, "bright", least=0.5)
    if not lines:
        return None
    return max(lines, key=lambda f: f.height)


def _at_zero(instrument: Instrument, zero: Feature) -> Instrument:
    """The instrument with its origin moved so that the zero order lies where it was found."""
    shift_m = zero.x_m - float(instrument.position(0.0))
    uncertainties = replace(instrument.uncertainties, origin_m=zero.x_error_m, viewing_rad=0.0)
    return replace(instrument, origin_m=instrument.origin_m + shift_m, uncertainties=uncertainties)


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


def _row(
    placed: _Placed,
    classified_as: Classification,
    parent: _Placed | None,
    instrument: Instrument,
    profile: Profile,
) -> Line:
    feature, found = placed.feature, placed.assignment if classified_as.kind == "line" else None
    parts: dict[str, float] = {}
    if placed.assignment is not None:
        whole = budget(instrument, feature, placed.order, profile.slit_image_m)
        parts = {f"u_{part}": size for part, size in asdict(whole).items()}
        parts["uncertainty_m"] = whole.total_m
    entry = None if found is None else found.entry
    if entry is not None:
        parts["u_identification_m"] = entry.spread_m
    return Line(
        x_m=feature.x_m,
        height=feature.height,
        width_m=feature.width_m,
        kind="band" if placed.band else classified_as.kind,
        order=placed.order,
        wavelength_m=placed.wavelength_m(instrument),
        name="" if entry is None else entry.name,
        listed_m=None if entry is None else entry.wavelength_m,
        ghost_of_m=None if parent is None else parent.wavelength_m(instrument),
        ghost_fraction=None if parent is None else classified_as.fraction,
        confirmed=found is not None and found.confirmed,
        other_orders=() if found is None else found.others,
        blended=feature.blended,
        saturated=feature.saturated,
        **parts,
    )


def _relative(rows: list[Line], kind: Kind) -> list[Line]:
    """Heights of bright lines over that of the brightest line (the zero order apart)."""
    if kind == "dark":
        return rows
    top = max(row.height for row in rows if row.kind != "zero order")
    return [replace(row, height=row.height / top) for row in rows]
