"""What a scene will show, from formulas alone, before any exposure.

found = predict(wavesim.load("scenes/grating_screw.toml"))
for ghost in found.ghosts: ...
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import ClassVar

from wavesim import light
from wavesim.errors import LimitError
from wavesim.results import Listing, Result, Sentence
from wavesim.scene import Ruled, Scene
from wavesim.study.formulas import FIRST_MAXIMUM, interference_factor
from wavesim.study.predict.errors import Effect, effects_of
from wavesim.study.predict.exposure import Exposed, ExposureEstimate, estimate
from wavesim.study.predict.ghosts import Ghost, ghosts_of, periods_of
from wavesim.study.predict.limits import limits_of
from wavesim.study.predict.openings import OpeningFeature, features_of
from wavesim.study.predict.orders import Order, line_width_orders, order_table
from wavesim.study.predict.pairs import BestOrder, Pair, best_order, pairs_of
from wavesim.study.predict.report import report
from wavesim.study.predict.shown_ghosts import ShownGhost, shown_ghosts
from wavesim.study.predict.unreached import unreached_warning
from wavesim.study.predict.wavelengths import (
    middle_wavelength,
    principal_wavelength,
    reference_wavelengths,
)
from wavesim.study.ruling import Ruling, ruling

__all__ = [
    "BestOrder",
    "Effect",
    "Exposed",
    "ExposureEstimate",
    "Ghost",
    "OpeningFeature",
    "Order",
    "Pair",
    "Prediction",
    "ShownGhost",
    "Widths",
    "predict",
]

GHOSTS_ABOVE = 1e-6  # of the line


@dataclass(frozen=True)
class Widths:
    """The line of a perfect ruling, in orders.

    Attributes
    ----------
    subsidiary_maxima : between two orders, N - 2 (0 in a Gaussian beam or a round one)
    first_zero_orders : 1/N; inf in a Gaussian beam, which has none; nan where a round beam cuts
    fwhm_orders : full width at half maximum
    first_subsidiary : height of the largest subsidiary maximum over the line
    """

    subsidiary_maxima: int
    first_zero_orders: float
    fwhm_orders: float
    first_subsidiary: float


@dataclass(frozen=True, repr=False)
class Prediction(Result):
    """All that the formulas say of a scene; every tuple may be empty.

    Attributes
    ----------
    title : of the scene
    rulings, illuminated : in all, and in the beam; 0 where the aperture has none
    pitch_m : [m]; nan where there are no rulings
    wavelengths_m : reference wavelengths [m]; ghosts and effects are given for `principal_m`
    orders : one row for each order and wavelength
    features : rings and minima of a single slit or an aperture without rulings
    widths : the line
    ghosts : of the periodic errors
    effects : of all errors, for each order
    ghosts_above : level down to which ghosts are listed, over the line
    exposure : estimate, or None where L S / f^2 does not apply
    pairs : neighbouring lines of the source in each order, resolved or not
    best_order : order worth turning to the middle of the plate, of a grating
    shown_ghosts : ghosts on the plate at the estimated exposure; None without an estimate
    warning : where no order reaches the plate
    limits, cautions : sentences
    """

    title: str
    rulings: int
    illuminated: int
    pitch_m: float
    wavelengths_m: tuple[float, ...]
    principal_m: float
    orders: tuple[Order, ...]
    features: tuple[OpeningFeature, ...]
    widths: Widths
    ghosts: tuple[Ghost, ...]
    effects: tuple[Effect, ...]
    ghosts_above: float
    exposure: ExposureEstimate | None
    pairs: tuple[Pair, ...]
    best_order: BestOrder | None
    shown_ghosts: tuple[ShownGhost, ...] | None
    warning: str | None
    limits: tuple[str, ...]
    cautions: tuple[str, ...]

    kind: ClassVar[str] = "prediction"

    def report(self) -> Iterable[Sentence | Listing]:
        """Sentences and tables, in order."""
        return report(self)


def predict(
    scene: Scene,
    *,
    wavelengths_m: tuple[float, ...] = (),
    orders: tuple[int, ...] = (),
    ghosts_above: float = GHOSTS_ABOVE,
) -> Prediction:
    """Orders, ghosts, widths, losses, exposure and limits of a scene; rings of a single opening.

    Parameters
    ----------
    wavelengths_m : [m] in standard air; default the source's lines, or 400 to 700 nm of white light
    orders : orders to list; default all that propagate, or those on the plate if there are many
    ghosts_above : weakest ghost listed, over its line

    Raises
    ------
    LimitError
        Uneven slits, or an order that does not propagate.
    """
    spectrum = light.of_scene(scene)
    chosen = tuple(sorted(wavelengths_m)) or reference_wavelengths(scene, spectrum)
    principal = principal_wavelength(chosen, scene, spectrum)
    if not isinstance(scene.aperture, Ruled):
        return _unruled(scene, chosen, principal)
    ruled = ruling(scene)
    lines = order_table(scene, ruled, chosen, orders=orders)
    middle = middle_wavelength(scene, ruled)
    if not wavelengths_m and middle and not any(line.on_plate for line in lines):
        principal, chosen = middle, tuple(sorted((*chosen, middle)))
        lines = order_table(scene, ruled, chosen, orders=orders)
    main = tuple(line for line in lines if line.wavelength_m == principal)
    if orders and not main:
        raise LimitError(
            f"none of the orders {', '.join(map(str, orders))} propagates at "
            f"{principal * 1e9:.4g} nm",
            expected=_orders_there(ruled, principal),
        )
    periods = periods_of(scene, ruled)
    exposure = estimate(scene, ruled, spectrum, lines)
    pairs = pairs_of(scene, ruled, lines, chosen=bool(wavelengths_m))
    return Prediction(
        title=scene.title,
        rulings=getattr(scene.aperture, "rulings", ruled.count),
        illuminated=ruled.count,
        pitch_m=ruled.pitch_m,
        wavelengths_m=chosen,
        principal_m=principal,
        orders=lines,
        features=features_of(scene, chosen),
        widths=_widths(ruled),
        ghosts=tuple(
            ghost
            for line in main
            if not line.missing
            for ghost in ghosts_of(line, ruled, periods, above=ghosts_above)
        ),
        effects=tuple(effect for line in main for effect in effects_of(scene, ruled, line)),
        ghosts_above=ghosts_above,
        exposure=exposure,
        pairs=pairs,
        best_order=best_order(scene, ruled, lines, pairs, principal),
        shown_ghosts=_shown(scene, ruled, lines, exposure) if periods.amplitude.size else None,
        warning=unreached_warning(scene, ruled),
        limits=limits_of(scene, ruled, lines),
        cautions=light.cautions(scene.source),
    )


def _shown(
    scene: Scene, ruled: Ruling, lines: tuple[Order, ...], exposure: ExposureEstimate | None
) -> tuple[ShownGhost, ...] | None:
    """Ghosts that the estimated exposure would show; None where there is no estimate."""
    if exposure is None:
        return None
    by_line = {(line.order, line.wavelength_m): line for line in lines}
    levels = [(by_line[order.order, order.wavelength_m], order.stops) for order in exposure.orders]
    return shown_ghosts(scene, ruled, levels)


def _orders_there(ruled: Ruling, wavelength_m: float) -> str:
    """Orders m with |m lambda / d - sin(alpha)| below 1, in words."""
    low, high = ruled.geometry.propagating(wavelength_m)
    return f"an order from {math.ceil(low)} to {math.floor(high)}"


def _unruled(scene: Scene, chosen: tuple[float, ...], principal_m: float) -> Prediction:
    """A scene without rulings: the rings of its opening, where there is a closed form."""
    features = features_of(scene, chosen)
    limits: tuple[str, ...] = (
        () if features else ("there is no closed form for this aperture; use wavesim expose",)
    )
    if not scene.bench.far_field:
        limits += (
            "the plate is not in the far field: rings and minima given here are those in focus",
        )
    return Prediction(
        title=scene.title,
        rulings=0,
        illuminated=0,
        pitch_m=math.nan,
        wavelengths_m=chosen,
        principal_m=principal_m,
        orders=(),
        features=features,
        widths=Widths(0, math.nan, math.nan, math.nan),
        ghosts=(),
        effects=(),
        ghosts_above=math.nan,
        exposure=None,
        pairs=(),
        best_order=None,
        shown_ghosts=None,
        warning=None,
        limits=limits,
        cautions=light.cautions(scene.source),
    )


def _widths(ruled: Ruling) -> Widths:
    fwhm = line_width_orders(ruled)
    if ruled.in_round_beam:
        return Widths(0, math.nan, fwhm, math.nan)
    if not ruled.uniform:
        return Widths(0, float("inf"), fwhm, 0.0)
    if ruled.count < 3:
        return Widths(0, 1.0 / ruled.count, fwhm, 0.0)
    return Widths(ruled.count - 2, 1.0 / ruled.count, fwhm, _first_subsidiary(ruled.count))


def _first_subsidiary(count: int) -> float:
    """Height of the first maximum beside an order; golden-section search of the N-slit factor."""
    if count > 100_000:
        return FIRST_MAXIMUM
    low, high, part = 1.0 / count, min(2.0 / count, 0.5), (5**0.5 - 1) / 2
    for _ in range(80):
        a, b = high - part * (high - low), low + part * (high - low)
        if interference_factor(a, count) > interference_factor(b, count):
            high = b
        else:
            low = a
    return float(interference_factor((low + high) / 2, count))
