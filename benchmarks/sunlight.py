"""The Sun's lines into wavelength bins, against one integral a bin."""

from __future__ import annotations

import os
import tempfile

import numpy as np

from benchmarks.row import Row, median_seconds
from wavesim.light import sun

BINS = 20_000


def rows() -> list[Row]:
    """Time once warm, nothing kept: the product over all lines and its integral over every bin."""
    edges = np.linspace(380e-9, 780e-9, BINS + 1)
    make = sun.irradiance.__wrapped__

    def ours() -> None:
        with tempfile.TemporaryDirectory() as empty:
            os.environ["WAVESIM_CACHE"] = empty
            make().integrate(edges[:-1], edges[1:])
        del os.environ["WAVESIM_CACHE"]

    def one_by_one() -> None:
        """Each bin by a Gauss-Legendre sum of its own, a hundredth of them."""
        spectrum = make()
        node, weight = np.polynomial.legendre.leggauss(16)
        for lo, hi in zip(edges[:-1:100], edges[1::100], strict=True):
            spectrum.density((lo + hi) / 2 + (hi - lo) / 2 * node) @ weight

    seconds, plain = median_seconds(ours, 5), median_seconds(one_by_one, 3) * 100
    return [
        Row(
            f"Sun, {len(sun.lines().species):,} lines into {BINS:,} bins",
            f"{seconds:.2f} s",
            f"a 16-point sum for each bin: {plain:.1f} s, {plain / seconds:.0f} x",
            "0.2 s",
            seconds <= 0.2,
        )
    ]
