"""A scan in a softened beam, prepared for search: its line, and what lies off the orders."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from wavesim.arrays import Flags, Floats
from wavesim.study.profile.scan import OrderScan

FLOOR = 1e-21  # of the line: what the transforms leave where there is no light, with a margin
SKIRT = 4.5  # widths over which a Gaussian line falls to 1e-24


@dataclass(frozen=True, eq=False)
class SoftScan:
    """A softened scan prepared for search: `level` (n,) over its line's peak."""

    mu: Floats
    level: Floats
    line: float
    width: float

    @property
    def distance(self) -> Floats:
        """(n,) from the line."""
        return np.abs(self.mu - self.line)


def prepared(order_scan: OrderScan, near: float) -> SoftScan:
    """SoftScan about the highest line within a quarter order of `near`."""
    mu = order_scan.mu
    near_line = np.flatnonzero(np.abs(mu - near) < 0.25)
    k = int(near_line[np.argmax(order_scan.level[near_line])])
    offset, peak, width = parabola(order_scan.level[k - 1 : k + 2])
    return SoftScan(
        mu, order_scan.level / peak, mu[k] + offset * order_scan.step, width * order_scan.step
    )


def parabola(three: Floats) -> tuple[float, float, float]:
    """Offset, height and full width at half maximum of the Gaussian through three samples."""
    a, b, c = np.log(np.maximum(three, 1e-300))
    bend = a - 2 * b + c
    if not bend < 0:
        return 0.0, float(three[1]), math.inf
    offset = (a - c) / (2 * bend)
    height = b - (a - c) ** 2 / (8 * bend)
    return float(offset), float(math.exp(height)), math.sqrt(-8 * math.log(2) / bend)


def apart_from_orders(field: SoftScan) -> Flags:
    """(n,) whether a sample lies away from every order's line, broadened as this one is."""
    shift = field.line - round(field.line)
    offset = np.abs(field.mu - shift - np.rint(field.mu - shift))
    return np.asarray(offset > SKIRT * field.width)
