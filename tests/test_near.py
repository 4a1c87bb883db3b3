"""Near field against Fresnel's integrals, published diffraction at an edge, axial formulas, Talbot.

Numbers: Born & Wolf, Principles of Optics, 8.7.3 (straight edge), 8.2 and 8.3.3 (axis); Goodman,
Introduction to Fourier Optics, 4.2 (far-field criterion); Rayleigh, Phil. Mag. 11, 196 (1881)
(self-imaging); to more digits by mpmath.
"""

from __future__ import annotations

import math

import mpmath
import numpy as np
import pytest

from tests import bench
from wavesim.aperture.combs import Aperture, Comb
from wavesim.aperture.elements import Slit
from wavesim.aperture.plane import Group, PlaneAperture, RectangleElement, disc
from wavesim.diffraction.fresnel import Wavefront
from wavesim.diffraction.fresnel.edges import slit_near
from wavesim.diffraction.fresnel.plane import near_plane
from wavesim.diffraction.fresnel.rulings import NearRulings, near_rulings
from wavesim.diffraction.planar import plane_amplitude
from wavesim.light import spectrum as light_of_source
from wavesim.lightpath import ExposedPlate, expose
from wavesim.scene import Aberrations

WAVE = 550e-9
MAXIMA = (
    (1.21719825074, 1.3704429197),
    (2.34448538242, 1.19927120345),
    (3.0819582349, 1.150880559),
)
MINIMA = ((1.87251906244, 0.778251047026), (2.73900808064, 0.843161897416))
SHADOW = ((-0.5, 0.0947582329), (-1, 0.0410761242), (-2, 0.0123283161), (-3, 0.00559523963))
# N_F = a^2 k / lambda (a half the width): axial light over the far field's, slit and disc
SLIT_AXIS = ((1, 0.394741321), (0.5, 0.800304796), (0.25, 0.946441583), (0.125, 0.986372498),
             (0.1, 0.991259938), (0.05, 0.997808815), (0.01, 0.999912273))  # fmt: skip
DISC_AXIS = ((0.125, 0.987214831), (0.01, 0.999917756))


@pytest.mark.parametrize(("w", "intensity"), [(0.0, 0.25), *MAXIMA, *MINIMA, *SHADOW])
def test_straight_edge(w: float, intensity: float) -> None:
    k, far = 2.0, 1.0  # the other edge lies 1 m away: w = 2,700 there
    scale = math.sqrt(2 * k / WAVE)
    u = np.array([w / scale * k / WAVE])  # the plate's place that lies w inside the edge at 0
    field = slit_near(0.0, far, u, k, WAVE)
    found = abs(field[0] * scale) ** 2 / 2
    # the far edge's own wave: amplitude 1 / (pi w sqrt 2) = 8e-5 of the open beam
    assert found == pytest.approx(intensity, abs=2.5e-4)


@pytest.mark.parametrize(("number", "intensity"), SLIT_AXIS)
def test_slit_on_the_axis_against_fresnel_number(number: float, intensity: float) -> None:
    half = 0.2e-3
    k = number * WAVE / half**2
    found = abs(slit_near(-half, half, np.zeros(1), k, WAVE)[0] / (2 * half)) ** 2
    assert found == pytest.approx(intensity, abs=1e-9)  # nine digits are given


@pytest.mark.parametrize("number", [3e-5, 1e-3, 0.7, -5.0, 40.0])
def test_slit_off_the_axis_against_quadrature(number: float) -> None:
    a, b = -0.1e-3, 0.25e-3
    k = number * WAVE / b**2
    t, w = np.polynomial.legendre.leggauss(400)
    x = (a + b) / 2 + (b - a) / 2 * t
    u = np.linspace(-4e4, 4e4, 37)
    phase = -2j * np.pi * u[:, None] * x + 1j * np.pi * k * x * x / WAVE
    exact = np.exp(phase) @ w * (b - a) / 2
    # F(w) cancels to 1e-11 where the slit is nearly flat
    assert np.abs(slit_near(a, b, u, k, WAVE) - exact).max() < 1e-10 * (b - a)


def test_many_small_pieces_agree_with_the_edges() -> None:
    position = np.array([-0.3e-3, 0.0, 0.35e-3])
    comb = Comb(Slit(80e-6), position, np.ones(3, dtype=np.complex128))
    aperture, front = Aperture((comb,), 0.01, 0.3e-3), Wavefront(3.0, 3.0)
    u = np.linspace(-2e4, 2e4, 301)
    by_edges = near_rulings(aperture, front)
    assert by_edges.parts == 0
    pieces = NearRulings(aperture, front, 64)
    exact = by_edges.amplitude(u, WAVE)
    # half the phase across a piece is 1.3e-2: phase^2 / 6 = 3e-5
    assert np.abs(pieces.amplitude(u, WAVE) - exact).max() < 3e-5 * np.abs(exact).max()


