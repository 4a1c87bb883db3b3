"""All of a divided circle's settings at once: pitch, incidence, the slit's zero, centring.

    reading = zero + (+-1) (alpha + beta) + a sin(reading) + b cos(reading),
    d (sin alpha + sin beta) = m lambda

a and b are the circle's error of centring, seen by a single vernier; the mean of two opposite ones
has none. Lines of known wavelength give the pitch; the slit's straight-through image is not
needed where lines were set on both sides, or where known lines give the zero.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from wavesim.arrays import Floats
from wavesim.errors import InputError
from wavesim.grating_equation import sine_of_order, wavelength_of_sine

_PITCHES = np.geomspace(2e-7, 2e-4, 1500)  # [m] tried as a start
_SINGULAR = 1e-11


@dataclass(frozen=True)
class Settled:
    """What a set of readings gives.

    Attributes
    ----------
    value, error : of "zero", "pitch", "incidence", "sine", "cosine" (of the centring error), and of
        each line's wavelength by its name; SI, standard errors
    reading_rad : (n,) readings free of the centring error, from the zero, in the orders' sense
    scatter : root of chi square over degrees of freedom; nan without any
    """

    value: dict[str, float]
    error: dict[str, float]
    reading_rad: Floats
    scatter: float

    @property
    def centring_rad(self) -> float:
        """Largest error that the circle's centring makes [rad]."""
        return math.hypot(self.value.get("sine", 0.0), self.value.get("cosine", 0.0))


@dataclass(frozen=True, eq=False)
class Readings:
    """Arrays (n,): angle [rad], its standard error, order, name; known lines by name [m]."""

    angle_rad: Floats
    error_rad: Floats
    order: Floats
    name: tuple[str, ...]
    known_m: dict[str, float]


def settle(
    readings: Readings,
    *,
    pitch: tuple[float | None, float],
    incidence: tuple[float, float],
    centring: bool = False,
) -> Settled:
    """Least squares over all readings.

    Parameters
    ----------
    pitch : d [m] and its relative standard error; None, or an infinite error, to find it
    incidence : alpha and its standard error [rad]; infinite to find it
    centring : find the circle's error of centring as well

    Raises
    ------
    InputError
        Readings that cannot tell what is asked, or a start that cannot be found.
    """
    best: Settled | None = None
    best_cost = math.inf
    for sense in (1.0, -1.0):
        model = _Model(readings, pitch, incidence, centring, sense)
        found = model.fitted()
        if found is not None and found[1] < best_cost:
            best, best_cost = found
    if best is None:
        raise InputError(
            "cannot be determined from these settings", key="circle",
            expected="lines on both sides, the straight-through image, or known lines",
        )  # fmt: skip
    return best


