"""Wavelengths from the settings of a spectrometer's divided circle.

    lambda = d (sin alpha + sin beta) / m,    beta = +-(reading - zero) - alpha

where `zero` is the reading of the straight-through image (order 0, beta = -alpha). The sign of the
circle follows from the settings themselves. Settings of +m and -m of one line together cancel an
error of the incidence to first order; all correlations (zero, incidence, pitch) are carried.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import ClassVar

import numpy as np

from wavesim.arrays import Floats
from wavesim.errors import InputError
from wavesim.grating_equation import wavelength_of_sine
from wavesim.measuring.circle_fit import Readings, Settled, settle
from wavesim.results import Column, Listing, Result, Sentence, Table, plain

ARCSEC_RAD = math.pi / 648_000

_EXACT = 1e-7  # [rad] below which an incidence was not found but given
_MOST_SETTINGS = 2000
_MOST_UNKNOWN = 300  # lines whose wavelengths one fit finds


@dataclass(frozen=True)
class CircleSetting:
    """One setting of the telescope on a line.

    Attributes
    ----------
    order : m, 0 for the straight-through image
    angle_rad : [rad] reading of the circle
    second_rad : [rad] reading of the opposite vernier, where there is one
    name : lines with the same name are one line
    known_m : [m] wavelength in the room's air of a line that is known, to find the pitch by
    """

    order: int
    angle_rad: float
    second_rad: float | None = None
    name: str = ""
    known_m: float | None = None


@dataclass(frozen=True)
class Circle:
    """The spectrometer.

    Attributes
    ----------
    pitch_m : [m] d; None where known lines are to tell it
    incidence_rad : [rad] alpha
    reading_rad : [rad] standard uncertainty of one reading
    pitch_error : relative standard uncertainty of the pitch
    incidence_error_rad : [rad] of the incidence; infinite to find it from the settings
    centring : find the circle's error of centring from the settings
    """

    pitch_m: float | None
    incidence_rad: float = 0.0
    reading_rad: float = ARCSEC_RAD
    pitch_error: float = 0.0
    incidence_error_rad: float = 0.0
    centring: bool = False

    @property
    def solves(self) -> bool:
        """Whether anything but wavelengths is to be found."""
        return self.pitch_m is None or self.centring or math.isinf(self.incidence_error_rad)


@dataclass(frozen=True)
class CircleReading:
    """A wavelength from one setting, or from all settings of a line together.

    Attributes
    ----------
    name : of the line
    order : m; 0 for the mean of several orders
    settings : how many settings
    turn_rad : [rad] angle from the straight-through image, 0 for a mean
    wavelength_m : [m] as measured: in the air of the room
    uncertainty_m : [m] standard
    u_reading_m, u_pitch_m, u_incidence_m : [m] its parts
    """

    name: str
    order: int
    settings: int
    turn_rad: float
    wavelength_m: float
    uncertainty_m: float
    u_reading_m: float
    u_pitch_m: float
    u_incidence_m: float


@dataclass(frozen=True, repr=False)
class CircleTable(Result, Table[CircleReading]):
    """Settings turned into wavelengths, one row a setting.

    Attributes
    ----------
    means : one row a line, its settings weighted by their covariance
    zero_rad : [rad] reading of the straight-through image, set or found
    settled : what a fit of all settings found, where one was made
    """

    means: tuple[CircleReading, ...]
    zero_rad: float
    settled: Settled | None = None

    kind: ClassVar[str] = "divided circle"

    def report(self) -> Iterator[Sentence | Listing]:
        """What the circle tells, its settings, and the mean of each line."""
        return _report(self)

    def record(self) -> dict[str, object]:
        """Settings and lines as plain values, for JSON."""
        return {
            "zero_rad": self.zero_rad,
            "settings": self.as_dicts(),
            "lines": [plain(row) for row in self.means],
        }


def refuse_many(settings: int, file: Path | None = None) -> None:
    """Refuse more settings than hands can set.

    Raises
    ------
    InputError
        There are more.
    """
    if settings > _MOST_SETTINGS:
        raise InputError(
            "are too many settings for a divided circle", file=file, key="circle", value=settings,
            expected=f"at most {_MOST_SETTINGS:,}, as are set by hand",
        )  # fmt: skip


def from_circle(settings: tuple[CircleSetting, ...], circle: Circle) -> CircleTable:
    """Turn settings into wavelengths.

    Without a setting of order 0, with lines of known wavelength, or where the pitch, the incidence
    or the circle's centring is to be found, by a fit of all settings together (`circle_fit`).

    Raises
    ------
    InputError
        No setting of a line, too many of them, an angle that no light leaves at, or settings that
        do not tell what is to be found.
    """
    refuse_many(len(settings))
    zeros = [s for s in settings if s.order == 0]
    lines = [s for s in settings if s.order != 0]
    if not lines:
        raise InputError(
            "needs settings of lines", key="order",
            expected="at least one row with an order other than 0",
        )  # fmt: skip
    if not zeros or circle.solves or any(s.known_m for s in lines):
        return _from_fit(settings, circle)
    origin = _mean(zeros[0])
    zero = origin + float(np.mean([_wrapped(_mean(s) - origin) for s in zeros]))
    turn = np.array([_wrapped(_mean(s) - zero) for s in lines])
    order = np.array([s.order for s in lines], dtype=np.float64)
    turn = turn * (1.0 if float((turn * order).sum()) >= 0 else -1.0)
    wavelength, parts = _wavelengths(lines, turn, order, circle, zeros)
    rows = tuple(
        _read(s, turn[k], wavelength[k], {n: p[k : k + 1] for n, p in parts.items()})
        for k, s in enumerate(lines)
    )
    return CircleTable(rows, _means(lines, wavelength, parts), zero)


def _from_fit(settings: tuple[CircleSetting, ...], circle: Circle) -> CircleTable:
    known = {s.name: s.known_m for s in settings if s.known_m}
    if circle.pitch_m is None and not known:
        raise InputError(
            "needs a line of known wavelength to find the pitch", key="circle",
            expected="a column wavelength_nm with one or more, or --density",
        )  # fmt: skip
    names = tuple(s.name or f"setting {k + 1}" for k, s in enumerate(settings))
    unknown = len({n for n, s in zip(names, settings, strict=True) if s.order} - set(known))
    if unknown > _MOST_UNKNOWN:
        raise InputError(
            "holds too many lines of unknown wavelength", key="circle", value=unknown,
            expected=f"at most {_MOST_UNKNOWN}; settings of the same line need the same name",
        )  # fmt: skip
    error = circle.reading_rad / np.sqrt([1 + (s.second_rad is not None) for s in settings])
    readings = Readings(
        np.array([_mean(s) for s in settings]), error,
        np.array([s.order for s in settings], dtype=np.float64), names, known,
    )  # fmt: skip
    found = settle(
        readings,
        pitch=(circle.pitch_m, circle.pitch_error),
        incidence=(circle.incidence_rad, circle.incidence_error_rad),
        centring=circle.centring,
    )
    rows = tuple(_fitted_row(found, readings, k) for k, s in enumerate(settings) if s.order)
    means = tuple(_fitted_mean(found, rows, name) for name in dict.fromkeys(r.name for r in rows))
    return CircleTable(rows, means, found.value["zero"] % (2 * math.pi), found)


def _fitted_row(found: Settled, readings: Readings, k: int) -> CircleReading:
    """One setting's wavelength with what was found of pitch, incidence and zero."""
    d, alpha = found.value["pitch"], found.value["incidence"]
    m, turn = int(readings.order[k]), float(found.reading_rad[k])
    beta = turn - alpha
    if abs(beta) >= math.pi / 2:
        raise InputError(
            "no light leaves the grating there", key="degrees",
            value=f"{math.degrees(turn):.4g} deg from zero", expected="less than 90 deg from its "
                "normal",
        )  # fmt: skip
    wavelength = float(wavelength_of_sine(math.sin(beta), m, pitch_m=d, sine_in=math.sin(alpha)))
    reading = math.hypot(float(readings.error_rad[k]), found.error["zero"])
    parts = (
        abs(d * math.cos(beta) / m) * reading,
        wavelength * found.error["pitch"] / d,
        abs(d * (math.cos(alpha) - math.cos(beta)) / m) * found.error["incidence"],
    )
    name = readings.name[k]
    return CircleReading(name, m, 1, turn, wavelength, math.hypot(*parts), *parts)


