"""Piecewise spectra: integrals over bins against closed forms and quadrature."""

from __future__ import annotations

import mpmath
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate, special

from wavesim.light import air, lamps, pieces, smooth, sun
from wavesim.light.voigt import faddeeva, voigt, voigt_fwhm

LO, HI = 360e-9, 830e-9


@pytest.mark.parametrize("y", [0.0, 1e-6, 1e-3, 0.1, 1.0, 5.0, 30.0])
def test_faddeeva_meets_scipy(y: float) -> None:
    x = np.linspace(-40.0, 40.0, 8001)
    ours, theirs = faddeeva(x + 1j * y), special.wofz(x + 1j * y)  # type: ignore[arg-type]
    assert np.abs(ours - theirs).max() < 3e-15  # rounding; the functions are of order one


@pytest.mark.parametrize(("gaussian", "lorentz"), [(3.0, 0.0), (3.0, 0.5), (1.0, 4.0), (0.0, 2.0)])
def test_voigt_has_unit_area_and_its_width(gaussian: float, lorentz: float) -> None:
    area, _ = integrate.quad(
        lambda x: float(voigt(np.array(x), gaussian, lorentz)), 0.0, 4000.0, limit=2000,
        points=[1.0, 10.0, 100.0],
    )  # fmt: skip
    beyond = lorentz / 2.0 / np.pi / 4000.0  # the Lorentz wing not integrated
    assert abs(2.0 * (area + beyond) - 1.0) < 1e-6  # third term of the wing
    half = voigt_fwhm(gaussian, lorentz) / 2.0
    ratio = voigt(np.array(half), gaussian, lorentz) / voigt(np.array(0.0), gaussian, lorentz)
    assert abs(float(ratio) - 0.5) < 5e-4  # the width formula is good to 0.02 %


def test_straight_pieces_are_exact() -> None:
    x = np.array([400.0, 410.0, 450.0, 451.0]) * 1e-9
    y = np.array([1.0, 3.0, 3.0, 0.0])
    spectrum = pieces.from_nodes(x, y, "radiance")
    power, centroid = spectrum.integrate([400e-9, 405e-9, 300e-9, 500e-9], [410e-9, 406e-9, 1e-6,
                                                                           600e-9])  # fmt: skip
    # by hand: trapezia of 20 and 2.1 (in 1e-9), total 20 + 120 + 1.5, and nothing
    assert power == pytest.approx([20e-9, 2.1e-9, 141.5e-9, 0.0], rel=1e-13, abs=0.0)
    # centroid of the first: (1 * 5 + 1 * 20/3) / 2 from its start; bins without light: the middle
    first = (10.0 * 5.0 + 10.0 * 20.0 / 3.0) / 20.0
    assert centroid[0] == pytest.approx((400.0 + first) * 1e-9, rel=1e-13)
    assert centroid[3] == pytest.approx(550e-9, rel=1e-15)


def test_gaussian_in_any_bin_meets_erf() -> None:
    peak, width = 525e-9, 30e-9
    spectrum = smooth.led(peak, width)
    scale = 2.0 * np.sqrt(np.log(2.0)) / width
    rng = np.random.default_rng(1)
    lo = rng.uniform(460e-9, 590e-9, 500)
    hi = lo + 10.0 ** rng.uniform(-14, -8, 500)
    power, centroid = spectrum.integrate(lo, hi)
    # closed form of a short bin by Gauss-Legendre, of which 8 points are exact to rounding here
    t, w = np.polynomial.legendre.leggauss(8)
    x = (lo + hi)[:, None] / 2 + (hi - lo)[:, None] / 2 * t
    y = np.exp(-((scale * (x - peak)) ** 2)) * w * (hi - lo)[:, None] / 2
    assert power == pytest.approx(y.sum(axis=1), rel=1e-8)  # pieces are built to 1e-10
    expected = (y * x).sum(axis=1) / y.sum(axis=1)
    assert np.abs(centroid - expected).max() < 1e-4 * 1e-9 * 1e-3
    whole = np.sqrt(np.pi) / scale
    assert spectrum.total() == pytest.approx(whole, rel=2e-9)  # cut below 1e-9 of the peak


@pytest.mark.parametrize("kelvin", [300.0, 2856.0, 5772.0, 20000.0])
def test_planck_in_bins_meets_the_polylogarithm_series(kelvin: float) -> None:
    edges = np.array([360.0, 361.0, 380.0, 500.0, 500.001, 700.0, 830.0]) * 1e-9
    power, _ = smooth.blackbody(kelvin).integrate(edges[:-1], edges[1:])
    with mpmath.workdps(40):
        running = [_planck_beyond(edge, kelvin) for edge in air.to_vacuum(edges)]
        parts = np.diff(running)
        error = [float(p / exact - 1) for p, exact in zip(power, parts, strict=True)]
    rounding = 2.3e-16 * edges[1:] / np.diff(edges)  # of the edges themselves, turned into vacuum
    assert (np.abs(error) < 1e-12 + rounding).all()  # the pieces are built to it


