"""Columns by convolution and by few wavelengths, against quadrature and against every pair."""

from __future__ import annotations

import os

import numpy as np
import pytest

from benchmarks.references import brute_force, columns
from tests.bench import scene
from wavesim.aperture.elements import Floats
from wavesim.diffraction import far
from wavesim.plate import Smoothing, reach_per_m
from wavesim.plate.convolution import convolved, few_wavelengths
from wavesim.plate.costs import octaves
from wavesim.plate.interpolation import PER_PERIOD, TAPS, coefficients, spread, weights_at
from wavesim.plate.pairwise import sweep_pairs

_BAND = 'kind = "band"\ncentre = "550 nm"\nwidth = "3 nm"'
_SLIT = '\nslit = { width = "%s", height = "4 mm" }'
_AXIS = 'collimator = "600 mm"\ncamera = "1 m"\nviewing = "19.27 deg"'
_TURNED = 'collimator = "600 mm"\ncamera = "1 m"\nincidence = "25 deg"\nviewing = "-5 deg"'
_RULED = 'kind = "grating"\ncount = 3000\ndensity = "600 / mm"\n'

# the five gratings: what disturbs each, how it stands, and its source slit
GRATINGS = {
    "perfect": (_RULED, _AXIS, ""),
    "ghosts": (
        _RULED + '[[aperture.defects]]\nkind = "periodic"\namplitude = "20 nm"\nperiod = 96',
        _AXIS,
        _SLIT % "20 um",
    ),
    "random": (
        _RULED + '[[aperture.defects]]\nkind = "random"\nrms = "25 nm"\nseed = 7',
        _AXIS,
        "",
    ),
    "blazed": (_RULED + 'groove = { profile = "blazed", facet_angle = "19 deg" }', _AXIS, ""),
    "turned": (_RULED, _TURNED, _SLIT % "100 um"),
}


class TestInterpolation:
    @pytest.mark.parametrize(("fraction", "error"), [(0.01, 1e-11), (0.5, 2e-9), (0.98, 1e-7)])
    def test_waves_of_the_band(self, fraction: float, error: float) -> None:
        """exp(i theta n) read at any place, theta a part of the highest frequency."""
        theta = fraction * 2 * np.pi / PER_PERIOD
        position = np.linspace(100.0, 101.0, 257)
        first, weight = weights_at(position)
        read = (weight * np.exp(1j * theta * (first[:, None] + np.arange(TAPS)))).sum(axis=1)
        assert np.abs(read - np.exp(1j * theta * position)).max() < error

    def test_light_put_on_samples_weighs_functions_as_it_did(self) -> None:
        """The law of the transpose: sum of samples x f = sum of light x f at its places."""
        rng = np.random.default_rng(3)
        position, light = rng.uniform(30, 60, 50), rng.uniform(0, 1, 50)
        out = np.zeros(100)
        spread(position, light, coefficients(), 0, np.empty(TAPS), out)
        for theta in (0.0, 0.3, 1.0):
            exact = (light * np.exp(1j * theta * position)).sum()
            assert abs((out * np.exp(1j * theta * np.arange(100))).sum() - exact) < 1e-8


class Case:
    """One grating with its bins, and each way to the light of its columns."""

    def __init__(self, name: str) -> None:
        aperture, bench, slit = GRATINGS[name]
        setup = scene(
            source=_BAND + slit, bench=bench, aperture=aperture,
            plate='width = "30 mm"\nheight = "1 mm"\npixel = "50 um"',
        )  # fmt: skip
        self.ruled, self.geometry, self.bins, self.chosen = columns(setup)
        again = self.bins.smoothing is Smoothing.SLIT
        field = far.far_field(self.ruled, *reach_per_m(self.geometry, self.bins, self.ruled))
        self.terms = list(field.terms(again=again))

    def by(self, name: str) -> Floats:
        """(nx, k) light of the first term, all columns one way."""
        table, width = self.terms[0].integral, self.ruled.width_m
        every = slice(0, self.geometry.sine_edges.size - 1)
        light = np.zeros((every.stop, self.bins.node_m.size))
        if name == "pairs":
            sweep_pairs(table, self.geometry, self.bins, every, light)
        elif name == "few":
            few_wavelengths(width, table, self.geometry, self.bins, every, light)
        else:
            for stretch, apart in octaves(self.geometry, self.bins.cut(width), every):
                assert apart, "a plate beside the zero order"
                convolved(width, table, self.geometry, self.bins, stretch, light[stretch])
        return light