def _fitted_mean(found: Settled, rows: tuple[CircleReading, ...], name: str) -> CircleReading:
    """A line's wavelength from the fit; of a known line, the mean of its settings."""
    own = [row for row in rows if row.name == name]
    mean = float(np.mean([row.wavelength_m for row in own]))
    value = found.value.get(name, mean)
    pitch = value * found.error["pitch"] / found.value["pitch"]
    error = found.error.get(name, math.hypot(own[0].u_reading_m / math.sqrt(len(own)), pitch))
    orders = {row.order for row in own}
    return CircleReading(
        name, orders.pop() if len(orders) == 1 else 0, len(own), 0.0, value, error,
        math.sqrt(max(error**2 - pitch**2, 0.0)), pitch, 0.0,
    )  # fmt: skip


def dms(degrees: float, minutes: float = 0.0, seconds: float = 0.0) -> float:
    """Degrees, minutes and seconds as radians; the sign of the degrees counts for all."""
    sign = math.copysign(1.0, degrees)
    return sign * math.radians(abs(degrees) + minutes / 60 + seconds / 3600)


def _mean(setting: CircleSetting) -> float:
    """Mean of both verniers, the second one 180 degrees away."""
    if setting.second_rad is None:
        return setting.angle_rad
    apart = setting.second_rad - setting.angle_rad - math.pi
    return setting.angle_rad + _wrapped(apart) / 2


