"""The coordinate-transformation and the modal method against unlike methods, random cases."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.special import jv

from tests.groove_pairs import apart, cases
from tests.groove_rows import UM, lamellar, sinusoid
from wavesim.grooves import Lamellar, Sinusoidal, Surface, Trapezoidal, constant, efficiencies


def rayleigh_fourier(
    depth: float, wavelength: float, index: complex, sine: float, *, across: bool, most: int = 11
) -> np.ndarray:
    """Reflected efficiencies (n = -most..most) of a sinusoid of period 1 by plane waves matched
    in Fourier space: exact below a depth of 0.1425 (Petit & Cadilhac 1966, Millar 1969)."""
    k, n = 2 * math.pi / wavelength, np.arange(-most, most + 1)
    alpha = k * sine + 2 * math.pi * n
    beta = np.sqrt(k**2 - alpha**2 + 0j)
    gamma = np.sqrt((k * index) ** 2 - alpha**2 + 0j)

    def field(b: np.ndarray, a: np.ndarray, kk: complex) -> tuple[np.ndarray, np.ndarray]:
        lag = n[:, None] - n[: a.size][None, :] if a.size > 1 else n[:, None]
        value = 1j ** (lag % 4) * jv(lag, b[None, :] * depth / 2)
        return value, 1j * value * (kk**2 - a[None, :] * alpha[:, None]) / b[None, :]

    up, d_up = field(beta, alpha, k)
    down, d_down = field(-gamma, alpha, k * index)
    start, d_start = field(-beta[[most]], alpha[[most]], k)
    weight = 1 / index**2 if across else 1.0
    matrix = np.block([[up, -down], [d_up, -weight * d_down]])
    r = np.linalg.solve(matrix, -np.concatenate([start[:, 0], d_start[:, 0]]))[: n.size]
    return np.where(beta.real > 0, beta.real / beta[most].real * np.abs(r) ** 2, 0.0)


@pytest.mark.slow
def test_metal_sinusoids_are_those_of_rayleighs_method() -> None:
    """20 random metal sinusoids, both polarisations: below 1e-6 of the incident power."""
    random = np.random.default_rng(1907)
    worst = []
    for _ in range(20):
        depth, wavelength = random.uniform(0.01, 0.1), random.uniform(0.45, 1.2)
        index, sine = (
            complex(random.uniform(0.1, 2), random.uniform(3, 8)),
            random.uniform(-0.6, 0.6),
        )
        found = efficiencies(sinusoid(1, depth, index), np.array([wavelength * UM]), sine,
                             tolerance=1e-8)  # fmt: skip
        for field in (0, 1):
            other = rayleigh_fourier(depth, wavelength, index, sine, across=field == 1)
            apart = [abs(found.reflected[field, 0, found.index(-n)] - other[n + 11])
                     for n in found.amplitudes.order]  # fmt: skip
            worst.append(max(apart))
    assert max(worst) < 1e-6
    assert np.median(worst) < 1e-9


@pytest.mark.slow
def test_blazed_metal_is_that_of_finite_elements() -> None:
    """Random echelettes, both polarisations; `python -m tests.groove_pairs` prints 20 to 1e-6."""
    worst = [apart(case, tolerance=1e-4, levels=4, degree=7) for case in cases(2)]
    assert np.max(worst) < 1e-4
    assert np.median(worst) < 1e-5


@pytest.mark.slow
@pytest.mark.parametrize("orders", [2, 3])
def test_the_error_stated_holds_where_orders_pass_off(orders: int) -> None:
    """Blazed metal at lambda = d / m, normal incidence: orders +-m graze. The error stated of a
    coarse result is no less than its difference from a fine one, and nothing jumps there.

    At lambda = d / 2 and d / 6 finite elements agree to 4e-5 and 7e-6, their own truncation.
    """
    from wavesim.grooves import Blazed

    surface = Surface(Blazed(math.radians(8.6), math.radians(81.4), UM), UM, constant(0.96 + 6.7j))
    exactly = np.array([UM / orders])
    coarse = efficiencies(surface, exactly, 0.0, tolerance=1e-3)
    fine = efficiencies(surface, exactly, 0.0, tolerance=1e-6)
    apart = np.abs(coarse.reflected - fine.reflected).max(axis=-1)
    assert np.all(apart <= coarse.error)
    assert coarse.error.max() < 1e-3
    assert np.abs(coarse.balance).max() < 1e-5
    for step in (-1e-10, 1e-10):  # the curves have a vertical tangent: roots of the step
        beside = efficiencies(surface, exactly * (1 + step), 0.0, tolerance=1e-3)
        columns = [beside.index(int(m)) for m in coarse.order if abs(m) < orders]
        shared = [coarse.index(int(m)) for m in coarse.order if abs(m) < orders]
        jump = beside.reflected[:, :, columns] - coarse.reflected[:, :, shared]
        assert np.abs(jump).max() < 20 * math.sqrt(abs(step))


@pytest.mark.slow
def test_steep_trapezoids_tend_to_lamellae() -> None:
    """The coordinate method with walls of 80 to 87 deg tends to the modal method with 90 deg.

    Linearly in the width of a wall; dielectric, both polarisations.
    """
    box = efficiencies(Surface(Lamellar(0.4 * UM, 0.5), UM, constant(1.5)), np.array([0.7 * UM]),
                       0.2, tolerance=1e-7)  # fmt: skip
    apart = []
    for wall in (0.04, 0.02):
        shape = Trapezoidal(0.4 * UM, 0.5 - wall, 0.5 - wall)
        found = efficiencies(Surface(shape, UM, constant(1.5)), np.array([0.7 * UM]), 0.2,
                             tolerance=1e-5)  # fmt: skip
        apart.append(np.abs(found.transmitted - box.transmitted).max())
    assert apart[1] < 0.65 * apart[0]
    assert apart[1] < 0.01


def test_fourier_series_tend_to_the_polynomials() -> None:
    """Both bases of the modal method, random dielectric lamellae: within the series' own error."""
    random = np.random.default_rng(6)
    for _ in range(3):
        surface = lamellar(1, random.uniform(0.3, 0.7), random.uniform(0.1, 0.6), 1, 1.6)
        wavelength, sine = np.array([random.uniform(0.6, 0.9) * UM]), random.uniform(-0.5, 0.5)
        polynomials = efficiencies(surface, wavelength, sine, tolerance=1e-7)
        series = efficiencies(surface, wavelength, sine, method="fourier", tolerance=3e-5)
        assert np.abs(polynomials.transmitted - series.transmitted).max() < 2e-5


