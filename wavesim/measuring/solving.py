"""Finding what is not known of an instrument from lines of known wavelength.

Least squares on the positions of reference lines. Wrong identifications are shut out first: of
all small sets of references that just determine the unknowns, the one whose instrument agrees
with most of the others decides which references count (Fischler and Bolles 1981, Commun. ACM
24, 381; all sets instead of random ones where they are few).
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from wavesim.arrays import Floats
from wavesim.errors import InputError
from wavesim.measuring.instrument import Instrument
from wavesim.measuring.lists import Entry
from wavesim.measuring.peaks import Feature
from wavesim.random_streams import stream

UNKNOWNS = {
    "pitch": "pitch_m",
    "focal": "focal_m",
    "incidence": "alpha_rad",
    "viewing": "viewing_rad",
    "origin": "origin_m",
    "distortion": "distortion",
}
_STATED = {
    "pitch_m": "pitch", "focal_m": "focal", "alpha_rad": "incidence_rad",
    "viewing_rad": "viewing_rad", "origin_m": "origin_m", "distortion": "distortion",
}  # fmt: skip
_MOST_SETS = 600
_AGREE = 6.0  # standard uncertainties within which a reference agrees
_STEPS = 25
_SINGULAR = 3e-7  # smallest singular value over the largest, columns scaled to one


@dataclass(frozen=True)
class Reference:
    """A line of known wavelength found on the plate.

    Attributes
    ----------
    x_m : [m] where it was found
    wavelength_m : [m] in standard air
    order : m
    x_error_m : [m] standard uncertainty of the position
    wavelength_error_m : [m] of the wavelength
    name : for reports
    """

    x_m: float
    wavelength_m: float
    order: int = 1
    x_error_m: float = 1e-6
    wavelength_error_m: float = 0.0
    name: str = ""


@dataclass(frozen=True)
class SolvedInstrument:
    """A solved instrument.

    Attributes
    ----------
    instrument : with the unknowns found
    uncertainty : standard uncertainty of each unknown by its field (pitch_m, ...), SI
    residual_m : [m] position found less position computed, for every reference
    used : which references counted
    rejected : names or wavelengths of those that did not
    checked : there were more references than unknowns, so that errors can show
    """

    instrument: Instrument
    uncertainty: dict[str, float]
    residual_m: tuple[float, ...]
    used: tuple[bool, ...]
    rejected: tuple[str, ...]
    checked: bool


def solve(
    references: tuple[Reference, ...], start: Instrument, unknown: tuple[str, ...] = ("pitch",)
) -> SolvedInstrument:
    """Find unknowns of an instrument.

    Parameters
    ----------
    references : known lines; those wrongly identified may be up to about half of them
    start : the instrument as far as it is known, the unknowns roughly (within some 20 %)
    unknown : names out of "pitch", "focal", "incidence", "viewing", "origin",
        "distortion" (one cubic term of the camera lens). A picture of
        unknown scale has an unknown "focal": only x / focal counts.

    Raises
    ------
    InputError
        Too few references, unknowns that the references cannot tell apart, or references that
        contradict one another.
    """
    fields = _fields(unknown)
    if len(references) < len(fields):
        raise InputError(
            f"{len(references)} lines cannot determine {len(fields)} unknowns", key="reference",
            expected=f"at least {len(fields)} lines of known wavelength",
        )  # fmt: skip
    used = _consensus(references, start, fields)
    chosen = tuple(r for r, u in zip(references, used, strict=True) if u)
    instrument = _fitted(chosen, start, fields)
    for _ in range(3):
        again = _agreeing(references, instrument)
        if again == used or sum(again) < len(fields):
            break
        used = again
        chosen = tuple(r for r, u in zip(references, used, strict=True) if u)
        instrument = _fitted(chosen, instrument, fields)
    residual = _residual(references, instrument)
    rejected = tuple(_label(r) for r, u in zip(references, used, strict=True) if not u)
    checked = len(chosen) > len(fields)
    covariance = _covariance(chosen, instrument, fields)
    error = {
        f: math.sqrt(max(float(v), 0.0)) for f, v in zip(fields, np.diag(covariance), strict=True)
    }
    uncertainties = replace(
        instrument.uncertainties, **{_STATED[f]: 0.0 for f in fields}, solved=fields,
        covariance=tuple(map(tuple, covariance.tolist())),
    )  # fmt: skip
    instrument = replace(instrument, uncertainties=uncertainties)
    return SolvedInstrument(instrument, error, tuple(residual.tolist()), used, rejected, checked)


def _fields(unknown: tuple[str, ...]) -> tuple[str, ...]:
    for name in unknown:
        if name not in UNKNOWNS:
            raise InputError(
                "cannot be solved for", key="solve", value=name,
                expected="one of " + ", ".join(UNKNOWNS),
            )  # fmt: skip
    if not unknown:
        raise InputError("names nothing to solve for", key="solve", expected="such as pitch")
    return tuple(UNKNOWNS[name] for name in dict.fromkeys(unknown))


def _label(reference: Reference) -> str:
    return reference.name or f"{reference.wavelength_m * 1e9:.3f} nm"


def _sigma(references: tuple[Reference, ...], instrument: Instrument) -> Floats:
    """Standard uncertainty of each position [m], the wavelength's share included."""
    return np.array(
        [
            math.hypot(
                r.x_error_m,
                r.wavelength_error_m / max(abs(instrument.dispersion(r.x_m, r.order)), 1e-30),
            )
            for r in references
        ]
    )


