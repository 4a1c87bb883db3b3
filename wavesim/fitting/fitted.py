"""What a fit gives back: values with errors, what cannot be told apart, and how well it fits."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import ClassVar

import numpy as np
from numpy.typing import NDArray

from wavesim.fitting.photograph import Pattern
from wavesim.results import Column, Listing, Result, Sentence
from wavesim.scene import Scene

Floats = NDArray[np.float64]

ALIKE = 0.95  # correlation from which two values cannot be told apart
MISFIT = 0.12  # of the pattern's own spread: beyond, the scene does not make this picture
_LOOSE = 0.2  # relative error beyond which a picture does not settle a value


@dataclass(frozen=True)
class Value:
    """A fitted value of a key.

    Attributes
    ----------
    key, unit : dotted key, SI unit
    value, standard_error : [SI]; the error is nan for a whole number, whose rivals stand in
        `alternatives`
    alternatives : other whole numbers that fit as well
    """

    key: str
    unit: str
    value: float
    standard_error: float
    alternatives: tuple[int, ...] = ()

    @property
    def text(self) -> str:
        """The value with its error in a unit that suits it."""
        if np.isnan(self.standard_error):
            return f"{self.value:g}"
        scale, unit = _scaled(self.value, self.unit)
        error = self.standard_error / scale
        digits = int(np.clip(1 - np.floor(np.log10(max(error, 1e-12))), 0, 9))
        return f"{self.value / scale:.{digits}f} +- {error:.{digits}f} {unit}".strip()


@dataclass(frozen=True, eq=False)
class Compared:
    """One photograph beside the engine: position (n,) [m], values and fit (n, c), those used."""

    pattern: Pattern
    x_m: Floats
    fitted: Floats
    shift_m: float


@dataclass(frozen=True, eq=False, repr=False)
class Fit(Result):
    """A bench fitted to photographs.

    Attributes
    ----------
    title : of the scene
    values : of the free keys
    correlation : (k, k) of their errors, whole numbers left out
    keys : names of its rows
    misfit : rms difference over the pattern's own spread
    fits : whether that is small enough for the scene to be what made the picture
    iterations : evaluations of the bench
    compared : each photograph beside the fit
    scene : with the fitted values
    remarks : sentences on what the pictures cannot tell
    """

    kind: ClassVar[str] = "fit"

    title: str
    values: tuple[Value, ...]
    correlation: Floats
    keys: tuple[str, ...]
    misfit: float
    fits: bool
    iterations: int
    compared: tuple[Compared, ...]
    scene: Scene
    remarks: tuple[str, ...]

    def report(self) -> Iterator[Sentence | Listing]:
        """Values, errors, how well it fits, what cannot be told apart."""
        rows = tuple((v.key, v.text, _alternatives(v)) for v in self.values)
        columns = (Column("key"), Column("value"), Column("fits as well", wraps=True))
        yield Listing("fitted", columns, rows)
        state = (
            "the fit follows the pattern" if self.fits else "the scene does not make this picture"
        )
        yield Sentence(
            "fit", f"{state}: they differ by {100 * self.misfit:.2g} % of its contrast (rms)"
        )
        for compared in self.compared:
            turn = np.degrees(compared.pattern.turned_rad)
            yield Sentence(
                "photograph",
                f"{compared.pattern.origin}: turned by {turn:.2f} deg, "
                f"{'rings about its centre' if compared.pattern.radial else 'lines'}, "
                f"{100 * (1 - compared.pattern.usable.mean()):.0f} % burnt out or black, left out",
            )
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
            "misfit": self.misfit,
            "fits": self.fits,
            "photographs": [c.pattern.origin for c in self.compared],
            "remarks": list(self.remarks),
        }


def remarks_of(
    values: tuple[Value, ...], correlation: Floats, keys: tuple[str, ...], at_limit: list[str]
) -> tuple[str, ...]:
    """What the pictures cannot tell, in words."""
    found = []
    for i, a in enumerate(keys):
        for j in range(i):
            if abs(correlation[i, j]) > ALIKE:
                found.append(
                    f"{a} and {keys[j]} can hardly be told apart from this pattern (correlation "
                    f"{correlation[i, j]:+.3f}): give one of them"
                )
    for value in values:
        if value.standard_error > _LOOSE * abs(value.value):
            found.append(f"{value.key} hardly shows in this pattern")
        if value.alternatives:
            others = ", ".join(map(str, value.alternatives))
            found.append(f"{value.key} is not settled: {others} fits as well")
    found += [f"{key} ended at the limit of its range: give a wider one" for key in at_limit]
    return tuple(found)


def _alternatives(value: Value) -> str:
    return ", ".join(map(str, value.alternatives))


def _scaled(value: float, unit: str) -> tuple[float, str]:
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
