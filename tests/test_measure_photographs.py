"""Stated uncertainties on photographs drawn by a renderer that shares nothing with the product.

Tilt, uneven light, shot noise, grain, the sRGB curve, 8 or 16 bits (`benchmarks/photographs.py`).
68 and 95 % of the misses lie within one and two stated uncertainties, less three deviations of a
share of so many lines.
"""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from benchmarks.photograph_coverage import judged


def covered(ratio: np.ndarray) -> None:
    size = np.abs(ratio)
    for within, share in ((1, 0.683), (2, 0.954)):
        deviation = math.sqrt(share * (1 - share) / size.size)
        assert np.mean(size < within) > share - 3 * deviation
    assert np.median(size) > 0.67 / 3  # not by stating too much


@pytest.mark.parametrize("first", [100, pytest.param(200, marks=pytest.mark.slow)])
def test_lines_that_stand_alone_in_strong_grain(tmp_path: Path, first: int) -> None:
    print(f"seeds {first} on")
    found = judged(range(first, first + (10 if first == 100 else 60)), tmp_path, noise=3.0)
    assert found.alone.size > 60
    covered(found.alone)


@pytest.mark.parametrize("first", [100, pytest.param(200, marks=pytest.mark.slow)])
def test_lines_with_unresolved_neighbours(tmp_path: Path, first: int) -> None:
    """Half of the lines have another of 5 to 70 % of their light half to three widths away."""
    print(f"seeds {first} on")
    found = judged(range(first, first + (10 if first == 100 else 60)), tmp_path, neighbours=True)
    assert found.close.size > 50
    covered(found.close)
