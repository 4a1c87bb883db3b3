"""CIELAB and CIEDE2000 against colour-science and the table that Sharma, Wu and Dalal published."""

from __future__ import annotations

import colour
import numpy as np
import pytest

from wavesim.colorimetry.difference import ciede2000, xyz_to_lab
from wavesim.colorimetry.spaces import d65_xyz, xy_to_xyz

# Color Res. Appl. 30 (2005) 21, table 1: pairs 1 to 3, 7, 17 to 20 and 25 (from memory, to the
# digits printed there)
PUBLISHED = [
    ((50.0, 2.6772, -79.7751), (50.0, 0.0, -82.7485), 2.0425),
    ((50.0, 3.1571, -77.2803), (50.0, 0.0, -82.7485), 2.8615),
    ((50.0, 2.8361, -74.0200), (50.0, 0.0, -82.7485), 3.4412),
    ((50.0, 0.0, 0.0), (50.0, -1.0, 2.0), 2.3669),
    ((50.0, 2.5, 0.0), (73.0, 25.0, -18.0), 27.1492),
    ((50.0, 2.5, 0.0), (61.0, -5.0, 29.0), 22.8977),
    ((50.0, 2.5, 0.0), (56.0, -27.0, -3.0), 31.9030),
    ((50.0, 2.5, 0.0), (58.0, 24.0, 15.0), 19.4535),
    ((60.2574, -34.0099, 36.2677), (60.4626, -34.1751, 39.4387), 1.2644),
]


@pytest.mark.parametrize(("first", "second", "expected"), PUBLISHED)
def test_the_published_pairs(
    first: tuple[float, ...], second: tuple[float, ...], expected: float
) -> None:
    assert ciede2000(first, second) == pytest.approx(expected, abs=5e-5)  # the table's last digit
    assert ciede2000(second, first) == ciede2000(first, second)


def test_against_colour_science() -> None:
    """10,000 pairs, nearly opposite hues, greys and equal colours among them.

    At exactly opposite hues the formula jumps (Sharma et al., section 4); rounding decides there.
    """
    random = np.random.default_rng(11)
    first = random.uniform([0, -120, -120], [100, 120, 120], (10_000, 3))
    second = random.uniform([0, -120, -120], [100, 120, 120], (10_000, 3))
    second[:100] = first[:100]
    first[100:200, 1:] = 0.0
    second[200:300, 1:] = -first[200:300, 1:] * random.uniform(0.1, 2, (100, 1)) + 1e-6
    expected = colour.difference.delta_E_CIE2000(first, second)
    np.testing.assert_allclose(ciede2000(first, second), expected, rtol=0, atol=1e-9)
    assert ciede2000(first[:100], second[:100]).max() == 0


def test_lab_against_colour_science() -> None:
    random = np.random.default_rng(12)
    xyz = random.uniform(0, 1.2, (1000, 3)) ** 4  # many dark ones
    for white_xy in ((0.3127, 0.3290), (0.4476, 0.4074)):
        expected = colour.XYZ_to_Lab(xyz, np.array(white_xy))
        found = xyz_to_lab(xyz, xy_to_xyz(white_xy))
        np.testing.assert_allclose(found, expected, rtol=0, atol=1e-9)
    np.testing.assert_allclose(xyz_to_lab(d65_xyz()), [100, 0, 0], atol=1e-12)
