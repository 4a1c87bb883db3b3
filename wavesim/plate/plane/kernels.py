"""The one pass over pixels and wavelengths, in two dimensions.

For every wavelength b and frame cell (j, i) the rise of the summed table over the cell,

    R = T(v2, u2) - T(v2, u1) - T(v1, u2) + T(v1, u1),     u = p s_b + t_b,  v = q s'_b + t'_b,

is weighted with the wavelength's light (X, Y, Z and power) and added up. The frame is taken in
tiles whose stretch of table stays in the cache while wavelengths run: a table row is mixed from
its neighbours along v in one go, then read along u. Any split into tiles gives the same bits.
"""

from __future__ import annotations

import numpy as np

from wavesim.compiled import compiled


@compiled(inline="always", fastmath={"contract", "nsz"})
def _lagrange(t, w, i):  # type: ignore[no-untyped-def]
    """Six weights at nodes -2 .. 3 for t between 0 and 1, into w[:, i]."""
    a, b, c, d, e, f = t + 2.0, t + 1.0, t, t - 1.0, t - 2.0, t - 3.0
    w[0, i] = b * c * d * e * f / -120.0
    w[1, i] = a * c * d * e * f / 24.0
    w[2, i] = a * b * d * e * f / -12.0
    w[3, i] = a * b * c * e * f / 12.0
    w[4, i] = a * b * c * d * f / -24.0
    w[5, i] = a * b * c * d * e / 120.0


@compiled(fastmath={"contract", "nsz"})
def sweep_fine(flat, width, p, q, lines, weight, tile, out):  # type: ignore[no-untyped-def]
    """Quintic readings.

    `flat` holds the table row by row, `width` nodes each; `lines` (4, nb): s, t along u and
    along v [nodes]; `weight` (nb, c); `tile` = (j0, j1, i0, i1); out (c, nj, ni) is added to.
    """
    j0, j1, i0, i1 = tile
    n = i1 - i0
    kinds = weight.shape[1]
    block = np.zeros((kinds, j1 - j0, n))
    base = np.empty(n + 1, dtype=np.int64)
    wu = np.empty((6, n + 1))
    wv = np.empty((6, 1))
    mixed = np.empty(width)
    above = np.empty(n + 1)
    below = np.empty(n + 1)
    rise = np.empty(n)
    for b in range(weight.shape[0]):
        for i in range(n + 1):
            s = p[i0 + i] * lines[0, b] + lines[1, b]
            k = int(np.floor(s))
            base[i] = k - 2
            _lagrange(s - k, wu, i)
        first = base[0]
        count = base[n] + 6 - first
        for j in range(j0, j1 + 1):
            s = q[j] * lines[2, b] + lines[3, b]
            k = int(np.floor(s))
            _lagrange(s - k, wv, 0)
            _mix_six(flat, (k - 2) * width + first, width, count, wv, mixed)
            for i in range(n + 1):
                c = np.uint64(base[i] - first)
                above[i] = (
                    wu[0, i] * mixed[c]
                    + wu[1, i] * mixed[c + np.uint64(1)]
                    + wu[2, i] * mixed[c + np.uint64(2)]
                    + wu[3, i] * mixed[c + np.uint64(3)]
                    + wu[4, i] * mixed[c + np.uint64(4)]
                    + wu[5, i] * mixed[c + np.uint64(5)]
                )
            if j > j0:
                for i in range(n):
                    rise[i] = (above[i + 1] - below[i + 1]) - (above[i] - below[i])
                _add(block, weight, b, j - 1 - j0, rise)
            above, below = below, above
    out[:, j0:j1, i0:i1] += block