def _residual(references: tuple[Reference, ...], instrument: Instrument) -> Floats:
    wavelength = np.array([r.wavelength_m for r in references])
    order = np.array([r.order for r in references])
    x = np.array([r.x_m for r in references])
    position = instrument.position_m(wavelength, order)
    return np.where(np.isfinite(position), x - position, 1e3)


def _agreeing(references: tuple[Reference, ...], instrument: Instrument) -> tuple[bool, ...]:
    sigma = _sigma(references, instrument)
    near = np.abs(_residual(references, instrument)) <= _AGREE * sigma
    return tuple(bool(n) for n in near)


def _consensus(
    references: tuple[Reference, ...], start: Instrument, fields: tuple[str, ...]
) -> tuple[bool, ...]:
    """References that the best small set agrees with; all where nothing is to spare."""
    n, k = len(references), len(fields)
    if n == k:
        return (True,) * n
    best: tuple[bool, ...] = ()
    best_score = (-1, 0.0)
    for chosen in _sets(n, k):
        subset = tuple(references[i] for i in chosen)
        try:
            trial = _fitted(subset, start, fields)
        except InputError:
            continue
        agree = _agreeing(references, trial)
        miss = np.abs(_residual(references, trial))[list(agree)]
        score = (sum(agree), -float(miss.sum()))
        if score > best_score:
            best, best_score = agree, score
    need = k + 1 if n > k + 1 else k
    if sum(best) < need or 2 * sum(best) < n:
        raise InputError(
            f"only {max(sum(best), 0)} of {n} reference lines agree with one another",
            key="reference", expected="most of them identified correctly, in the right order",
        )  # fmt: skip
    return best


def _sets(n: int, k: int) -> list[tuple[int, ...]]:
    if math.comb(n, k) <= _MOST_SETS:
        return list(itertools.combinations(range(n), k))
    random = stream(n)
    return [tuple(random.choice(n, k, replace=False).tolist()) for _ in range(_MOST_SETS)]


def _scales(instrument: Instrument, fields: tuple[str, ...]) -> Floats:
    size = {
        "pitch_m": instrument.pitch_m,
        "focal_m": instrument.focal_m,
        "origin_m": instrument.focal_m,
        "alpha_rad": 1.0,
        "viewing_rad": 1.0,
        "distortion": 1.0,
    }
    return np.array([size[f] for f in fields])


def _changed(instrument: Instrument, fields: tuple[str, ...], change: Floats) -> Instrument:
    new = {f: getattr(instrument, f) + float(b) for f, b in zip(fields, change, strict=True)}
    return replace(instrument, **new)


def _slopes(
    references: tuple[Reference, ...], instrument: Instrument, fields: tuple[str, ...]
) -> Floats:
    """(n, k) change of computed positions with the unknowns, over their scales."""
    scale = _scales(instrument, fields)
    columns = []
    for i in range(len(fields)):
        change = np.zeros(len(fields))
        change[i] = 1e-6 * scale[i]
        ahead = _residual(references, _changed(instrument, fields, change))
        back = _residual(references, _changed(instrument, fields, -change))
        columns.append((back - ahead) / 2e-6)
    return np.stack(columns, axis=1)


def _fitted(
    references: tuple[Reference, ...], start: Instrument, fields: tuple[str, ...]
) -> Instrument:
    """Gauss-Newton with halved steps from the start.

    Our own, because it is run for up to 600 sets of lines: 2.6 ms for eight lines and two unknowns,
    scipy's least_squares 8.0 ms with the same result to 3e-11.
    """
    instrument, scale = start, _scales(start, fields)
    weight = 1 / _sigma(references, start)
    error = float((weight * _residual(references, instrument) ** 2).sum())
    for _ in range(_STEPS):
        slopes = _slopes(references, instrument, fields) * weight[:, None]
        _check_apart(slopes, fields)
        wanted = _residual(references, instrument) * weight
        step = np.linalg.lstsq(slopes, wanted, rcond=None)[0]
        moved, instrument, error = _stepped(references, instrument, fields, (step * scale, error))
        if not moved or float(np.abs(step).max()) < 1e-13:
            break
    return instrument


