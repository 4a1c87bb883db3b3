"""Observers, sensors and films in the place of the CIE 1931 observer, through whole exposures."""

from __future__ import annotations

from pathlib import Path

import colour
import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.optimize import lsq_linear

import wavesim
from tests import bench
from tests.parameters import slow_beyond
from wavesim.errors import InputError, SceneError, TableError
from wavesim.scene import Scene

Floats = NDArray[np.float64]
PLATE = 'width = "6 mm"\nheight = "0.2 mm"\npixel = "50 um"'
NM = np.arange(360.0, 831.0)
DISC = 'kind = "disc"\ndiameter = "0.3 mm"'
OBSERVERS = {
    "cie1964_10deg": "CIE 1964 10 Degree Standard Observer",
    "cie2015_2deg": "CIE 2015 2 Degree Standard Observer",
    "cie2015_10deg": "CIE 2015 10 Degree Standard Observer",
}


def small(exposure: str, **parts: str) -> Scene:
    source = parts.pop("source", 'kind = "illuminant"\nname = "D65"\nilluminance = "1 klx"')
    return bench.scene(source=source, plate=PLATE, exposure=exposure, **parts)


def table(name: str) -> Floats:
    """(471, 3) functions of an observer as colour-science carries them, zero where it has none."""
    cmfs = colour.MSDS_CMFS[name]
    columns = [np.interp(NM, cmfs.wavelengths, v, 0, 0) for v in cmfs.values.T]
    return np.stack(columns, axis=1)


def camera() -> Floats:
    """(471, 3) measured responses of a real camera, from colour-science."""
    measured = next(iter(colour.MSDS_CAMERA_SENSITIVITIES.values()))
    columns = [np.interp(NM, measured.wavelengths, v, 0, 0) for v in measured.values.T]
    return np.stack(columns, axis=1)


def recorded(plate: wavesim.Plate) -> Floats:
    assert plate.recorded is not None
    return plate.recorded


def written(path: Path, header: str, values: Floats) -> Path:
    rows = np.column_stack([NM, values])
    np.savetxt(path, rows, fmt="%.12g", delimiter=",", header=header, comments="")
    return path


def quadrature(plate: wavesim.Plate, curves: Floats) -> Floats:
    """(nx, c) 683 lm/W x sum of the middle row's spectrum [per nm] x curves, times the time [s].

    One nanometre to a wavelength: the spectra stand in triangular bands between whole nanometres.
    """
    index = np.rint(plate.profile_wavelength_m * 1e9).astype(int) - 360
    inside = (index >= 0) & (index < NM.size)
    return 683.0 * plate.exposure_s * plate.profile_spectrum[inside].T @ curves[index[inside]]