def test_a_fine_grating_images_itself() -> None:
    pitch, count, wave = 50e-6, 400, 500e-9
    position = (np.arange(count) - (count - 1) / 2) * pitch
    comb = Comb(
        Slit(pitch / 4), np.asarray(position, dtype=np.float64), np.ones(count, dtype=np.complex128)
    )
    distance = 2 * pitch**2 / wave  # the full self-imaging distance, 2 d^2 / lambda
    x = np.linspace(-2 * pitch, 2 * pitch, 401)  # well away from the ends' own waves

    def image(z: float) -> np.ndarray:
        near = NearRulings(Aperture((comb,), 0.01, pitch), Wavefront(1 / z, 1 / z), 0)
        light = np.abs(near.amplitude(x / (z * wave), wave)) ** 2
        return light / light.mean()

    phase = (x / pitch - 0.5) % 1.0
    phase = np.minimum(phase, 1 - phase)
    clear, dark = phase < 0.09, phase > 0.17  # inside a slit's image, and between
    whole, half = image(distance), image(distance / 2)
    # 4 in a clear quarter and 0 between; 400 slits round the edges off by a few per cent
    assert whole[clear].mean() == pytest.approx(4.0, rel=0.1)
    assert whole[dark].mean() < 0.1
    shifted = np.abs(x / pitch - np.rint(x / pitch)) < 0.09  # half a pitch on at half the distance
    assert half[shifted].mean() == pytest.approx(4.0, rel=0.1)
    quarter = image(distance / 4)
    assert quarter[clear].mean() == pytest.approx(2.0, rel=0.1)  # twice as many, half as bright


def _on_axis(aperture: PlaneAperture, k: float) -> float:
    near = near_plane(aperture, Wavefront(k, k), 1e-3)
    field = plane_amplitude(near.at(WAVE), np.zeros(1), np.zeros(1), wavelength_m=WAVE)
    return float(abs(field[0]) ** 2)


def _single(diameter: float) -> PlaneAperture:
    group = Group(disc(diameter), np.zeros(1), np.zeros(1), np.ones(1))
    return PlaneAperture((group,), None, group.element.open_area_m2)


@pytest.mark.parametrize(("number", "intensity"), DISC_AXIS)
def test_disc_on_the_axis_near_the_far_field(number: float, intensity: float) -> None:
    hole = _single(1e-3)
    found = _on_axis(hole, number * WAVE / 0.5e-3**2) / hole.open_area_m2**2
    # 256 cells across, edges in eight lines: their area is right to 1e-5
    assert found == pytest.approx(intensity, abs=1e-4)


@pytest.mark.parametrize("number", [1.0, 2.0, 3.0])
def test_bright_and_dark_axis_of_a_hole(number: float) -> None:
    k = number * WAVE / 0.5e-3**2
    found = _on_axis(_single(1e-3), k) * (k / WAVE) ** 2
    # 4 sin^2(pi N_F / 2) of the open beam; one per cent on a grid
    assert found == pytest.approx(4 * math.sin(math.pi * number / 2) ** 2, abs=0.04)


def test_bright_spot_behind_a_disc() -> None:
    """Arago's spot: as bright as the open beam, here a beam that puts an odd zone on the axis."""
    k = 3.0 * WAVE / 1e-3**2
    beam = Group(disc(2e-3), np.zeros(1), np.zeros(1), np.ones(1))
    stop = Group(disc(1e-3), np.zeros(1), np.zeros(1), -np.ones(1))
    aperture = PlaneAperture((beam, stop), None, math.pi * 0.75e-6)
    found = _on_axis(aperture, k) * (k / WAVE) ** 2
    inner, outer = math.pi * 0.75, math.pi * 3.0  # phases at both edges: exact on the axis
    exact = abs(np.exp(1j * outer) - np.exp(1j * inner)) ** 2
    assert found == pytest.approx(exact, rel=1e-2)


def test_raster_of_a_square_against_edges() -> None:
    side, k = 1e-3, 4.0
    square = Group(RectangleElement(side, side), np.zeros(1), np.zeros(1), np.ones(1))
    near = near_plane(PlaneAperture((square,), None, side**2), Wavefront(k, k), 2e-3)
    u = np.linspace(-4e3, 4e3, 33)
    found = plane_amplitude(near.at(WAVE), u, 0.5 * u, wavelength_m=WAVE)
    exact = slit_near(-side / 2, side / 2, u, k, WAVE) * slit_near(
        -side / 2, side / 2, 0.5 * u, k, WAVE
    )
    # cells of 0.35 rad are right to 2 % of the outermost, much less of the whole
    assert np.abs(found - exact).max() < 5e-3 * np.abs(exact).max()