@pytest.mark.slow
@pytest.mark.parametrize("facet", [12.0])
def test_a_profile_turned_over_gives_the_mirror_image(facet: float) -> None:
    """Blaze to the other side, light from the other side: order m becomes -m."""
    from wavesim.grooves import Blazed

    angle, back = math.radians(facet), math.radians(80.0)
    upright, mirrored = (
        efficiencies(Surface(Blazed(sign * angle, back, UM), UM, constant(1.2 + 7j)),
                     np.array([0.7 * UM]), sign * 0.3, tolerance=1e-4)
        for sign in (1, -1)
    )  # fmt: skip
    for m in upright.order:
        apart = (
            upright.reflected[:, 0, upright.index(m)] - mirrored.reflected[:, 0, mirrored.index(-m)]
        )
        assert np.abs(apart).max() < 2e-5  # the truncation error asked for is 1e-4


def test_a_shallow_groove_scatters_little() -> None:
    """Depth 1 nm: order 0 is Fresnel's, within 1e-4."""
    found = efficiencies(Surface(Sinusoidal(1e-9), UM, constant(1.2 + 7j)), np.array([0.7 * UM]),
                         0.0, tolerance=1e-8)  # fmt: skip
    fresnel = abs((1 - (1.2 + 7j)) / (1 + (1.2 + 7j))) ** 2
    assert found.reflected[:, 0, found.index(0)] == pytest.approx(fresnel, abs=2e-4)
