"""The far field against direct sums, published tables and closed forms.

Tables of slits and N slits: Born & Wolf, Principles of Optics, sections 8.5.1 and 8.6.1; the
digits were recomputed from the formulas with mpmath.
"""

from __future__ import annotations

import mpmath
import numpy as np
import pytest
from scipy.optimize import brentq, minimize_scalar

from benchmarks.references import MERCURY_E_M, closed_power, direct_sum, displaced_rulings
from tests.bench import from_positions, slits
from wavesim.aperture import Aperture, Comb, Slit
from wavesim.diffraction.far import amplitude, far_field
from wavesim.diffraction.far.exact import frequency

WAVE = MERCURY_E_M


def intensity(aperture: Aperture, u: float | np.ndarray) -> np.ndarray:
    """|A|^2 at spatial frequencies u, by way of the sines at one wavelength."""
    return np.abs(amplitude(aperture, 0.0, np.atleast_1d(u) * WAVE, WAVE)) ** 2


class TestAgainstExtendedPrecision:
    """The promise: 1e-12 of the peak for 60,000 displaced rulings, any list of sines."""

    count, pitch, sine_in = 60_000, 1e-3 / 600, 0.1

    def test_all_kinds_of_direction(self) -> None:
        x = displaced_rulings(self.count, self.pitch)
        width = self.pitch / 2
        order = WAVE / self.pitch
        line = order / self.count  # half-width of a line in sines
        sines = np.concatenate(
            [m * order - self.sine_in + np.linspace(-9, 9, 1500) * line for m in (0, 1, 2)]
            + [np.linspace(-0.6, 0.85, 1500)]
            + [order * (1 + np.array([1, -1, 2]) / 96) - self.sine_in]  # on the ghosts
        )
        found = amplitude(from_positions(x, width, self.pitch), self.sine_in, sines, WAVE)
        peak = self.count * width
        for k in [*range(3, sines.size, 307), *range(sines.size - 3, sines.size)]:
            expected = direct_sum(x, width, self.sine_in, float(sines[k]), WAVE)
            assert abs(found[k] - expected) <= 1e-12 * peak, sines[k]

    def test_order_of_sines_does_not_matter(self) -> None:
        aperture = from_positions(displaced_rulings(2000, self.pitch), 4e-7, self.pitch)
        sines = np.linspace(-0.5, 0.5, 4000)
        shuffled = np.random.default_rng(1).permutation(sines.size)
        straight = amplitude(aperture, 0.0, sines, WAVE)
        assert np.array_equal(amplitude(aperture, 0.0, sines[shuffled], WAVE), straight[shuffled])

    def test_against_mpmath(self) -> None:
        """Fifty digits, at prime and power-of-two counts, few rulings."""
        for count in (1, 7, 16):
            x = displaced_rulings(count, 3.1e-6)
            sines = [-0.31, 0.0, 0.2, WAVE / 3.1e-6]
            found = amplitude(from_positions(x, 1e-6, 3.1e-6), 0.05, np.array(sines), WAVE)
            with mpmath.workdps(50):
                for s, value in zip(sines, found, strict=True):
                    u = (mpmath.mpf(0.05) + mpmath.mpf(s)) / mpmath.mpf(WAVE)
                    total = sum(mpmath.expjpi(-2 * u * mpmath.mpf(p)) for p in x.tolist())
                    w = mpmath.mpf(1e-6)
                    exact = complex(total * w * mpmath.sincpi(w * u))
                    assert abs(value - exact) <= 1e-13 * count * 1e-6

    def test_frequency_keeps_what_a_double_loses(self) -> None:
        with mpmath.workdps(50):
            for sine in (0.1, -0.37, 1e-9, 0.9999):
                hi, lo = frequency(0.3, np.array([sine]), WAVE)
                exact = (mpmath.mpf(0.3) + mpmath.mpf(sine)) / mpmath.mpf(WAVE)
                error = abs(mpmath.mpf(float(hi[0])) + mpmath.mpf(float(lo[0])) - exact)
                assert error <= 1e-30 * abs(exact) + mpmath.mpf(2) ** -100