def test_straight_edge_numbers_are_fresnel_integrals() -> None:
    for w, intensity in (*MAXIMA, *MINIMA):
        c, s = mpmath.fresnelc(w), mpmath.fresnels(w)
        assert float(((c + 0.5) ** 2 + (s + 0.5) ** 2) / 2) == pytest.approx(intensity, abs=1e-9)


@pytest.mark.parametrize("kind", ["spherical", "coma", "astigmatism"])
def test_lens_errors_against_quadrature_over_the_pupil(kind: str) -> None:
    errors = Aberrations.model_validate({kind: "0.8 waves", "coma_angle": "30 deg"})
    radius = 2e-3
    hole = _single(2 * radius)
    near = near_plane(hole, Wavefront(0.0, 0.0, errors, radius), 1e-3)
    u = np.array([0.0, 150.0, -320.0, 600.0])
    found = plane_amplitude(near.at(WAVE), u, 0.7 * u, wavelength_m=WAVE)
    t, w = np.polynomial.legendre.leggauss(120)
    r, angle = (t[:, None] + 1) / 2, np.arange(240) * (2 * math.pi / 240)
    path = (
        0.8
        * WAVE
        * {
            "spherical": r**4 + 0 * angle,
            "coma": r**3 * np.cos(angle - math.radians(30)),
            "astigmatism": r**2 * np.cos(angle) ** 2,
        }[kind]
    )
    x, y = radius * r * np.cos(angle), radius * r * np.sin(angle)
    area = (w[:, None] / 2) * r * radius**2 * (2 * math.pi / 240)
    exact = [np.sum(area * np.exp(2j * np.pi * (path / WAVE - a * x - 0.7 * a * y))) for a in u]
    # cells of 0.35 rad at the rim, where the path is steepest
    assert np.abs(found - exact).max() < 5e-3 * hole.open_area_m2


BAND = 'kind = "band"\ncentre = "550 nm"\nwidth = "2 nm"'


def on_plate(
    distances: str, aperture: str, width: float, height: float, pixel: float
) -> ExposedPlate:
    """What such an aperture leaves on a plate of so many mm, with pixels of so many um."""
    plate = f'width = "{width} mm"\nheight = "{height} mm"\npixel = "{pixel} um"'
    return expose(bench.scene(source=BAND, bench=distances, aperture=aperture, plate=plate))


SLITS = 'kind = "slits"\ncount = 2\nwidth = "40 um"\npitch = "120 um"\nheight = "2 mm"'
HOLE = 'kind = "rectangle"\nwidth = "0.3 mm"\nheight = "0.4 mm"'


def test_far_away_the_near_field_is_the_far_field() -> None:
    near = on_plate('plate_distance = "40 m"', SLITS, 60, 3, 50)
    far = on_plate('camera = "40 m"', SLITS, 60, 3, 50)
    # Fresnel number 3e-4 of the slits' width and 0.05 of their height, which spreads evenly
    middle = near.profile_irradiance / near.profile_irradiance.max()
    assert np.abs(middle - far.profile_irradiance / far.profile_irradiance.max()).max() < 2e-3
    assert any("far field holds" in note for note in near.report.notes)


def test_the_shadow_holds_all_the_power() -> None:
    plate = on_plate('plate_distance = "50 mm"', HOLE, 2, 2, 10)
    light = 0.3e-3 * 0.4e-3 * _beam(plate)
    # light beyond 0.8 mm from an edge: lambda z / (2 pi^2 a x) for each of four edges
    beyond = 4 * 550e-9 * 50e-3 / (2 * math.pi**2 * 0.3e-3 * 0.8e-3)
    assert plate.power_W / light == pytest.approx(1.0, abs=2 * beyond)
    assert plate.power_W < light


def _beam(plate: ExposedPlate) -> float:
    """Irradiance of the beam [W/m2]: the source's default 1,000 lx."""
    spectrum = light_of_source(plate.scene.source)
    power, _ = spectrum.integrate(np.array([500e-9]), np.array([600e-9]))
    return float(power[0])


def test_rectangle_by_cells_and_slits_by_edges_make_the_same_plate() -> None:
    size = (0.8, 0.8, 8)
    cells = on_plate('plate_distance = "100 mm"', HOLE, *size)
    slit = 'kind = "slits"\ncount = 1\nwidth = "0.3 mm"\nheight = "0.4 mm"'
    edges = on_plate('plate_distance = "100 mm"', slit, *size)
    # cells of 0.35 rad: 2 % of what the outermost send, under 1 % of the brightest pixel
    assert np.abs(cells.irradiance - edges.irradiance).max() < 0.01 * edges.irradiance.max()
