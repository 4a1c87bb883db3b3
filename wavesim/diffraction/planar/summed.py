"""The far-field power summed over u and v: a pixel's light is a difference of four readings.

    T(u, v) = integral of |A|^2 du' dv' from a corner of the table   [m2]

As along a line of rulings, whatever structure lies inside a pixel is in the table; only its
corners are interpolated.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wavesim.arrays import Floats
from wavesim.compiled import compiled
from wavesim.threads import in_threads

BEFORE, AFTER = 5, 6  # samples wanted before the first and after the last frequency read
_LEAD = 2  # samples before the table's first node
_SIXTH = np.array([11.0, -93.0, 802.0, 802.0, -93.0, 11.0]) / 1440.0


@dataclass(frozen=True)
class Grid:
    """An even grid of frequencies: start, step [1/m] and number, along u and along v."""

    start_u: float
    step_u: float
    nu: int
    start_v: float
    step_v: float
    nv: int

    @property
    def u(self) -> Floats:
        """(nu,) [1/m]."""
        return self.start_u + self.step_u * np.arange(self.nu, dtype=np.float64)

    @property
    def v(self) -> Floats:
        """(nv,) [1/m]."""
        return self.start_v + self.step_v * np.arange(self.nv, dtype=np.float64)


_ROUNDING = 1e-6  # of a node


@dataclass(frozen=True, eq=False)
class SummedTable:
    """T at even nodes.

    Attributes
    ----------
    start_u, start_v : [1/m] frequencies of node (0, 0)
    step_u, step_v : [1/m]
    total : (nv, nu) [m2] T at the nodes, v first; the last five rows and columns are spare
    taps : nodes read each way: 6 (Lagrange's quintic) or 4 (cubic, for coarse tables)
    """

    start_u: float
    start_v: float
    step_u: float
    step_v: float
    total: Floats
    taps: int

    def covers(self, reach: tuple[float, float, float, float]) -> bool:
        """Whether u0, u1, v0, v1 [1/m] can be read; nodes beyond are other memory."""
        nv, nu = self.total.shape
        u0, u1 = (np.array(reach[:2]) - self.start_u) / self.step_u
        v0, v1 = (np.array(reach[2:]) - self.start_v) / self.step_v
        low, spare = 3 - _ROUNDING, 8 - _ROUNDING  # nodes read about a position, and those to spare
        return bool(min(u0, v0) >= low and u1 <= nu - spare and v1 <= nv - spare)


def summed(power: Floats, grid: Grid, *, fine: bool) -> SummedTable:
    """Sum samples of |A|^2 [m4] into a table; `power` (nv, nu) is overwritten.

    Cell by cell the quintic through the six samples about it is integrated. Between nodes the
    table is read as a quintic (`fine`) or, where samples are few, as a cubic, which costs less
    and is hardly worse there.
    """
    in_threads(lambda part: _along_u(power[part], _SIXTH * grid.step_u), power.shape[0])
    blocks = -(-power.shape[1] // 256)
    in_threads(
        lambda part: _along_v(power[:, part.start * 256 : part.stop * 256], _SIXTH * grid.step_v),
        blocks,
    )
    return SummedTable(
        grid.start_u + _LEAD * grid.step_u,
        grid.start_v + _LEAD * grid.step_v,
        grid.step_u,
        grid.step_v,
        power,
        6 if fine else 4,
    )


@compiled()
def _along_u(f, s):  # type: ignore[no-untyped-def]
    for j in range(f.shape[0]):
        total = 0.0
        for k in range(f.shape[1] - 5):
            rise = (
                s[0] * (f[j, k] + f[j, k + 5])
                + s[1] * (f[j, k + 1] + f[j, k + 4])
                + s[2] * (f[j, k + 2] + f[j, k + 3])
            )
            f[j, k] = total
            total += rise


@compiled()
def _along_v(f, s):  # type: ignore[no-untyped-def]
    total = np.zeros(f.shape[1])
    for j in range(f.shape[0] - 5):
        for k in range(f.shape[1]):
            rise = (
                s[0] * (f[j, k] + f[j + 5, k])
                + s[1] * (f[j + 1, k] + f[j + 4, k])
                + s[2] * (f[j + 2, k] + f[j + 3, k])
            )
            f[j, k] = total[k]
            total[k] += rise
