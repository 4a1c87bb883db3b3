"""What a study of efficiencies gives back."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from wavesim.arrays import Floats
from wavesim.grooves.anomalies import Kind
from wavesim.results import Column, Listing, Result, Sentence

_POINTS = {"wavelength": "wavelengths", "turn": "angles"}
_CURVES = ("along", "across", "scalar")


@dataclass(frozen=True, eq=False)
class OrderEfficiency:
    """One order: fractions of the incident power over the range.

    Attributes
    ----------
    order : m
    side : where it leaves the grooves
    along, across : (n,) light with the electric field along and across the grooves
    scalar : (n,) scalar theory times what a flat surface reflects or passes
    """

    order: int
    side: str
    along: Floats
    across: Floats
    scalar: Floats

    @property
    def unpolarised(self) -> Floats:
        """(n,) mean of both."""
        return (self.along + self.across) / 2


@dataclass(frozen=True)
class Peak:
    """Where unpolarised light is brightest in an order.

    Attributes
    ----------
    order : m
    position : wavelength [m] or angle [rad]
    efficiency : there
    low, high : where it falls to half, or the end of the range
    uncertainty : of `position`: so far about it the curve lies within its error of the highest
        value
    at_end : whether it is highest at an end of the range, which says nothing of the groove
    """

    order: int
    position: float
    efficiency: float
    low: float
    high: float
    uncertainty: float
    at_end: bool


@dataclass(frozen=True)
class Anomaly:
    """A predicted anomaly, and where the absorption of light across the grooves peaks at it.

    Attributes
    ----------
    orders, kind : of the orders that pass off or excite a plasmon there, ascending
    predicted : wavelength [m] or angle [rad]
    found : likewise, of the peak of absorption next to it; None without one
    """

    orders: tuple[int, ...]
    kind: Kind
    predicted: float
    found: float | None


@dataclass(frozen=True, eq=False, repr=False)
class Efficiency(Result):
    """What `efficiency` found.

    Attributes
    ----------
    title : of the scene
    over : "wavelength" or "turn"
    x : (n,) wavelengths in air [m] or turns [rad]
    wavelength_m : (n,) in air
    orders : those asked for
    absorbed : (2, n) of light along and across, from the field in the material
    anomalies, peaks : see there
    material : with its source
    error : (2,) by a second truncation, along and across
    sampling_error : of interpolation along the curve
    balance : largest defect of the energy balance
    functions, computed : size of the computation
    """

    kind: ClassVar[str] = "efficiency"
    title: str
    over: str
    x: Floats
    wavelength_m: Floats
    orders: tuple[OrderEfficiency, ...]
    absorbed: Floats
    anomalies: tuple[Anomaly, ...]
    peaks: tuple[Peak, ...]
    material: str
    error: tuple[float, float]
    sampling_error: float
    balance: float
    functions: int
    computed: int

    def record(self) -> dict[str, object]:
        """Plain values in SI units."""
        return {
            "kind": self.kind,
            "title": self.title,
            "over": self.over,
            "wavelength_m": self.wavelength_m.tolist(),
            **({"turn_rad": self.x.tolist()} if self.over == "turn" else {}),
            "orders": [
                {
                    "order": order.order,
                    "side": order.side,
                    **{
                        key: getattr(order, key).tolist()
                        for key in ("along", "across", "unpolarised", "scalar")
                    },
                }
                for order in self.orders
            ],
            "absorbed": {
                "along": self.absorbed[0].tolist(), "across": self.absorbed[1].tolist()
            },
            "anomalies": [vars(anomaly) for anomaly in self.anomalies],
            "peaks": [vars(peak) for peak in self.peaks],
            "material": self.material,
            "accuracy": {
                "truncation_along": self.error[0], "truncation_across": self.error[1],
                "sampling": self.sampling_error, "energy_balance": self.balance,
                "functions": self.functions, "computed": self.computed,
            },
        }  # fmt: skip

    def report(self) -> Iterator[Sentence | Listing]:
        """Sentences and tables, in order."""
        yield Sentence("grooves", self.material)
        yield Sentence(
            "accuracy",
            f"{max(self.error):.0e} from truncation (compared with a second one), "
            f"{self.sampling_error:.0e} from interpolation between {self.computed} "
            f"{_POINTS[self.over]} computed with {self.functions} functions; energy balance "
            f"within {self.balance:.0e}",
        )
        yield self._peaks()
        yield self._values()
        if self.anomalies:
            yield self._positions()
        far = self._departure()
        if far is not None:
            yield Sentence("scalar", far)

    def _peaks(self) -> Listing:
        rows = tuple(
            (f"{p.order}", *self._peak(p), self._percent(p.efficiency),
             f"{self._rounded(p.low)} to {self._rounded(p.high)}")
            for p in self.peaks
        )  # fmt: skip
        heads = (
            Column("order"), Column("peak", self._unit), Column("+-", self._unit),
            Column("efficiency", "%"), Column("above half the peak", self._unit),
        )  # fmt: skip
        return Listing("Peaks, unpolarised light", heads, rows)

    def _values(self) -> Listing:
        columns = [Column(self.over, self._unit)]
        for order in self.orders:
            columns += [Column(f"{order.order} {name}", "%") for name in _CURVES]
        picked = np.unique(np.linspace(0, self.x.size - 1, 11).round().astype(int))
        rows = tuple(
            (self._shown(float(self.x[k])),
             *(self._percent(getattr(order, name)[k]) for order in self.orders for name in _CURVES))
            for k in picked
        )  # fmt: skip
        return Listing("Efficiency of each order", tuple(columns), rows)

    def _positions(self) -> Listing:
        rows = tuple(
            (self._shown(a.predicted), ", ".join(map(str, a.orders)), a.kind,
             "-" if a.found is None else self._rounded(a.found))
            for a in self.anomalies
        )  # fmt: skip
        columns = (
            Column("predicted", self._unit), Column("orders"), Column("anomaly"),
            Column("absorption peaks", self._unit),
        )  # fmt: skip
        return Listing("Anomalies", columns, rows)

    def _departure(self) -> str | None:
        """How far scalar theory is out at the peak of the brightest order."""
        if not self.peaks:
            return None
        peak = max(self.peaks, key=lambda p: p.efficiency)
        order = next(o for o in self.orders if o.order == peak.order)
        k = int(np.argmin(np.abs(self.x - peak.position)))
        return (
            f"at {self._peak(peak)[0]} {self._unit} scalar theory gives "
            f"{100 * order.scalar[k]:.1f} % in order {order.order}, rigorous theory "
            f"{100 * order.along[k]:.1f} % for the electric field along the grooves and "
            f"{100 * order.across[k]:.1f} % across them"
        )

    @property
    def _unit(self) -> str:
        return "nm" if self.over == "wavelength" else "deg"

    @property
    def _scale(self) -> float:
        return 1e9 if self.over == "wavelength" else 180 / math.pi

    def _percent(self, efficiency: float) -> str:
        """To the digit that the error carries."""
        return f"{100 * efficiency:.{0 if max(self.error) > 5e-3 else 1}f}"

    def _step(self, uncertainty: float) -> float:
        """An uncertainty, rounded up to 1, 2 or 5 of a decade, in the unit shown."""
        steps = [k * 10.0**n for n in range(-2, 3) for k in (1, 2, 5)]
        return next((step for step in steps if step >= uncertainty * self._scale), steps[-1])

    def _peak(self, peak: Peak) -> tuple[str, str]:
        """Where it lies, to the digit that is known, and its uncertainty."""
        step = self._step(peak.uncertainty)
        known = step < (1.0 if self.over == "wavelength" else 0.1)
        position = self._shown(peak.position) if known else self._rounded(peak.position)
        return position, "end" if peak.at_end else f"{step:g}"

    def _shown(self, x: float) -> str:
        return f"{x * self._scale:.{1 if self.over == 'wavelength' else 2}f}"

    def _rounded(self, x: float) -> str:
        return f"{x * self._scale:.{0 if self.over == 'wavelength' else 1}f}"
