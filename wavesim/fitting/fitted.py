"""What a fit gives back: values with errors, what cannot be told apart, and how well it fits."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from wavesim.arrays import Floats
from wavesim.fitting.photograph import PhotographPattern
from wavesim.results import Column, Listing, Result, Sentence
from wavesim.scene import Scene

_LEAST_SLANT = 1e-3  # change of scale across a picture that is worth a word
MISFIT = 0.12  # of the pattern's own spread: beyond, the scene does not make this picture


@dataclass(frozen=True)
class FittedValue:
    """A fitted value of a key.

    Attributes
    ----------
    key, unit : dotted key, SI unit ("rulings" of a period counted in them)
    value, standard_error : [SI]; the error is nan for a whole number
    alternatives : other values [SI] that fit as well
    """

    key: str
    unit: str
    value: float
    standard_error: float
    alternatives: tuple[float, ...] = ()

    @property
    def text(self) -> str:
        """The value with its error in a unit that suits it."""
        if np.isnan(self.standard_error):
            return f"{self.value:g}"
        scale, unit = scaled(self.value, self.unit)
        error = self.standard_error / scale
        digits = int(np.clip(1 - np.floor(np.log10(max(error, 1e-12))), 0, 9))
        return f"{self.value / scale:.{digits}f} +- {error:.{digits}f} {unit}".strip()


@dataclass(frozen=True, eq=False)
class FittedPhotograph:
    """One photograph beside the engine.

    Attributes
    ----------
    pattern : of the photograph
    x_m : (n,) [m] position on the plate, or distance from the centre
    value, fitted : (n, c) what was compared: values as in the picture, or light of a known tone
    slant : relative change of scale from its left edge to its right one that was found
    """

    pattern: PhotographPattern
    x_m: Floats
    value: Floats
    fitted: Floats
    slant: float


@dataclass(frozen=True, eq=False, repr=False)
class Fit(Result):
    """A bench fitted to photographs.

    Attributes
    ----------
    title : of the scene
    values : of the free keys
    correlation : (k, k) of their errors, whole numbers left out
    keys : names of its rows
    rivals : other values [SI] of all free keys that fit as well
    residual : rms difference over the pattern's own spread
    fits : whether that is small enough for the scene to be what made the picture
    iterations : evaluations of the residuals
    compared : each photograph beside the fit
    scene : with the fitted values
    remarks : sentences on what the pictures cannot tell
    cautions : for the eyes
    """

    kind: ClassVar[str] = "fit"

    title: str
    values: tuple[FittedValue, ...]
    correlation: Floats
    keys: tuple[str, ...]
    rivals: tuple[dict[str, float], ...]
    residual: float
    fits: bool
    iterations: int
    compared: tuple[FittedPhotograph, ...]
    scene: Scene
    remarks: tuple[str, ...]
    cautions: tuple[str, ...] = ()

    def report(self) -> Iterator[Sentence | Listing]:
        """Values, errors, how well it fits, what cannot be told apart."""
        rows = tuple((v.key, v.text, _alternatives(v)) for v in self.values)
        columns = (Column("key"), Column("value"), Column("fits as well", wraps=True))
        yield Listing("fitted", columns, rows)
        state = (
            "the fit reproduces the pattern"
            if self.fits
            else "the scene does not reproduce this picture: another aperture or bench made it"
        )
        yield Sentence(
            "fit", f"{state}: they differ by {100 * self.residual:.2g} % of its contrast (rms)"
        )
        for compared in self.compared:
            yield Sentence("photograph", _described(compared))
        for remark in self.remarks:
            yield Sentence("note", remark)

    def record(self) -> dict[str, object]:
        """Plain values in SI units."""
        return {
            "title": self.title,
            "values": {
                v.key: {
                    "value": v.value,
                    "unit": v.unit,
                    "standard_error": v.standard_error,
                    "alternatives": list(v.alternatives),
                }
                for v in self.values
            },
            "correlation": {
                a: {b: float(self.correlation[i, j]) for j, b in enumerate(self.keys)}
                for i, a in enumerate(self.keys)
            },
            "rivals": [dict(rival) for rival in self.rivals],
            "residual": self.residual,
            "fits": self.fits,
            "photographs": [
                {
                    "file": c.pattern.origin,
                    "turned_rad": c.pattern.turned_rad,
                    "slant": c.slant if not c.pattern.radial else c.pattern.slant,
                    "burnt_out": float(c.pattern.burnt.mean()),
                }
                for c in self.compared
            ],
            "remarks": list(self.remarks),
            "cautions": list(self.cautions),
        }


def _described(compared: FittedPhotograph) -> str:
    """How a photograph was read."""
    pattern = compared.pattern
    text = [_shape(compared)]
    burnt = 100 * pattern.burnt.mean()
    dark = 100 * (~pattern.usable & ~pattern.burnt).mean()
    for part, what in ((burnt, "burnt out"), (dark, "black or in the direct light")):
        if part >= 0.5:
            text.append(f"{part:.0f} % of it is {what} and ignored")
    return f"{pattern.origin}: {'; '.join(text)}"


def _shape(compared: FittedPhotograph) -> str:
    pattern = compared.pattern
    if pattern.radial:
        text = "rings about one centre"
        if pattern.ellipse or pattern.slant:
            text += f", {100 * pattern.ellipse:.1f} % elliptical and "
            text += f"{100 * pattern.slant:.1f} % larger on one side, corrected"
        return text
    turn = np.degrees(pattern.turned_rad)
    way = "clockwise" if turn > 0 else "anticlockwise"
    text = f"lines rotated {way} by {abs(turn):.2f} deg, corrected"
    if abs(compared.slant) >= _LEAST_SLANT:
        text += (
            f"; scale changes by {100 * compared.slant:+.1f} % from the left edge to the "
            "right, corrected"
        )
    return text


def _alternatives(value: FittedValue) -> str:
    return ", ".join(in_unit(v, value.unit) for v in value.alternatives)


def in_unit(value: float, unit: str) -> str:
    """An SI value to four digits in a unit that suits it."""
    scale, name = scaled(value, unit)
    return f"{value / scale:.4g} {name}".strip()


def scaled(value: float, unit: str) -> tuple[float, str]:
    """Size and name of a unit in which a value [SI] is easily read."""
    if unit == "/m":
        return 1e3, "/ mm"
    if unit == "rad":
        return float(np.pi / 180), "deg"
    if unit != "m":
        return 1.0, unit
    for factor, name in ((1.0, "m"), (1e-3, "mm"), (1e-6, "um"), (1e-9, "nm")):
        if abs(value) >= factor:
            return factor, name
    return 1e-9, "nm"
