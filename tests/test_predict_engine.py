"""Every published or derived number on ruling errors, reproduced by the engine.

The engine sums displaced rulings (`wavesim.diffraction.far.amplitude`) on apertures made from
scenes or by hand; the numbers were computed independently (mpmath) from the sources named beside
them. With N a whole number of periods a ghost is free of the line's tails; the tolerances are
those of double precision; other tolerances have their reason beside them.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from tests.parameters import slow_beyond
from tests.rulings import PITCH_M, WAVELENGTH_M, built, by_hand, factor, periodic
from wavesim.aperture import Aperture
from wavesim.aperture.defects.random_errors import draw
from wavesim.study import formulas
from wavesim.study.predict.ghosts import Periods

TO_DIGITS = 1e-8  # the published values carry ten digits after the point


# Rowland ghosts: Quincke 1872; Peirce 1879 Am. J. Math. 2, 330; exact argument m + k/P derived
ROWLAND = {
    1.0: 0.9515568877,
    1.01: 0.0245430370,
    0.99: 0.0236040404,
    1.02: 0.0001619496,
    0.98: 0.0001381835,
    2.0: 0.8166965395,
    2.01: 0.0901515676,
    0.01: 0.0000024674,
}


def test_rowland_ghosts_with_their_own_direction_in_the_argument() -> None:
    found = factor(built(1000, periodic(0.05, 100)), list(ROWLAND))
    np.testing.assert_allclose(found, list(ROWLAND.values()), atol=TO_DIGITS, rtol=0)


def test_the_phase_of_a_periodic_error_does_not_show() -> None:
    found = factor(built(1000, periodic(0.05, 100, phase_deg=77.0)), list(ROWLAND))
    np.testing.assert_allclose(found, list(ROWLAND.values()), atol=TO_DIGITS, rtol=0)


def test_outer_ghosts_are_stronger() -> None:
    found = factor(built(1000, periodic(0.05, 100)), [1.01, 0.99])
    assert found[0] / found[1] == pytest.approx(1.03978118, rel=1e-6)
    small = factor(built(1000, periodic(1e-4, 100)), [1.01, 0.99])
    # the limit ((m + 1/P) / (m - 1/P))^2; z^2 / 4 of 1e-7 away from it
    assert small[0] / small[1] == pytest.approx((1.01 / 0.99) ** 2, rel=1e-6)


TEXTBOOK = [  # A/d, m, k, J_k^2 / J_0^2 with the argument 2 pi m A/d, last digit of the value
    (0.01, 1, 1, 0.000987935413, 1e-12),
    (0.01, 1, 2, 2.438435e-7, 1e-13),
    (0.01, 2, 1, 0.00396348381, 1e-11),
    (0.01, 2, 2, 3.916956e-6, 1e-12),
    (0.01, 5, 1, 0.0252968873, 1e-10),
    (0.01, 5, 2, 1.57338e-4, 1e-9),
    (0.1, 1, 1, 0.109400028, 1e-9),
    (0.1, 1, 2, 0.00279116, 1e-8),
]


@pytest.mark.parametrize(("amplitude", "m", "k", "ratio", "digit"), TEXTBOOK)
def test_textbook_ratios_are_the_limit_of_long_periods(
    amplitude: float, m: int, k: int, ratio: float, digit: float
) -> None:
    """Both sides averaged, at P = 20,000: what is left of the asymmetry is (k / m P)^2 < 1e-8."""
    period = 20_000
    # an envelope of five orders' width would go dark: these slits are narrow by 8
    found = factor(_thin(built(200_000, periodic(amplitude, period))), [m, m + k / period,
                                                                      m - k / period])  # fmt: skip
    assert (found[1] + found[2]) / 2 / found[0] == pytest.approx(ratio, rel=1e-6, abs=0.6 * digit)


def _thin(ruled: Aperture) -> Aperture:
    comb = ruled.combs[0]
    return by_hand(comb.position_m / PITCH_M, comb.weight)


def test_small_error_form() -> None:
    assert formulas.ghost_ratio_small(1, 1, amplitude=0.01) == pytest.approx(
        0.00098696044, abs=1e-11
    )
    found = factor(built(200_000, periodic(0.01, 20_000)), [1, 1 + 5e-5, 1 - 5e-5])
    exact = (found[1] + found[2]) / 2 / found[0]
    assert 0.00098696044 / exact - 1 == pytest.approx(-0.0010, abs=5e-5)  # "-0.10 %"


def test_amplitude_for_a_ghost_of_one_thousandth() -> None:
    found = factor(built(200_000, periodic(0.010060814, 20_000)), [1, 1 + 5e-5, 1 - 5e-5])
    assert (found[1] + found[2]) / 2 / found[0] == pytest.approx(1e-3, rel=1e-6)


def test_published_ruled_gratings() -> None:
    """Ghosts below 0.025 % at 546.1 nm, order 1, 600/mm ("The Reduction of Ghosts in Diffraction
    Grating Spectra", JOSA) ask for an amplitude below 8.388 nm."""
    amplitude = 8.388e-9 * 600e3
    found = factor(built(200_000, periodic(amplitude, 20_000)), [1, 1 + 5e-5, 1 - 5e-5])
    assert (found[1] + found[2]) / 2 / found[0] == pytest.approx(2.5e-4, rel=0.01)


def test_the_line_vanishes_at_the_zero_of_the_bessel_function() -> None:
    found = factor(built(1000, periodic(0.382739874781, 100)), [1.0])
    assert found[0] < 1e-18  # slope 0.52 x 2 pi x 1e-12 of A/d, squared: 1e-23
    beside = factor(built(1000, periodic(0.382739874781 + 1e-9, 100)), [1.0])
    # 1e-9 further the amplitude is J_1(2.4048) 2 pi 1e-9
    assert beside[0] == pytest.approx((0.5191474973 * 2 * math.pi * 1e-9) ** 2, rel=0.01)


def test_strength_errors_leave_equal_ghosts_beside_every_order() -> None:
    n = np.arange(1000.0)
    ruled = by_hand(n, 1 + 0.06 * np.cos(2 * np.pi * n / 100))
    beside = factor(ruled, [0.01, 0.99, 1.01, 2.01, 3.99])
    np.testing.assert_allclose(beside, 0.03**2, atol=1e-10)
    assert factor(ruled, [1.02])[0] < 1e-20  # no second ghost; rounding of the sum


# every other ruling displaced (half orders: Richardson in Kingslake, vol. V)
HALF_ORDERS = {0.5: 0.008856374636, 1.0: 0.964888242944, 1.5: 0.077836037249, 2.0: 0.864484313711}


def test_period_of_two_rulings() -> None:
    n = np.arange(1000.0)
    found = factor(by_hand(n + 0.03 * (-1.0) ** n), list(HALF_ORDERS))
    np.testing.assert_allclose(found, list(HALF_ORDERS.values()), atol=1e-10)


# two periods: Lyman 1901 Phys. Rev. 12, 1; Runge in JOSA 6, 429 (1922)
P1, P2 = 10_000 / 141, 10_000 / 479
TWO_PERIODS = {
    (0, 0): 0.81866011095,
    (1, 0): 0.055850414507,
    (0, 1): 0.031363514212,
    (1, 1): 0.0022821165369,
    (1, -1): 0.0019048770101,
    (2, 0): 0.00093827710461,
}


def test_two_periods_multiply() -> None:
    ruled = built(10_000, periodic(0.04, P1), periodic(0.03, P2))
    found = factor(ruled, [2 + p / P1 + q / P2 for p, q in TWO_PERIODS])
    np.testing.assert_allclose(found, list(TWO_PERIODS.values()), atol=TO_DIGITS, rtol=0)


def test_commensurate_periods_add_in_amplitude() -> None:
    """P1 = 50, P2 = 20: other harmonics fall on the same ghosts, so the product is not exact.

    Published: 2e-4 of the ghost (1, -1) and 6e-4 of (2, 0), without the order and amplitudes; in
    order 1 with the amplitudes above the first comes out and the second is of that size.
    """
    ruled = built(1000, periodic(0.04, 50), periodic(0.03, 20))
    periods = Periods(np.array([0.04, 0.03]), np.array([50.0, 20.0]), np.zeros(2), 1000)
    for (p, q), published, within in (((1, -1), 2e-4, 0.5e-4), ((2, 0), 6e-4, 3e-4)):
        mu = 1 + p / 50 + q / 20
        found = factor(ruled, [mu])[0]
        product = abs(periods.amplitude_at(mu, np.array([[p, q]], dtype=float))) ** 2
        assert abs(found / product - 1) == pytest.approx(published, abs=within)
        family = np.array([[p + 5 * a, q - 2 * a] for a in range(-2, 3)], dtype=float)
        assert found == pytest.approx(abs(periods.amplitude_at(mu, family)) ** 2, abs=1e-12)


DRAWS, N = 6_000, 400
MEAN_ERROR = 4.0  # standard errors; one in 16,000 honest runs would fail, and the seeds are fixed


def _ensemble(position: np.ndarray, mu: np.ndarray) -> np.ndarray:
    """(draws, mu) intensities of rulings at `position` (draws, n), summed by the engine in one go.

    The draws stand side by side as one aperture each; `factor` takes them one by one.
    """
    return np.array([factor(by_hand(row), mu) for row in position])


@pytest.fixture(scope="module")
def independent() -> dict[float, np.ndarray]:
    """Intensities at mu = 1 and at 20 zeros of the line, for three rms errors."""
    n = np.arange(N, dtype=np.float64)
    mu = np.concatenate([[1.0], 1 + np.arange(10, 20) / N, 1 - np.arange(10, 20) / N])
    noise = np.array([draw("independent", seed, N, 1.0) for seed in range(DRAWS)])
    return {sigma: _ensemble(n + sigma * noise, mu) for sigma in (0.02, 0.05, 0.1)}


# Debye-Waller argument; Hutley 1982; E and (1 - E) / N relative to the unperturbed peak
INDEPENDENT = {
    0.02: (0.984332663, 3.917e-5),
    0.05: (0.906018056, 2.350e-4),
    0.1: (0.673825451, 8.154e-4),
}


@pytest.mark.slow
@pytest.mark.parametrize("sigma", INDEPENDENT)
def test_independent_errors_leave_the_line_and_scatter_the_rest(
    independent: dict[float, np.ndarray], sigma: float
) -> None:
    left, background = INDEPENDENT[sigma]
    found = independent[sigma]
    line = found[:, 0]
    expected = left + (1 - left) / N
    assert abs(line.mean() - expected) < MEAN_ERROR * line.std() / math.sqrt(line.size)
    assert line.mean() == pytest.approx(expected, rel=1e-3)
    # 20 zeros of the line, uncorrelated: 120,000 cells, so 2 % is six standard errors
    assert found[:, 1:].mean() == pytest.approx(background, rel=0.02)


@pytest.mark.slow
@pytest.mark.parametrize("sigma", INDEPENDENT)
def test_diffuse_light_is_speckle(independent: dict[float, np.ndarray], sigma: float) -> None:
    """Exponential law: standard deviation over mean tends to 1 (Goodman, Speckle Phenomena)."""
    cells = independent[sigma][:, 1:]
    assert cells.std() / cells.mean() == pytest.approx(1.0, abs=0.01)  # 1 / sqrt(N) beside it


@pytest.mark.slow
@pytest.mark.parametrize("sigma", INDEPENDENT)
def test_line_and_background_hold_all_the_power(
    independent: dict[float, np.ndarray], sigma: float
) -> None:
    found = independent[sigma]
    background = found[:, 1:].mean()
    assert found[:, 0].mean() + (N - 1) * background == pytest.approx(1.0, abs=3e-3)


def test_what_independent_errors_leave() -> None:
    for (m, sigma), left in {
        (1, 0.02): 0.984332663, (1, 0.05): 0.906018056, (1, 0.1): 0.673825451,
        (2, 0.05): 0.673825451,
    }.items():  # fmt: skip
        assert formulas.parent_left(m, sigma) == pytest.approx(left, abs=1e-9)
    assert formulas.rms_for_loss(0.01, 1) == pytest.approx(0.0159555000, abs=1e-9)


def test_uniform_errors_of_a_quarter_pitch() -> None:
    """E = sinc^2(2 m delta/d) = 0.405284735, where a Gaussian of that rms leaves 0.439346434."""
    n, stream = np.arange(N, dtype=np.float64), np.random.RandomState(5)
    position = n + stream.uniform(-0.25, 0.25, (4000, N))
    line = _ensemble(position, np.array([1.0]))[:, 0]
    expected = 0.405284735 + (1 - 0.405284735) / N
    assert abs(line.mean() - expected) < MEAN_ERROR * line.std() / math.sqrt(line.size)
    assert formulas.parent_left(1, 0.25 / math.sqrt(3)) == pytest.approx(0.439346434, abs=1e-9)


# accumulated errors: Hosemann & Bagchi 1962, disorder of the second kind
ACCUMULATED = {0.005: {1.0: 0.937326, 1.002: 0.079337}, 0.02: {1.0: 0.441276, 1.002: 0.205663}}


@pytest.mark.slow
@pytest.mark.parametrize("sigma", slow_beyond(1, ACCUMULATED))
def test_accumulated_errors_broaden_the_line(sigma: float) -> None:
    n = np.arange(N, dtype=np.float64)
    walk = np.array([draw("accumulated", seed, N, 1.0) for seed in range(6000)])
    found = _ensemble(n + sigma * walk, np.array(list(ACCUMULATED[sigma])))
    error = found.std(axis=0) / math.sqrt(found.shape[0])
    expected = np.array(list(ACCUMULATED[sigma].values()))
    assert np.all(np.abs(found.mean(axis=0) - expected) < MEAN_ERROR * error + 5e-7)  # last digit
    closed = formulas.accumulated_factor(np.array(list(ACCUMULATED[sigma])), sigma, N)
    np.testing.assert_allclose(closed, expected, atol=6e-7)


def test_width_of_a_line_with_accumulated_errors() -> None:
    assert formulas.accumulated_width_orders(1, 0.01) == pytest.approx(0.000628318735, abs=1e-12)


# linear drift: Cornu 1893; 1/r = m lambda kappa / (d cos^2 beta)
def test_a_drifting_pitch_is_a_lens() -> None:
    """600/mm at 500 nm, kappa = 0.2/m: the order comes to a focus 15.16667 m behind the ruling."""
    d, wavelength, kappa = 1e-3 / 600, 500e-9, 0.2
    n = np.arange(-3000, 3000) + 0.5
    x = n * d
    position = x + kappa * x**2 / 2
    beta = math.asin(wavelength / d)

    def peak(radius: float) -> float:
        bend = np.exp(1j * np.pi * (x * math.cos(beta)) ** 2 / (wavelength * radius))
        ruled = Aperture(by_hand(n).combs, 0.01, d)
        comb = type(ruled.combs[0])(ruled.combs[0].element, position, bend)
        ruled = Aperture((comb,), 0.01, d)
        order = np.array([1.0])
        sine = order * wavelength / d
        from wavesim.diffraction.far import amplitude

        return float(np.abs(amplitude(ruled, 0.0, sine, wavelength))[0] ** 2)

    radius = np.linspace(15.0, 15.33, 67)
    height = np.array([peak(r) for r in radius])
    top = np.polyfit(1 / radius, height, 2)
    best = 1 / (-top[1] / (2 * top[0]))
    assert best == pytest.approx(15.16667, rel=1e-4)
    closed = formulas.drift_curvature_per_m(
        1, wavelength, pitch_m=d, beta_rad=beta, drift_per_m=kappa
    )
    assert 1 / closed == pytest.approx(15.16667, abs=5e-6)
    weak = formulas.drift_curvature_per_m(1, wavelength, pitch_m=d, beta_rad=beta, drift_per_m=1e-3)
    assert 1 / weak == pytest.approx(3033.333333, abs=5e-6)


# Rayleigh's quarter-wave rule, Born & Wolf chapter 9
@pytest.mark.parametrize(
    ("path_waves", "left"), [(0.125, 0.946441583), (0.25, 0.800304796), (0.5, 0.394741321)]
)
def test_peak_under_a_quadratic_phase(path_waves: float, left: float) -> None:
    count = 4000  # the sum stands for the integral within 1 / N^2
    linear = 8 * path_waves / count  # displacement at the ends: linear x width / 8
    found = factor(built(count, f'kind = "drift"\nlinear = {linear!r}'), [1.0])
    assert found[0] == pytest.approx(left, abs=1e-6)


def test_one_step_in_the_middle() -> None:
    step = f'kind = "step"\nsize = "{0.1 * PITCH_M!r} m"'
    assert factor(built(2000, step), [1.0])[0] == pytest.approx(0.904508497, abs=1e-9)


def test_a_step_of_half_a_pitch_splits_the_line() -> None:
    count, position, height = 16_000, 0.742019296, 0.525061614
    ruled = built(count, f'kind = "step"\nsize = "{0.5 * PITCH_M!r} m"')
    assert factor(ruled, [1.0])[0] < 1e-20
    t = np.linspace(0.6, 0.9, 601)
    for side in (-1, 1):
        found = factor(ruled, 1 + side * t / count)
        # mu enters the step's own phase, a difference of the order of 1 / N
        assert found.max() == pytest.approx(height, abs=1e-4)
        assert t[np.argmax(found)] == pytest.approx(position, abs=6e-4)


def test_wavelength_of_these_checks_lights_four_orders() -> None:
    assert 3 * WAVELENGTH_M < PITCH_M