@compiled(inline="always", fastmath={"contract", "nsz"})
def _mix_six(flat, start, width, count, w, mixed):  # type: ignore[no-untyped-def]
    """Six rows of the table, `width` apart, mixed into one."""
    w0, w1, w2, w3, w4, w5 = w[0, 0], w[1, 0], w[2, 0], w[3, 0], w[4, 0], w[5, 0]
    a = np.uint64(start)
    n = np.uint64(width)
    b, c, d, e, f = a + n, a + n + n, a + n + n + n, a + n + n + n + n, a + n + n + n + n + n
    for k in range(count):
        m = np.uint64(k)
        mixed[m] = (w0 * flat[a + m] + w1 * flat[b + m] + w2 * flat[c + m]) + (
            w3 * flat[d + m] + w4 * flat[e + m] + w5 * flat[f + m]
        )


@compiled(inline="always", fastmath={"contract", "nsz"})
def _add(block, weight, b, j, rise):  # type: ignore[no-untyped-def]
    for c in range(weight.shape[1]):
        w = weight[b, c]
        row = block[c, j]
        for i in range(rise.size):
            row[i] += w * rise[i]


@compiled(inline="always", fastmath={"contract", "nsz"})
def _cubic(t, w, i):  # type: ignore[no-untyped-def]
    """Four weights at nodes -1 .. 2 for t between 0 and 1, into w[:, i]."""
    a, b, c, d = t + 1.0, t, t - 1.0, t - 2.0
    w[0, i] = b * c * d / -6.0
    w[1, i] = a * c * d / 2.0
    w[2, i] = a * b * d / -2.0
    w[3, i] = a * b * c / 6.0


@compiled(inline="always", fastmath={"contract", "nsz"})
def _mix_four(flat, start, width, count, w, mixed):  # type: ignore[no-untyped-def]
    """Four rows of the table, `width` apart, mixed into one."""
    w0, w1, w2, w3 = w[0, 0], w[1, 0], w[2, 0], w[3, 0]
    a = np.uint64(start)
    n = np.uint64(width)
    b, c, d = a + n, a + n + n, a + n + n + n
    for k in range(count):
        m = np.uint64(k)
        mixed[m] = (w0 * flat[a + m] + w1 * flat[b + m]) + (w2 * flat[c + m] + w3 * flat[d + m])


@compiled(fastmath={"contract", "nsz"})
def sweep_coarse(flat, width, p, q, lines, weight, tile, out):  # type: ignore[no-untyped-def]
    """Cubic readings; arguments and loops as of `sweep_fine`, with four readings written out."""
    j0, j1, i0, i1 = tile
    n = i1 - i0
    block = np.zeros((weight.shape[1], j1 - j0, n))
    base = np.empty(n + 1, dtype=np.int64)
    wu = np.empty((4, n + 1))
    wv = np.empty((4, 1))
    mixed = np.empty(width)
    above = np.empty(n + 1)
    below = np.empty(n + 1)
    rise = np.empty(n)
    for b in range(weight.shape[0]):
        for i in range(n + 1):
            s = p[i0 + i] * lines[0, b] + lines[1, b]
            k = int(np.floor(s))
            base[i] = k - 1
            _cubic(s - k, wu, i)
        first = base[0]
        count = base[n] + 4 - first
        for j in range(j0, j1 + 1):
            s = q[j] * lines[2, b] + lines[3, b]
            k = int(np.floor(s))
            _cubic(s - k, wv, 0)
            _mix_four(flat, (k - 1) * width + first, width, count, wv, mixed)
            for i in range(n + 1):
                c = np.uint64(base[i] - first)
                above[i] = (
                    wu[0, i] * mixed[c]
                    + wu[1, i] * mixed[c + np.uint64(1)]
                    + wu[2, i] * mixed[c + np.uint64(2)]
                    + wu[3, i] * mixed[c + np.uint64(3)]
                )
            if j > j0:
                for i in range(n):
                    rise[i] = (above[i + 1] - below[i + 1]) - (above[i] - below[i])
                _add(block, weight, b, j - 1 - j0, rise)
            above, below = below, above
    out[:, j0:j1, i0:i1] += block
