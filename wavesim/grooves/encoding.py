"""A curve of efficiencies as one array of numbers, and back, for the cache."""

from __future__ import annotations

import numpy as np

from wavesim.arrays import Floats
from wavesim.grooves.curves import EfficiencyCurve
from wavesim.grooves.sampling import SampledPart

_HEAD = 6  # numbers before the orders in the first row


def width(orders: int) -> int:
    """Columns of the array for so many orders."""
    return max(4 * orders + 3, _HEAD + orders)


def encoded(found: EfficiencyCurve) -> Floats:
    """(rows, width): a head, and for each part its ends and size, then its points and values."""
    columns = width(found.order.size)
    head = [found.computed, *found.error, found.sampling_error, found.balance, found.functions]
    rows = [np.array([*head, *found.order], dtype=np.float64)]
    for part in found.parts:
        rows += [np.array([part.a, part.b, part.size]), *np.column_stack([part.s, part.value])]
    made = np.zeros((len(rows), columns))
    for k, row in enumerate(rows):
        made[k, : row.size] = row
    made[0, _HEAD + found.order.size :] = 0.0
    return made


def decoded(stored: Floats) -> EfficiencyCurve:
    """The curve again, to the bit."""
    channels_of = {width(n): n for n in range(1, stored.shape[1])}
    orders = channels_of[stored.shape[1]]
    head, parts, row = stored[0], list[SampledPart](), 1
    while row < stored.shape[0]:
        a, b, size = stored[row, :3]
        last = row + 1 + int(size)
        values = stored[row + 1 : last, : 4 * orders + 3]
        parts.append(SampledPart(float(a), float(b), values[:, 0], values[:, 1:]))
        row = last
    return EfficiencyCurve(
        order=head[_HEAD : _HEAD + orders].astype(np.intp),
        parts=tuple(parts),
        computed=int(head[0]),
        error=head[1:3],
        sampling_error=float(head[3]),
        balance=float(head[4]),
        functions=int(head[5]),
    )
