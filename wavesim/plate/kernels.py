"""The one pass over pixels and wavelengths.

Both kernels add, for every pixel i and wavelength bin b, the bin's light times the increment of
the running integral over the pixel to the two wavelength nodes beside the bin:

    light[i, k]     += low[b]  * (V(i + 1, b) - V(i, b))
    light[i, k + 1] += high[b] * (V(i + 1, b) - V(i, b))

Bins of node interval k are first[k] .. first[k + 1] - 1. Nodes are taken a block at a time so
that the stretch of table in use stays in the processor's cache. Nothing is shared between
pixels but the left edge's value, so any split of the pixels gives the same bits.
"""

from __future__ import annotations

import numpy as np

from wavesim.compiled import compiled


@compiled(inline="always")
def _once(c, j, t):  # type: ignore[no-untyped-def]
    return c[j, 0] + t * (c[j, 1] + t * (c[j, 2] + t * (c[j, 3] + t * (c[j, 4] + t * c[j, 5]))))


@compiled(inline="always")
def _twice(c, j, t):  # type: ignore[no-untyped-def]
    return c[j, 0] + t * (
        c[j, 1] + t * (c[j, 2] + t * (c[j, 3] + t * (c[j, 4] + t * (c[j, 5] + t * c[j, 6]))))
    )


@compiled(inline="always")
def _share_out(low, high, rise, first, k0, k1, row):  # type: ignore[no-untyped-def]
    """Add a block's rises to its nodes; `first` counts from the block's first bin."""
    carry = 0.0
    b = 0
    for k in range(k0, k1):
        to_low = 0.0
        to_high = 0.0
        end = first[k + 1] - first[k0]
        while b < end:
            to_low += low[b] * rise[b]
            to_high += high[b] * rise[b]
            b += 1
        row[k] += to_low + carry
        carry = to_high
    row[k1] += carry


@compiled(inline="always")
def _rise_points(once, p, scale, shift, edge, rise):  # type: ignore[no-untyped-def]
    for b in range(scale.size):
        s = p * scale[b] + shift[b]
        j = np.int32(s)
        value = _once(once, j, s - j)
        rise[b] = value - edge[b]
        edge[b] = value


@compiled()
def sweep_points(once, sines, scale, shift, bins, pixels, room, light):  # type: ignore[no-untyped-def]
    """V(i, b) = T at s = sines[i] * scale[b] + shift[b] [cells].

    `bins` = (low, high, first, block), `pixels` = (first, last), `room` (2, bins of the longest
    block) for its own use.
    """
    low, high, first, block = bins
    for g in range(block.size - 1):
        k0, k1 = block[g], block[g + 1]
        a, z = first[k0], first[k1]
        edge, rise = room[0, : z - a], room[1, : z - a]
        edge[:] = 0.0
        _rise_points(once, sines[pixels[0]], scale[a:z], shift[a:z], edge, rise)
        for i in range(pixels[0], pixels[1]):
            _rise_points(once, sines[i + 1], scale[a:z], shift[a:z], edge, rise)
            _share_out(low[a:z], high[a:z], rise, first, k0, k1, light[i])


@compiled(inline="always")
def _mean(once, twice, a, b):  # type: ignore[no-untyped-def]
    """Mean of T between a and b [cells]; by its middle where they are too near to subtract."""
    if abs(b - a) > 1e-3:
        ja = np.int32(a)
        jb = np.int32(b)
        return (_twice(twice, jb, b - jb) - _twice(twice, ja, a - ja)) / (b - a)
    m = (a + b) / 2
    j = np.int32(m)
    return _once(once, j, m - j)


@compiled(inline="always")
def _rise_boxes(once, twice, p, start, end, edge, rise):  # type: ignore[no-untyped-def]
    for b in range(edge.size):
        value = _mean(once, twice, p * start[0][b] + start[1][b], p * end[0][b] + end[1][b])
        rise[b] = value - edge[b]
        edge[b] = value


@compiled()
def sweep_boxes(tables, sines, start, end, bins, pixels, room, light):  # type: ignore[no-untyped-def]
    """V(i, b) = mean of T from s = sines[i] * start[0][b] + start[1][b] to the same of `end`.

    Serves a source slit (a range of incidence angles) and a wide wavelength bin alike.
    """
    once, twice = tables
    low, high, first, block = bins
    for g in range(block.size - 1):
        k0, k1 = block[g], block[g + 1]
        a, z = first[k0], first[k1]
        edge, rise = room[0, : z - a], room[1, : z - a]
        edge[:] = 0.0
        lower, upper = (start[0][a:z], start[1][a:z]), (end[0][a:z], end[1][a:z])
        _rise_boxes(once, twice, sines[pixels[0]], lower, upper, edge, rise)
        for i in range(pixels[0], pixels[1]):
            _rise_boxes(once, twice, sines[i + 1], lower, upper, edge, rise)
            _share_out(low[a:z], high[a:z], rise, first, k0, k1, light[i])


@compiled()
def cross(left, level, columns, rows):  # type: ignore[no-untyped-def]
    """left (n, m) = sum of columns[k] x rows[k] to `level` of any entry: how many, or -1.

    `columns` (most, n) and `rows` (most, m) are filled; `left` is changed to what is left.
    """
    n, m = left.shape
    a, b, top = 0, 0, 0.0
    for i in range(n):
        for j in range(m):
            if abs(left[i, j]) > top:
                a, b, top = i, j, abs(left[i, j])
    for k in range(columns.shape[0] + 1):
        if top <= level:
            return k
        if k == columns.shape[0]:
            break
        pivot = left[a, b]
        for j in range(m):
            rows[k, j] = left[a, j] / pivot
        for i in range(n):
            columns[k, i] = left[i, b]
        top = 0.0
        for i in range(n):
            factor = columns[k, i]
            largest = 0.0
            for j in range(m):
                left[i, j] -= factor * rows[k, j]
                largest = max(largest, abs(left[i, j]))
            if largest > top:
                a, top = i, largest
        for j in range(m):
            if abs(left[a, j]) == top:
                b = j
    return -1


