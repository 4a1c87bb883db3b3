"""Plates of apertures in the plane: power, quadrature, sources, pictures, random dots, strips."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image
from scipy.special import sici

from tests import bench as usual
from wavesim.aperture.plane import (
    Group,
    Lattice,
    PlaneAperture,
    PolygonElement,
    RectangleElement,
    build_plane,
    disc,
)
from wavesim.aperture.plane.strips import build_strips
from wavesim.diffraction.planar import plan_table, plane_amplitude, plane_table
from wavesim.errors import LimitError, TableError
from wavesim.lightpath import expose
from wavesim.plate.plane.frame import Frame
from wavesim.plate.plane.sweep import reach_of, sweep_plane
from wavesim.scene import Scene, load, parse

WAVE = 550e-9


def scene_text(
    aperture: str, *, bench: str = "", source: str = "", size: float = 8.0, pixel: float = 20.0
) -> str:
    """A laser scene: a plate of so many mm, with pixels of so many um."""
    return usual.text(
        source=f'kind = "laser"\nwavelength = "550 nm"\n{source}',
        bench=f'camera = "1 m"\n{bench}',
        aperture=aperture,
        plate=f'width = "{size} mm"\nheight = "{size} mm"\npixel = "{pixel} um"',
    )


def scene(aperture: str, **parts: Any) -> Scene:
    """The scene that `scene_text` writes."""
    return parse(scene_text(aperture, **parts))


def _cells(aperture: PlaneAperture, edges: np.ndarray, wavelengths: np.ndarray) -> np.ndarray:
    """Power per cell [m2], all wavelengths added up."""
    frame = Frame(edges, edges, (0, 0), straight=True)
    plan = plan_table(aperture, reach_of(frame, wavelengths, 0.0))
    return sweep_plane(
        plane_table(aperture, plan), frame, 0.0, wavelengths, np.ones((wavelengths.size, 1))
    )[0]


def _sinc2_integral(a: float) -> float:
    """Integral of w sinc^2(w u) du from -a/w to a/w: (2/pi) (Si(2 pi a) - sin^2(pi a) / (pi a))."""
    wave = math.sin(math.pi * a) ** 2 / (math.pi * a)
    return 2 / math.pi * (float(sici(2 * math.pi * a)[0]) - wave)


def test_power_on_a_plate_equals_the_sine_integrals() -> None:
    w, h = 0.4e-3, 0.7e-3
    group = Group(RectangleElement(w, h), np.zeros(1), np.zeros(1), np.ones(1))
    aperture = PlaneAperture((group,), None, w * h)
    edges = np.linspace(-6e-3, 6e-3, 301)
    found = _cells(aperture, edges, np.array([WAVE])).sum()
    exact = w * h * _sinc2_integral(w * 6e-3 / WAVE) * _sinc2_integral(h * 6e-3 / WAVE)
    assert found == pytest.approx(exact, rel=1e-8)  # asked: 1e-6


@pytest.mark.parametrize("sides", [3, 6, 0])
def test_cells_against_quadrature(sides: int) -> None:
    corners = tuple(
        (0.3e-3 * math.cos(2 * math.pi * k / sides), 0.3e-3 * math.sin(2 * math.pi * k / sides))
        for k in range(sides)
    )
    element = PolygonElement(corners) if sides else disc(0.6e-3)
    group = Group(element, np.zeros(1), np.zeros(1), np.ones(1))
    edges = np.linspace(-5e-3, 5e-3, 101)
    wavelengths = np.array([420e-9, 550e-9, 690e-9])
    found = _cells(PlaneAperture((group,), None, element.open_area_m2), edges, wavelengths)
    t, g = np.polynomial.legendre.leggauss(8)
    middle, half = (edges[1:] + edges[:-1]) / 2, (edges[1] - edges[0]) / 2
    for j, i in ((50, 50), (60, 44), (13, 77), (99, 0)):
        p, q = np.meshgrid(middle[i] + half * t, middle[j] + half * t)
        exact = sum(
            np.sum(np.outer(g, g) * np.abs(element.amplitude(p / w, q / w)) ** 2) * (half / w) ** 2
            for w in wavelengths
        )
        # 1e-6 of the pixel, or of what the middle one would have at the rim's brightness
        assert found[j, i] == pytest.approx(exact, rel=1e-6, abs=1e-12 * found.max())


def test_energy_of_a_random_picture_is_conserved() -> None:
    grey = np.random.default_rng(1).random((64, 48)).astype(np.float32)
    cell = 20e-6
    lattice = Lattice(RectangleElement(cell, cell), cell, grey)
    area = float(np.sum(grey.astype(np.float64) ** 2)) * cell**2
    edges = np.linspace(-0.5, 0.5, 257) * WAVE / cell * 40  # forty periods of the lattice
    found = _cells(PlaneAperture((), lattice, area), edges, np.array([WAVE])).sum()
    # forty periods of the picture's spectrum under the cell's envelope, by the trapezoidal rule,
    # which converges at once for periodic functions
    n = 512
    spectrum = np.abs(np.fft.fft2(grey.astype(np.float64), (n, n))) ** 2
    f = np.arange(n) / n
    envelope = sum(np.sinc(f + k) ** 2 for k in range(-20, 20))
    exact = float(envelope @ spectrum @ envelope) * (cell / n) ** 2
    assert exact < area
    assert found == pytest.approx(exact, rel=1e-6)  # the rim lies in a zero of the envelope


def test_a_picture_of_a_square_is_that_square() -> None:
    grey = np.zeros((40, 40), dtype=np.float32)
    grey[8:32, 12:28] = 1.0
    cell = 25e-6
    lattice = Lattice(RectangleElement(cell, cell), cell, grey)
    group = Group(RectangleElement(16 * cell, 24 * cell), np.zeros(1), np.zeros(1), np.ones(1))
    area = 16 * 24 * cell**2
    edges, wavelengths = np.linspace(-4e-3, 4e-3, 81), np.linspace(400e-9, 700e-9, 7)
    picture = _cells(PlaneAperture((), lattice, area), edges, wavelengths)
    element = _cells(PlaneAperture((group,), None, area), edges, wavelengths)
    # both tables are read as quintics, the picture's at 8 samples or more to 1 / width
    assert np.abs(picture - element).max() < 1e-6 * element.max()


def test_hole_and_obstacle_look_alike_beside_the_beam() -> None:
    hole = expose(scene('kind = "disc"\ndiameter = "0.2 mm"', bench='beam = "6 mm"'))
    stop = expose(
        scene('kind = "disc"\ndiameter = "0.2 mm"\nobstacle = true',
              bench='beam = { diameter = "11 mm", profile = "gaussian" }')
    )  # fmt: skip
    away = np.hypot(hole.x_m[None, :], hole.y_m[:, None]) > 1.5e-3
    scale = stop.irradiance[away].sum() / hole.irradiance[away].sum()
    # Babinet: the Gaussian beam's own light ends within 0.1 mm, and fades by 3e-4 over the disc
    apart = np.abs(stop.irradiance / scale - hole.irradiance)[away].max()
    assert apart < 1e-4 * hole.irradiance.max()


def test_plate_of_a_disc_has_the_beams_power() -> None:
    plate = expose(scene('kind = "disc"\ndiameter = "0.5 mm"', size=40, pixel=100))
    beam = 1e-3 / (math.pi / 4 * 1e-3**2)  # 1 mW over the laser's default diameter of 1 mm
    area = math.pi / 4 * 0.5e-3**2
    # encircled energy: 1 - 4 / (pi^2 x) outside a circle, x = pi D sin / lambda (Born & Wolf 8.5)
    corner = 20e-3 / WAVE * math.pi * 0.5e-3
    assert 1 - 0.64 / corner < plate.power_W / (beam * area) < 1 - 0.3 / corner


def test_wide_plates_lose_nothing_where_cells_are_put_into_pixels() -> None:
    narrow = 'kind = "rectangle"\nwidth = "8 um"\nheight = "8 um"'
    plate = expose(scene(narrow, size=600, pixel=2000))  # to 17 degrees: cells are not pixels
    a = 8e-6 / WAVE
    beam = 1e-3 / (math.pi / 4 * 1e-3**2)
    p, w = np.polynomial.legendre.leggauss(400)
    x, y = np.meshgrid(0.3 * p, 0.3 * p)
    r = np.sqrt(1 + x * x + y * y)
    light = (8e-6**2 / WAVE * np.sinc(a * x / r) * np.sinc(a * y / r)) ** 2 / r**4
    exact = beam * float(np.sum(np.outer(w, w) * light)) * 0.09
    assert plate.power_W == pytest.approx(exact, rel=2e-5)  # rows are cut at column middles


STOPPED = (
    ('kind = "disc"\ndiameter = "2 mm"', 'kind = "disc"\ndiameter = "1 mm"'),
    (
        'kind = "annulus"\nouter = "2 mm"\ninner = "0.4 mm"',
        'kind = "annulus"\nouter = "1 mm"\ninner = "0.4 mm"',
    ),
    (
        'kind = "rectangle"\nwidth = "3 mm"\nheight = "3 mm"\nplaces = [{ x = "0.1 mm" }]',
        'kind = "disc"\ndiameter = "1 mm"',
    ),
)


@pytest.mark.parametrize(("larger", "alone"), STOPPED)
def test_a_stop_smaller_than_the_hole_is_what_remains(larger: str, alone: str) -> None:
    stopped = expose(scene(larger, bench='beam = "1 mm"'))
    exact = expose(scene(alone, bench='beam = "1 mm"'))
    assert np.abs(stopped.irradiance - exact.irradiance).max() < 1e-9 * exact.irradiance.max()


def test_a_hole_on_the_edge_of_a_stop_is_cut() -> None:
    asked = 'kind = "rectangle"\nwidth = "1 mm"\nheight = "4 mm"\nplaces = [{ x = "0.5 mm" }]'
    cut = build_plane(scene(asked, bench='beam = "1.6 mm"'))
    # the right half of the beam's disc; its polygon of 512 corners has the disc's area
    assert cut.open_area_m2 == pytest.approx(math.pi / 8 * 1.6e-3**2, rel=1e-6)


@pytest.mark.slow
def test_source_blurs_and_keeps_the_power() -> None:
    hole = 'kind = "disc"\ndiameter = "0.5 mm"'
    point = expose(scene(hole, size=16, pixel=40))
    slit = expose(scene(hole, bench='collimator = "1 m"', size=16, pixel=40,
                        source='slit = { width = "0.6 mm", height = "0.3 mm" }'))  # fmt: skip
    round_ = expose(scene(hole, source='disc = "2 arcmin"', size=16, pixel=40))
    for wide in (slit, round_):
        assert wide.power_W == pytest.approx(point.power_W, rel=2e-3)  # some is blurred off the rim
        assert wide.irradiance.max() < point.irradiance.max()
    middle = point.irradiance.shape[0] // 2
    # the slit's box of 15 x 7.5 pixels over the point's plate: exact for whole pixels' means
    image = point.irradiance[middle - 60 : middle + 60, middle - 60 : middle + 60]
    w = np.ones(16)
    w[[0, -1]] = 0.5
    expected = np.apply_along_axis(lambda r: np.convolve(r, w / 15, "same"), 1, image)
    v = np.ones(9)
    v[[0, -1]] = 0.25
    expected = np.apply_along_axis(lambda r: np.convolve(r, v / v.sum(), "same"), 0, expected)
    found = slit.irradiance[middle - 60 : middle + 60, middle - 60 : middle + 60]
    assert np.abs(found - np.roll(expected, 0, 1))[20:-20, 20:-20].max() < 0.05 * found.max()


@pytest.mark.slow
def test_mesh_orders_stand_on_the_turned_lattice() -> None:
    plate = expose(
        scene('kind = "mesh"\nhole = { kind = "disc", diameter = "40 um" }\ncount_x = 25\n'
              'count_y = 25\npitch_x = "100 um"\nturn = "20 deg"', size=24, pixel=20)
    )  # fmt: skip
    light = plate.irradiance.copy()
    for m, n in ((1, 0), (0, 1), (-1, 1)):
        c, s = math.cos(math.radians(20)), math.sin(math.radians(20))
        p, q = WAVE / 100e-6 * (c * m - s * n), WAVE / 100e-6 * (s * m + c * n)
        z = math.sqrt(1 - p * p - q * q)
        i, j = np.abs(plate.x_m - p / z).argmin(), np.abs(plate.y_m - q / z).argmin()
        box = light[j - 20 : j + 21, i - 20 : i + 21]
        top = np.unravel_index(box.argmax(), box.shape)
        # half a pixel, and the slope of the holes' envelope
        assert max(abs(top[0] - 20), abs(top[1] - 20)) <= 1


DOTS = 'kind = "dots"\ncount = 3000\ndiameter = "30 um"\nmin_distance = "45 um"\n'


def test_dots_keep_their_distance_and_their_seed() -> None:
    asked = scene(DOTS + 'seed = 7\nstop = { diameter = "5 mm" }')
    group = build_plane(asked).groups[0]
    again = build_plane(asked).groups[0]
    assert np.array_equal(group.x_m, again.x_m)
    other = build_plane(scene(DOTS + 'seed = 8\nstop = { diameter = "5 mm" }')).groups[0]
    assert not np.array_equal(group.x_m, other.x_m)
    from scipy.spatial import cKDTree

    nearest = cKDTree(np.stack([group.x_m, group.y_m], 1)).query(
        np.stack([group.x_m, group.y_m], 1), k=2
    )[0][:, 1]
    assert nearest.min() >= 45e-6
    assert np.hypot(group.x_m, group.y_m).max() <= 2.5e-3 - 15e-6


def test_too_many_dots_are_refused() -> None:
    full = 'kind = "dots"\ncount = 2\ndiameter = "0.4 mm"\nmin_distance = "0.2 mm"\n'
    with pytest.raises(LimitError, match="found room for only 1 of 2 dots"):
        build_plane(scene(full + 'stop = { width = "0.5 mm", height = "0.5 mm" }'))


def test_dots_of_many_sizes_against_a_direct_sum() -> None:
    asked = scene('kind = "dots"\ncount = 500\ndiameter = "30 um"\nspread = 0.05\n'
                  'stop = { diameter = "3 mm" }')  # fmt: skip
    aperture = build_plane(asked)
    from wavesim.aperture.plane.positions import dot_diameters

    sizes, group = dot_diameters(asked.aperture), aperture.groups[0]  # type: ignore[arg-type]
    u, v = np.random.default_rng(2).normal(size=(2, 50)) * 3e4
    exact = sum(
        disc(float(d)).amplitude(u, v) * np.exp(-2j * np.pi * (u * x + v * y))
        for d, x, y in zip(sizes, group.x_m, group.y_m, strict=True)
    )
    found = plane_amplitude(aperture, u, v)
    assert np.abs(found - exact).max() < 1e-6 * np.abs(exact).max()  # seven Chebyshev diameters
    assert aperture.open_area_m2 == pytest.approx(np.sum(np.pi / 4 * sizes**2), rel=1e-12)


@pytest.mark.slow
def test_corona_of_many_discs_has_the_rings_of_one() -> None:
    """N random discs give N times one disc's light and its rings, with speckle."""
    plate = expose(
        scene('kind = "dots"\ncount = 4000\ndiameter = "40 um"\nstop = { diameter = "6 mm" }',
              source='disc = "4 arcmin"', bench='beam = "6 mm"', size=60, pixel=200)
    )  # fmt: skip
    r = np.hypot(plate.x_m[None, :], plate.y_m[:, None])
    ring = np.arange(3e-3, 29e-3, 4e-4)
    mean = [plate.irradiance[(r > a) & (r <= a + 4e-4)].mean() for a in ring]
    single = disc(40e-6).amplitude((ring + 2e-4) / WAVE, 0.0) ** 2  # type: ignore[arg-type]
    power = 1e-3 / (math.pi / 4 * 6e-3**2) * 4000 * single / WAVE**2
    dark = ring[np.argmin(mean[:50])] + 2e-4
    assert dark == pytest.approx(1.21967 * WAVE / 40e-6, abs=6e-4)  # a ring and a half of 0.4 mm
    # 300 speckles and more to a ring, smoothed by the source: three standard errors
    assert np.abs(np.array(mean)[5:25] / power[5:25] - 1).max() < 0.25


