"""The tool's own picture of a mercury plate, scanned badly, and profiles from CSV files."""

from __future__ import annotations

import json
import math

import numpy as np
import pytest
from click.testing import CliRunner
from PIL import Image

from tests import bench
from tests.narrowing import known
from tests.parameters import slow_but
from wavesim.cli.measure import command
from wavesim.errors import InputError, PlateFileError, TableError
from wavesim.lightpath import expose
from wavesim.measuring import (
    CircleSetting,
    Instrument,
    Scan,
    Task,
    dms,
    from_light,
    measure,
    read_picture,
    read_profile,
    read_settings,
    solve_plate,
)
from wavesim.scene import parse

PIXEL_M = 20e-6
MERCURY = bench.text(
    "Mercury lamp, Harbour School bench",
    source='kind = "lamp"\nelement = "Hg"\nslit = { width = "30 um", height = "3 mm" }',
    bench='collimator = "500 mm"\ncamera = "500 mm"\nviewing = "17 deg"',
    aperture='kind = "grating"\ndensity = "600 / mm"\nruled_width = "12 mm"\nheight = "10 mm"',
    plate='width = "80 mm"\nheight = "4 mm"\npixel = "20 um"',
    exposure="over = 3",
)
BENCH = Instrument(1e-3 / 600, 0.5, 0.0, math.radians(17))
# mercury in air [nm]: NIST Handbook of Basic Atomic Spectroscopic Data, from memory
HANDBOOK_NM = (404.6563, 407.7837, 434.7494, 435.8328, 546.0735, 567.581, 576.9598, 579.0663)


@pytest.fixture(scope="module")
def picture():
    return Image.fromarray(expose(parse(MERCURY)).picture())


def scanned(picture: Image.Image, path, *, degrees: float, noise: float = 4.0) -> None:
    """Turned, with `noise` (rms, of 255) added to every channel, stored as 8 bits."""
    turned = np.asarray(picture.rotate(degrees, resample=Image.Resampling.BICUBIC), dtype=float)
    grain = np.random.default_rng(5).normal(0, noise, turned.shape)
    Image.fromarray(np.clip(np.round(turned + grain), 0, 255).astype(np.uint8)).save(path)


@pytest.mark.parametrize("degrees", slow_but([0.6], [0.0, 0.6, -1.1]))
def test_a_scanned_photograph(picture, tmp_path, degrees):
    """Eight lines: within 0.005 nm, a twelfth of a pixel (0.064 nm); within 0.01 nm where the
    film is clipped and one sample is left on each flank. Measured: 0.002 and 0.006 nm."""
    path = tmp_path / "scan.png"
    scanned(picture, path, degrees=degrees)
    table = measure(path, Task(element="Hg"), instrument=BENCH, scan=Scan(PIXEL_M))
    # PIL turns counter-clockwise; 100 rows see 0.01 degree as 0.02 pixel, noise allows 0.06
    assert math.degrees(table.turned_rad) == pytest.approx(-degrees, abs=0.06)
    for nm in HANDBOOK_NM:
        row = min(table.lines, key=lambda r: abs(known(r.wavelength_m) * 1e9 - nm))
        assert abs(known(row.wavelength_m) * 1e9 - nm) < (0.01 if row.saturated else 0.005), nm


@pytest.mark.slow
def test_stated_uncertainty_covers_the_error(picture, tmp_path):
    path = tmp_path / "scan.png"
    scanned(picture, path, degrees=0.6)
    table = measure(path, Task(element="Hg"), instrument=BENCH, scan=Scan(PIXEL_M))
    for nm in HANDBOOK_NM:
        row = min(table.lines, key=lambda r: abs(known(r.wavelength_m) * 1e9 - nm))
        # three standard uncertainties, and 0.001 nm by which lists of mercury differ
        assert abs(known(row.wavelength_m) * 1e9 - nm) < 3e9 * known(row.uncertainty_m) + 0.001


@pytest.mark.slow
def test_a_scan_of_unknown_scale(picture, tmp_path):
    """Pixel taken 10 % too wide and the axis unknown: mercury's own pattern gives both."""
    path = tmp_path / "scan.png"
    scanned(picture, path, degrees=0.0)
    scan = Scan(PIXEL_M * 1.1, left_m=0.0)
    solution = solve_plate(read_picture(path, scan), BENCH, "Hg")
    assert solution.instrument.focal_m == pytest.approx(0.55, rel=2e-4)
    table = measure(path, Task(element="Hg"), instrument=solution.instrument, scan=scan)
    found = np.array([r.wavelength_m for r in table.lines]) * 1e9
    for nm in HANDBOOK_NM:
        assert np.abs(found - nm).min() < 0.02, nm  # a third of a pixel: few lines hold the scale


@pytest.mark.parametrize("turn", [-0.03, -0.004, 0.0, 0.011, 0.05])
def test_rotation_is_found(turn):
    """Lines drawn turned, without any picture format between; within 0.02 pixel over 200 rows."""
    y, x = np.mgrid[-100:100, -600:600] + 0.5
    along = x * math.cos(turn) + y * math.sin(turn)
    light = sum(np.exp(-(((along - c) / 2.5) ** 2)) for c in (-450, -210, -190, 33.3, 370.0))
    found = from_light(light, np.zeros(light.shape, bool), Scan(1.0, rows=(0, 1)))
    assert found.turned_rad == pytest.approx(turn, abs=1e-4)


