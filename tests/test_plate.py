"""The plate against brute-force quadrature, closed forms and conservation laws."""

from __future__ import annotations

import math
import os
import subprocess
import sys

import numpy as np
import pytest
from scipy.special import sici

from benchmarks.references import brute_force, closed_power, columns
from tests.bench import scene, slits
from tests.parameters import slow_but
from wavesim import light, plate
from wavesim.aperture.illumination import Along
from wavesim.diffraction import far
from wavesim.errors import LimitError
from wavesim.lightpath import expose
from wavesim.plate import Smoothing
from wavesim.plate.bins import Bins
from wavesim.plate.photometry import sensitivities

LASER = 'kind = "laser"\nwavelength = "546.0735 nm"'
SLIT = 'slit = { width = "20 um", height = "4 mm" }'


class TestPixelsAgainstQuadrature:
    """White-light pixels to 1e-6 relative, the same wavelengths on both sides."""

    @pytest.mark.parametrize("count", slow_but([5], [1, 5, 250]))
    def test_point_source(self, count: int) -> None:
        setup = scene(aperture=f'kind = "slits"\ncount = {count}\nwidth = "40 um"\npitch = "90 um"')
        ruled, geometry, bins, found = columns(setup)
        for pixel in (0, 17, found.light.shape[0] // 2, 555, 799):
            exact = brute_force(ruled, geometry, bins, pixel, 16)
            assert found.light[pixel].sum() == pytest.approx(exact, rel=1e-6)

    @pytest.mark.parametrize(("slit", "points"), [("2 um", 12), ("20 um", 24)])
    def test_source_slit(self, slit: str, points: int) -> None:
        setup = scene(
            source=f'kind = "band"\ncentre = "550 nm"\nwidth = "60 nm"\n'
            f'slit = {{ width = "{slit}", height = "4 mm" }}',
        )
        ruled, geometry, bins, found = columns(setup)
        assert bins.smoothing in (Smoothing.GAUSS, Smoothing.SLIT)
        for pixel in (3, 401, 640):
            exact = brute_force(ruled, geometry, bins, pixel, points)
            assert found.light[pixel].sum() == pytest.approx(exact, rel=1e-6)

    def test_displaced_grating_off_axis(self) -> None:
        setup = scene(
            source='kind = "band"\ncentre = "550 nm"\nwidth = "4 nm"',
            bench='collimator = "600 mm"\ncamera = "1 m"\nincidence = "5 deg"\nviewing = "14 deg"',
            aperture='kind = "grating"\ncount = 3001\ndensity = "600 / mm"\n'
            '[[aperture.defects]]\nkind = "periodic"\namplitude = "20 nm"\nperiod = 96',
            plate='width = "6 mm"\nheight = "1 mm"\npixel = "10 um"',
        )
        ruled, geometry, bins, found = columns(setup)
        bright = int(found.light.sum(axis=1).argmax())
        for pixel in (bright, bright + 37, 11):
            exact = brute_force(ruled, geometry, bins, pixel, 24)
            assert found.light[pixel].sum() == pytest.approx(exact, rel=1e-6)

    @pytest.mark.parametrize(
        "groove",
        [
            'groove = { profile = "blazed", facet_angle = "6 deg" }',
            'groove = { profile = "sinusoidal", depth = "300 nm" }',
            'groove = { profile = "blazed", facet_angle = "6 deg" }\n'
            '[[aperture.defects]]\nkind = "depth"\nwear = 0.3\nrms = 0.03',
        ],
    )
    def test_grooves(self, groove: str) -> None:
        """Envelopes are multiplied in after the pass: 1e-4, the stated error of phase elements."""
        setup = scene(
            source='kind = "band"\ncentre = "530 nm"\nwidth = "40 nm"',
            bench='collimator = "600 mm"\ncamera = "1 m"\nviewing = "11 deg"',
            aperture='kind = "grating"\ncount = 300\ndensity = "300 / mm"\n'
            'mounting = "reflection"\n' + groove,
            plate='width = "40 mm"\nheight = "1 mm"\npixel = "100 um"',
        )
        ruled, geometry, bins, found = columns(setup)
        bright = found.light.sum(axis=1)
        for pixel in (int(bright.argmax()), int(bright.argmax()) + 5, 30):
            exact = brute_force(ruled, geometry, bins, pixel, 20)
            assert bright[pixel] == pytest.approx(exact, rel=1e-4, abs=1e-6 * bright.max())


class TestWavelengthBins:
    def test_no_finer_bins_are_needed(self) -> None:
        """A smooth spectrum in half resolution elements equals one in four times as many bins."""
        setup = scene(
            aperture='kind = "slits"\ncount = 100\nwidth = "40 um"\npitch = "90 um"',
            plate='width = "60 mm"\nheight = "1 mm"\npixel = "25 um"',
        )
        ruled, geometry, bins, found = columns(setup)
        quarter = _split(bins, light.spectrum(setup.source), 4)
        field = far.far_field(ruled, *plate.reach_per_m(geometry, quarter, ruled))
        weights = sensitivities(bins.node_m)  # X, Y, Z and irradiance
        finer = plate.sweep(field, geometry, quarter, ruled).light @ weights
        coarse = found.light @ weights
        assert np.all(np.abs(coarse - finer).max(axis=0) <= bins.error * finer.max(axis=0))

    @pytest.mark.parametrize("slit", ["", SLIT])
    def test_coarse_bins_are_smooth_within_their_estimate(self, slit: str) -> None:
        """Where rulings resolve more than pixel or slit, bins leave at most the stated ripple."""
        setup = scene(
            source='kind = "band"\ncentre = "550 nm"\nwidth = "30 nm"\n' + slit,
            bench='collimator = "600 mm"\ncamera = "1 m"\nviewing = "19.27 deg"',
            aperture='kind = "grating"\ncount = 400000\ndensity = "600 / mm"',
            plate='width = "2 mm"\nheight = "1 mm"\npixel = "10 um"',
        )
        _, _, bins, found = columns(setup)
        assert bins.smoothing in (Smoothing.BIN, Smoothing.SLIT)
        row = found.light.sum(axis=1)[20:-20]
        x = np.linspace(-1, 1, row.size)
        trend = np.polynomial.Chebyshev.fit(x, row, 4)(x)  # flat band: a smooth continuum
        assert np.abs(row / trend - 1).max() <= bins.error

    def test_a_narrow_line_is_never_missed(self) -> None:
        """A line of 0.3 pm, in bins a hundred times wider, brings all of its power."""
        whole = 'width = "60 mm"\nheight = "8 mm"\npixel = "25 um"'
        line = scene(
            source='kind = "laser"\nwavelength = "546.0735 nm"\nlinewidth = "0.3 pm"', plate=whole
        )
        wide = scene(
            source='kind = "laser"\nwavelength = "546.0735 nm"\nlinewidth = "30 pm"', plate=whole
        )
        # Lorentz wings beyond the support hold at most 1e-3 of a line
        assert expose(line).power_W == pytest.approx(expose(wide).power_W, rel=1e-3)


def _split(bins: Bins, spectrum: light.Spectrum, parts: int) -> Bins:
    edges = bins.lo_m[:, None] + (bins.hi_m - bins.lo_m)[:, None] * np.arange(parts + 1) / parts
    lo, hi = edges[:, :-1].ravel(), edges[:, 1:].ravel()
    power, centre = spectrum.integrate(lo, hi)
    return Bins(lo, hi, centre, power, bins.node_m, bins.first * parts, bins.smoothing, 0.0)


class TestPower:
    @pytest.mark.parametrize("count", [1, 5, 250])
    def test_columns_against_sine_integrals(self, count: int) -> None:
        """All light of the columns, between the plate's outer angles, to 1e-9."""
        setup = scene(
            source=LASER,
            aperture=f'kind = "slits"\ncount = {count}\nwidth = "40 um"\npitch = "90 um"',
            plate='width = "60 mm"\nheight = "1 mm"\npixel = "25 um"',
        )
        ruled, geometry, bins, found = columns(setup)
        inner = found.light.sum(axis=1)
        exact = 0.0
        for wave, power in zip(bins.wavelength_m, bins.power, strict=True):
            ends = [float(geometry.sine_edges[i]) / wave for i in (0, -1)]
            exact += power * (
                closed_power(count, 40e-6, 90e-6, ends[1])
                - closed_power(count, 40e-6, 90e-6, ends[0])
            )
        assert inner.sum() == pytest.approx(exact, rel=1e-9)
        assert ruled.open_width_m == pytest.approx(count * 40e-6, rel=1e-12)

    def test_rows_against_sine_integrals(self) -> None:
        """The same along the rulings: integral of h^2 sinc^2(h v), to 1e-9."""
        setup = scene(source=LASER, plate='width = "25 um"\nheight = "1 mm"\npixel = "25 um"')
        height = 0.01
        geometry = plate.geometry_of(setup)
        node = np.array([546e-9, 547e-9])
        weight = plate.rows(Along(height), geometry, node).weight[0]
        y = geometry.y_edges_m[: geometry.half_rows + 1]
        for k, wave in enumerate(node):
            t = height * y / np.hypot(y, 1.0) / wave
            s = np.array(
                [(sici(2 * np.pi * a)[0] - np.sin(np.pi * a) ** 2 / (np.pi * a)) for a in t[:-1]]
            )
            exact = height * np.diff(np.append(s, 0.0)) / np.pi
            assert weight[k] == pytest.approx(exact, rel=1e-6, abs=1e-9 * height)
            assert weight[k].sum() == pytest.approx(exact.sum(), rel=1e-9)

    def test_total_through_a_slit(self) -> None:
        """All the power that passes the aperture lands on a plate that holds all its angles."""
        beam = math.pi * 0.005**2 / 4
        setup = scene(
            source=LASER + '\npower = "1 mW"',
            bench='collimator = "600 mm"\ncamera = "1 m"\nbeam = "5 mm"',
            aperture='kind = "slits"\ncount = 1\nwidth = "1 mm"\nheight = "2 mm"',
            plate='width = "80 mm"\nheight = "40 mm"\npixel = "50 um"',
        )
        through = 1e-3 * 1e-3 * 2e-3 / beam
        wave = 546.0735e-9
        # beyond a plate of half-width s a slit w leaves wave / (pi^2 w s) of its light, each way
        lost = wave / (np.pi**2) * (1 / (1e-3 * 0.04) + 1 / (2e-3 * 0.02))
        assert expose(setup).power_W == pytest.approx(through * (1 - lost), rel=2e-5)

    def test_radiance_is_conserved(self) -> None:
        """E = L S / f^2 in the middle of a wide source slit's image."""
        luminance, focal = 1e4, 1.0
        setup = scene(
            source='kind = "illuminant"\nname = "D65"\nluminance = "1e4 cd/m^2"\n'
            'slit = { width = "12 mm", height = "12 mm" }',
            aperture='kind = "slits"\ncount = 1\nwidth = "4 mm"\nheight = "4 mm"',
            plate='width = "1 mm"\nheight = "1 mm"\npixel = "100 um"',
        )
        plate_ = expose(setup)
        middle = plate_.illuminance_lx[5, 5]
        # light of the slit's image that 4 mm sends beyond +-10 mrad: 550 nm / (pi^2 4 mm 10 mrad)
        # on each side, in both directions
        lost = 4 * 550e-9 / (np.pi**2 * 4e-3 * 0.01)
        assert middle == pytest.approx(luminance * 16e-6 / focal**2 * (1 - lost / 2), rel=5e-3)
        assert middle < luminance * 16e-6 / focal**2

    def test_wide_pattern_keeps_its_width_in_sines(self) -> None:
        """At 60 degrees x = f tan(beta): the grating equation, no small angle anywhere."""
        setup = scene(
            source=LASER,
            bench='collimator = "600 mm"\ncamera = "100 mm"',
            aperture='kind = "grating"\ncount = 300\npitch = "2 um"',
            plate='width = "340 mm"\nheight = "1 mm"\npixel = "100 um"',
        )
        plate_ = expose(setup)
        row = plate_.profile_irradiance
        for m in (1, 2, 3):
            sine = m * 546.0735e-9 / 2e-6
            x = 0.1 * math.tan(math.asin(sine))
            near = np.abs(plate_.x_m - x) < 2e-3
            if m == 2:
                continue  # missing: slits of half the pitch
            found = plate_.x_m[near][row[near].argmax()]
            assert abs(found - x) <= 0.6e-4  # half a pixel and a little


class TestShapeOfLines:
    def test_lines_are_bowed_as_directions_say(self) -> None:
        """A line at height y lies where p = m lambda / d - sin(alpha) sqrt(1 - q^2)."""
        setup = scene(
            source=LASER + '\nslit = { width = "10 um", height = "20 mm" }',
            bench='collimator = "600 mm"\ncamera = "600 mm"\nincidence = "20 deg"\n'
            'viewing = "18.25 deg"',
            aperture='kind = "grating"\ncount = 3000\ndensity = "1200 / mm"',
            plate='width = "4 mm"\nheight = "16 mm"\npixel = "20 um"',
        )
        plate_ = expose(setup)
        sine_in, axis, f = math.sin(math.radians(20)), math.radians(18.25), 0.6
        lamb_d = 546.0735e-9 * 1200e3
        shifts = []
        for j in (5, 200, 400):
            y = plate_.y_m[j]
            row = plate_.irradiance[j]
            found = float((row * plate_.x_m).sum() / row.sum())
            q = y / math.hypot(f, y)
            p = lamb_d - sine_in * math.sqrt(1 - q * q)
            # solve (x cos a + f sin a) / sqrt(x^2 + y^2 + f^2) = p near the axis
            x = 0.0
            for _ in range(50):
                r = math.sqrt(x * x + y * y + f * f)
                x += (p - (x * math.cos(axis) + f * math.sin(axis)) / r) * f / math.cos(axis)
            shifts.append((found, x))
        bow = shifts[0][1] - shifts[2][1]
        assert abs(bow) > 30e-6  # more than a pixel: there is something to see
        assert shifts[0][0] - shifts[2][0] == pytest.approx(bow, abs=2e-6)  # a tenth of a pixel

    def test_source_slit_image_is_anamorphic(self) -> None:
        """Width f2 / f1 cos(alpha) / cos(beta) times the slit's, height f2 / f1."""
        setup = scene(
            source=LASER + '\nslit = { width = "200 um", height = "2 mm" }',
            bench='collimator = "500 mm"\ncamera = "1 m"\nincidence = "40 deg"\n'
            'viewing = "0.707 deg"',
            aperture='kind = "grating"\ncount = 20000\ndensity = "1200 / mm"',
            plate='width = "3 mm"\nheight = "8 mm"\npixel = "10 um"',
        )
        plate_ = expose(setup)
        beta = math.asin(546.0735e-9 * 1.2e6 - math.sin(math.radians(40)))
        row = plate_.profile_irradiance
        width = np.count_nonzero(row > row.max() / 2) * 10e-6
        expected = 200e-6 * 2 * math.cos(math.radians(40)) / math.cos(beta)
        assert width == pytest.approx(expected, abs=11e-6)  # counted in whole pixels
        down = plate_.irradiance[:, int(row.argmax())]
        assert np.count_nonzero(down > down.max() / 2) * 10e-6 == pytest.approx(4e-3, abs=21e-6)

    @pytest.mark.parametrize("count", [3, 5, 9, 25])
    def test_subsidiary_maxima_on_the_plate(self, count: int) -> None:
        """N - 2 of them between the zero and the first order, on a monochromatic profile."""
        setup = scene(
            source=LASER,
            aperture=f'kind = "slits"\ncount = {count}\nwidth = "40 um"\npitch = "90 um"',
            plate='width = "16 mm"\nheight = "1 mm"\npixel = "5 um"',
        )
        plate_ = expose(setup)
        order = math.tan(math.asin(546.0735e-9 / 90e-6))
        between = (plate_.x_m > order * 0.3 / count) & (plate_.x_m < order * (1 - 0.3 / count))
        i = plate_.profile_irradiance[between]
        assert np.count_nonzero((i[1:-1] > i[:-2]) & (i[1:-1] > i[2:])) == count - 2


class TestExtremes:
    def test_plate_far_off_axis(self) -> None:
        """Order 29 of a 20 um pitch, at 52 degrees and 1.3 m from the axis."""
        x = math.tan(math.asin(29 * 546.0735e-9 / 20e-6))
        setup = scene(
            source=LASER,
            aperture='kind = "slits"\ncount = 400\nwidth = "9 um"\npitch = "20 um"',
            plate=f'width = "2 mm"\nheight = "1 mm"\npixel = "5 um"\ncentre = "{x * 1e3:.4f} mm"',
        )
        plate_ = expose(setup)
        assert x > 1.2
        assert plate_.irradiance.min() >= 0
        found = plate_.x_m[plate_.profile_irradiance.argmax()]
        assert abs(found - x) < 6e-6  # a pixel and a little

    def test_thousands_of_orders(self) -> None:
        """Two slits a centimetre apart: 2,700 fringes on the plate, each where it belongs."""
        setup = scene(
            source=LASER,
            aperture='kind = "slits"\ncount = 2\nwidth = "5 um"\npitch = "10 mm"',
            plate='width = "150 mm"\nheight = "0.1 mm"\npixel = "5 um"',
        )
        plate_ = expose(setup)
        i = plate_.profile_irradiance
        maxima = np.flatnonzero((i[1:-1] > i[:-2]) & (i[1:-1] > i[2:])) + 1
        orders = np.sin(np.arctan(plate_.x_m[maxima])) * 0.01 / 546.0735e-9
        assert maxima.size > 2600
        assert np.abs(orders - np.rint(orders)).max() < 0.06  # half a pixel of 0.09 orders

    def test_any_number_of_threads_gives_the_same_bits(
        self, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        setup = scene(source='kind = "sun"\n' + SLIT)
        first = expose(setup)
        monkeypatch.setattr(os, "cpu_count", lambda: 1)
        second = expose(setup)
        assert np.array_equal(first.xyz, second.xyz)
        assert np.array_equal(first.irradiance, second.irradiance)

    def test_dark_plate_has_no_automatic_time(self) -> None:
        setup = scene(
            source='kind = "laser"\nwavelength = "400 nm"',
            bench='collimator = "600 mm"\ncamera = "1 m"\nbeam = "1 um"',
            aperture='kind = "slits"\ncount = 2\nwidth = "40 um"\npitch = "90 um"',
        )
        with pytest.raises(LimitError, match="no element is left in the beam"):
            expose(setup)

    @pytest.mark.slow
    def test_too_much_memory_is_refused_before_it_is_taken(self) -> None:
        setup = scene(
            aperture='kind = "grating"\ncount = 10000000\npitch = "5 um"',
            plate='width = "1 m"\nheight = "1 mm"\npixel = "10 um"',
        )
        with pytest.raises(
            LimitError, match=r"would need about .* GB of memory and .* GB are free"
        ):
            expose(setup)

    @pytest.mark.slow
    def test_a_million_rulings_within_two_gigabytes(self) -> None:
        """In a process of its own, so that its peak memory is its own."""
        # VmHWM: ru_maxrss would begin at the peak of the process that starts this one
        script = (
            "import re\n"
            "from pathlib import Path\n"
            "from tests.bench import scene\n"
            "from wavesim.lightpath import expose\n"
            'p = expose(scene(source=\'kind = "laser"\\nwavelength = "546 nm"\','
            'bench=\'collimator = "600 mm"\\ncamera = "1 m"\\nviewing = "19 deg"\','
            'aperture=\'kind = "grating"\\ncount = 1000000\\ndensity = "600 / mm"\','
            'plate=\'width = "655.36 mm"\\nheight = "40 um"\\npixel = "10 um"\'))\n'
            "assert p.x_m.size == 65536\n"
            "status = Path('/proc/self/status').read_text()\n"
            "print(re.search(r'VmHWM:\\s*(\\d+) kB', status)[1])\n"
        )
        done = subprocess.run(
            [sys.executable, "-c", script], capture_output=True, text=True, check=True
        )
        assert int(done.stdout) * 1024 < 2 * 2**30


def test_exposure_by_hand() -> None:
    """Time for a white central fringe, from L S / f^2 alone.

    With a point-like white source the middle of the zero order of one slit w x h, in a beam of
    illuminance E, is E (w h / (lambda f))^2 at one wavelength (Born & Wolf 8.5.1), averaged over
    a pixel small beside lambda f / w; H = 78 / 100 lx s (ISO 12232).
    """
    setup = scene(
        source=LASER + '\npower = "1 mW"',
        bench='collimator = "600 mm"\ncamera = "1 m"\nbeam = "10 mm"',
        aperture='kind = "slits"\ncount = 1\nwidth = "50 um"\nheight = "50 um"',
        plate='width = "0.2 mm"\nheight = "0.2 mm"\npixel = "40 um"',
    )
    plate_ = expose(setup)
    wave, beam = 546.0735e-9, 1e-3 / (math.pi * 0.01**2 / 4)
    y_bar = 0.9843  # CIE 1931 at 546.07 nm: 0.9803 at 545 nm, 0.9950 at 550 nm, curved
    illuminance = 683 * y_bar * beam * (50e-6 * 50e-6 / (wave * 1.0)) ** 2
    assert plate_.illuminance_lx.max() == pytest.approx(illuminance, rel=2e-3)
    assert plate_.exposure_s == pytest.approx(0.78 / illuminance, rel=2e-3)
    assert slits(1, 50e-6, 50e-6).open_width_m == 50e-6


def test_air_along_the_bench_moves_the_orders() -> None:
    """Warm, thin air makes wavelengths longer: x grows by n_standard / n (Ciddor 1996)."""
    plates = [
        expose(
            scene(
                source=LASER,
                bench=f'collimator = "600 mm"\ncamera = "1 m"\nviewing = "19.131 deg"\n{air}',
                aperture='kind = "grating"\ncount = 60000\ndensity = "600 / mm"',
                plate='width = "1 mm"\nheight = "20 um"\npixel = "1 um"',
            )
        )
        for air in ("", 'air = { temperature = "35 degC", pressure = "80 kPa" }')
    ]
    standard, warm = (
        float((p.x_m * p.profile_irradiance).sum() / p.profile_irradiance.sum()) for p in plates
    )
    # n - 1 = 2.779e-4 falls in proportion to p / T (ideal gas, compressibility 3e-4 aside)
    thinner = 2.779e-4 * (1 - (80 / 101.325) * (288.15 / 308.15))
    sine = 546.0735e-9 * 600e3
    shift = thinner * sine / math.sqrt(1 - sine**2)  # d(beta) at a camera of one metre
    assert warm - standard == pytest.approx(shift, rel=0.02)
