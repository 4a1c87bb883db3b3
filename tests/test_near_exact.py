"""Near field far off the axis against an independent angular spectrum (plain FFTs, padded).

The field in the aperture is turned plane wave by plane wave (Goodman, Introduction to Fourier
Optics, 3.10), over 30 z and more, so that nothing comes round again: random slits, wires and
gratings, x / z up to 0.5, z from 1 mm, at normal and oblique incidence.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.interpolate import CubicSpline

from tests import bench
from tests.parameters import slow_beyond, slow_but
from wavesim.aperture import build
from wavesim.aperture.combs import Aperture, Comb
from wavesim.aperture.elements import Slit
from wavesim.aperture.plane import Group, PlaneAperture, disc
from wavesim.diffraction.fresnel.exact import ExactRulings
from wavesim.diffraction.fresnel.spectrum import ExactPlane
from wavesim.errors import LimitError
from wavesim.lightpath import ExposedPlate, expose
from wavesim.plate.plane.frame import Frame
from wavesim.plate.plane.sweep import sweep_plane

Edges = list[tuple[float, float]]


def angular_spectrum(
    slits: Edges, z_m: float, wavelength_m: float, sine_in: float
) -> tuple[np.ndarray, np.ndarray]:
    """Places x [m] and |U|^2 behind clear slits between those edges [m]."""
    length = max(0.03, 30 * z_m)
    n = 2 ** math.ceil(math.log2(4.4 * length / wavelength_m))
    nu = np.fft.fftfreq(n, length / n)
    u = nu + sine_in / wavelength_m
    spectrum = np.zeros(n, dtype=np.complex128)
    for a, b in slits:
        spectrum += (b - a) * np.sinc((b - a) * u) * np.exp(-1j * math.pi * u * (a + b))
    square = 1 / wavelength_m**2 - nu**2
    spectrum *= np.exp(2j * math.pi * z_m * np.emath.sqrt(square))  # evanescent waves fade
    field = np.fft.fftshift(np.fft.ifft(spectrum)) * (n / length)
    x = (np.arange(n) - n // 2) * (length / n)
    return x, np.abs(field) ** 2


def pixels(slits: Edges, plate: ExposedPlate, wavelength_m: float, sine_in: float) -> np.ndarray:
    """Mean of |U|^2 over the pixels of a plate's row."""
    z = plate.scene.bench.plate_distance_m
    assert z is not None
    x, light = angular_spectrum(slits, z, wavelength_m, sine_in)
    edges = plate.scene.plate.x_edges_m()
    near = np.abs(x) < 1.2 * np.abs(edges).max()
    running = CubicSpline(x[near], light[near]).antiderivative()
    return np.asarray(np.diff(running(edges)) / np.diff(edges))


def laser_plate(aperture: str, z_mm: float, wave_nm: float, *, more: str = "") -> ExposedPlate:
    """A plate as wide as its distance, so that x / z goes up to 0.5; slits far higher than z."""
    width_um = 1000 * z_mm
    return expose(
        bench.scene(
            source=f'kind = "laser"\nwavelength = "{wave_nm} nm"\nlinewidth = "0.001 pm"',
            bench=f'plate_distance = "{z_mm} mm"\nviewing = "0 deg"\n{more}',
            aperture=f'{aperture}\nheight = "{60 * z_mm} mm"',
            plate=f'width = "{width_um} um"\nheight = "{width_um / 250} um"\n'
            f'pixel = "{width_um / 250} um"',
        )
    )