def _stepped(
    references: tuple[Reference, ...],
    instrument: Instrument,
    fields: tuple[str, ...],
    step: tuple[Floats, float],
) -> tuple[bool, Instrument, float]:
    change, error = step
    weight = 1 / _sigma(references, instrument)
    for halving in range(12):
        try:
            trial = _changed(instrument, fields, change / 2**halving)
        except InputError:
            continue
        trial_error = float((weight * _residual(references, trial) ** 2).sum())
        if trial_error < error:
            return True, trial, trial_error
    return False, instrument, error


def _check_apart(slopes: Floats, fields: tuple[str, ...]) -> None:
    size = np.sqrt((slopes**2).sum(axis=0))
    if len(fields) == 1 and size[0] > 0:
        return
    singular = np.linalg.svd(slopes / np.maximum(size, 1e-300), compute_uv=False)
    if size.min() == 0 or singular[-1] < _SINGULAR * singular[0]:
        names = {v: k for k, v in UNKNOWNS.items()}
        raise InputError(
            "cannot be determined separately from these lines", key="solve",
            value=", ".join(names[f] for f in fields),
            expected="fewer unknowns, or lines in more orders or farther apart",
        )  # fmt: skip


def disagreement(
    references: tuple[Reference, ...], start: Instrument, unknown: tuple[str, ...]
) -> float:
    """Sum of squared residuals over their uncertainties, once the unknowns are solved for."""
    try:
        fitted = _fitted(references, start, _fields(unknown))
    except InputError:
        return math.inf
    ratio = _residual(references, fitted) / _sigma(references, fitted)
    return float((ratio**2).sum())


def _covariance(
    references: tuple[Reference, ...], instrument: Instrument, fields: tuple[str, ...]
) -> Floats:
    """(k, k) from the references' errors, enlarged where they scatter by more than those.

    Few lines to spare tell little of their scatter: Student's factor for so many allows for it.
    """
    weight = 1 / _sigma(references, instrument)
    slopes = _slopes(references, instrument, fields) * weight[:, None]
    scale = _scales(instrument, fields)
    covariance = np.linalg.pinv(slopes.T @ slopes) * np.outer(scale, scale)
    spare = len(references) - len(fields)
    chi2 = float(((weight * _residual(references, instrument)) ** 2).sum())
    if spare <= 0 or chi2 <= spare:
        return np.asarray(covariance)
    from scipy.special import stdtrit

    return np.asarray(covariance * chi2 / spare * float(stdtrit(spare, 0.8413447)) ** 2)


def recognise(
    features: tuple[Feature, ...],
    entries: tuple[Entry, ...],
    start: Instrument,
    *,
    order: int = 1,
    scale_range: float = 0.25,
) -> tuple[Reference, ...]:
    """Match a plate of unknown scale and origin with a line list, by the pattern of its lines.

    Any two of the twelve tallest lines are tried as any two of the list's twelve strongest; the
    pair that brings most lines onto the list wins.

    Parameters
    ----------
    start : rough instrument; its scale may be wrong by `scale_range`, its origin by anything
    order : of the lines

    Raises
    ------
    InputError
        No pair brings four lines together.
    """
    tall = sorted(sorted(features, key=lambda f: -f.height)[:12], key=lambda f: f.x_m)
    strong = sorted(sorted(entries, key=lambda e: -e.strength)[:12], key=lambda e: e.wavelength_m)
    x = np.array([f.x_m for f in tall])
    listed = start.position_m(np.array([e.wavelength_m for e in strong]), order)
    width = float(np.median([f.width_m for f in tall]))
    best: list[tuple[int, int]] = []
    best_score = (0, 0.0)
    for i, j in itertools.combinations(range(x.size), 2):
        for a, b in itertools.permutations(range(listed.size), 2):
            scale = (x[j] - x[i]) / (listed[b] - listed[a])
            if not 1 / (1 + scale_range) <= scale <= 1 + scale_range:
                continue
            pairs, miss = _matches(x, x[i] + (listed - listed[a]) * scale, 2 * width)
            if (len(pairs), -miss) > best_score:
                best, best_score = pairs, (len(pairs), -miss)
    if len(best) < 4:
        raise InputError(
            "the lines do not match the list", key="element",
            expected="four lines or more in the list's pattern; the right lamp and a rough scale",
        )  # fmt: skip
    return tuple(
        Reference(
            tall[i].x_m, strong[a].wavelength_m, order, tall[i].x_error_m,
            strong[a].spread_m, strong[a].name,
        )
        for i, a in best
    )  # fmt: skip


def _matches(x: Floats, position: Floats, reach: float) -> tuple[list[tuple[int, int]], float]:
    """Pairs (line, entry) that are each other's nearest within reach, and their summed miss."""
    apart: npt.NDArray[np.float64] = np.abs(x[:, None] - position)
    nearest = apart.argmin(axis=1)
    back = apart.argmin(axis=0)
    pairs = [(i, int(a)) for i, a in enumerate(nearest) if apart[i, a] <= reach and back[a] == i]
    return pairs, float(sum(apart[i, a] for i, a in pairs))
