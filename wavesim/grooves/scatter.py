"""From a method and a batch of waves to the amplitudes of all orders."""

from __future__ import annotations

from typing import Protocol

import numpy as np

from wavesim.arrays import Complexes, Floats, Indices
from wavesim.grooves.face import Face
from wavesim.grooves.problem import Kind, Problem
from wavesim.grooves.recursion import Half, Region, Relation, faces
from wavesim.grooves.waves import Amplitudes, IncidentWaves


class Method(Protocol):
    """What the two methods offer."""

    @property
    def top(self) -> Face:
        """The face that the light meets."""

    @property
    def bottom(self) -> Face:
        """The face of the substrate."""

    def problem(self, kind: Kind, waves: IncidentWaves) -> Problem:
        """Which fields are coupled."""

    def above(self, problem: Problem, eps: Complexes) -> Half:
        """Upward waves of the half-space that the light comes from."""

    def layers(self, problem: Problem) -> list[Region]:
        """What lies between, from the top down."""

    def below(self, problem: Problem, eps: Complexes | None) -> Relation:
        """The substrate; None is a perfect conductor."""


def scatter(
    method: Method,
    waves: IncidentWaves,
    eps_above: Complexes,
    eps_below: Complexes | None,
    order: Indices | None = None,
) -> Amplitudes:
    """Amplitudes of all orders for both incident polarisations.

    Parameters
    ----------
    eps_above, eps_below : (b,) permittivities; None below is a perfect conductor
    order : (orders,) n wanted; default all that leave
    """
    if order is None:
        order = waves.orders(eps_above)
        if eps_below is not None:
            order = np.union1d(order, waves.orders(eps_below + 0j))
    shape = (2, 2, waves.k0.size, order.size)
    reflected, transmitted = np.zeros(shape, dtype=complex), np.zeros(shape, dtype=complex)
    absorbed = np.zeros((2, waves.k0.size))
    coupled = waves.conical and eps_below is not None
    kinds: tuple[Kind, ...] = ("both",) if coupled else ("along", "across")
    for kind in kinds:
        rows = {"both": slice(0, 2), "along": slice(0, 1), "across": slice(1, 2)}[kind]
        problem = method.problem(kind, waves)
        incident = problem.incident(eps_above, *method.top.incident(waves, eps_above))
        found = faces(
            method.above(problem, eps_above),
            method.layers(problem),
            method.below(problem, eps_below),
            incident,
        )
        unit = _incident_power(problem, eps_above)[rows]
        up = _orders(method.top, problem, eps_above, order, found.top, above=True)
        reflected[rows, rows] = up / np.sqrt(unit)[None, :, :, None]
        absorbed_power = _power_down(found.top if eps_below is None else found.bottom)
        if eps_below is not None:
            down = _orders(method.bottom, problem, eps_below, order, found.bottom, above=False)
            transmitted[rows, rows] = down / np.sqrt(unit)[None, :, :, None]
            left = np.sum(np.abs(transmitted[rows, rows]) ** 2, axis=(0, 3))
            absorbed_power = _power_down(found.top) / unit.real - left
        else:
            absorbed_power = absorbed_power / unit.real
        absorbed[rows] = absorbed_power
    return Amplitudes(order, reflected, transmitted, absorbed)


def _incident_power(problem: Problem, eps: Complexes) -> Complexes:
    """(2, b) power of the unit incident wave of E and of h."""
    beta = problem.waves.beta(eps, np.array([0]))
    return np.asarray(problem.power(eps, beta)[:, :, 0].real + 0j)


def _power_down(face: tuple[Complexes, Complexes]) -> Floats:
    """(incident, b) power through a face."""
    field, flux = face
    return np.asarray(-np.einsum("bnk,bnk->kb", field.conj(), flux).imag)


def _orders(
    face: Face,
    problem: Problem,
    eps: Complexes,
    order: Indices,
    fields: tuple[Complexes, Complexes],
    *,
    above: bool,
) -> Complexes:
    """(out, incident, b, orders) root of the power of each order, with its phase."""
    waves, value = problem.waves, fields[0]
    normal = problem.normals(eps, value, fields[1])
    p, q = face.receivers(waves, eps, order, above=above)
    run = waves.travelling(eps, order)
    beta = np.where(run, waves.beta(eps, order), 1.0)
    sign = 1.0 if above else -1.0
    size = p.shape[-1]
    power = problem.power(eps, beta)
    out = []
    for part, start in enumerate(range(0, value.shape[1], size)):
        v, g = value[:, start : start + size], normal[:, start : start + size]
        amplitude = (q @ v - p @ g) * (sign * 0.5j / beta)[..., None]
        kind = {"along": 0, "across": 1}.get(problem.kind, part)
        root = np.sqrt(np.where(run, power[kind].real, 0.0))
        out.append(np.moveaxis(amplitude * root[..., None], 2, 0))
    return np.stack(out)
