"""Ghosts next to the line, where a beam soft enough to have no tails would cover them.

The beam is faded towards its ends by Kaiser's windows of rising strength. A weak one leaves the
line narrow but with side lobes, a strong one wide without: a ghost of a given strength is looked
for in the window that leaves least of the line there. What the line itself leaves there is
computed from the same beam on an ideal ruling; a ghost must stand four times above it, above the
diffuse light, and have a partner on the other side, as every periodic error gives one (a step, a
drift or an accumulated error splits a line to one side, or broadens it). Line, ghosts and their
second harmonics are then fitted together (`pattern`): a ghost is believed that stands far enough
out of what the fit leaves unexplained about it (`needed`). Random errors that change slowly,
correlated over a tenth of the ruling or more, look like periodic ones but for that.

F. J. Harris 1978, Proc. IEEE 66, 51: windows, and two tones of unequal strength told apart.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from wavesim.aperture import Comb
from wavesim.arrays import Floats
from wavesim.study.profile.field import SoftScan, parabola
from wavesim.study.profile.pattern import MOST, PatternFit, fitted
from wavesim.study.profile.scan import Illumination, faded, scan, weight_moments
from wavesim.study.profile.search import FoundGhost, contrast_needed
from wavesim.study.profile.surroundings import roughness, speckle_near
from wavesim.study.profile.windows import Windowed, wings_of

WINDOWS = (1.5 * math.pi, 2.0 * math.pi, 3.0 * math.pi, 4.5 * math.pi, 7.0 * math.pi)
CLEAR = 4.0  # factor by which a ghost stands above what the line leaves at its position
_FINENESS = 8.0  # samples per 1/(aperture width)
_PAIR = 0.4  # of the line's width: how well both ghosts of a pair agree in distance
_TWINS = 3.5  # the same where a step splits both
_ALIKE = 4.0  # factor within which they agree in strength
_BESIDE = 3.0  # factor above the light farther out, brought in with the square of the distance
_SPECKLED = 12.0  # more, where the wings are rough
_RARE = 20.0  # times the mean of diffuse light; with the partner, one chance in 1e8 a position
_BETTER = 0.7  # of the residual: other ghosts are believed that leave less than this
_CHANCES = 1.4e4  # cells beside the line, over one in a thousand
_FEW_CELLS = 8.0  # line widths
_STEEP = 1e4  # contrast that a ghost nearer than that needs where light falls there
_FALLS = 4.0  # factor by which it falls
_FEWEST_CELLS = 1.5  # that must tell the light about a ghost
_USUAL_CELLS = 4.0
_HARMONIC = 2.0  # factor within which a second harmonic has the strength that its first asks for
_FLANK = 0.35  # of the line's width before a maximum: what the line's fall moves it by
_SURE = 0.02  # of a ghost's strength: more of the line's light in it is looked past

Pair = tuple[FoundGhost, FoundGhost]  # to the left and to the right of the line


def windowed(
    light: Illumination,
    ideal: Illumination,
    near: float,
    reach: float,
    *,
    strengths: tuple[float, ...] = WINDOWS,
) -> list[Windowed]:
    """Scans of all windows, `reach` orders to both sides of the line near an order.

    Windows weaker than the fading that the beam already has are the beam itself, once.
    """
    found: list[Windowed] = []
    for strength in strengths:
        windowed_light = _kaiser(light, strength)
        if windowed_light is None and found:
            continue
        used = windowed_light or light
        wings = wings_of(_kaiser(ideal, strength) or ideal)
        order_scan = scan(used, near - reach, near + reach, fineness=_FINENESS)
        middle = np.flatnonzero(np.abs(order_scan.mu - near) < min(reach / 3, 0.25))
        top = int(middle[np.argmax(order_scan.level[middle])])
        part, height, _ = parabola(order_scan.level[top - 1 : top + 2])
        offset = order_scan.mu - order_scan.mu[top] - part * order_scan.step
        line = float(order_scan.mu[top] + part * order_scan.step)
        total, squared, _ = weight_moments(used.aperture)
        speckle = squared / total**2
        found.append(Windowed(line, offset, order_scan.level / height, wings, speckle))
    return found


@dataclass(frozen=True, eq=False)
class NearGhosts:
    """Ghosts found near the line, and how strong others would have to be.

    Attributes
    ----------
    ghosts : with their continuous orders
    windows : in which they were looked for
    fit : of line and ghosts, which tells what light they leave unexplained; None where a step
        splits the line
    steep : the diffuse light falls near the line, as of slowly changing errors
    """

    ghosts: tuple[FoundGhost, ...]
    windows: list[Windowed]
    fit: PatternFit | None
    steep: bool = False

    def limit(self, mu: Floats) -> Floats:
        """Weakest ghost to be found at mu (n,), over the line.

        It has to stand above what the line and the ghosts found leave there, and above what they
        do not explain.
        """
        each = []
        for window in self.windows:
            distance, wings = mu - window.line, window.wings
            left = np.where(np.abs(distance) > wings.width, CLEAR * wings.at(distance), 1.0)
            for ghost in self.ghosts:
                left = left + CLEAR * ghost.strength * wings.at(mu - ghost.mu)
            each.append(left)
        width = self.windows[0].wings.width
        hidden = np.min(each, axis=0)
        if self.fit is not None:
            apart = np.abs(mu - self.windows[0].line)
            least = [
                self.fit.left_at(d, width) * needed(d / width, _USUAL_CELLS, steep=self.steep)
                for d in apart
            ]
            hidden = np.maximum(hidden, np.array(least))
        return np.asarray(np.minimum(hidden, 1.0))


def find_near(windows: list[Windowed], field: SoftScan, *, broken: bool) -> NearGhosts:
    """Pairs of ghosts nearer to the line than the softened beam can tell.

    Parameters
    ----------
    field : the softened scan, which tells the diffuse light beyond
    broken : a step splits the line, so that an ideal line cannot be fitted to it
    """
    light = None if broken else field
    each = [[_peaks(window, side, light) for window in windows] for side in (-1, 1)]
    if broken:
        fit, steep, found = None, False, _flat(_pairs(each, windows, broken=True))
    else:
        steep = _falls(windows[0])
        fit = _proved(_best_fit(each, windows), windows[0], steep=steep)
        found = fit.ghosts
    shifted = [replace(g, mu=windows[0].line + g.mu) for g in sorted(found, key=lambda g: g.mu)]
    return NearGhosts(tuple(shifted), windows, fit, steep)


def _best_fit(each: list[list[list[FoundGhost]]], windows: list[Windowed]) -> list[Pair]:
    """Of what all windows show, or one of the narrowest alone, the pairs that fit best."""
    best: tuple[list[Pair], float] = ([], math.inf)
    for part in (slice(None), slice(0, 1), slice(1, 2)):
        pairs = _pairs([side[part] for side in each], windows, broken=False)[:MOST]
        if not pairs:
            continue
        residual = fitted(windows[0], _flat(pairs)).residual
        if residual < _BETTER * best[1]:
            best = pairs, residual
    return best[0]


def _flat(pairs: list[Pair]) -> list[FoundGhost]:
    return [ghost for pair in pairs for ghost in pair]


def _falls(window: Windowed) -> bool:
    """Whether what the line alone does not explain falls steeply within some 10 widths of it.

    By medians, which single ghosts do not change.
    """
    offset, light = fitted(window, []).unexplained
    apart = np.abs(offset) / window.wings.width
    near, far = light[(apart > 1) & (apart < _FEW_CELLS)], light[apart >= _FEW_CELLS]
    if near.size == 0 or far.size == 0:
        return True
    return float(np.median(near)) > _FALLS * float(np.median(far))


def _proved(pairs: list[Pair], window: Windowed, *, steep: bool) -> PatternFit:
    """Pairs that stand out of what a fit leaves unexplained about them.

    The least convincing pair is taken out of the fit until all of them stand out: its light then
    counts as unexplained beside the others.
    """
    while True:
        fit = fitted(window, _flat(pairs))
        if not pairs:
            return fit
        margins = [_margin(fit, 2 * n, window.wings.width, steep=steep) for n in range(len(pairs))]
        worst = int(np.argmin(margins))
        if margins[worst] >= 1:
            return fit
        pairs = [pair for n, pair in enumerate(pairs) if n != worst]


def _margin(fit: PatternFit, left: int, width: float, *, steep: bool) -> float:
    """Contrast of the fainter ghost of a pair over what is needed; harmonics are sure."""
    if any(_doubles(fit.ghosts[left], other, width) for other in fit.ghosts):
        return math.inf
    both = (left, left + 1)
    return min(
        fit.contrast[k] / needed(abs(fit.ghosts[k].mu) / width, fit.cells[k], steep=steep)
        for k in both
    )


def _doubles(ghost: FoundGhost, other: FoundGhost, width: float) -> bool:
    """Whether a ghost is the second harmonic of another: twice as far, J_2 / J_0 strong."""
    expected = other.strength**2 / 4
    alike = 1 / _HARMONIC < ghost.strength / expected < _HARMONIC
    return alike and abs(ghost.mu - 2 * other.mu) < _PAIR * width


def needed(distance: float, cells: float, *, steep: bool) -> float:
    """Contrast that a ghost needs, so that speckle makes one in a thousand searches.

    A cell of speckle is F-distributed over the mean of n others: P(> F) = (1 + F / n)^-n.
    Nearer than 8 widths that does not hold where the light falls there: errors correlated over a
    tenth of the ruling or more have all of theirs in so few cells that no mean of others tells of
    it, and may pass for a periodic one. The factor is by trial (`tests/test_false_ghosts.py`).

    Parameters
    ----------
    distance : from the line [its widths]
    """
    if cells < _FEWEST_CELLS:
        return math.inf
    by_chance = contrast_needed(math.log(_CHANCES), cells)
    return max(by_chance, _STEEP) if steep and distance < _FEW_CELLS else by_chance


def _pairs(
    each: list[list[list[FoundGhost]]], windows: list[Windowed], *, broken: bool
) -> list[Pair]:
    """Ghosts to the left and right that belong together, the strongest pairs first."""
    apart = windows[0].wings.width
    left, right = (_each_once(side, apart) for side in each)
    pairs = [(a, b) for a in left for b in right if _partners(a, b, apart, broken=broken)]
    pairs.sort(key=lambda pair: -pair[0].strength)
    found: list[Pair] = []
    for pair in pairs:
        others = _flat(found)
        if all(_clear_of(g, others, windows) for g in pair) and not any(g in others for g in pair):
            found.append(pair)
    return found


def _kaiser(light: Illumination, strength: float) -> Illumination | None:
    """The light in a beam that fades to 1 / I0(strength) at its ends; None where it does so."""
    from scipy.special import i0, i0e

    edge = light.edge_amplitude * i0(strength)
    if edge <= 1.5:
        return None
    from scipy.optimize import brentq

    own = brentq(lambda b: math.log(i0(b)) - math.log(edge), 0.0, strength + 1.0)
    norm = i0e(own)

    def taper(along: Floats) -> Floats:
        inner = own * np.sqrt(np.maximum(1 - along**2, 0.0))
        return np.asarray(i0e(inner) * np.exp(inner - own) / norm)

    return faded(light, taper)


def _peaks(window: Windowed, side: int, field: SoftScan | None) -> list[FoundGhost]:
    """Maxima on one side that stand out of the line's wings, with positions from the line.

    `field` tells the diffuse light beyond; None where a broken line's wings cover it.
    """
    level, offset, wings = window.level, side * window.offset, window.wings
    inner = np.flatnonzero((level[1:-1] >= level[:-2]) & (level[1:-1] > level[2:])) + 1
    clear = (offset[inner] > wings.width) & (level[inner] < 1)
    clear &= level[inner] > CLEAR * wings.at(offset[inner])
    if field is not None:
        clear &= level[inner] > _RARE * speckle_near(field, side)(offset[inner])
    found = []
    for k in inner[clear]:
        if level[k] > _beside(window, side, int(k), wings_alone=field is not None):
            flank = float(wings.at(offset[k] - _FLANK * wings.width))
            found.append(_ghost(window, int(k), flank))
    return found


def _beside(window: Windowed, side: int, k: int, *, wings_alone: bool) -> float:
    """What a maximum must pass so that it is no ripple of broad wings, nor speckle in them."""
    steps = window.wings.width / float(window.offset[1] - window.offset[0])
    near, far = k + side * math.ceil(steps), k + side * math.ceil(6 * steps)
    outside = slice(max(min(near, far), 0), max(near, far))
    level, distance = window.level[outside], np.abs(window.offset[outside])
    if level.size < 4:
        return math.inf
    brought = float(np.median(level * (distance / abs(window.offset[k])) ** 2))
    if wings_alone or window.level[k] < _BESIDE * brought:
        return _BESIDE * brought
    return brought * (_BESIDE + _SPECKLED * min(1.0, roughness(level, distance)))


def _ghost(window: Windowed, k: int, flank: float) -> FoundGhost:
    """Place and height, with errors by what the line leaves on its flank, in amplitude."""
    part, height, _ = parabola(window.level[k - 1 : k + 2])
    step = float(window.offset[1] - window.offset[0])
    mixed = math.sqrt(flank / height)
    sigma = window.wings.width / math.sqrt(8 * math.log(2))
    return FoundGhost(
        mu=float(window.offset[k]) + part * step,
        strength=height,
        mu_error=sigma * math.hypot(mixed, 1e-3),
        strength_error=height * math.hypot(math.sqrt(2) * mixed, 1e-3),
    )


def _each_once(each: list[list[FoundGhost]], apart: float) -> list[FoundGhost]:
    """Of what the windows show at a position, the first that is sure: stronger ones blur ghosts."""
    every = [ghost for ghosts in each for ghost in ghosts]
    sure = [ghost for ghost in every if ghost.strength_error < _SURE * ghost.strength]
    rest = sorted(every, key=lambda g: g.strength_error / g.strength)
    found: list[FoundGhost] = []
    for ghost in (*sure, *rest):
        if all(abs(ghost.mu - other.mu) > apart for other in found):
            found.append(ghost)
    return found


def _partners(left: FoundGhost, right: FoundGhost, width: float, *, broken: bool) -> bool:
    """Whether two ghosts are the sides of one pair; a step may leave either of its twins."""
    reach = max(_PAIR * width, 4 * math.hypot(left.mu_error, right.mu_error))
    reach = _TWINS * width if broken else min(reach, width)
    alike = 1 / _ALIKE < left.strength / right.strength < _ALIKE
    return alike and abs(left.mu + right.mu) < reach


def _clear_of(ghost: FoundGhost, found: list[FoundGhost], windows: list[Windowed]) -> bool:
    """Whether a ghost is more than the side lobes of the stronger ones."""
    best = min(sum(g.strength * float(w.wings.at(ghost.mu - g.mu)) for g in found) for w in windows)
    return ghost.strength > CLEAR * best


def ideal_of(light: Illumination, bare: tuple[Comb, ...]) -> Illumination:
    """The same beam on the ruling without its defects."""
    return replace(light, aperture=replace(light.aperture, combs=bare))