def _picture_scene(folder: Path) -> Scene:
    """A scene file that names mask.png beside it."""
    mask = 'kind = "picture"\nfile = "mask.png"\ncell = "20 um"'
    (folder / "scene.toml").write_text(scene_text(mask, size=4, pixel=20))
    return load(folder / "scene.toml")


def test_pictures_are_refused_with_a_reason(tmp_path: Path) -> None:
    (tmp_path / "mask.png").write_bytes(b"no picture")
    asked = _picture_scene(tmp_path)
    with pytest.raises(TableError, match="cannot be read"):
        build_plane(asked)
    Image.fromarray(np.zeros((8, 8), dtype=np.uint8)).save(tmp_path / "mask.png")
    with pytest.raises(TableError, match="lets no light through"):
        build_plane(asked)
    (tmp_path / "mask.png").unlink()
    with pytest.raises(TableError, match="there is no such file"):
        build_plane(asked)


def test_grey_is_transmittance_and_the_first_row_is_the_top(tmp_path: Path) -> None:
    grey = np.zeros((4, 4), dtype=np.uint8)
    grey[0, 1] = 255
    grey[3, 3] = 64
    Image.fromarray(grey).save(tmp_path / "mask.png")
    aperture = build_plane(_picture_scene(tmp_path))
    assert aperture.lattice is not None
    assert aperture.lattice.amplitude[3, 1] == 1.0  # y rises
    assert aperture.lattice.amplitude[0, 3] == pytest.approx(math.sqrt(64 / 255), rel=1e-6)
    assert aperture.open_area_m2 == pytest.approx((1 + 64 / 255) * 400e-12, rel=1e-6)