class TestSharedLaws:
    """Linearity, shift and energy, at prime and power-of-two sizes."""

    @pytest.mark.parametrize("count", [2, 31, 64, 1009])
    def test_linear_in_weights(self, count: int) -> None:
        rng = np.random.default_rng(count)
        x = displaced_rulings(count, 5e-6)
        a, b = rng.normal(size=(2, count)) + 1j * rng.normal(size=(2, count))
        sines = np.linspace(-0.3, 0.3, 400)
        first, second, both = (
            amplitude(Aperture((Comb(Slit(2e-6), x, w),), 0.01, 5e-6), 0.0, sines, WAVE)
            for w in (a, b, 2 * a - 3j * b)
        )
        # weights of order one: sums of `count` terms, each right to rounding
        assert np.abs(both - (2 * first - 3j * second)).max() <= 1e-13 * count * 2e-6 * 5

    @pytest.mark.parametrize("count", [1, 31, 64])
    def test_shift_turns_the_phase(self, count: int) -> None:
        x = displaced_rulings(count, 5e-6)
        sines = np.linspace(-0.3, 0.3, 300)
        still = amplitude(from_positions(x, 2e-6, 5e-6), 0.0, sines, WAVE)
        moved = amplitude(from_positions(x + 1e-3, 2e-6, 5e-6), 0.0, sines, WAVE)
        turn = np.exp(-2j * np.pi * sines / WAVE * 1e-3)
        # x + 1e-3 is rounded to 1e-19 m, and u x has 550 cycles
        assert np.abs(moved - turn * still).max() <= 3e-12 * count * 2e-6

    @pytest.mark.parametrize("count", [1, 3, 16])
    def test_power_over_all_u_is_the_open_width(self, count: int) -> None:
        """Parseval; the tail beyond U falls as 1 / (pi^2 U) for every edge pair."""
        aperture = slits(count, 40e-6, 90e-6)
        reach = 400 / 40e-6
        field = far_field(aperture, -reach, reach)
        table = next(iter(field.terms(again=False))).integral
        power = float(table.read(np.array(reach)) - table.read(np.array(-reach)))
        tail = count / (np.pi**2 * reach)
        assert power + tail == pytest.approx(aperture.open_width_m, rel=2e-6)


class TestSingleSlit:
    def test_zeros(self) -> None:
        w = 40e-6
        zeros = np.arange(1, 9) / w
        assert intensity(slits(1, w, w), zeros).max() <= 1e-10 * w**2

    @pytest.mark.parametrize(
        ("position", "height"),
        [
            (1.43029665312, 0.0471904492258),
            (2.45902403296, 0.0164800259930),
            (3.47088972435, 0.00834029267067),
            (4.47740858343, 0.00502871873123),
            (5.48153665061, 0.00336072986726),
        ],
    )
    def test_secondary_maxima(self, position: float, height: float) -> None:
        w = 40e-6
        slit = slits(1, w, w)
        best = minimize_scalar(
            lambda t: -intensity(slit, t / w)[0],
            bounds=(position - 0.2, position + 0.2),
            method="bounded",
            options={"xatol": 1e-9},
        )
        assert best.x == pytest.approx(position, abs=1e-6)
        assert -best.fun / w**2 == pytest.approx(height, abs=1e-9)

    def test_width_at_half_maximum(self) -> None:
        w = 40e-6
        slit = slits(1, w, w)
        half = brentq(lambda t: intensity(slit, t / w)[0] / w**2 - 0.5, 0.3, 0.6, xtol=1e-13)
        assert 2 * half == pytest.approx(0.885892941379, abs=1e-9)

    @pytest.mark.parametrize(
        ("zero", "power"), [(1, 0.902823333580), (2, 0.949939339767), (3, 0.966410434995)]
    )
    def test_power_inside_zeros(self, zero: int, power: float) -> None:
        """(2 / pi) Si(2 pi k), by the running integral the plate is made of."""
        w = 40e-6
        table = next(iter(far_field(slits(1, w, w), -4 / w, 4 / w).terms(again=False))).integral
        ends = table.read(np.array([-zero / w, zero / w]))
        assert (ends[1] - ends[0]) / w == pytest.approx(power, abs=1e-9)


class TestManySlits:
    def test_double_slit_orders(self) -> None:
        """Heights sinc^2(m a / d) at d / a = 4; the fourth order is missing."""
        d = 160e-6
        heights = intensity(slits(2, d / 4, d), np.arange(6) / d) / (2 * d / 4) ** 2
        expected = [1, 0.810569469, 0.405284735, 0.0900632743, 0, 0.0324227788]
        assert heights == pytest.approx(expected, abs=1e-9)

    def test_missing_orders_of_two_and_a_half(self) -> None:
        d = 100e-6
        heights = intensity(slits(6, d / 2.5, d), np.arange(1, 11) / d) / (6 * d / 2.5) ** 2
        missing = heights < 1e-10
        assert np.flatnonzero(missing).tolist() == [4, 9]  # orders 5 and 10

    @pytest.mark.parametrize(
        ("count", "height", "position", "width"),
        [
            (3, 1 / 9, 1.5, 0.9316422446),
            (4, 2 / 27, 1.464559054, 0.9107848519),
            (5, 1 / 16, 1.451076558, None),
            (10, 0.0505106736, 1.435162746, 0.8897405482),
            (20, 0.0479932161, 1.431494602, 0.8868502214),
            (100, 0.0472222234, 1.430344339, None),
        ],
    )
    def test_first_subsidiary_maximum(
        self, count: int, height: float, position: float, width: float | None
    ) -> None:
        d, w = 90e-6, 1e-9  # slits so narrow that their envelope is flat to 1e-9
        many = slits(count, w, d)
        top = (count * w) ** 2
        best = minimize_scalar(
            lambda t: -intensity(many, t / count / d)[0],
            bounds=(position - 0.3, position + 0.3),
            method="bounded",
            options={"xatol": 1e-9},
        )
        assert best.x == pytest.approx(position, abs=1e-6)
        assert -best.fun / top == pytest.approx(height, abs=1e-7)
        zeros = np.arange(1, count) / count / d
        assert intensity(many, zeros).max() <= 1e-20 * top
        if width is not None:
            half = brentq(lambda t: intensity(many, t / count / d)[0] / top - 0.5, 0.3, 0.6)
            assert 2 * half == pytest.approx(width, abs=1e-8)

    @pytest.mark.parametrize("count", [3, 4, 10, 20])
    def test_subsidiary_maxima_are_counted(self, count: int) -> None:
        d = 90e-6
        u = np.linspace(0.02 / count / d, (1 - 0.02 / count) / d, 400 * count)
        i = intensity(slits(count, 1e-6, d), u)
        maxima = np.count_nonzero((i[1:-1] > i[:-2]) & (i[1:-1] > i[2:]))
        assert maxima == count - 2


