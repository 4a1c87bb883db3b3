"""Elements, grooves, defects and what becomes of a scene's aperture."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from scipy.special import jv

from tests.bench import scene
from wavesim import aperture as apertures
from wavesim.aperture import Rays
from wavesim.aperture.build import even_positions
from wavesim.aperture.defects import IdealRuling, combined, errors
from wavesim.aperture.grooves import (
    FacetGroove,
    GrooveSurface,
    SineGroove,
    binary,
    blazed,
    measured,
)
from wavesim.aperture.spread import TOLERANCE
from wavesim.diffraction.far import amplitude
from wavesim.errors import LimitError, TableError
from wavesim.lightpath import expose
from wavesim.scene.defect import (
    DepthDefect,
    DriftDefect,
    MissingDefect,
    PeriodicDefect,
    RandomDefect,
    Span,
    StepDefect,
    WidthDefect,
)

WAVE = 500e-9
MIRROR = GrooveSurface("reflection")
PITCH = 20e-6  # forty wavelengths: cosines of the first orders stay near one


def rays(order: float, wave: float = WAVE) -> Rays:
    """Normal incidence, that order of a grating of PITCH."""
    return Rays(0.0, np.array([order * wave / PITCH]), wave)


def efficiency(groove: FacetGroove | SineGroove, order: float, wave: float = WAVE) -> float:
    return float(np.abs(groove.amplitude(rays(order, wave)))[0] ** 2 / PITCH**2)


def depth_for(phase_rad: float, order: float) -> float:
    """Height that turns the phase by `phase_rad` in the direction of an order."""
    return phase_rad / (2 * math.pi * abs(float(MIRROR.turns_per_m(rays(order))[0])))


class TestGrooves:
    """Efficiencies of thin phase gratings; formulas as cited, digits recomputed with mpmath."""

    @pytest.mark.parametrize("phase", [0.3, 1.0, math.pi])
    def test_binary(self, phase: float) -> None:
        """cos^2(phi/2), (2/(m pi))^2 sin^2(phi/2): Goodman 4.4; Magnusson & Gaylord 1978."""
        for m in (-5, -3, -1, 0, 1, 2, 3, 5):
            groove = binary(PITCH, depth_for(phase, m), 0.5, MIRROR)
            if m == 0:
                expected = math.cos(phase / 2) ** 2
            else:
                expected = (2 / (m * math.pi)) ** 2 * math.sin(phase / 2) ** 2 * (m % 2)
            assert efficiency(groove, m) == pytest.approx(expected, abs=1e-12)

    @pytest.mark.parametrize("g", [0.5, 1.841183781341, 2.404825557696, 3.05423692823])
    def test_sinusoidal(self, g: float) -> None:
        """J_m(g)^2 with g half of the peak-to-peak phase (Goodman 4.4.4)."""
        for m in (-2, -1, 0, 1, 2, 3):
            groove = SineGroove(PITCH, 2 * depth_for(g, m), MIRROR)
            assert efficiency(groove, m) == pytest.approx(jv(m, g) ** 2, abs=1e-12)

    def test_sinusoidal_first_order_is_at_most_34_percent(self) -> None:
        groove = SineGroove(PITCH, 2 * depth_for(1.841183781341, 1), MIRROR)
        assert efficiency(groove, 1) == pytest.approx(0.338567139228, abs=1e-9)

    @pytest.mark.parametrize("depth_m", [2e-7, 1e-6, 5e-6, 2e-5, 1e-4, 2.8e-4])
    def test_sine_grooves_of_any_depth_follow_bessel_s_function(self, depth_m: float) -> None:
        """Goodman, section 4.4.4; J_m from scipy. 1e-16 of the phase is rounding."""
        groove = SineGroove(PITCH, depth_m, MIRROR)
        order = np.arange(-2.0, 3.0)
        rays = Rays(0.0, order * WAVE / PITCH, WAVE)
        expected = np.abs(jv(order, np.pi * MIRROR.turns_per_m(rays) * depth_m))
        found = np.abs(groove.amplitude(rays)) / PITCH
        assert found == pytest.approx(expected, abs=1e-13 + 1e-15 * depth_m / WAVE)

    @pytest.mark.parametrize("depth_m", [1e-2, 1e13])
    def test_a_sine_groove_too_deep_to_be_waited_for_is_refused(self, depth_m: float) -> None:
        with pytest.raises(LimitError, match=r"groove\.depth.*shallower"):
            SineGroove(PITCH, depth_m, MIRROR).amplitude(Rays(0.0, np.array([0.1]), WAVE))

    @pytest.mark.parametrize(
        ("levels", "expected"),
        [(2, 0.405284734569), (4, 0.810569469139), (8, 0.949641203552), (16, 0.987214830767)],
    )
    def test_staircase(self, levels: int, expected: float) -> None:
        """sinc^2(1/L) in order 1 (Dammann 1970; Swanson, Lincoln Laboratory TR-854, 1989)."""
        turns = abs(float(MIRROR.turns_per_m(rays(1))[0]))
        edge = np.linspace(-PITCH / 2, PITCH / 2, levels + 1)
        height = -(np.arange(levels) - (levels - 1) / 2) / levels / turns
        groove = FacetGroove(edge, height, height, MIRROR)
        assert efficiency(groove, 1) == pytest.approx(expected, abs=1e-11)

    @pytest.mark.parametrize(
        ("order", "expected"), [(-3, 0.09006327), (5, 0.03242278), (2, 0.0), (-1, 0.0)]
    )
    def test_staircase_of_four_tells_the_sign_of_orders(self, order: int, expected: float) -> None:
        """Only m = 1 + 4 q, sinc^2(1/4) / m^2."""
        turns = abs(float(MIRROR.turns_per_m(rays(order))[0]))
        edge = np.linspace(-PITCH / 2, PITCH / 2, 5)
        height = -(np.arange(4) - 1.5) / 4 / turns
        assert efficiency(FacetGroove(edge, height, height, MIRROR), order) == pytest.approx(
            expected, abs=1e-8
        )

    def test_blaze(self) -> None:
        """sinc^2(m - m_b lambda_b / lambda): 4/pi^2 at 2/3 and 2 lambda_b (Loewen & Popov 1997).

        The facet's phase goes with cos(alpha) + cos(beta), so lambda_b is that of each ray.
        """
        angle = math.radians(0.7)
        groove = blazed(PITCH, angle, MIRROR)
        for wave in np.linspace(350e-9, 900e-9, 23):
            beta = math.asin(wave / PITCH)
            blaze = PITCH * math.tan(angle) * (1 + math.cos(beta)) / wave
            expected = float(np.sinc(1 - blaze)) ** 2
            assert efficiency(groove, 1, wave) == pytest.approx(expected, abs=1e-12)

    def test_blaze_direction(self) -> None:
        """All light at alpha + beta = 2 facet_angle, none of it at the other side."""
        groove = blazed(PITCH, 0.1, MIRROR)
        on_blaze = Rays(0.0, np.array([math.sin(0.2)]), WAVE)
        assert abs(groove.amplitude(on_blaze)[0]) == pytest.approx(PITCH, rel=1e-12)
        assert blazed(PITCH, -0.1, MIRROR).amplitude(
            Rays(0.0, np.array([-math.sin(0.2)]), WAVE)
        ) == pytest.approx(PITCH, rel=1e-12)

    def test_transmission_prism(self) -> None:
        """A facet deflects as the thin prism it is: sin(beta) with n sin(A) = sin(A + beta)."""
        angle, index = 0.15, 1.5
        beta = math.asin(index * math.sin(angle)) - angle
        groove = blazed(PITCH, angle, GrooveSurface("transmission", index))
        found = groove.amplitude(Rays(0.0, np.array([math.sin(beta)]), WAVE))
        assert abs(found[0]) == pytest.approx(PITCH, rel=1e-12)

    def test_measured_profile_of_a_sine(self) -> None:
        """A sine given at 400 points: facets follow it to second order in their width."""
        position = np.linspace(0, PITCH, 401)
        height = 1e-7 * np.cos(2 * np.pi * (position / PITCH - 0.5))
        groove = measured(position, height, PITCH, MIRROR)
        sine = SineGroove(PITCH, 2e-7, MIRROR)
        for m in (0, 1, 2):
            assert efficiency(groove, m) == pytest.approx(efficiency(sine, m), abs=2e-4)

    def test_reflectance(self) -> None:
        table = GrooveSurface("reflection", 1.5, np.array([400e-9, 600e-9]), np.array([0.2, 0.8]))
        assert efficiency(blazed(PITCH, 0.0, table), 0) == pytest.approx(0.5, rel=1e-12)


def ruling(count: int, pitch: float = 1e-3 / 600) -> IdealRuling:
    return IdealRuling(even_positions(count, pitch), pitch)


class TestDefects:
    def test_the_same_seed_is_the_same_ruling(self) -> None:
        """The Mersenne-Twister stream is frozen: these are its first numbers for seed 42."""
        drawn = errors(RandomDefect(rms_m=1.0e-9, seed=42), ruling(4)).displacement_m
        # numpy.random.RandomState(42).standard_normal(4), documented never to change
        expected = [
            0.4967141530112327,
            -0.13826430117118466,
            0.6476885381006925,
            1.5230298564080254,
        ]
        assert np.array_equal(drawn, 1e-9 * np.array(expected))

    def test_accumulated_grows_like_the_root(self) -> None:
        last = [
            np.atleast_1d(
                errors(
                    RandomDefect(rms_m=1e-9, correlation="accumulated", seed=s), ruling(400)
                ).displacement_m
            )[-1]
            for s in range(300)
        ]
        # standard error of a standard deviation from 300 draws: 4 %; four of them
        assert np.std(last) == pytest.approx(20e-9, rel=0.16)

    def test_correlated_falls_as_stated(self) -> None:
        """Correlation exp(-(x / L)^2): 1/e at L."""
        span = Span(rulings=50)
        drawn = errors(RandomDefect(rms_m=1e-9, correlation=span, seed=3), ruling(400_000))
        e = np.asarray(drawn.displacement_m) * 1e9
        # 400000 / (50 sqrt(pi)) independent stretches: standard error about 1.5 %
        assert np.mean(e**2) == pytest.approx(1.0, abs=0.08)
        assert np.mean(e[50:] * e[:-50]) == pytest.approx(math.exp(-1), abs=0.06)

    def test_drift_changes_the_local_pitch(self) -> None:
        ideal = ruling(10_001)
        drift = DriftDefect(linear=1e-4, quadratic=2e-4, cubic=-3e-4)
        pitch = np.diff(errors(drift, ideal).displacement_m) / ideal.pitch_m
        s = (ideal.position_m[1:] + ideal.position_m[:-1]) / 2 / (10_001 * ideal.pitch_m)
        assert pitch == pytest.approx(1e-4 * s + 2e-4 * s**2 - 3e-4 * s**3, abs=1e-11)

    def test_several_defects_add_up(self) -> None:
        ideal = ruling(100)
        both = [
            PeriodicDefect(amplitude_m=4e-9, period=Span(rulings=10)),
            StepDefect(size_m=1e-7, ruling=60),
            MissingDefect(rulings=(1, 50)),
        ]
        wrong = combined(both, ideal)
        n = np.arange(100) - 49.5
        assert wrong.displacement_m == pytest.approx(
            4e-9 * np.sin(2 * np.pi * n / 10) + np.where(np.arange(100) >= 60, 1e-7, 0), abs=1e-20
        )
        assert np.flatnonzero(wrong.weight == 0).tolist() == [0, 49]

    def test_wavefront_and_back(self, tmp_path: Path) -> None:
        """A wavefront 2 pi m e / d read from a table gives the displacement e back."""
        pitch = 1e-3 / 600
        e = 30e-9 * np.sin(np.arange(200) / 9.0)
        phase = 2 * np.pi * 2 * e / pitch
        path = tmp_path / "wavefront.csv"
        rows = "\n".join(f"{n + 1},{p!r}" for n, p in enumerate(phase.tolist()))
        path.write_text(f"ruling,wavefront_rad\n{rows}\n")
        from wavesim.scene.defect import TableDefect

        table = TableDefect(file="wavefront.csv", quantity="wavefront", order=2)
        ideal = IdealRuling(ruling(200).position_m, pitch, tmp_path)
        assert errors(table, ideal).displacement_m == pytest.approx(e, abs=1e-20)

    @pytest.mark.parametrize(
        ("text", "message"),
        [
            ("x_mm;displacement_nm\n0;1\n", "has no header that names its columns"),
            ("x_mm,displacement_parsec\n0,1\n1,2\n", "unknown unit"),
            ("x_mm,height_nm\n0,1\n1,2\n", "unknown column"),
            ("x_mm,displacement_nm\n0,1\n0,2\n", "does not ascend"),
            ("x_mm,displacement_nm\n0,1\n1,nan\n", "is not finite"),
            ("x_mm,displacement_nm\n0,1\n1\n", "is not a row of two numbers"),
            ("x_mm,displacement_nm\n0,1\n", "has fewer than two rows"),
            ("# nothing\n", "is empty"),
        ],
    )
    def test_bad_tables(self, tmp_path: Path, text: str, message: str) -> None:
        from wavesim.scene.defect import TableDefect

        (tmp_path / "bad.csv").write_text(text)
        ideal = IdealRuling(ruling(5).position_m, 1e-6, tmp_path)
        with pytest.raises(TableError, match=message) as caught:
            errors(TableDefect(file="bad.csv"), ideal)
        assert "bad.csv" in str(caught.value)
        assert caught.value.exit_status == 2


class TestVaryingElements:
    """Elements that differ from place to place, against a direct sum of each."""

    def test_widths(self) -> None:
        setup = scene(
            aperture='kind = "slits"\ncount = 60\nwidth = "40 um"\npitch = "90 um"\n'
            '[[aperture.defects]]\nkind = "width"\nrms = "1 um"\ngrowth = "2 um"\nseed = 5'
        )
        built = apertures.build(setup)
        wrong = combined(setup.aperture.defects, IdealRuling(ruling(60, 90e-6).position_m, 90e-6))
        sines = np.linspace(-0.01, 0.01, 301)
        found = amplitude(built, 0.0, sines, WAVE)
        u = sines / WAVE
        width = 40e-6 + np.asarray(wrong.width_m)
        exact = sum(
            w * np.sinc(w * u) * np.exp(-2j * np.pi * u * x)
            for w, x in zip(width, ruling(60, 90e-6).position_m, strict=True)
        )
        assert np.abs(found - exact).max() <= 60 * 40e-6 * TOLERANCE

    def test_worn_grooves(self) -> None:
        """Depths that fall along the ruling: stated error of the expansion holds."""
        setup = scene(
            aperture='kind = "grating"\ncount = 200\npitch = "4 um"\nmounting = "reflection"\n'
            'groove = { profile = "blazed", facet_angle = "4 deg" }\n'
            '[[aperture.defects]]\nkind = "depth"\nwear = 0.3\nrms = 0.02\nseed = 1'
        )
        built = apertures.build(setup)
        wrong = combined(setup.aperture.defects, ruling(200, 4e-6))
        sines = np.linspace(0.0, 0.4, 201)
        found = amplitude(built, 0.0, sines, WAVE)
        groove = blazed(4e-6, math.radians(4), GrooveSurface("reflection"))
        beam = Rays(0.0, sines, WAVE)
        exact = sum(
            groove.deepened(float(s)).amplitude(beam) * np.exp(-2j * np.pi * beam.u * x)
            for s, x in zip(np.atleast_1d(wrong.depth), ruling(200, 4e-6).position_m, strict=True)
        )
        assert len(built.combs) > 2
        assert np.abs(found - exact).max() <= 200 * 4e-6 * TOLERANCE * 10

    @pytest.mark.slow
    def test_worn_grooves_on_the_plate(self) -> None:
        """The plate's low-rank sum equals |A|^2 of the same rulings at a wavelength."""
        setup = scene(
            source='kind = "laser"\nwavelength = "500 nm"',
            bench='collimator = "600 mm"\ncamera = "1 m"\nviewing = "7 deg"',
            aperture='kind = "grating"\ncount = 300\npitch = "4 um"\nmounting = "reflection"\n'
            'groove = { profile = "blazed", facet_angle = "4 deg" }\n'
            '[[aperture.defects]]\nkind = "depth"\nwear = 0.3',
            plate='width = "4 mm"\nheight = "20 um"\npixel = "20 um"',
        )
        plate = expose(setup)
        built = apertures.build(setup)
        sine = np.sin(math.radians(7) + np.arctan(plate.x_m))
        power = np.abs(amplitude(built, 0.0, sine, 500e-9)) ** 2
        row = plate.profile_irradiance
        scale = row.sum() / power.sum()
        # pixels of 20 um in fringes of 400 um: their mean differs from the middle by 0.4 %
        assert np.abs(row - power * scale).max() <= 0.01 * row.max()

    def test_wires_keep_their_gaps(self) -> None:
        setup = scene(aperture='kind = "wires"\ncount = 11\nwidth = "30 um"\npitch = "90 um"')
        built = apertures.build(setup)
        assert built.elements == 10
        assert built.combs[0].element.width_m == pytest.approx(60e-6)
        assert built.open_width_m == pytest.approx(10 * 60e-6)

    def test_a_missing_wire_joins_its_gaps(self) -> None:
        setup = scene(
            aperture='kind = "wires"\ncount = 11\nwidth = "30 um"\npitch = "90 um"\n'
            '[[aperture.defects]]\nkind = "missing"\nrulings = [5]'
        )
        built = apertures.build(setup)
        widths = sorted(c.element.width_m for c in built.combs for _ in c.position_m)
        assert widths == pytest.approx([60e-6] * 8 + [150e-6])