@pytest.mark.parametrize("name", OBSERVERS)
@pytest.mark.parametrize(
    "parts",
    slow_beyond(2, [{}, {"aperture": DISC}, {"bench": 'plate_distance = "300 mm"'}]),
    ids=str,
)
def test_another_observer_is_integrated_as_cie_1931(name: str, parts: dict[str, str]) -> None:
    """Far field, plane and near field: against quadrature with colour-science's table."""
    plate = wavesim.expose(small(f'observer = "{name}"', **parts))
    middle = recorded(plate)[plate.y_m.size // 2]
    expected = quadrature(plate, table(OBSERVERS[name]))
    assert middle == pytest.approx(expected, abs=2e-3 * middle.max())
    plain = wavesim.expose(small("", **parts))
    assert plate.xyz / plate.exposure_s == pytest.approx(plain.xyz / plain.exposure_s, rel=1e-12)
    assert plain.recorded is None


@pytest.mark.parametrize(
    ("illuminant", "xy"),
    # CIE 15, table of chromaticities: 10-degree observer
    [("A", (0.45117, 0.40594)), ("D65", (0.31382, 0.33100)), ("D50", (0.34773, 0.35952))],
)
def test_published_chromaticities_of_the_10_degree_observer(
    illuminant: str, xy: tuple[float, float]
) -> None:
    source = f'kind = "illuminant"\nname = "{illuminant}"\nilluminance = "1 klx"'
    plate = wavesim.expose(small('observer = "cie1964_10deg"', source=source))
    white = plate.recorded_white_xyz
    assert white is not None
    assert white[:2] / white.sum() == pytest.approx(xy, abs=1e-4)


@pytest.mark.parametrize("balance", ["source", "none"])
@pytest.mark.parametrize("name", OBSERVERS)
def test_white_stays_white_for_every_observer(name: str, balance: str) -> None:
    """The light of D65 itself is shown grey, whoever looks at it."""
    from wavesim.colorimetry.plates import white_of

    plate = wavesim.expose(small(f'observer = "{name}"\nbalance = "{balance}"'))
    white = white_of(plate) | {"white_level": 2.0}
    assert plate.recorded_white_xyz is not None
    shown = wavesim.colorimetry.picture(plate.recorded_white_xyz[None], **white)[0].astype(int)
    assert np.ptp(shown) <= 1
    assert 150 < shown[0] < 220  # half of white's light is 188 in sRGB


def test_a_sensor_that_sees_as_the_observer_does_changes_nothing(tmp_path: Path) -> None:
    """Luther's condition: any mixture of the CIE 1931 functions leads back to them."""
    mix = np.array([[0.9, 0.1, 0.0], [0.2, 0.7, 0.1], [0.0, 0.05, 1.2]])
    curves = table("CIE 1931 2 Degree Standard Observer") @ mix.T
    written(tmp_path / "eye.csv", "wavelength_nm,red,green,blue", curves)
    scene = small('sensor = { curves = "table", file = "eye.csv" }').beside(tmp_path)
    plate = wavesim.expose(scene)
    assert plate.recorded == pytest.approx(plate.xyz, abs=1e-6 * plate.xyz.max())


def test_a_measured_camera_against_quadrature(tmp_path: Path) -> None:
    """Raw exposures and a matrix found another way: bounded least squares, the white weighed in."""
    raw = camera()
    written(tmp_path / "camera.csv", "wavelength_nm,red,green,blue", raw)
    scene = small('sensor = { curves = "table", file = "camera.csv" }').beside(tmp_path)
    plate = wavesim.expose(scene)
    daylight = colour.SDS_ILLUMINANTS["D65"]
    light = np.interp(NM, daylight.wavelengths, daylight.values)
    eye = table("CIE 1931 2 Degree Standard Observer")
    white, wanted = light @ raw, light @ eye
    root = np.sqrt(light)[:, None]
    system = np.vstack([root * raw, 1e5 * white / np.linalg.norm(white)])
    targets = np.vstack([root * eye, 1e5 * wanted / np.linalg.norm(white)])
    free = [lsq_linear(system, column).x for column in targets.T]
    assert (raw @ free[1]).min() < 0  # violet would be darker than black: no negative entry then
    matrix = np.stack([free[0], lsq_linear(system, targets[:, 1], bounds=(0, np.inf)).x, free[2]])
    middle = recorded(plate)[plate.y_m.size // 2]
    assert middle == pytest.approx(quadrature(plate, raw @ matrix.T), abs=3e-3 * middle.max())
    assert plate.recorded_white_xyz == pytest.approx([0.95047, 1, 1.08883], abs=2e-4)


@pytest.mark.parametrize(
    ("nm", "name"), [(450, "blue"), (530, "green"), (580, "yellow"), (600, "orange"), (650, "red")]
)
def test_the_default_sensor_shows_spectral_lights_in_their_colours(nm: int, name: str) -> None:
    """The spectrum's traditional bands, within a neighbour: no sensor is the observer's."""
    laser = f'kind = "laser"\nwavelength = "{nm} nm"\npower = "1 mW"'
    found = wavesim.point(wavesim.expose(small("sensor = {}", source=laser)), "0 mm")
    near = {"blue": "violet", "yellow": "orange", "orange": "red"}.get(name, name)
    assert any(word in found.colour.name for word in (name, near))


def test_film_counts_daylight_as_the_eye_and_red_not_at_all() -> None:
    """ISO 6: speeds are for daylight; orthochromatic film bears a red lamp: trade, no source."""
    daylight = 'kind = "illuminant"\nname = "D55"\nilluminance = "1 klx"'
    whole = bench.scene(source=daylight, plate='width = "60 mm"\nheight = "20 mm"\npixel = "2 mm"',
                        exposure='film = { sensitivity = "orthochromatic" }')  # fmt: skip
    plate = wavesim.expose(whole)
    # nearly all the light falls on this plate: its sums are the source's
    assert recorded(plate)[..., 1].sum() == pytest.approx(plate.xyz[..., 1].sum(), rel=0.02)
    assert np.ptp(plate.picture().astype(int), axis=2).max() <= 1
    red = 'kind = "laser"\nwavelength = "650 nm"\npower = "1 mW"'
    with pytest.raises(InputError, match="no visible light"):
        wavesim.expose(small('film = { sensitivity = "orthochromatic" }', source=red))
    panchromatic = wavesim.expose(small("film = {}", source=red))
    assert 0.3 < recorded(panchromatic)[..., 1].sum() / panchromatic.xyz[..., 1].sum() < 30


def test_a_film_table_in_numbers_or_logarithms(tmp_path: Path) -> None:
    """Sensitivity V(lambda): the film counts lux; lg of it in the second column is the same."""
    v = table("CIE 1931 2 Degree Standard Observer")[:, 1:2]
    written(tmp_path / "v.csv", "wavelength_nm,sensitivity", v)
    written(tmp_path / "lg.csv", "wavelength_nm,log_sensitivity", np.log10(v + 1e-11))
    for name in ("v.csv", "lg.csv"):
        text = f'film = {{ sensitivity = "table", file = "{name}" }}'
        plate = wavesim.expose(small(text).beside(tmp_path))
        assert recorded(plate)[..., 1] == pytest.approx(plate.xyz[..., 1], rel=1e-6)


def test_a_plate_file_keeps_what_was_recorded(tmp_path: Path) -> None:
    for text in ('observer = "cie2015_10deg"', "sensor = {}", 'film = { sensitivity = "blue" }'):
        plate = wavesim.expose(small(text))
        plate.save(tmp_path / "plate.h5")
        again = wavesim.open_plate(tmp_path / "plate.h5")
        assert np.array_equal(recorded(again), recorded(plate))
        white, again_white = plate.recorded_white_xyz, again.recorded_white_xyz
        assert white is not None
        assert again_white is not None
        assert np.array_equal(again_white, white)
        assert np.array_equal(again.picture(), plate.picture())
        assert np.array_equal(again.to_xarray().recorded, recorded(plate))


def test_the_live_bench_shows_the_plate_of_the_command() -> None:
    """What is painted of a whole plate, to the bit; and a step of time repeats no pixels."""
    from wavesim.colorimetry import Rendering
    from wavesim.live.views import WHOLE, view_of

    path = wavesim.LightPath()
    scene = small("sensor = {}")
    plate = path.expose(scene)
    painted, _ = view_of(plate, WHOLE).painted(Rendering(dither=False))
    from wavesim.colorimetry.plates import developed

    assert np.array_equal(painted[0, :, :3], developed(plate, Rendering(dither=False))[0])
    path.expose(scene.but({"exposure.time": "1 s"}))
    assert {"recorder", "pixels"} <= set(path.reused)
    path.expose(small('observer = "cie1964_10deg"'))
    assert "columns" in path.reused
    assert "pixels" not in path.reused


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ('observer = "cie1932"', "observer"),
        ("sensor = {}\nfilm = {}", "one of observer, sensor and film"),
        ('observer = "cie1964_10deg"\nfilm = {}', "one of observer, sensor and film"),
        ('sensor = { curves = "table" }', "sensor.file: is missing"),
        ('film = { file = "a.csv" }', "belongs to a table"),
    ],
)
def test_wrong_recorders(text: str, says: str) -> None:
    with pytest.raises(SceneError, match=says):
        small(text)


@pytest.mark.parametrize(
    ("content", "says"),
    [
        ("wavelength_nm,red,green\n400,1,1\n", "is not a table of sensitivities"),
        ("wavelength_nm,red,green,blue\n400,1,1\n500,1,1\n", "line 2: is not a row of 4 numbers"),
        ("wavelength_nm,red,green,blue\n400,1,-1,0\n500,1,1,1\n", "is out of range"),
        ("wavelength_nm,red,green,blue\n500,1,1,0\n400,1,1,1\n", "does not ascend"),
        ("wavelength_nm,red,green,blue\n400,1,1,1\n700,1,1,1\n", "depend on one another"),
    ],
)
def test_wrong_tables(content: str, says: str, tmp_path: Path) -> None:
    (tmp_path / "camera.csv").write_text(content)
    scene = small('sensor = { curves = "table", file = "camera.csv" }').beside(tmp_path)
    with pytest.raises(TableError, match=says):
        wavesim.expose(scene)