class TestGratingEquation:
    """sin a + sin b = m lambda / d (Born & Wolf 8.6.1 eq. 8); worked values."""

    @pytest.mark.parametrize(
        ("density", "alpha", "beta"),
        [
            (600, 0.0, 17.4576031237),  # m = 1
            (600, 0.0, 36.8698976458),  # m = 2
            (600, 0.0, 64.1580672368),  # m = 3
            (1200, 20.0, 14.9502276835),  # m = 1
        ],
    )
    def test_peak_lies_where_it_should(self, density: int, alpha: float, beta: float) -> None:
        pitch, wave = 1e-3 / density, 500e-9
        grating = slits(1000, pitch / 5, pitch)
        sine_in, expected = np.sin(np.radians([alpha, beta]))
        line = wave / pitch / 1000

        def dark(offset: float) -> float:
            a = amplitude(grating, float(sine_in), np.array([expected + offset * line]), wave)
            return -float(np.abs(a[0]) ** 2)

        best = minimize_scalar(dark, bounds=(-0.4, 0.4), method="bounded", options={"xatol": 1e-9})
        # the envelope's slope draws the peak by less than 0.02 of a line (of 1 / N in order)
        assert abs(best.x) < 0.02


class TestRunningIntegral:
    @pytest.mark.parametrize("count", [1, 2, 5, 31, 250])
    def test_against_sine_integrals(self, count: int) -> None:
        """Power of N slits between any two u, closed form by sine integrals, to 1e-9."""
        w, d = 40e-6, 90e-6
        field = far_field(slits(count, w, d), -80e3, 80e3)
        table = next(iter(field.terms(again=False))).integral
        rng = np.random.default_rng(count)
        for lo, hi in rng.uniform(-80e3, 80e3, (20, 2)):
            found = float(table.read(np.array(hi)) - table.read(np.array(lo)))
            exact = closed_power(count, w, d, hi) - closed_power(count, w, d, lo)
            assert abs(found - exact) <= 1e-9 * count * w

    @pytest.mark.parametrize(("count", "fraction"), [(1, 0.01), (5, 0.1), (250, 0.3), (250, 2.0)])
    def test_pixels_against_quadrature(self, count: int, fraction: float) -> None:
        """Pixels of `fraction` / W against Gauss-Legendre on the exact amplitude."""
        w, d = 40e-6, 90e-6
        aperture = slits(count, w, d)
        table = next(iter(far_field(aperture, -80e3, 80e3).terms(again=False))).integral
        width = fraction / aperture.width_m
        lo = np.random.default_rng(3).uniform(-80e3, 80e3 - width, 60)
        node, weight = np.polynomial.legendre.leggauss(24)
        u = lo[:, None] + width * (node + 1) / 2
        exact = (intensity(aperture, u.ravel()).reshape(u.shape) @ weight) * width / 2
        found = table.read(lo + width) - table.read(lo)
        # 1e-7 of the brightest pixel this size: the table's stated error
        assert np.abs(found - exact).max() <= 1e-7 * (count * w) ** 2 * width

    def test_second_integral(self) -> None:
        aperture = slits(5, 40e-6, 90e-6)
        table = next(iter(far_field(aperture, -50e3, 50e3).terms(again=True))).integral
        node, weight = np.polynomial.legendre.leggauss(40)
        lo, hi = -1234.5, 4321.0
        u = (lo + hi) / 2 + (hi - lo) / 2 * node
        exact = float(table.read(u) @ weight) * (hi - lo) / 2
        found = float(table.read_twice(np.array(hi)) - table.read_twice(np.array(lo)))
        assert found == pytest.approx(exact, rel=1e-9)  # both read the same cells