class TestBeam:
    def test_hard_edge_drops_rulings(self) -> None:
        setup = scene(
            bench='collimator = "600 mm"\ncamera = "1 m"\nbeam = "1 mm"',
            aperture='kind = "grating"\ncount = 60000\ndensity = "600 / mm"',
        )
        assert apertures.build(setup).elements == pytest.approx(600, abs=1)
        assert apertures.build(setup).height_m == 1e-3

    def test_gaussian_weights(self) -> None:
        setup = scene(
            bench='collimator = "600 mm"\ncamera = "1 m"\n'
            'beam = { diameter = "20 mm", profile = "gaussian" }',
            aperture='kind = "grating"\ncount = 6001\ndensity = "600 / mm"',
        )
        comb = apertures.build(setup).combs[0]
        at_edge = np.abs(comb.weight[0]) ** 2
        assert at_edge == pytest.approx(math.exp(-2 * (comb.position_m[0] / 0.01) ** 2), rel=1e-12)

    def test_beam_between_the_slits(self) -> None:
        setup = scene(
            bench='collimator = "600 mm"\ncamera = "1 m"\nbeam = "1 um"',
            aperture='kind = "slits"\ncount = 2\nwidth = "40 um"\npitch = "90 um"',
        )
        with pytest.raises(LimitError, match="no element is left in the beam"):
            apertures.build(setup)


def test_scalar_limit_is_said() -> None:
    fine = scene(aperture='kind = "grating"\ncount = 100\ndensity = "1200 / mm"')
    coarse = scene(aperture='kind = "slits"\ncount = 3\nwidth = "40 um"\npitch = "90 um"')
    assert "absolute efficiencies do not" in apertures.build(fine).limits[0]
    assert apertures.build(coarse).limits == ()


def test_depth_without_relief_is_one_comb() -> None:
    built = combined([DepthDefect(wear=0.0)], ruling(5))
    assert np.all(np.asarray(built.depth) == 1.0)


def test_width_growth_is_centred() -> None:
    wrong = combined([WidthDefect(growth_m=1e-6)], ruling(11))
    assert np.asarray(wrong.width_m)[[0, 5, 10]] == pytest.approx([-5e-7, 0, 5e-7])