def test_sixteen_bits_and_linear_light(tmp_path):
    """A grey 16-bit TIFF, linear: the same places as the profile it was made of."""
    import tifffile

    x = np.arange(500.0)
    row = sum(np.exp(-(((x - c) / 3) ** 2)) for c in (100.25, 300.75))
    path = tmp_path / "grey.tif"
    tifffile.imwrite(path, np.tile(np.asarray(row * 60000).astype(np.uint16), (50, 1)))
    found = read_picture(path, Scan(1.0, left_m=-0.5, encoding="linear"))
    from wavesim.measuring import find_lines

    np.testing.assert_allclose([f.x_m for f in find_lines(found)], [100.25, 300.75], atol=0.02)


@pytest.mark.slow
def test_command_on_a_picture(picture, tmp_path):
    path = tmp_path / "scan.png"
    scanned(picture, path, degrees=0.6)
    options = ["--pixel", "20 um", "--density", "600 / mm", "--camera", "500 mm",
               "--viewing", "17 deg", "--incidence", "0 deg", "--element", "Hg"]  # fmt: skip
    table = tmp_path / "lines.csv"
    result = CliRunner().invoke(command, [str(path), *options, "--csv", str(table)])
    assert result.exit_code == 0, result.output
    assert "Hg 546.07" in result.output
    assert "rotation" in result.output
    assert table.read_text().startswith("x_m,height")
    data = json.loads(CliRunner().invoke(command, [str(path), *options, "--json"]).output)
    assert any(abs(r["wavelength_m"] - 546.0735e-9) < 5e-12 for r in data["lines"])


def test_profile_of_a_csv_file(tmp_path):
    x = np.linspace(-40, 40, 4001)
    positions = BENCH.position_m(np.array([435.8328e-9, 546.0735e-9]), 1) * 1e3
    light = sum(np.exp(-(((x - p) / 0.05) ** 2)) for p in positions)
    path = tmp_path / "profile.csv"
    rows = "\n".join(f"{a:.6f};{b:.8f}" for a, b in zip(x, light, strict=True))
    path.write_text("# densitometer\nx_mm;value\n" + rows)
    table = measure(path, Task(element="Hg"), instrument=BENCH)
    found = [known(r.wavelength_m) * 1e9 for r in table.lines]
    np.testing.assert_allclose(found, [435.8328, 546.0735], atol=0.002)  # 0.03 of a step
    assert [r.name[:6] for r in table.lines] == ["Hg 435", "Hg 546"]


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("x_mm,value\n", "no rows"),
        ("place,value\n1,2\n", "no known scale"),
        ("pixel,value\n1,2\n", "no known scale"),
        ("x_mm,value\n1,two\n", "line 2"),
        ("x_mm,value\n0,1\n\n1,nan\n", r"line 4: is not finite \(found '1,nan'\)"),
        ("# note\nx_mm;value\n0;1\n1\n", r"line 4: is not a row of two numbers \(found '1'\)"),
        ("# note\nplace,value\n1,2\n", r"line 2: the first column has no known scale"),
    ],
)
def test_bad_profiles(tmp_path, text, message):
    path = tmp_path / "bad.csv"
    path.write_text(text)
    with pytest.raises(TableError, match=message):
        read_profile(path)


def test_bad_pictures(tmp_path):
    path = tmp_path / "not.png"
    path.write_bytes(b"this is not a picture")
    with pytest.raises(PlateFileError, match="cannot be read as a picture"):
        read_picture(path, Scan(1e-5))
    with pytest.raises(PlateFileError, match="no such file"):
        read_picture(tmp_path / "absent.png", Scan(1e-5))
    with pytest.raises(InputError, match="carries no scale"):
        measure(path, instrument=BENCH)
    with pytest.raises(InputError, match="not a band of rows"):
        Scan(1e-5, rows=(0.9, 0.2))
    Image.new("RGB", (20, 20)).save(path)
    with pytest.raises(InputError, match="not a known encoding"):
        read_picture(path, Scan(1e-5, encoding="curly"))


def test_no_instrument(tmp_path):
    path = tmp_path / "p.csv"
    path.write_text("x_mm,value\n" + "\n".join(f"{k},{k % 5}" for k in range(20)))
    with pytest.raises(InputError, match="does not describe the grating"):
        measure(path)
    result = CliRunner().invoke(command, [str(path)])
    assert isinstance(result.exception, InputError)
    assert "--density" in str(result.exception)


def test_quoted_cells_may_hold_what_separates(tmp_path):
    path = tmp_path / "settings.csv"
    path.write_text('"order","degrees","name"\n0,100,\n1,"119.5","green, bright"\n')
    assert read_settings(path)[1] == CircleSetting(1, dms(119.5), None, "green, bright")
