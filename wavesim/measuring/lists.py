"""Line lists for naming what a plate shows: lamps, and the Sun with Fraunhofer's letters.

Lines closer than the plate resolves are seen as one, at the mean of their strengths; the lists
are merged accordingly, and how far the merged position is from the strongest member is kept as the
uncertainty of the identification.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from wavesim.arrays import Floats
from wavesim.errors import InputError

ELEMENTS = ("H", "He", "Na", "Hg", "Cd", "Ne")

# Letter, wavelength in air [nm], origin. C, D1, D2, F, H, K and the air's A and B: encyclopaedia
# values of two decimals, see tests/test_measure_sun.py; the others are customary, from memory.
# Letters for which authors disagree (E, G) stand for the stronger of the lines meant.
FRAUNHOFER = (
    ("A", 759.37, "O2, head of a band of the Earth's atmosphere"),
    ("B", 686.72, "O2, head of a band of the Earth's atmosphere"),
    ("C", 656.28, "H I"),
    ("a", 627.66, "O2, head of a band of the Earth's atmosphere"),
    ("D1", 589.592, "Na I"),
    ("D2", 588.995, "Na I"),
    ("E", 526.96, "Fe I, Ca I"),
    ("b1", 518.362, "Mg I"),
    ("b2", 517.270, "Mg I"),
    ("b4", 516.733, "Mg I, Fe I"),
    ("c", 495.76, "Fe I"),
    ("F", 486.13, "H I"),
    ("d", 466.81, "Fe I"),
    ("G'", 434.05, "H I"),
    ("G", 430.79, "Fe I, Ca I, CH"),
    ("h", 410.17, "H I"),
    ("H", 396.85, "Ca II"),
    ("K", 393.37, "Ca II"),
)
_LETTER_NM = 0.06  # a letter's wavelength is printed to 0.01 nm and may mean a blend
_WEAK_M = 2e-12  # equivalent width below which a solar line is not looked at
_LOOK = 0.6  # of the resolution: lines nearer than that are one


@dataclass(frozen=True)
class Entry:
    """A line of a list, as the plate would show it.

    Attributes
    ----------
    wavelength_m : [m] in standard air, the mean of what is seen as one
    strength : relative; of the Sun the equivalent width over 1 pm
    name : element or letter, and the wavelength
    spread_m : [m] distance of the mean from the strongest member
    """

    wavelength_m: float
    strength: float
    name: str
    spread_m: float


def line_list(element: str, resolution_m: float) -> tuple[Entry, ...]:
    """A list at a resolution (full width at half maximum of a line on the plate).

    Parameters
    ----------
    element : "H", "He", "Na", "Hg", "Cd", "Ne", or "sun"

    Raises
    ------
    InputError
        There is no such list.
    """
    if element == "sun":
        return _sun(resolution_m)
    if element not in ELEMENTS:
        raise InputError(
            "has no line list", key="element", value=element,
            expected="one of " + ", ".join((*ELEMENTS, "sun")),
        )  # fmt: skip
    from wavesim.light import lamps

    table = lamps.lines(element)
    names = [f"{element} {w * 1e9:.3f}" for w in table.wavelength_m]
    return _merged(table.wavelength_m, table.strength, names, resolution_m)


def _sun(resolution_m: float) -> tuple[Entry, ...]:
    from wavesim.light import sun

    table = sun.lines()
    # area of a Voigt profile of unit height between those of its Gaussian and Lorentz parts
    area = 1.064 * table.gaussian_m + math.pi / 2 * table.lorentz_m
    equivalent = table.depth * area
    strong = equivalent > _WEAK_M
    wavelength, strength = table.wavelength_m[strong], equivalent[strong] * 1e12
    species = [name for name, is_strong in zip(table.species, strong, strict=True) if is_strong]
    names = [_solar_name(w * 1e9, s) for w, s in zip(wavelength, species, strict=True)]
    merged = _merged(wavelength, strength, names, resolution_m)
    return _lettered(merged)


def _solar_name(wavelength_nm: float, species: str) -> str:
    known = species if species and species[0].isupper() else "solar"
    return f"{known} {wavelength_nm:.3f}"


def _merged(
    wavelength_m: Floats, strength: Floats, names: list[str], resolution_m: float
) -> tuple[Entry, ...]:
    """Around each line that is the strongest within reach, the mean of all within reach."""
    reach = _LOOK * resolution_m
    first = np.searchsorted(wavelength_m, wavelength_m - reach, side="left")
    last = np.searchsorted(wavelength_m, wavelength_m + reach, side="right")
    out = []
    for k in range(wavelength_m.size):
        near = slice(int(first[k]), int(last[k]))
        if strength[k] < strength[near].max() or k != near.start + int(np.argmax(strength[near])):
            continue
        mean = float(np.average(wavelength_m[near], weights=strength[near]))
        spread = abs(mean - float(wavelength_m[k]))
        out.append(Entry(mean, float(strength[near].sum()), names[k], spread))
    return tuple(out)


def _lettered(entries: tuple[Entry, ...]) -> tuple[Entry, ...]:
    """Fraunhofer's letters given to the strongest entries within 0.06 nm of their positions."""
    letters: dict[int, str] = {}
    for letter, nm, _ in FRAUNHOFER:
        near = [k for k, e in enumerate(entries) if abs(e.wavelength_m * 1e9 - nm) <= _LETTER_NM]
        if near:
            letters[max(near, key=lambda k: entries[k].strength)] = letter
    return tuple(
        Entry(e.wavelength_m, e.strength, f"{letters[k]} ({e.name})", e.spread_m)
        if k in letters
        else e
        for k, e in enumerate(entries)
    )


def letter_m(letter: str) -> float:
    """Wavelength of a Fraunhofer letter [m].

    Raises
    ------
    InputError
        There is no such letter.
    """
    for name, nm, _ in FRAUNHOFER:
        if name == letter:
            return nm * 1e-9
    raise InputError(
        "is not a known Fraunhofer letter", key="reference", value=letter,
        expected="one of " + ", ".join(name for name, _, _ in FRAUNHOFER),
    )  # fmt: skip


def nearest(
    entries: tuple[Entry, ...], wavelength_m: float, uncertainty_m: float, resolution_m: float
) -> Entry | None:
    """The strong line nearest to a wavelength within three times its uncertainty.

    Half a resolution is added to the reach, because a blend moves a line by as much. Among
    several, strength counts against distance: strength x exp(-(distance / reach)^2 / 2 x 4).
    """
    reach = min(3 * uncertainty_m, 0.5 * resolution_m) + 0.5 * resolution_m
    best, best_score = None, 0.0
    for entry in entries:
        apart = abs(entry.wavelength_m - wavelength_m)
        limit = reach + 2 * entry.spread_m
        if apart <= limit:
            score = entry.strength * math.exp(-2 * (apart / limit) ** 2)
            if score > best_score:
                best, best_score = entry, score
    return best
