"""The whole search about a line, near it and far from it, and the predictions of what is found."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from wavesim.arrays import Flags, Floats
from wavesim.scene import Scene
from wavesim.study.predict.ghosts import Ghost, ghosts_of, periods_of
from wavesim.study.predict.orders import order_table
from wavesim.study.profile.field import SKIRT, SoftScan, prepared
from wavesim.study.profile.near import CLEAR, WINDOWS, NearGhosts, find_near, ideal_of, windowed
from wavesim.study.profile.scan import Illumination, scan, softened, weight_moments
from wavesim.study.profile.search import Diffuse, FoundGhost, diffuse, find
from wavesim.study.profile.surroundings import roughness
from wavesim.study.profile.windows import Windowed
from wavesim.study.ruling import Ruling
from wavesim.text import counted, length

_SOFT = 4.0  # samples per 1/(aperture width) of the softened scan
_FAINTEST = 1e-20  # of the line: ghosts predicted, to name what is found
_FOUND = 1e-17  # of the line: above this nothing but diffuse light hides a ghost
_BEYOND = 1.3  # of the reach of the softened line: how far the windows see
_WINGS = 1e-12  # of the line, beside the softened line: an unbroken one has left 1e-24
_BESIDE = 6.0  # reaches of the softened line that its wings are judged over
_EVEN = 0.5  # of speckle's roughness: wings, not diffuse light
_NARROW = (2.0 * math.pi, 3.0 * math.pi)  # windows that leave most of a broken line's width
_ABOUT = 1.7  # line widths to both sides of a ghost that its peaks cover
_POINTS = 61
_MIXED = 4.0  # factor by which wings may weaken a ghost that they interfere with
_TABLED = (2.0, 3.0, 4.0, 6.0, 10.0)  # line widths at which the limit is stated


@dataclass(frozen=True)
class MatchedGhost:
    """A ghost that was found, and the prediction that stands there (or None)."""

    found: FoundGhost
    predicted: Ghost | None


@dataclass(frozen=True)
class HiddenGhost:
    """A predicted ghost in the line's own wings, and the weakest that would be found there."""

    predicted: Ghost
    limit: float


@dataclass(frozen=True)
class WingLimit:
    """The weakest ghost that the line's own wings leave to be found.

    Attributes
    ----------
    distance_orders : from the line
    strength : over the line's
    """

    distance_orders: float
    strength: float


@dataclass(frozen=True)
class GhostSearch:
    """What a search found and what it could not see.

    Attributes
    ----------
    ghosts : found, and matched with the predicted
    hidden : predicted, but covered by the line's own wings
    missed : predicted above the diffuse light's mean, and not found
    diffuse : mean light between
    limits : how strong a ghost near the line has to be
    """

    ghosts: tuple[MatchedGhost, ...]
    hidden: tuple[HiddenGhost, ...]
    missed: tuple[Ghost, ...]
    diffuse: Diffuse
    limits: tuple[WingLimit, ...]


def search(
    scene: Scene,
    ruled: Ruling,
    light: Illumination,
    order: int,
    *,
    ends: tuple[float, float],
    width: float,
) -> GhostSearch:
    """Ghosts and diffuse light from `ends[0]` to `ends[1]` about the line of an order.

    Parameters
    ----------
    width : full width of the line at half maximum [orders]
    """
    soft = softened(light)
    field = prepared(scan(soft, *ends, fineness=_SOFT), order)
    skirt, broken = SKIRT * field.width, _broken(field)
    if broken:
        skirt = max(order - ends[0], ends[1] - order) / _BEYOND
    windows = windowed(
        light, ideal_of(light, ruled.bare.towards().combs), order, _BEYOND * skirt,
        strengths=_NARROW if broken else WINDOWS,
    )  # fmt: skip
    own, softer = weight_moments(light.aperture), weight_moments(soft.aperture)
    scale = softer[1] / softer[0] ** 2
    far = list(find(field, None if broken else _inside(field, windows[-1], scale)))
    predicted = _predicted(scene, ruled, light, order, ends)
    positions = np.array([g.mu for g in far] + [g.mu for g in predicted])
    between = diffuse(
        field,
        positions,
        moments=(own[1] / own[0] ** 2, scale),
        cell=softer[2] / softer[1] ** 2,
    )
    near = find_near(windows, field, broken=broken)
    inner = [
        g for g in near.ghosts if abs(g.mu - field.line) <= skirt and ends[0] <= g.mu <= ends[1]
    ]
    far = [g for g in far if abs(g.mu - field.line) > skirt]
    found = sorted((*far, *inner), key=lambda g: g.mu)
    if broken:
        found = [_in_own_beam(light, g, field.line, width) for g in found]
    matched = tuple(MatchedGhost(g, _nearest(g, predicted, field, width)) for g in found)
    paired = {id(pair.predicted) for pair in matched}
    rest = [g for g in predicted if id(g) not in paired]
    hidden, missed = _unseen(rest, near, between, (order, skirt))
    return GhostSearch(
        ghosts=matched,
        hidden=hidden,
        missed=missed,
        diffuse=between,
        limits=tuple(
            WingLimit(n * width, float(near.limit(np.array([field.line + n * width]))[0]))
            for n in _TABLED
        ),
    )