@dataclass(frozen=True, eq=False)
class _Model:
    readings: Readings
    pitch: tuple[float | None, float]
    incidence: tuple[float, float]
    centring: bool
    sense: float

    @property
    def names(self) -> tuple[str, ...]:
        """Unknowns: zero, ln pitch, incidence, centring, and wavelengths of unknown lines."""
        r = self.readings
        lines = dict.fromkeys(
            n for n, m in zip(r.name, r.order, strict=True) if m and n not in r.known_m
        )
        shared = ("zero", "pitch", "incidence", *(("sine", "cosine") if self.centring else ()))
        return (*shared, *lines)

    def fitted(self) -> tuple[Settled, float] | None:
        from scipy.optimize import least_squares

        start = self._start()
        if start is None:
            return None
        names, scale = self.names, np.array(start)
        scale = np.where(np.abs(scale) > 0, np.abs(scale), 1e-3)
        scale[0] = scale[2] = 1e-3
        best = least_squares(self._residual, np.array(start), x_scale=scale, xtol=1e-15, ftol=1e-15)
        jacobian = best.jac * scale
        size = np.linalg.svd(jacobian, compute_uv=False)
        if size[-1] < _SINGULAR * size[0]:
            return None
        spare = self.readings.angle_rad.size + self._priors - len(names)
        chi2 = 2 * float(best.cost)
        factor = max(1.0, chi2 / spare) if spare > 0 else 1.0
        covariance = np.linalg.inv(jacobian.T @ jacobian) * np.outer(scale, scale) * factor
        value = dict(zip(names, best.x.tolist(), strict=True))
        error = dict(zip(names, np.sqrt(np.diag(covariance)).tolist(), strict=True))
        turn = self.sense * _wrapped(self._centred(value) - value["zero"])
        scatter = math.sqrt(chi2 / spare) if spare > 0 else math.nan
        return Settled(value, error, np.asarray(turn), scatter), chi2

    @property
    def _priors(self) -> int:
        return int(self.pitch[0] is not None and math.isfinite(self.pitch[1])) + int(
            math.isfinite(self.incidence[1])
        )

    def _centred(self, value: dict[str, float]) -> Floats:
        angle = self.readings.angle_rad
        wrong = value.get("sine", 0.0) * np.sin(angle) + value.get("cosine", 0.0) * np.cos(angle)
        return np.asarray(angle - wrong)

    def _residual(self, q: Floats) -> Floats:
        value, r = dict(zip(self.names, q.tolist(), strict=True)), self.readings
        d, alpha = value["pitch"], value["incidence"]
        wavelength = np.array([r.known_m.get(n, value.get(n, 0.0)) for n in r.name])
        sine = sine_of_order(r.order, wavelength, pitch_m=d, sine_in=math.sin(alpha))
        sine = np.clip(sine, -1.0, 1.0)
        turn = np.where(r.order == 0, 0.0, np.arcsin(sine) + alpha)
        off = _wrapped(self._centred(value) - value["zero"] - self.sense * turn) / r.error_rad
        priors = []
        if self.pitch[0] is not None and math.isfinite(self.pitch[1]):
            priors.append((d / self.pitch[0] - 1) / max(self.pitch[1], 1e-8))
        if math.isfinite(self.incidence[1]):
            priors.append((alpha - self.incidence[0]) / max(self.incidence[1], 1e-8))
        return np.concatenate([off, priors])

    def _start(self) -> list[float] | None:
        r, alpha = self.readings, self.incidence[0]
        known = np.array([r.known_m.get(n, math.nan) for n in r.name])
        tried = _PITCHES if self.pitch[0] is None else np.array([self.pitch[0]])
        best: tuple[float, float, float] | None = None
        for d in tried.tolist():
            zero, cost = self._zero(d, alpha, known)
            if zero is not None and (best is None or cost < best[0]):
                best = (cost, zero, d)
        if best is None:
            return None
        _, zero, d = best
        turn = self.sense * _wrapped(r.angle_rad - zero)
        lines = []
        for name in self.names[5 if self.centring else 3 :]:
            rows = [k for k, n in enumerate(r.name) if n == name and r.order[k]]
            sine_out = np.array([math.sin(turn[k] - alpha) for k in rows])
            each = wavelength_of_sine(sine_out, r.order[rows], pitch_m=d, sine_in=math.sin(alpha))
            lines.append(float(np.mean(each)))
        if any(not wavelength > 0 for wavelength in lines):
            return None
        return [zero, d, alpha, *([0.0, 0.0] if self.centring else []), *lines]

    def _zero(self, d: float, alpha: float, known: Floats) -> tuple[float | None, float]:
        """The slit's reading by its image, known lines, pairs of both sides; and its scatter."""
        r = self.readings
        found = list(r.angle_rad[r.order == 0])
        sine = sine_of_order(r.order, known, pitch_m=d, sine_in=math.sin(alpha))
        usable = (r.order != 0) & (np.abs(np.nan_to_num(sine, nan=2.0)) < 1)
        if np.isfinite(known).any() and not usable.any():
            return None, math.inf
        turn = np.arcsin(np.where(usable, sine, 0.0)) + alpha
        found += list((r.angle_rad - self.sense * turn)[usable])
        if not found:
            found = self._middles()
        if not found:
            return None, math.inf
        middle = float(np.angle(np.mean(np.exp(1j * np.array(found)))))
        miss = 1e3 * int(((r.order != 0) & np.isfinite(known) & ~usable).sum())
        return middle, float((_wrapped(np.array(found) - middle) ** 2).sum()) + miss

    def _middles(self) -> list[float]:
        """Means of the readings of one line in orders m and -m."""
        r, out = self.readings, []
        for k in range(r.order.size):
            for j in range(k):
                if r.name[j] == r.name[k] and r.order[j] == -r.order[k] != 0:
                    apart = float(_wrapped(r.angle_rad[k] - r.angle_rad[j]))
                    out.append(float(r.angle_rad[j]) + apart / 2)
        return out


def _wrapped(angle: Floats) -> Floats:
    return np.asarray((angle + math.pi) % (2 * math.pi) - math.pi)
