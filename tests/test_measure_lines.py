"""Finding and placing lines on made-up profiles whose centres are known exactly."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import find_peaks, peak_widths
from scipy.special import erf

from wavesim.errors import InputError, PlateFileError
from wavesim.measuring import find_lines, profile
from wavesim.measuring.maxima import maxima, widths
from wavesim.measuring.profile import noise_of


def gaussian(x: np.ndarray, centre: float, fwhm: float) -> np.ndarray:
    """A Gaussian of unit height, averaged over pixels of width 1."""
    s = fwhm / 2.3548200450309493
    lo, hi = ((x + d - centre) / (s * np.sqrt(2)) for d in (-0.5, 0.5))
    return np.sqrt(np.pi / 2) * s * (erf(hi) - erf(lo))


def box(x: np.ndarray, centre: float, width: float) -> np.ndarray:
    """The image of a wide slit: a box seen by pixels of width 1, the edges softened."""
    fine = np.arange(-0.5, 0.5, 0.02) + 0.01
    t = np.abs(x[:, None] + fine - centre)
    return (0.5 * (1 - np.tanh((t - width / 2) / 0.7))).mean(axis=1)


@pytest.mark.parametrize("seed", range(4))
def test_maxima_match_scipy(seed):
    """scipy.signal.find_peaks and peak_widths, an independent program."""
    y = np.cumsum(np.random.default_rng(seed).normal(size=2000))
    index, facts = find_peaks(y, prominence=1.0)
    found = maxima(y, 1.0)
    assert np.array_equal(found.index, index)
    np.testing.assert_allclose(found.prominence, facts["prominences"], rtol=1e-12)
    for fraction in (0.35, 0.5):
        np.testing.assert_allclose(
            widths(y, found, fraction), peak_widths(y, index, fraction)[0], rtol=1e-9
        )


def test_flat_tops_count_once():
    y = np.array([0.0, 1, 1, 1, 0, 0, 2, 0])
    assert maxima(y, 0.5).index.tolist() == [2, 6]


@pytest.mark.parametrize("shape", [gaussian, box])
@pytest.mark.parametrize("width", [2.2, 3.5, 9.0])
def test_placed_to_a_fiftieth_of_a_sample(shape, width):
    """Stated in find_lines: below 0.02 sample for isolated lines on a noiseless profile."""
    x = np.arange(4000.0)
    centres = 100 + 97.137 * np.arange(38)
    light = sum(shape(x, c, width) for c in centres)
    found = find_lines(profile(x, light + 0.02))
    assert len(found) == len(centres)
    misses = np.array([f.x_m for f in found]) - centres
    assert np.abs(misses).max() < 0.02
    assert all(abs(f.x_m - c) <= 3 * f.x_error_m for f, c in zip(found, centres, strict=True))


@pytest.mark.slow
def test_noise_is_estimated_and_uncertainty_covers_the_error():
    rng = np.random.default_rng(3)
    x = np.arange(30_000.0)
    centres = 60 + 50.37 * np.arange(590)
    light = sum(gaussian(x, c, 5.0) for c in centres)
    noisy = light + rng.normal(0, 0.02, x.size)
    assert noise_of(noisy) == pytest.approx(0.02, rel=0.1)  # lines leave a little of themselves
    found = find_lines(profile(x, noisy), least=0.2)
    assert len(found) == len(centres)
    pull = (np.array([f.x_m for f in found]) - centres) / [f.x_error_m for f in found]
    # standard uncertainties: the pulls' rms is 1 if all are right; half to one and a quarter is
    # honest (the asymmetry's part makes them a little cautious)
    assert 0.5 < np.sqrt(np.mean(pull**2)) < 1.25


def test_blends_are_split():
    x = np.arange(400.0)
    light = gaussian(x, 100.3, 6.0) + 0.6 * gaussian(x, 107.9, 6.0)
    light += gaussian(x, 250.0, 6.0) + gaussian(x, 320.0, 6.0)
    found = find_lines(profile(x, light))
    assert [f.blended for f in found] == [True, True, False, False]
    # two percent of the width: the neighbour's flank is fitted along
    np.testing.assert_allclose([f.x_m for f in found], [100.3, 107.9, 250, 320], atol=0.12)


def test_a_shoulder_is_found_by_its_width():
    """Two equal lines at 0.8 of a width show one maximum; a third line says how wide one is."""
    x = np.arange(500.0)
    light = gaussian(x, 100.0, 8.0) + gaussian(x, 106.4, 8.0)
    light += sum(gaussian(x, c, 8.0) for c in (200.0, 260.0, 330.0, 400.0))
    found = find_lines(profile(x, light))
    pair = [f.x_m for f in found if f.x_m < 150]
    assert len(pair) == 2
    np.testing.assert_allclose(pair, [100.0, 106.4], atol=0.8)  # a tenth of a width


def test_clipped_tops_are_placed_by_their_flanks():
    x = np.arange(600.0)
    light = np.minimum(3 * gaussian(x, 200.37, 8.0), 1.0) + 0.5 * gaussian(x, 400.0, 8.0)
    whole = profile(x, light)
    clipped = type(whole)(whole.x_m, light, whole.noise, light >= 0.999)
    first, second = find_lines(clipped)
    assert first.saturated
    assert not second.saturated
    assert first.x_m == pytest.approx(200.37, abs=0.03)  # only flanks are left of it


def test_dark_lines_on_a_curved_continuum():
    x = np.arange(6000.0)
    level = 1 + 0.4 * np.sin(x / 1500)
    centres = 300 + 411.31 * np.arange(13)
    light = level * (1 - 0.5 * sum(gaussian(x, c, 5.0) for c in centres))
    found = find_lines(profile(x, light), "dark")
    assert len(found) == len(centres)
    np.testing.assert_allclose([f.x_m for f in found], centres, atol=0.03)  # the level's slope
    np.testing.assert_allclose([f.height for f in found], 0.5, atol=0.05)  # pixel and percentile


def test_nothing_is_found_in_noise():
    rng = np.random.default_rng(11)
    assert find_lines(profile(np.arange(20_000.0), 1 + rng.normal(0, 0.01, 20_000))) == ()


@pytest.mark.parametrize(
    ("x", "value", "message"),
    [
        (np.arange(4.0), np.ones(4), "at least 8"),
        (np.array([0.0, 1, 2, 3, 4, 5, 6, 9]), np.ones(8), "evenly"),
        (np.arange(8.0), np.array([1.0] * 7 + [np.nan]), "finite"),
    ],
)
def test_profiles_that_cannot_be_measured(x, value, message):
    with pytest.raises(PlateFileError, match=message):
        profile(x, value)


def test_unknown_kind_of_line():
    with pytest.raises(InputError, match="bright or dark"):
        find_lines(profile(np.arange(9.0), np.ones(9)), "grey")  # type: ignore[arg-type]