@compiled()
def mirror(part, start, stop, xyz, irradiance):  # type: ignore[no-untyped-def]
    """The whole plate from rows `start` to `stop` - 1 of its lower half (4, n, m).

    `part` holds X, Y, Z and the irradiance of the lower rows and of the last m columns. Nothing
    tells y from -y, and columns before the last m mirror those behind.
    """
    rows = xyz.shape[0]
    columns = xyz.shape[1]
    first = columns - part.shape[2]
    for j in range(start, stop):
        for i in range(columns):
            n = i - first if i >= first else columns - 1 - i - first
            x, y, z, e = part[0, j, n], part[1, j, n], part[2, j, n], part[3, j, n]
            xyz[j, i, 0] = x
            xyz[j, i, 1] = y
            xyz[j, i, 2] = z
            irradiance[j, i] = e
            k = rows - 1 - j
            if k != j:
                xyz[k, i, 0] = x
                xyz[k, i, 1] = y
                xyz[k, i, 2] = z
                irradiance[k, i] = e


@compiled()
def bend_rows(power, edges, wanted, out):  # type: ignore[no-untyped-def]
    """Powers (ny, n, c) between `edges` (n + 1,) put between `wanted` (ny, m + 1), out (ny, m, c).

    The cumulative power is read with a monotone cubic (Fritsch & Carlson 1980, SIAM J. Numer.
    Anal. 17, 238, harmonic-mean slopes), so nothing turns negative and nothing is lost.
    """
    n = power.shape[1]
    channels = power.shape[2]
    before = np.zeros(channels)
    total = np.zeros((n + 1, channels))
    slope = np.zeros((n + 1, channels))
    for row in range(power.shape[0]):
        for i in range(n):
            for c in range(channels):
                total[i + 1, c] = total[i, c] + power[row, i, c]
                if i > 0:
                    left = power[row, i - 1, c] / (edges[i] - edges[i - 1])
                    right = power[row, i, c] / (edges[i + 1] - edges[i])
                    slope[i, c] = 2 * left * right / (left + right) if left * right > 0 else 0.0
        j = 0
        for i in range(wanted.shape[1]):
            x = min(max(wanted[row, i], edges[0]), edges[n])
            while j < n - 1 and edges[j + 1] <= x:
                j += 1
            h = edges[j + 1] - edges[j]
            t = (x - edges[j]) / h if h > 0 else 0.0
            for c in range(channels):
                a = slope[j, c] * h
                b = slope[j + 1, c] * h
                d = total[j + 1, c] - total[j, c]
                value = total[j, c] + t * (a + t * (3 * d - 2 * a - b + t * (a + b - 2 * d)))
                if i > 0:
                    out[row, i - 1, c] = value - before[c]
                before[c] = value


@compiled()
def spread_rows(power, edges, low, high, out):  # type: ignore[no-untyped-def]
    """Powers (ny, n, c) between `edges` (n + 1,) as boxes of positions: out (ny, m, c).

    Each edge of out's columns stands for all positions from `low` to `high` (ny, m + 1) at once:
    the cumulative power, a monotone cubic, is integrated between the two. `edges` are even; slopes
    are those of the quartic through five of them, held within monotone limits (Fritsch & Carlson).
    """
    n = power.shape[1]
    channels = power.shape[2]
    total = np.zeros((n + 1, channels))
    slope = np.zeros((n + 1, channels))
    area = np.zeros((n + 1, channels))
    integral = np.zeros((2, channels))
    before = np.zeros(channels)
    for row in range(power.shape[0]):
        for c in range(channels):
            for i in range(n):
                total[i + 1, c] = total[i, c] + power[row, i, c]
            for i in range(2, n - 1):
                left, right = power[row, i - 1, c], power[row, i, c]
                wide = power[row, i - 2, c] + power[row, i + 1, c]
                most = 3 * min(left, right)
                rise = min(max((7 * (left + right) - wide) / 12, 0.0), max(most, 0.0))
                slope[i, c] = rise / (edges[i + 1] - edges[i])
            for i in range(n):
                h = edges[i + 1] - edges[i]
                bend = (slope[i, c] - slope[i + 1, c]) * h / 12
                area[i + 1, c] = area[i, c] + h * ((total[i, c] + total[i + 1, c]) / 2 + bend)
        j = np.zeros(2, np.int64)
        for i in range(low.shape[1]):
            for side in range(2):
                x = low[row, i] if side == 0 else high[row, i]
                x = min(max(x, edges[0]), edges[n])
                k = j[side]
                while k < n - 1 and edges[k + 1] <= x:
                    k += 1
                j[side] = k
                h = edges[k + 1] - edges[k]
                t = (x - edges[k]) / h
                for c in range(channels):
                    a = slope[k, c] * h
                    b = slope[k + 1, c] * h
                    d = total[k + 1, c] - total[k, c]
                    bend = (3 * d - 2 * a - b) / 3 + t * (a + b - 2 * d) / 4
                    integral[side, c] = area[k, c] + h * t * (total[k, c] + t * (a / 2 + t * bend))
            for c in range(channels):
                mean = integral[1, c] - integral[0, c]
                if i > 0:
                    out[row, i - 1, c] = mean - before[c]
                before[c] = mean