GRATING = ('kind = "grating"\ndensity = "50 / mm"\ncount = 100\nheight = "3 mm"\n'
           'groove = {{ profile = "slit" }}\n[[aperture.defects]]\n{defect}')  # fmt: skip


def test_strips_of_straight_rulings_agree_with_rows_times_columns() -> None:
    plain = GRATING.split("[[")[0].replace("{{", "{").replace("}}", "}")
    straight = expose(scene(plain, size=4, pixel=20))
    strips = expose(scene(GRATING.format(defect='kind = "bow"\nsag = "0.01 nm"'), size=4, pixel=20))
    assert strips.report.elements >= 100
    # the coarser table in two dimensions: a thousandth of the brightest pixel
    assert np.abs(strips.irradiance - straight.irradiance).max() < 1e-3 * straight.irradiance.max()


@pytest.mark.slow
def test_bowed_rulings_spread_an_order_to_one_side() -> None:
    """Order m of rulings bowed by s: J-like spread of 2 pi m s / d, one-sided, none in order 0."""
    bowed = expose(scene(GRATING.format(defect='kind = "bow"\nsag = "20 um"'), size=60, pixel=50))
    profile = bowed.irradiance.sum(axis=1)
    assert profile[profile.size // 2] > 0
    position = {m: math.tan(math.asin(m * WAVE * 50e3)) for m in (0, 1)}
    column = {m: np.abs(bowed.x_m - x).argmin() for m, x in position.items()}
    height = {m: (bowed.irradiance[:, c - 3 : c + 4].sum(axis=1)) for m, c in column.items()}
    spread = {m: h.max() / h.sum() for m, h in height.items()}
    assert spread[1] < 0.6 * spread[0]


def test_fanned_rulings_against_the_closed_form() -> None:
    """A ruling along x = x_j + s_j y sends w sinc(w u) exp(-2 pi i u x_j) h sinc(h (v + u s_j))."""
    asked = scene(GRATING.format(defect='kind = "fan"\nangle = "1 deg"'), size=60, pixel=50)
    strips, groove = build_strips(asked, lambda x, y: 0.0 * x * y)
    assert groove is None
    pitch, width, height = 20e-6, 10e-6, 3e-3
    position = (np.arange(100) - 49.5) * pitch
    span = 99 * pitch + width
    u = np.repeat([50e3, 50.2e3, -50e3, 0.3e3], 9)
    v = np.tile(np.linspace(-800, 800, 9), 4)
    slope = math.radians(1.0) * position / span
    along = height * np.sinc(height * (v[:, None] + u[:, None] * slope))
    exact = (
        width
        * np.sinc(width * u)
        * np.sum(along * np.exp(-2j * np.pi * u[:, None] * position), axis=1)
    )
    found = plane_amplitude(strips, u, v)
    # half the phase left along the worst strip is 0.2: 0.2^2 / 6 of its light, of the brightest
    assert np.abs(found - exact).max() < 7e-3 * np.abs(exact).max()