def off(plate: ExposedPlate, exact: np.ndarray) -> float:
    """Largest difference of the shapes, of the brightest pixel."""
    found = plate.irradiance[plate.irradiance.shape[0] // 2]
    return float(
        np.abs(found / found.sum() - exact / exact.sum()).max() * exact.sum() / exact.max()
    )


def random_slits(seed: int) -> tuple[str, Edges, float, float, float]:
    """Aperture, its edges [m], z [mm], wavelength [nm], incidence [deg]."""
    draw = np.random.default_rng(seed)
    z = float(10 ** draw.uniform(0, 0.9))
    edge = np.sort(draw.uniform(-0.3e-3 * z, 0.3e-3 * z, 2 * int(draw.integers(1, 6))))
    pairs = [(float(a), float(b)) for a, b in zip(edge[::2], edge[1::2], strict=True)]
    listed = ", ".join(
        f'{{ centre = "{(a + b) * 5e5!r} um", width = "{(b - a) * 1e6!r} um" }}' for a, b in pairs
    )
    alpha = 0.0 if seed % 2 else float(draw.uniform(-15, 15))
    return f'kind = "slits"\nslits = [{listed}]', pairs, z, float(draw.uniform(400, 700)), alpha


def check(seed: int) -> None:
    aperture, pairs, z, wave, alpha = random_slits(seed)
    plate = laser_plate(aperture, z, wave, more=f'incidence = "{alpha} deg"')
    exact = pixels(pairs, plate, wave * 1e-9, math.sin(math.radians(alpha)))
    # the FFT's own evanescent waves and wrap; asked: 1e-3
    assert off(plate, exact) < 5e-4, f"seed {seed}"


@pytest.mark.parametrize("seed", slow_beyond(4, range(6)))
def test_random_slits_up_to_half_the_distance_aside(seed: int) -> None:
    check(seed)


@pytest.mark.exhaustive
def test_many_random_slits() -> None:
    for seed in range(100):
        check(seed)


@pytest.mark.parametrize("planes", slow_but([1.0], [0.5, 1.0, 1.7]))
def test_images_of_a_grating_far_off_its_axis(planes: float) -> None:
    """60 slits (through the angular spectrum), about Talbot's distances 2 d^2 / lambda."""
    pitch, count, wave = 15e-6, 60, 550.0
    z_mm = planes * 2 * pitch**2 / (wave * 1e-9) * 1e3
    z_mm = max(z_mm, 1.0)
    text = f'kind = "slits"\ncount = {count}\nwidth = "5 um"\npitch = "{pitch * 1e6} um"'
    plate = laser_plate(text, z_mm, wave)
    middle = (np.arange(count) - (count - 1) / 2) * pitch
    edges = [(float(m) - 2.5e-6, float(m) + 2.5e-6) for m in middle]
    assert off(plate, pixels(edges, plate, wave * 1e-9, 0.0)) < 5e-4


def test_wires_far_off_the_axis() -> None:
    plate = laser_plate('kind = "wires"\ncount = 7\nwidth = "20 um"\npitch = "70 um"', 1.5, 600.0)
    gaps = [
        (float(x) - comb.element.width_m / 2, float(x) + comb.element.width_m / 2)
        for comb in build(plate.scene).combs
        for x in comb.position_m
    ]
    assert len(gaps) == 6
    assert off(plate, pixels(gaps, plate, 600e-9, 0.0)) < 5e-4


def test_collimated_light_stays_where_its_slit_is() -> None:
    """A slit 0.4 z off the axis casts its shadow straight behind it, as bright as the beam."""
    aperture = 'kind = "slits"\nslits = [{ centre = "1.6 mm", width = "0.5 mm" }]'
    plate = laser_plate(aperture, 4.0, 500.0)
    row = plate.irradiance[0]
    half = plate.x_m[row > np.median(row[row > row.max() / 2]) / 4]  # 1/4 at an edge
    assert half.min() == pytest.approx(1.35e-3, abs=plate.scene.plate.pixel_m)
    assert half.max() == pytest.approx(1.85e-3, abs=plate.scene.plate.pixel_m)
    assert any("propagated exactly" in note for note in plate.report.notes)


@pytest.mark.parametrize(
    ("sine", "z_m"), [(0.0, 1e-3), (0.3, 1e-3), (-0.2, 1e-3), (0.0, 30e-3), (0.1, 2.0)]
)
def test_edges_and_spectrum_are_one_field(sine: float, z_m: float) -> None:
    draw = np.random.default_rng(3)
    edge = np.sort(draw.uniform(-1e-4, 1e-4, 6))
    combs = tuple(
        Comb(Slit(b - a), np.array([(a + b) / 2]), np.ones(1, dtype=np.complex128))
        for a, b in zip(edge[::2], edge[1::2], strict=True)
    )
    near = ExactRulings(Aperture(combs, 0.01, 1e-4), z_m)
    x = np.linspace(-5e-4, 5e-4, 201) - z_m * math.tan(math.asin(sine)) * (z_m > 0.1)
    by_edges, by_spectrum = near._by_edges(x, 550e-9, sine), near._by_spectrum(x, 550e-9, sine)
    light = np.abs(by_spectrum) ** 2
    # Bleistein's next term; directions that fade over six sqrt(lambda z)
    assert np.abs(np.abs(by_edges) ** 2 - light).max() < 1e-5 * light.max()


@pytest.mark.parametrize(("zones", "intensity"), [(0.125, 0.987214831), (0.01, 0.999917756)])
def test_axis_of_a_round_hole_against_its_far_field(zones: float, intensity: float) -> None:
    """(sin(pi N / 2) / (pi N / 2))^2, N = a^2 / lambda z: 1.279 % lost at z = 2 D^2 / lambda, the
    far-field criterion (Born & Wolf 8.8.3; Goodman 4.2.2)."""
    a, wave = 0.5e-3, 550e-9
    z = a * a / wave / zones
    hole = PlaneAperture((Group(disc(2 * a), np.zeros(1), np.zeros(1), np.ones(1)),), None, 1.0)
    edges = np.array([-1e-6, 1e-6])
    frame = Frame(edges / z, edges / z, (0, 0), straight=True)
    table = ExactPlane(hole, z, (1e-6, 1e-6)).table(wave, 0.0)
    light = sweep_plane(table, frame, 0.0, np.array([wave]), np.ones((1, 1)))[0][0, 0] / 4e-12
    assert light / (math.pi * zones) ** 2 == pytest.approx(intensity, abs=2e-5)  # fading directions


def rayleigh_sommerfeld(x: float, y: float, radius_m: float, z_m: float, wave_m: float) -> float:
    """|U|^2 behind a round hole by quadrature of the first integral (Born & Wolf 8.11.2)."""
    t, w = np.polynomial.legendre.leggauss(200)
    rho, angle = radius_m * (t[:, None] + 1) / 2, np.arange(800) * (2 * math.pi / 800)
    area = radius_m / 2 * w[:, None] * rho * (2 * math.pi / 800)
    r = np.sqrt((x - rho * np.cos(angle)) ** 2 + (y - rho * np.sin(angle)) ** 2 + z_m**2)
    k = 2 * math.pi / wave_m
    field = np.sum(area * z_m / (1j * wave_m) * np.exp(1j * k * r) / r**2 * (1 + 1j / (k * r)))
    return float(abs(field) ** 2)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("z_mm", "diameter_um", "aside"),
    slow_beyond(1, [(1.0, 100.0, 0.5), (2.0, 140.0, 0.5), (5.0, 140.0, 0.2)]),
)
def test_round_hole_far_off_its_axis(z_mm: float, diameter_um: float, aside: float) -> None:
    wave, side, pixel = 600e-9, 2 * aside * z_mm * 1000, 8 * aside * z_mm
    plate = expose(
        bench.scene(
            source='kind = "laser"\nwavelength = "600 nm"\nlinewidth = "0.001 pm"',
            bench=f'plate_distance = "{z_mm} mm"',
            aperture=f'kind = "disc"\ndiameter = "{diameter_um} um"',
            plate=f'width = "{side} um"\nheight = "{side / 4} um"\npixel = "{pixel} um"',
        )
    )
    assert any("exact, by the angular spectrum" in note for note in plate.report.notes)
    light, scale = plate.irradiance, 0.0
    t, w = np.polynomial.legendre.leggauss(4)
    ny, nx = light.shape
    brightest = tuple(int(k) for k in np.unravel_index(light.argmax(), light.shape))
    for row, column in (brightest, (ny // 2, nx // 2), (ny // 3, nx - 1), (ny - 1, nx // 4),
                        (ny // 2, nx // 2 + 20)):  # fmt: skip
        half = pixel * 5e-7
        exact = sum(
            a * b / 4 * rayleigh_sommerfeld(
                plate.x_m[column] + half * u, plate.y_m[row] + half * v,
                diameter_um * 5e-7, z_mm * 1e-3, wave,
            )
            for u, a in zip(t, w, strict=True) for v, b in zip(t, w, strict=True)
        )  # fmt: skip
        scale = scale or light[row, column] / exact  # the beam's level, from the brightest pixel
        assert abs(light[row, column] / scale - exact) < 1e-3 * light.max() / scale


def test_what_takes_days_is_refused_with_the_estimate() -> None:
    with pytest.raises(LimitError, match=r"hours|days|minutes|GB"):
        expose(
            bench.scene(
                bench='plate_distance = "1 mm"\ncollimator = "1 m"',
                source='kind = "sun"\nslit = { width = "5 mm", height = "5 mm" }',
                aperture='kind = "slits"\ncount = 30\nwidth = "1 mm"\npitch = "2 mm"',
                plate='width = "300 mm"\nheight = "10 mm"\npixel = "10 um"',
            )
        )