def _wrapped(angle: float) -> float:
    """The same angle from -180 to 180 degrees."""
    return (angle + math.pi) % (2 * math.pi) - math.pi


def _wavelengths(
    lines: list[CircleSetting],
    turn: Floats,
    order: Floats,
    circle: Circle,
    zeros: list[CircleSetting],
) -> tuple[Floats, dict[str, Floats]]:
    """Wavelengths (n,) and, by cause, what one standard uncertainty of each source moves (n, k)."""
    beta = turn - circle.incidence_rad
    if np.any(np.abs(beta) >= math.pi / 2):
        worst = float(np.degrees(np.abs(turn).max()))
        raise InputError(
            "no light leaves the grating there", key="degrees", value=f"{worst:.4g} deg from zero",
            expected="settings less than 90 deg from the grating's normal",
        )  # fmt: skip
    d, alpha = circle.pitch_m or math.nan, circle.incidence_rad
    wavelength = wavelength_of_sine(np.sin(beta), order, pitch_m=d, sine_in=math.sin(alpha))
    if np.any(wavelength <= 0):
        raise InputError(
            "lie on the wrong side of the straight-through image for their order", key="order",
            expected="orders of opposite sign on opposite sides",
        )  # fmt: skip
    slope = d * np.cos(beta) / order
    reading = circle.reading_rad / np.sqrt([1 + (s.second_rad is not None) for s in lines])
    of_zeros = [1 / (1 + (s.second_rad is not None)) for s in zeros]
    zero = circle.reading_rad * math.sqrt(sum(of_zeros)) / len(zeros)
    settings = np.diag(slope * reading)
    parts = {
        "reading": np.concatenate([settings, -(slope * zero)[:, None]], axis=1),
        "pitch": (wavelength * circle.pitch_error)[:, None],
        "incidence": (d * (math.cos(alpha) - np.cos(beta)) / order * circle.incidence_error_rad)[
            :, None
        ],
    }
    return wavelength, parts


def _read(
    setting: CircleSetting, turn: float, wavelength: float, parts: dict[str, Floats]
) -> CircleReading:
    size = {name: float(np.sqrt((part**2).sum())) for name, part in parts.items()}
    return CircleReading(
        setting.name, setting.order, 1, float(turn), float(wavelength), math.hypot(*size.values()),
        size["reading"], size["pitch"], size["incidence"],
    )  # fmt: skip