def _planck_beyond(wavelength_m: float, kelvin: float) -> mpmath.mpf:
    """Radiance below a wavelength: sum_n e^-nx (x^3/n + 3x^2/n^2 + 6x/n^3 + 6/n^4), 40 digits."""
    h, c, k = mpmath.mpf(6.62607015e-34), mpmath.mpf(299_792_458), mpmath.mpf(1.380649e-23)
    x = h * c / (mpmath.mpf(float(wavelength_m)) * k * kelvin)
    series = mpmath.fsum(
        mpmath.exp(-n * x) * (x**3 / n + 3 * x**2 / n**2 + 6 * x / n**3 + mpmath.mpf(6) / n**4)
        for n in range(1, 150)
    )
    return 2 * (k * kelvin) ** 4 / (h**3 * c**2) * series


@pytest.mark.parametrize(
    "spectrum",
    [
        pytest.param(lambda: smooth.blackbody(5000.0), id="black body"),
        pytest.param(lambda: smooth.illuminant("FL2"), id="table"),
        pytest.param(lambda: lamps.spectrum(lamps.lines("Ne")), id="neon", marks=pytest.mark.slow),
        pytest.param(lambda: sun.irradiance(), id="sun"),
    ],
)
@settings(max_examples=30, deadline=None)
@given(data=st.data())
def test_any_partition_sums_to_the_whole(spectrum, data) -> None:  # type: ignore[no-untyped-def]
    found = spectrum()
    inner = data.draw(st.lists(st.floats(LO, HI), max_size=40))
    edges = np.unique([LO, *inner, HI])
    power, centroid = found.integrate(edges[:-1], edges[1:])
    # rounding: 1e-12 of the whole
    assert power.sum() == pytest.approx(found.clipped(LO, HI).total(), rel=1e-11)
    assert ((centroid >= edges[:-1]) & (centroid <= edges[1:])).all()
    _, whole = found.integrate([LO], [HI])
    assert (power * centroid).sum() / power.sum() == pytest.approx(whole[0], rel=1e-11)


def test_narrow_bins_inside_a_narrow_line() -> None:
    line = lamps.laser(632.8e-9, 0.3e-12)
    edges = 632.8e-9 + np.linspace(-0.6e-12, 0.6e-12, 121)
    power, _ = line.integrate(edges[:-1], edges[1:])
    scale = 2.0 * np.sqrt(np.log(2.0)) / 0.3e-12
    expected = np.diff(special.erf((edges - 632.8e-9) * scale)) / 2.0
    # a double holds 632.8 nm to 1e-22 m, 1e-8 of a bin of 0.01 pm
    assert np.abs(power - expected).max() < 3e-8 * expected.max()


def test_a_narrow_line_is_not_missed_by_wide_bins() -> None:
    line = lamps.laser(553.21e-9, 0.3e-12)
    edges = np.linspace(400e-9, 800e-9, 41)
    power, centroid = line.integrate(edges[:-1], edges[1:])
    assert power.sum() == pytest.approx(1.0, rel=1e-9)
    assert np.count_nonzero(power) == 1
    assert centroid[np.argmax(power)] == pytest.approx(553.21e-9, rel=1e-12)


def test_density_and_support() -> None:
    lamp = lamps.spectrum(lamps.lines("Na"))
    assert len(lamp.support_m) == 14
    assert lamp.density(600e-9) == 0.0
    dark = pieces.from_nodes(np.array([4e-7, 5e-7]), np.ones(2), "radiance").clipped(6e-7, 7e-7)
    assert dark.support_m == ()
    assert dark.total() == 0.0
    power, centroid = dark.integrate([4e-7], [5e-7])
    assert power[0] == 0.0
    assert centroid[0] == pytest.approx(4.5e-7)
    assert (dark.density([4.5e-7]) == 0.0).all()


def test_product_with_a_table_is_exact() -> None:
    x = np.array([400.0, 500.0, 600.0]) * 1e-9
    spectrum = pieces.from_nodes(x, np.array([0.0, 1.0, 0.0]), "radiance")
    points = np.array([450.0, 550.0]) * 1e-9
    behind = spectrum.times(
        lambda w: (w - 450e-9) / 100e-9, breaks_m=points, range_m=(450e-9, 550e-9)
    )
    # by hand, t = (w - 450) / 100: int_0^.5 (t + .5) t dt + int_.5^1 (1.5 - t) t dt = 3/8
    assert behind.total() == pytest.approx(3.0 / 8.0 * 100e-9, rel=1e-13)


def test_arrays_of_a_spectrum_do_not_change_when_it_is_scaled() -> None:
    spectrum = smooth.blackbody(3000.0)
    before = spectrum.coefficient.copy()
    doubled = spectrum.scaled(2.0)
    assert doubled.total() == pytest.approx(2.0 * spectrum.total(), rel=1e-15)
    assert (spectrum.coefficient == before).all()
