"""Efficiencies of all orders of a grooved surface, with what they are worth."""

from __future__ import annotations

import os
from dataclasses import dataclass

import numpy as np

from wavesim.arrays import Floats, Indices
from wavesim.errors import ComputationError
from wavesim.grooves.scatter import scatter
from wavesim.grooves.surface import FINEST, MethodName, Surface, batch, method_for
from wavesim.grooves.waves import Amplitudes, IncidentWaves
from wavesim.threads import each, one_blas_thread

_WORST = 1e-2  # an error by the second truncation above this is no result


@dataclass(frozen=True, eq=False)
class Efficiencies:
    """Fractions of the incident power.

    Attributes
    ----------
    wavelength_m : (b,) in vacuum
    order : (orders,) m of d (sin alpha + sin beta) = m lambda
    reflected, transmitted : (2, b, orders) of light with the electric field along (0) and across
        (1) the grooves; 0 where an order does not leave, or runs into an absorbing substrate
    absorbed : (2, b) from the field at the faces
    balance : (2, b) sum of all less 1: a sign of mistakes, no measure of the error
    error : (2, b) largest difference of any efficiency from that with fewer functions
    functions : number of functions (the orders of a Fourier series)
    amplitudes : the same with their phases, by n = -m
    """

    wavelength_m: Floats
    order: Indices
    reflected: Floats
    transmitted: Floats
    absorbed: Floats
    balance: Floats
    error: Floats
    functions: int
    amplitudes: Amplitudes

    def index(self, m: int) -> int:
        """Place of an order."""
        return int(np.flatnonzero(self.order == m)[0])


def waves_for(
    surface: Surface, wavelength_m: Floats, sine_in: Floats | float, sine_along: float = 0.0
) -> IncidentWaves:
    """Incident waves by the sines of the angles across and along the grooves (in `above`)."""
    k0 = 2 * np.pi * surface.pitch_m / wavelength_m
    inside = k0 * np.sqrt(surface.eps(surface.above, wavelength_m).real)
    return IncidentWaves(k0, inside * sine_in, inside * sine_along)


def efficiencies(
    surface: Surface,
    wavelength_m: Floats,
    sine_in: Floats | float,
    *,
    sine_along: float = 0.0,
    tolerance: float = 1e-5,
    method: MethodName = "auto",
) -> Efficiencies:
    """Efficiencies refined until two truncations differ by no more than `tolerance`.

    Parameters
    ----------
    wavelength_m : (b,) in vacuum
    sine_in, sine_along : of the angle of incidence across (in the grating equation's sense) and
        along the grooves, in the medium `above`; not both large
    method : "auto" takes the modal method for vertical walls, else the coordinate transformation

    Raises
    ------
    LimitError
        A material's table does not cover the wavelengths, or the profile cannot be treated.
    ComputationError
        The depth is beyond what converges: two truncations differ by more than 1 %.
    """
    vacuum = np.atleast_1d(np.asarray(wavelength_m, dtype=np.float64))
    waves = waves_for(surface, vacuum, np.broadcast_to(sine_in, vacuum.shape), sine_along)
    coarse, _ = amplitudes(surface, vacuum, waves, method, 0)
    best: tuple[Amplitudes, Floats, int] | None = None
    for level in range(1, FINEST + 1):
        fine, size = amplitudes(surface, vacuum, waves, method, level)
        error = difference(fine, coarse)
        if best is None or error.max() < best[1].max():
            best = fine, error, size
        if error.max() <= tolerance or error.max() > 30 * best[1].max():
            break
        coarse = fine
    assert best is not None
    check_converged(best[1], vacuum)
    return described(vacuum, *best)


def described(vacuum: Floats, found: Amplitudes, error: Floats, size: int) -> Efficiencies:
    """Powers by m from amplitudes by n."""
    turned = np.argsort(-found.order, kind="stable")
    return Efficiencies(
        wavelength_m=vacuum,
        order=-found.order[turned],
        reflected=found.reflected_power[..., turned],
        transmitted=found.transmitted_power[..., turned],
        absorbed=found.absorbed,
        balance=found.balance,
        error=error,
        functions=size,
        amplitudes=found,
    )


def amplitudes(
    surface: Surface,
    vacuum: Floats,
    waves: IncidentWaves,
    method: MethodName,
    level: int,
    order: Indices | None = None,
    *,
    meshed_m: Floats | None = None,
) -> tuple[Amplitudes, int]:
    """Amplitudes at one level of refinement, and its largest number of functions.

    Parameters
    ----------
    meshed_m : (b,) for each wavelength, the one whose mesh it takes; default the shortest. What
        is computed at a wavelength depends on this alone, not on how the work is shared.
    """
    if order is None:
        order = all_orders(surface, vacuum, waves)
    meshed = np.full(vacuum.size, vacuum.min()) if meshed_m is None else meshed_m
    workers = min(os.cpu_count() or 1, 8)
    parts: list[tuple[float, Indices]] = []
    largest = 0
    for shortest in np.unique(meshed).tolist():
        mine = np.flatnonzero(meshed == shortest)
        _, size = method_for(surface, vacuum[mine], method, level, meshed_m=shortest)
        step = min(batch(waves, size), max(1, -(-vacuum.size // workers)))
        parts += [(shortest, mine[i : i + step]) for i in range(0, mine.size, step)]
        largest = max(largest, size)

    def work(part: tuple[float, Indices]) -> Amplitudes:
        shortest, chosen = part
        local = vacuum[chosen]
        solver, _ = method_for(surface, local, method, level, meshed_m=shortest)
        above = np.asarray(surface.eps(surface.above, local).real, dtype=np.complex128)
        below = None if surface.below is None else surface.eps(surface.below, local)
        return scatter(solver, waves.part(chosen), above, below, order)

    with one_blas_thread():
        found = each(work, parts, most=workers)
    back = np.argsort(np.concatenate([chosen for _, chosen in parts]), kind="stable")
    return _joined(found, back), largest


def _joined(found: list[Amplitudes], back: Indices) -> Amplitudes:
    return Amplitudes(
        found[0].order,
        np.concatenate([f.reflected for f in found], axis=2)[:, :, back],
        np.concatenate([f.transmitted for f in found], axis=2)[:, :, back],
        np.concatenate([f.absorbed for f in found], axis=1)[:, back],
    )


def all_orders(surface: Surface, vacuum: Floats, waves: IncidentWaves) -> Indices:
    """Orders (n) that leave on either side anywhere in the batch."""
    order = waves.orders(surface.eps(surface.above, vacuum))
    if surface.below is None or surface.below.metallic:
        return order
    return np.union1d(order, waves.orders(surface.eps(surface.below, vacuum)))


def difference(fine: Amplitudes, coarse: Amplitudes) -> Floats:
    """(2, b) largest difference of any efficiency."""
    up = np.abs(fine.reflected_power - coarse.reflected_power).max(axis=-1)
    down = np.abs(fine.transmitted_power - coarse.transmitted_power).max(axis=-1)
    return np.asarray(np.maximum(up, down))


def check_converged(error: Floats, vacuum: Floats) -> None:
    """Refuse a result that two truncations do not agree on.

    Raises
    ------
    ComputationError
        They differ by more than 1 % of the incident power.
    """
    if not error.max() <= _WORST:  # nor NaN
        where = vacuum[int(np.argmax(error.max(axis=0)))]
        raise ComputationError(
            "rigorous theory does not converge for this groove: two truncations differ by "
            f"{error.max():.2g} of the incident power at {where * 1e9:.5g} nm; expected a "
            "shallower groove, or scalar theory"
        )