def _means(
    lines: list[CircleSetting], wavelength: Floats, parts: dict[str, Floats]
) -> tuple[CircleReading, ...]:
    """Weighted means of the settings of each line: weights C^-1 1, C their covariance."""
    groups: dict[str, list[int]] = {}
    for k, s in enumerate(lines):
        groups.setdefault(s.name or f"setting {k + 1}", []).append(k)
    out = []
    for name, rows in groups.items():
        stack = np.concatenate([p[rows] for p in parts.values()], axis=1)
        covariance = stack @ stack.T
        floor = 1e-12 * max(float(np.trace(covariance)), (1e-18) ** 2)
        weight = np.linalg.solve(covariance + floor * np.eye(len(rows)), np.ones(len(rows)))
        weight /= weight.sum()
        size = {n: float(np.sqrt(((weight @ p[rows]) ** 2).sum())) for n, p in parts.items()}
        orders = {lines[k].order for k in rows}
        out.append(
            CircleReading(
                name, orders.pop() if len(orders) == 1 else 0, len(rows), 0.0,
                float(weight @ wavelength[rows]), math.hypot(*size.values()),
                size["reading"], size["pitch"], size["incidence"],
            )
        )  # fmt: skip
    return tuple(out)


def _report(found: CircleTable) -> Iterator[Sentence | Listing]:
    """The circle's zero and what was solved for, then its settings and lines."""
    yield Sentence("zero", f"the straight-through image reads {_dms(found.zero_rad)}")
    yield from (Sentence("solved", text) for text in _settled(found))
    yield Listing(
        "settings",
        (Column("line"), Column("order"), Column("deviation"), Column("wavelength", "nm"),
         Column("+-", "nm")),
        tuple(
            (r.name, str(r.order), _dms(r.turn_rad), f"{r.wavelength_m * 1e9:.4f}",
             f"{r.uncertainty_m * 1e9:.4f}")
            for r in found.rows
        ),
    )  # fmt: skip
    yield Listing(
        "mean of each line",
        (Column("line"), Column("settings"), Column("wavelength", "nm"), Column("+-", "nm"),
         Column("of which\nfrom pitch", "nm")),
        tuple(
            (r.name, str(r.settings), f"{r.wavelength_m * 1e9:.4f}",
             f"{r.uncertainty_m * 1e9:.4f}", f"{r.u_pitch_m * 1e9:.4f}")
            for r in found.means
        ),
    )  # fmt: skip


def _settled(found: CircleTable) -> list[str]:
    """What a fit of all settings found for grating and circle."""
    fit = found.settled
    if fit is None:
        return []
    d, error = fit.value["pitch"], fit.error["pitch"]
    parts = [f"{1e-3 / d:.4f} +- {1e-3 * error / d**2:.1g} rulings / mm (pitch {d * 1e6:.6f} um)"]
    if fit.error["incidence"] > _EXACT:
        parts.append(
            f"incidence {math.degrees(fit.value['incidence']) * 60:.2f} +- "
            f"{math.degrees(fit.error['incidence']) * 60:.1g} arcmin"
        )
    if "sine" in fit.value:
        arcsec = 180 * 3600 / math.pi
        error = math.hypot(fit.error["sine"], fit.error["cosine"])
        size = fit.centring_rad * arcsec
        parts.append(f"error of centring up to {size:.3g} +- {error * arcsec:.1g} arcsec")
    if not math.isnan(fit.scatter):
        parts.append(f"scatter of the settings {fit.scatter:.2g} times the reading error")
    return parts


def _dms(angle_rad: float) -> str:
    seconds = math.degrees(abs(angle_rad)) * 3600
    sign = "-" if angle_rad < 0 else ""
    whole = round(seconds, 1)
    degrees, minutes = int(whole // 3600), int(whole % 3600 // 60)
    return f"{sign}{degrees}\N{DEGREE SIGN} {minutes:02d}' {whole % 60:04.1f}\""
