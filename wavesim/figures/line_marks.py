"""Marks of the source's own lines: a lamp's, a laser's, or Fraunhofer's letters in sunlight.

A line is marked only where its light reaches the plate.
"""

from __future__ import annotations

import numpy as np

from wavesim.arrays import Floats
from wavesim.errors import InputError
from wavesim.figures.marks import Mark, order_positions, orders_on
from wavesim.light.observer import cie1931
from wavesim.plate import Plate
from wavesim.scene import Lamp, Laser, Sun

_LEAST = 1e-4  # of the plate's brightest light of one nanometre: fainter light shows no line
_FAINTEST_LINE = 1e-3  # of the lamp's strongest
_REACH_M = 3e-9  # about a line: a dark line is marked where its neighbourhood is bright
_MOST_LINES = 60
_UNSEEN = 1e-4  # luminous efficiency by which lines that the eye does not see are ranked
# where there is no room for all letters: Fraunhofer's capitals first, then by a reader's interest
# (a choice, no source)
_FIRST = (*"CFGBHAE", "D2", "b1", "D1", "K", "G'", "h", "b2", "b4", "d", "c", "a")


def line_marks(plate: Plate) -> list[Mark]:
    """Each line in every order that brings its light onto the plate, the strongest lines first.

    Raises
    ------
    InputError
        The source has no lines, or none of them reaches the plate.
    """
    marks = []
    for label, wavelength_m in _lines(plate):
        orders = [m for m in orders_on(plate.scene, np.array([wavelength_m])) if m]
        positions = order_positions(plate.scene, np.array(orders, dtype=float), wavelength_m)
        marks += [
            Mark(float(x), label, "line")
            for x in positions
            if _bright(plate, float(x), wavelength_m)
        ]
    if not marks:
        raise InputError(
            "none of the source's lines falls on the plate in an order other than 0", key="--mark",
            value="lines", expected="--mark orders",
        )  # fmt: skip
    return marks


def _lines(plate: Plate) -> list[tuple[str, float]]:
    """Label and wavelength [m], those first that are named where there is no room for all."""
    source = plate.scene.source
    match source:
        case Lamp():
            from wavesim.light.lamps import lines

            table = lines(source.element)
            strong = np.argsort(-table.strength)[:_MOST_LINES]
            chosen = strong[table.strength[strong] > _FAINTEST_LINE * table.strength.max()]
            bright = table.strength[chosen] * (_luminous(table.wavelength_m[chosen]) + _UNSEEN)
            chosen = chosen[np.argsort(-bright)]
            return [(f"{table.wavelength_m[k] * 1e9:.1f}", float(table.wavelength_m[k]))
                    for k in chosen]  # fmt: skip
        case Laser():
            return [(f"{source.wavelength_m * 1e9:.1f}", source.wavelength_m)]
        case Sun(lines=True):
            from wavesim.measuring import FRAUNHOFER

            known = {letter: nm * 1e-9 for letter, nm, _ in FRAUNHOFER}
            return [(letter, known[letter]) for letter in _FIRST]
        case _:
            raise InputError(
                "has no lines to mark", key="source.kind", value=source.kind,
                expected="a lamp, a laser or the Sun with its lines; or --mark orders",
            )  # fmt: skip


def _luminous(wavelength_m: Floats) -> Floats:
    """Luminous efficiency V."""
    known_m, cmf = cie1931()
    return np.interp(wavelength_m, known_m, cmf[:, 1], left=0.0, right=0.0)


def _bright(plate: Plate, x_m: float, wavelength_m: float) -> bool:
    """Whether light of about that wavelength reaches about that position."""
    if not plate.x_m[0] <= x_m <= plate.x_m[-1]:
        return False
    near = np.abs(plate.profile_wavelength_m - wavelength_m) <= _REACH_M
    column = int(np.argmin(np.abs(plate.x_m - x_m)))
    about = plate.profile_spectrum[near, max(column - 2, 0) : column + 3]
    return bool(about.size and about.max() > _LEAST * plate.profile_spectrum.max())