@pytest.fixture(scope="module", params=sorted(GRATINGS))
def case(request: pytest.FixtureRequest) -> Case:
    return Case(request.param)


@pytest.mark.parametrize("way", ["few", "convolved"])
def test_each_way_agrees_with_every_pair(case: Case, way: str) -> None:
    """1e-6 of each pixel, the stated error of a pixel; 1e-7 of the brightest at each node."""
    pairs, found = case.by("pairs"), case.by(way)
    whole = pairs.sum(axis=1)
    np.testing.assert_allclose(found.sum(axis=1), whole, rtol=1e-6, atol=1e-9 * whole.max())
    assert np.abs(found - pairs).max() < 1e-7 * pairs.max()


def test_the_plate_agrees_with_quadrature(case: Case) -> None:
    """16-point Gauss-Legendre quadrature of |A|^2 over pixels, bin by bin: 1e-6 of a pixel, and
    1e-4, the stated error of phase elements, where grooves change the phase."""
    light = case.chosen.light.sum(axis=1)
    bright = int(light.argmax())
    error = 1e-6 if case.ruled.of_u_alone else 1e-4
    for pixel in (bright, 20):
        exact = brute_force(case.ruled, case.geometry, case.bins, pixel, 16)
        assert light[pixel] == pytest.approx(exact, rel=error, abs=1e-7 * light[bright])


def test_both_sides_of_the_zero_order_and_the_order_itself() -> None:
    """A plate that is not symmetric about the zero order, in white light: a different way for
    each stretch of columns, one sum."""
    setup = scene(
        source='kind = "blackbody"\ntemperature = "3000 K"',
        aperture='kind = "grating"\ncount = 2000\ndensity = "100 / mm"',
        plate='width = "60 mm"\nheight = "1 mm"\npixel = "100 um"\ncentre = "7 mm"',
    )
    ruled, geometry, bins, found = columns(setup)
    field = far.far_field(ruled, *reach_per_m(geometry, bins, ruled))
    pairs = np.zeros_like(found.light)
    (term,) = field.terms(again=False)
    sweep_pairs(term.integral, geometry, bins, slice(0, pairs.shape[0]), pairs)
    np.testing.assert_allclose(found.light.sum(axis=1), pairs.sum(axis=1), rtol=1e-6)


def test_columns_add_up_whatever_their_stretches() -> None:
    """Whole = parts: two halves of a stretch, each convolved on a grid of its own."""
    case = Case("ghosts")
    every = slice(0, case.geometry.sine_edges.size - 1)
    whole, parts = (np.zeros((every.stop, case.bins.node_m.size)) for _ in range(2))
    table, width = case.terms[0].integral, case.ruled.width_m
    convolved(width, table, case.geometry, case.bins, every, whole)
    for part in (slice(0, 217), slice(217, every.stop)):
        convolved(width, table, case.geometry, case.bins, part, parts[part])
    np.testing.assert_allclose(parts, whole, rtol=0, atol=1e-8 * whole.max())


def test_any_number_of_threads_gives_the_same_bits(monkeypatch: pytest.MonkeyPatch) -> None:
    """Nodes are worked out alone, in whatever groups threads take them."""
    case = Case("ghosts")
    found = []
    for threads in (1, 2, 3):
        monkeypatch.setattr(os, "cpu_count", lambda n=threads: n)
        found.append(case.by("convolved"))
    assert np.array_equal(found[0], found[1])
    assert np.array_equal(found[0], found[2])