def _inside(field: SoftScan, window: Windowed, speckle: float) -> tuple[Floats, Flags]:
    """Diffuse light within the softened line's reach, by a narrower window; where it is free.

    Parameters
    ----------
    speckle : sum w^2 / (sum w)^2 of the softened beam
    """
    level, clear = window.beside(field.mu - field.line, CLEAR)
    return level * speckle / window.speckle, clear & (field.distance < SKIRT * field.width)


def _unseen(
    rest: list[Ghost], near: NearGhosts, between: Diffuse, about: tuple[int, float]
) -> tuple[tuple[HiddenGhost, ...], tuple[Ghost, ...]]:
    """Predicted ghosts that were not found: those in the line's wings, and others of account."""
    order, skirt = about
    hidden, missed = [], []
    for ghost, limit in zip(rest, near.limit(np.array([g.mu for g in rest])), strict=True):
        if abs(ghost.mu - order) <= skirt and ghost.observed < _MIXED * limit:
            if ghost.observed > _FOUND:
                hidden.append(HiddenGhost(ghost, float(limit)))
        elif ghost.observed > max(between.level, _FOUND):
            missed.append(ghost)
    return tuple(hidden), tuple(missed)


def _in_own_beam(light: Illumination, ghost: FoundGhost, line: float, width: float) -> FoundGhost:
    """Its strength as the scene's beam shows it, peak over peak; wings add to it in amplitude."""
    about = width * np.linspace(-_ABOUT, _ABOUT, _POINTS)
    peak = float(light.intensity(line + about).max())
    intensity = light.intensity(ghost.mu + about) / peak
    beside = light.intensity(ghost.mu + np.concatenate([about - 5 * width, about + 5 * width]))
    strength = float(intensity.max())
    wings = float(np.median(beside)) / peak
    return FoundGhost(
        mu=ghost.mu,
        strength=strength,
        mu_error=max(ghost.mu_error, width * math.sqrt(wings / strength)),
        strength_error=strength * math.sqrt(2 * wings / strength),
    )


def _broken(field: SoftScan) -> bool:
    """Whether the softened line has wings of its own: a step, which no softening takes away."""
    skirt = SKIRT * field.width
    beside = (field.distance > skirt) & (field.distance < _BESIDE * skirt)
    level, distance = field.level[beside], field.distance[beside]
    if level.size == 0 or float(np.median(level)) < _WINGS:
        return False
    return roughness(level, distance) < _EVEN


def _predicted(
    scene: Scene, ruled: Ruling, light: Illumination, order: int, ends: tuple[float, float]
) -> list[Ghost]:
    """Ghosts of this line and its neighbours' that fall into the scan, relative to this line."""
    rows = order_table(scene, ruled, (light.wavelength_m,), orders=(order,))
    periods = periods_of(scene, ruled)
    return [
        ghost
        for line in rows
        for ghost in ghosts_of(line, ruled, periods, above=_FAINTEST)
        if ends[0] <= ghost.mu <= ends[1] and abs(ghost.mu - round(ghost.mu)) > 1e-9
    ]


def _nearest(
    ghost: FoundGhost, predicted: list[Ghost], field: SoftScan, width: float
) -> Ghost | None:
    reach = field.width / 2
    if abs(ghost.mu - field.line) <= SKIRT * field.width:
        reach = max(width / 2, 4 * ghost.mu_error)
    near = [g for g in predicted if abs(g.mu - ghost.mu) < reach]
    return max(near, key=lambda g: g.observed) if near else None


def notes(
    found: GhostSearch, *, uniform: bool, enough_cells: float, defocus_m: float = 0.0
) -> tuple[str, ...]:
    """What a reader must know of the search, in sentences."""
    between = found.diffuse
    out = []
    if defocus_m:
        side = "behind" if defocus_m > 0 else "in front of"
        out.append(f"computed {length(abs(defocus_m))} {side} the focus, where the plate is")
    if between.cells < enough_cells:
        out.append(
            f"only {between.cells:.0f} resolution cells of diffuse light: its mean is uncertain by "
            f"{100 / math.sqrt(max(between.cells, 1)):.0f} %; scan more orders"
        )
    if between.level < 1e-20:
        out.append("no diffuse light above the numerical noise, 1e-24 of the line's peak")
    if uniform:
        out.append(
            "the ruling ends abruptly; ghosts and diffuse light were searched for in apodised "
            "beams, without the wings of the line"
        )
    if found.hidden:
        worst = max(found.hidden, key=lambda h: h.predicted.observed)
        out.append(
            f"{counted(len(found.hidden), 'predicted ghost')} hidden by the line's wings: "
            f"the strongest, {worst.predicted.observed:.2e} at order {worst.predicted.mu:.7f}, "
            f"would have to exceed {worst.limit:.1e} there"
        )
    if found.missed:
        why = "diffuse light or stronger ghosts cover them"
        out.append(f"{counted(len(found.missed), 'predicted ghost')} not found: {why}")
    return tuple(out)
