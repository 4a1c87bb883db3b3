"""A hostile world in small: mutants of all that is read, and the same light on any day.

The counts of a full patrol come from `python -m tests.hostile`. What a patrol found is kept
here by name, as it was found or as small as it shows the same.
"""

from __future__ import annotations

import json
import math
import os
import random
import re
import signal
import struct
import subprocess
import sys
import time
import warnings
import zlib
from contextlib import suppress
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

import wavesim
from tests.bench import SMALL_SCENE, text
from tests.mutated_doors import drawn_pair
from tests.mutated_files import PROFILE
from tests.mutated_scenes import commanded
from tests.mutations import ROOT, patrol
from tests.test_cli_hostile import heed_interrupts
from wavesim.errors import ComputationError, InputError
from wavesim.lightpath import expose
from wavesim.plate.duration import at_most
from wavesim.scene import load, parse

# ---- mutants: a result or a sentence


@pytest.mark.parametrize(
    ("what", "mutants"),
    [
        ("scenes", 16),
        ("drawings", 8),
        ("plates", 20),
        ("tables", 25),
        ("displacements", 8),
        ("measurements", 20),
        ("pictures", 15),
        ("studies", 12),
        ("study_results", 12),
        ("photographs", 7),
        ("materials", 7),
        ("curves", 20),
        ("messages", 15),
        ("sockets", 20),
        ("arguments", 40),
    ],
)
@pytest.mark.slow
def test_a_mutant_ends_in_a_result_or_in_a_sentence(what: str, mutants: int) -> None:
    count = patrol(what, range(mutants))
    assert not count.faults, count.text()
    assert count.mutants == mutants
    assert count.kinds["result"] > 0  # some mutants are still good: the bounds are not all there is
    assert sum(count.kinds.values()) - count.kinds["result"] > mutants // 5


def test_a_fault_is_seen() -> None:
    """The judge itself: a traceback, a warning, a message of two lines."""
    from tests.mutations import judge

    def warns() -> str:
        warnings.warn("overflow", RuntimeWarning, stacklevel=1)
        return "done"

    def two_lines() -> str:
        raise ComputationError("wrong\nand worse")  # an InputError is one line by itself

    assert judge(0, lambda: str(1 // 0)).text.startswith("ZeroDivisionError at test_hostile")
    assert judge(0, warns).text.startswith("warning: overflow")
    assert judge(0, two_lines).kind == "FAULT"
    assert judge(0, lambda: "done").kind == "result"


# ---- the same bits: any number of threads, any run

GRATING = SMALL_SCENE.replace(
    'kind = "slits"\ncount = 3\nwidth = "40 um"\npitch = "90 um"',
    'kind = "grating"\ncount = 1500\ndensity = "600 / mm"\n'
    'defects = [{ kind = "periodic", amplitude = "8 nm", period = 96 }, '
    '{ kind = "random", rms = "5 nm", seed = 3 }]',
).replace('camera = "1 m"', 'camera = "1 m"\nviewing = "19.3 deg"')
HOLES = SMALL_SCENE.replace(
    'kind = "slits"\ncount = 3\nwidth = "40 um"\npitch = "90 um"',
    'kind = "mesh"\ncount_x = 6\ncount_y = 5\npitch_x = "90 um"\n'
    'hole = { kind = "disc", diameter = "40 um" }',
).replace('slit = { width = "20 um", height = "4 mm" }', 'disc = "32 arcmin"')
NEAR = SMALL_SCENE.replace(
    'collimator = "600 mm"\ncamera = "1 m"', 'source_distance = "2 m"\nplate_distance = "500 mm"'
)
SCENES = {"slits": SMALL_SCENE, "grating with errors": GRATING, "holes": HOLES, "near": NEAR}

_EXPOSE = """
import os, sys
threads = int(sys.argv[1])
os.cpu_count = lambda: threads
os.sched_setaffinity(0, sorted(os.sched_getaffinity(0))[:threads])
from tests.test_hostile_world import keep_all
keep_all(sys.argv[2])
"""


def numbers() -> dict[str, np.ndarray]:
    """All light of all scenes, exposed in this process."""
    found: dict[str, np.ndarray] = {}
    for name, written in SCENES.items():
        plate = expose(parse(written))
        found[f"{name}, irradiance"], found[f"{name}, xyz"] = plate.irradiance, plate.xyz
        found[f"{name}, spectrum"], found[f"{name}, picture"] = (
            plate.profile_spectrum,
            plate.picture(),
        )
    return found


def keep_all(path: str) -> None:
    np.savez(path, **numbers())  # type: ignore[arg-type]


def exposed_on(threads: int, path: Path) -> dict[str, np.ndarray]:
    """The same from a fresh process of so many threads, whose BLAS has one."""
    home = {**os.environ, "PYTHONPATH": str(ROOT), "OPENBLAS_NUM_THREADS": "1"}
    home["OMP_NUM_THREADS"] = home["NUMBA_NUM_THREADS"] = str(threads)
    subprocess.run(
        [sys.executable, "-c", _EXPOSE, str(threads), str(path)],
        cwd=ROOT,
        env=home,
        check=True,
    )
    with np.load(path) as file:
        return dict(file)


@pytest.mark.slow
def test_the_same_bits_from_one_thread_and_from_two_and_from_run_to_run(tmp_path: Path) -> None:
    """Of our own threads and of finufft's: always. OpenBLAS rounds a large matrix product
    otherwise when it shares it between threads: then to a few roundings, and the same picture.
    """
    here, again = numbers(), numbers()
    first, second = (exposed_on(threads, tmp_path / f"{threads}.npz") for threads in (1, 2))
    assert len(first) == 4 * len(SCENES)
    for name, light in first.items():
        assert np.array_equal(here[name], again[name]), f"{name}: two runs differ"
        assert np.array_equal(light, second[name]), f"{name}: one thread and two differ"
        if light.dtype == np.uint8:
            assert np.array_equal(light, here[name]), f"{name}: the machine's own threads differ"
        else:  # a sum of k terms differs by a few roundings of 1.1e-16 of its largest
            np.testing.assert_allclose(here[name], light, rtol=0, atol=4e-15 * np.abs(light).max())


# ---- interrupted at any moment of the work

_COMMAND = """
import time
from wavesim import cli
from wavesim.lightpath import expose
from wavesim.scene import load
for _ in range(2):  # the second time warm: from here on the moments fall into the work
    begin = time.perf_counter()
    plate = expose(load("scene.toml"))
    plate.save("a.h5")
    plate.save_png("a.png")
lasts_s = time.perf_counter() - begin
work = cli._guarded
def told(args):
    print(lasts_s, flush=True)
    return work(args)
cli._guarded = told
cli.main(["expose", "scene.toml", "-o", "a.h5", "--png", "a.png"])
"""


@pytest.mark.slow
def test_interrupted_at_any_moment_it_says_so_and_leaves_nothing_half_done(tmp_path: Path) -> None:
    (tmp_path / "scene.toml").write_text(SMALL_SCENE.replace("100 um", "10 um"))
    dice = random.Random(9)
    stopped = 0
    for _ in range(5):
        running = subprocess.Popen(
            [sys.executable, "-c", _COMMAND],
            cwd=tmp_path,
            env={**os.environ, "PYTHONPATH": str(ROOT)},
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            preexec_fn=heed_interrupts,
        )
        assert running.stdout is not None
        time.sleep(dice.uniform(0.0, 0.8) * float(running.stdout.readline()))
        running.send_signal(signal.SIGINT)
        _, errors = running.communicate(timeout=60)
        if running.returncode != 0:
            assert running.returncode == 130
            assert errors.lstrip(b"\n") == b"wavesim: interrupted\n"  # a new line before it or not
            stopped += 1
        assert sorted(p.name for p in tmp_path.iterdir()) == ["a.h5", "a.png", "scene.toml"]
        wavesim.open_plate(tmp_path / "a.h5")  # every chunk carries a checksum
        with Image.open(tmp_path / "a.png") as picture:
            picture.load()
    assert stopped > 1


# ---- what patrols found


def refused(scene: str, folder: Path, message: str) -> None:
    """Exposing it is refused with `message`, in one line and without a warning."""
    (folder / "mutant.toml").write_text(scene)
    with (
        warnings.catch_warnings(action="error"),
        pytest.raises(InputError, match=message) as caught,
    ):
        expose(load(folder / "mutant.toml"))
    assert "\n" not in str(caught.value)


def not_measured(file: Path, message: str, *options: str, command: str = "measure") -> None:
    """The command refuses the file with `message`."""
    with (
        warnings.catch_warnings(action="error"),
        pytest.raises(InputError, match=message) as caught,
    ):
        commanded(command, str(file), *options)
    assert len(str(caught.value)) < 500


def with_defect(defect: str) -> str:
    return SMALL_SCENE.replace("[plate]", f"[[aperture.defects]]\n{defect}\n\n[plate]")


def test_a_slip_of_grammar_as_long_as_a_page() -> None:
    """The line that would be right is not written out where nobody would read it."""
    for slip in ("x = s" + "u" * 5000, "x: s" + "u" * 5000):
        with pytest.raises(InputError, match=r"expected .*key = ") as caught:
            parse(f"schema = 1\n{slip}\n")
        assert len(str(caught.value)) < 300


def test_a_plate_half_a_million_kilometres_aside(tmp_path: Path) -> None:
    refused(SMALL_SCENE + 'centre = "5e+11 mm"\n', tmp_path, "pixels too small to be distinguished")


def test_a_plate_that_bows_lines_beyond_itself(tmp_path: Path) -> None:
    scene = SMALL_SCENE.replace('height = "2 mm"', 'height = "9 m"').replace("100 um", "10 um")
    refused(scene + 'centre = "500 mm"\n', tmp_path, "bend lines by .* pixels")


def measured_error(path: Path, shape: tuple[int, ...], unit: str, fill: float = 0.0) -> str:
    import h5py

    with h5py.File(path, "w") as file:
        file.create_dataset("error", shape, "f8", chunks=True, fillvalue=fill)
        file["error"].attrs["units"] = unit
    return with_defect(f'kind = "table"\nfile = "{path.name}"\ndataset = "error"')


def test_a_displacement_of_terabytes(tmp_path: Path) -> None:
    scene = measured_error(tmp_path / "measured.h5", (10**13,), "nm")
    refused(scene, tmp_path, r"measured.h5: error: is too large for a table")


def test_displacements_in_two_dimensions(tmp_path: Path) -> None:
    scene = measured_error(tmp_path / "measured.h5", (10**7, 10**6), "nm")
    refused(scene, tmp_path, r"measured.h5: error: has 2 dimensions")


def test_rulings_displaced_by_kilometres(tmp_path: Path) -> None:
    scene = measured_error(tmp_path / "measured.h5", (3,), "m", fill=1e300)
    refused(
        scene,
        tmp_path,
        "aperture: has rulings as far as 1e.300 m from the axis; expected rulings within",
    )


def test_more_wavelengths_than_can_be_computed(tmp_path: Path) -> None:
    """160 m of rulings, seen in pixels that would tell as many wavelengths apart."""
    scene = SMALL_SCENE.replace(
        'kind = "slits"\ncount = 3\nwidth = "40 um"\npitch = "90 um"',
        'kind = "slits"\nslits = [{ centre = "-80 m", width = "1 um" }, '
        '{ centre = "80 m", width = "1 um" }]',
    ).replace('slit = { width = "20 um", height = "4 mm" }', "")
    scene = scene.replace('width = "20 mm"', 'width = "2 mm"').replace("100 um", "0.02 um")
    scene = scene.replace('height = "2 mm"', 'height = "0.02 um"') + 'centre = "500 mm"\n'
    refused(scene, tmp_path, "need .* wavelengths to resolve the pattern of 160 m")


def test_rulings_as_high_as_a_mountain_range(tmp_path: Path) -> None:
    scene = SMALL_SCENE.replace("count = 3", 'count = 3\nheight = "1e10 mm"')
    refused(scene, tmp_path, "aperture.height: is too large")


def test_a_tall_plate_before_a_lens_of_a_tenth_of_a_micrometre() -> None:
    """No direction rises more steeply than 90 degrees, however near the plate stands."""
    scene = SMALL_SCENE.replace('camera = "1 m"', 'camera = "0.1 um"').replace("100 um", "1 mm")
    plate = expose(parse(scene.replace("count = 3", 'count = 3\nheight = "9 mm"')))
    assert np.isfinite(plate.xyz).all()


@pytest.mark.slow
def test_a_plate_so_tall_that_rows_shrink_apart() -> None:
    """At some scales of its rows no column stands."""
    scene = SMALL_SCENE.replace('width = "20 mm"', 'width = "300 mm"').replace("100 um", "20 mm")
    plate = expose(parse(scene.replace('height = "2 mm"', 'height = "40 m"')))
    assert np.isfinite(plate.xyz).all()


@pytest.mark.slow
def test_slits_before_a_round_source_send_as_much_as_before_a_square_one() -> None:
    """Conservation of etendue: the same luminance from the same solid angle, on a plate for all."""
    disc_rad = math.radians(10 / 60)
    side_m = 0.6 * disc_rad * math.sqrt(math.pi) / 2  # as seen through a collimator of 600 mm
    band = 'kind = "band"\ncentre = "550 nm"\nwidth = "2 nm"\nluminance = "1e4 cd/m^2"\n'
    square = f'slit = {{ width = "{side_m:.9g} m", height = "{side_m:.9g} m" }}'
    plate = 'width = "300 mm"\nheight = "8 mm"\npixel = "1 mm"'
    got = [
        expose(parse(text(source=band + form, plate=plate))).power_W
        for form in ('disc = "10 arcmin"', square)
    ]
    assert got[0] == pytest.approx(got[1], rel=1e-4)


def test_a_hole_as_long_as_a_street(tmp_path: Path) -> None:
    """Ten kilometres: how many cells to a pixel was counted down one by one, for minutes."""
    hole = 'kind = "ellipse"\nwidth = "10 km"\nheight = "1 mm"'
    refused(
        text(aperture=hole),
        tmp_path,
        "aperture: has holes as far as 5e.03 m from the axis; expected ho",
    )


def test_a_camera_of_a_million_kilometres(tmp_path: Path) -> None:
    """The source's image is then so many pixels wide that counting them took all memory."""
    scene = DIRECT.replace('camera = "1 m"', 'camera = "1e9 m"')
    refused(scene, tmp_path, "plate.pixel: is so fine that the source's image is .* cells across")


def test_a_source_slit_as_tall_as_a_mountain(tmp_path: Path) -> None:
    """Behind a round beam its rows took a matrix of 20 GB; now they are judged by their time."""
    tall = SMALL_SCENE.replace('height = "4 mm"', 'height = "800 m"')
    with at_most(2.0):
        refused(
            tall.replace('camera = "1 m"', 'camera = "1 m"\nbeam = "6 mm"'),
            tmp_path,
            "source.slit.height: would take about .* for its rows",
        )


DIRECT = text(
    source='kind = "band"\ncentre = "550 nm"\nwidth = "2 nm"\n'
    'slit = { width = "0.2 mm", height = "1 mm" }',
    aperture='kind = "polygon"\nsides = 6\nradius = "3 mm"',
    plate='width = "60 mm"\nheight = "2.5 mm"\npixel = "0.5 mm"',
)


@pytest.mark.slow
def test_a_plate_of_few_rows_about_the_direct_image(monkeypatch: pytest.MonkeyPatch) -> None:
    """What is gathered once more about its peak reached beyond the plate: as on a taller one."""
    tall = expose(parse(DIRECT.replace("2.5 mm", "12.5 mm")))
    monkeypatch.setattr("wavesim.plate.plane.frame._MOST_CELLS", 60_000)
    few = expose(parse(DIRECT))
    wrong = np.abs(few.irradiance - tall.irradiance[10:15]).max() / tall.irradiance.max()
    assert wrong < few.report.pixel_error + tall.report.pixel_error


def test_a_near_field_of_more_cells_than_there_is_memory(tmp_path: Path) -> None:
    scene = NEAR.replace("count = 3", 'count = 3\nheight = "50 m"').replace('"2 mm"', '"900 mm"')
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("wavesim.memory.available_bytes", lambda: 10**8)
        refused(
            scene.replace("100 um", "1 mm"),
            tmp_path,
            "GB of memory in the near field and 0.1 GB are free",
        )


@pytest.mark.slow
def test_formulas_that_a_scene_leaves_nothing_to_vary() -> None:
    """Slits as wide as their pitch: no order is missing, and the range shrinks to nothing."""
    from wavesim.study.compare import compare

    scene = parse(SMALL_SCENE.replace('width = "40 um"', 'width = "90 um"'))
    found = compare(scene, points=2, only=("missing-orders", "n-slits"))
    assert [comparison.name for comparison in found.comparisons] == ["n-slits"]
    assert "would run from 0.01 to 0" in dict(found.left_out)["missing-orders"]


GHOSTS = "order,line [nm],ghost [nm],strength\n1,546,551.7,5e-5\n2,546,548.8,2e-4\n"


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("1,546,", "1,0,", "holds a line .nm. that is not above zero"),
        ("5e-5", "1e300", "holds a strength outside any plausible range"),
        ("1,546,", "1e300,546,", "an order that is not a plausible whole number"),
        ("551.7", "x" * 5000, "line 2: is not a number"),
        ("2,546", "2", "a row whose length differs"),
    ],
)
def test_a_table_of_ghosts_out_of_all_measure(
    old: str, new: str, message: str, tmp_path: Path
) -> None:
    (tmp_path / "ghosts.csv").write_text(GHOSTS.replace(old, new))
    not_measured(tmp_path / "ghosts.csv", message, command="diagnose")


BENCH = ("--density", "600 / mm", "--camera", "1 m")
LINES = [f"{0.02 * k:.2f},{1 / (1 + (k - 20) ** 2):.6f}" for k in range(40)]


def test_a_profile_of_light_beyond_all_measure(tmp_path: Path) -> None:
    (tmp_path / "line.csv").write_text("\n".join(["x_mm,value", *LINES[:-1], "0.78,1e300"]))
    not_measured(tmp_path / "line.csv", "holds light outside any plausible range", *BENCH)


def test_a_profile_with_a_row_of_one_cell(tmp_path: Path) -> None:
    (tmp_path / "line.csv").write_text("\n".join(["x_mm,value", *LINES, "0.8"]))
    not_measured(tmp_path / "line.csv", "line 42: is not a row of two numbers", *BENCH)


@pytest.mark.parametrize("row", ["450,0.62,1e300", "450,1e300,5.5", "450,1e-300,5.5"])
def test_a_material_out_of_all_measure(row: str, tmp_path: Path) -> None:
    """Eigenvalues of a layer whose permittivity is beyond what a number holds."""
    from tests.mutated_doors import rigorous_scene

    table = f"wavelength_nm,n,k\n350,0.4,3.9\n{row}\n550,0.96,6.69\n850,2.6,8.5\n"
    (tmp_path / "metal.csv").write_text(table)
    message = r"metal.csv: line 3: is not an index .* n of 0.001 to 1,000 and k of 0 to 1,000"
    refused(rigorous_scene('material_file = "metal.csv"'), tmp_path, message)


def test_a_coating_a_kilometre_thick(tmp_path: Path) -> None:
    """So many wavelengths of it take minutes to compute, and no coating is so thick."""
    from tests.mutated_doors import rigorous_scene

    coating = 'coating = { material = "magnesium fluoride", thickness = "1e12 nm" }'
    scene = rigorous_scene(
        f'material = "silver"\n{coating}', 'profile = "sinusoidal", depth = "180 nm"'
    )
    refused(scene, tmp_path, "coating.thickness: is out of range .* 20 um")


@pytest.mark.parametrize("how", [("--bright", "--json"), ("--dark", "--element", "sun")])
def test_a_profile_that_is_brightest_nearly_everywhere(
    how: tuple[str, ...], tmp_path: Path
) -> None:
    """No light stands out of the rest: there is nothing whose middle a slit's pattern had."""
    head, *rows = PROFILE.split()
    upside_down = [f"{x},{-1e8 * float(y) - 500}" for x, y in (row.split(",") for row in rows)]
    (tmp_path / "line.csv").write_text("\n".join([head, *upside_down]))
    with warnings.catch_warnings(action="error"), pytest.raises(InputError, match="shows no"):
        commanded("measure", str(tmp_path / "line.csv"), *BENCH, *how)


@pytest.mark.slow
def test_a_photograph_whose_middle_is_grain(tmp_path: Path) -> None:
    """The pitch changes nothing in what is neither black nor burnt out: it has no uncertainty."""
    pair = np.array(Image.fromarray(drawn_pair()).convert("1"))
    pair[5:8] = np.random.default_rng(4).random((3, 300)) < 0.5
    Image.fromarray(pair).save(tmp_path / "pair.tif")
    scene = str(ROOT / "scenes" / "photographs" / "pair.toml")
    options = ("--free", "aperture.pitch", "--pixel", "160 um", "--tone", "film")
    with warnings.catch_warnings(action="error"):
        commanded("fit", scene, str(tmp_path / "pair.tif"), *options)


def test_a_scan_whose_tags_claim_more_than_the_file_holds(tmp_path: Path) -> None:
    """Pillow warns of such a tag where it only looks for the orientation."""
    grain = np.random.default_rng(3).integers(0, 256, (24, 40), dtype=np.uint8)
    Image.fromarray(grain).save(tmp_path / "scan.tif")
    content = bytearray((tmp_path / "scan.tif").read_bytes())
    resolution = content.find(struct.pack("<HH", 284, 3))  # PlanarConfiguration
    content[resolution + 4 : resolution + 8] = struct.pack("<I", 3_000_000)  # so many of them
    (tmp_path / "scan.tif").write_bytes(content)
    with warnings.catch_warnings(record=True) as given, suppress(InputError):
        commanded("measure", str(tmp_path / "scan.tif"), *SCAN)
    assert not given


SCAN = (*BENCH, "--pixel", "10 um")


def test_a_scan_too_narrow_once_it_is_straightened(tmp_path: Path) -> None:
    grain = np.random.default_rng(3).integers(0, 256, (200, 9), dtype=np.uint8)
    Image.fromarray(grain).save(tmp_path / "scan.png")
    not_measured(tmp_path / "scan.png", "columns|shows no bright lines|no line", *SCAN)


def test_a_scan_of_no_numbers(tmp_path: Path) -> None:
    levels = np.full((24, 24), np.nan, dtype=np.float32)
    Image.fromarray(levels).save(tmp_path / "scan.tif")
    not_measured(tmp_path / "scan.tif", "holds light outside any plausible range", *SCAN)


def bomb(side: int) -> bytes:
    """A PNG of a few bytes that claims side x side pixels."""
    head = b"IHDR" + struct.pack(">IIBBBBB", side, side, 8, 0, 0, 0, 0)
    body = b"IDAT" + zlib.compress(b"\0")
    parts = (head, body, b"IEND")
    packed = (
        struct.pack(">I", len(part) - 4) + part + struct.pack(">I", zlib.crc32(part))
        for part in parts
    )
    return b"\x89PNG\r\n\x1a\n" + b"".join(packed)


def test_a_scan_that_claims_more_pixels_than_there_is_memory(tmp_path: Path) -> None:
    (tmp_path / "scan.png").write_bytes(bomb(50_000))
    not_measured(tmp_path / "scan.png", "holds far more pixels than can be read", *SCAN)


def test_a_damaged_scan_is_told_of_once(tmp_path: Path) -> None:
    Image.fromarray(np.zeros((24, 24), dtype=np.uint8)).save(tmp_path / "scan.tif")
    content = (tmp_path / "scan.tif").read_bytes()
    for name in ("scan.png", "scan.tif"):
        (tmp_path / name).write_bytes(content[:60])
        not_measured(tmp_path / name, "cannot be read as a picture", *SCAN)


@pytest.mark.parametrize("level", [-1, 0, math.inf, math.nan, True, "1", 10**400])
def test_a_plate_file_with_a_white_that_is_none(level: object, tmp_path: Path) -> None:
    import h5py

    from tests.sample_plates import slit_plate
    from wavesim import store

    path = tmp_path / "p.h5"
    store.save(slit_plate(nx=20, ny=4, nw=5), path)
    with h5py.File(path, "r+") as file:
        how = json.loads(bytes(file["entry/process/report/data"][0]))
        how["white_exposure_lx_s"] = level
        del file["entry/process/report/data"]
        file["entry/process/report/data"] = np.array([json.dumps(how).encode()])
    with pytest.raises(InputError, match="damaged at 'white_exposure_lx_s'"):
        store.load(path)


@pytest.fixture
def study_file(tmp_path: Path) -> Path:
    """What a study of two members wrote."""
    from wavesim.ensemble import load_plan, run_study

    (tmp_path / "bench.toml").write_text(SMALL_SCENE)
    (tmp_path / "study.toml").write_text(
        'scene = "bench.toml"\n[[vary]]\nkey = "aperture.count"\nvalues = [2, 3]\n[record]\n'
        'numbers = ["brightest"]\nline = { wavelength = "546.1 nm", order = 1 }\n'
        "profile = { half_width = 0.4, points = 21 }\n"
    )
    return Path(run_study(load_plan(tmp_path / "study.toml"), tmp_path / "s.h5", workers=1).file)


def test_a_study_file_with_a_damaged_piece(study_file: Path) -> None:
    """Arrays are read when they are asked for: the checksum of a piece speaks up only then."""
    import h5py

    with h5py.File(study_file) as file:
        start = file["profile"].id.get_chunk_info(0).byte_offset
    content = bytearray(study_file.read_bytes())
    content[start] ^= 1
    study_file.write_bytes(content)
    not_measured(study_file, "is damaged: a piece of an array cannot be read", command="study")


def test_a_study_file_whose_axes_are_listed_as_numbers(study_file: Path) -> None:
    """HDF5 takes the list for references, unseen, and the process ended in the midst of it."""
    import h5py

    with h5py.File(study_file, "r+") as file:
        del file["failure"].attrs["DIMENSION_LIST"]
        file["failure"].attrs["DIMENSION_LIST"] = np.zeros((2, 2))
    with pytest.raises(InputError, match=r"is damaged: a part of it is .* of another kind"):
        wavesim.open_study(study_file)


@pytest.mark.parametrize("name", ["brightest", "profile"])
def test_a_study_file_with_numbers_out_of_all_measure(name: str, study_file: Path) -> None:
    """The square of 1e300 is no number, nor is their standard deviation."""
    import h5py

    with h5py.File(study_file, "r+") as file:
        file[name][0] = 1e300
    not_measured(study_file, "is damaged", command="study")


@pytest.mark.slow
def test_more_ghosts_than_a_ruling_shows(tmp_path: Path) -> None:
    """Of a hundred thousand a diagnosis took minutes, and all memory."""
    rows = "".join(f"1,{k / 200_001},5e-5\n" for k in range(1, 100_001))
    (tmp_path / "ghosts.csv").write_text("order,offset [orders],strength\n" + rows)
    not_measured(tmp_path / "ghosts.csv", "holds 100,000 ghosts; .* at most", command="diagnose")


CIRCLE = ("--circle", "--density", "600 / mm")


def test_more_settings_than_hands_can_set(tmp_path: Path) -> None:
    """A fit of so many lines took a matrix of as many rows and columns."""
    path = tmp_path / "circle.csv"
    for count, message in ((30_000, "too many settings"), (1000, "too many lines of unknown")):
        rows = "".join(f"{1 - k % 2 * 2},{159 + k % 2 * 41},37,{k % 60}\n" for k in range(count))
        path.write_text("order,degrees,minutes,seconds\n" + rows)
        not_measured(path, message, *CIRCLE)


def test_a_near_field_of_hours_is_refused_with_its_estimate(tmp_path: Path) -> None:
    """Fifteen thousand rulings a millimetre behind the source, in the light of the Sun."""
    scene = SMALL_SCENE.replace(
        'kind = "slits"\ncount = 3\nwidth = "40 um"\npitch = "90 um"',
        'kind = "grating"\ncount = 15_000\ndensity = "600 / mm"',
    ).replace('collimator = "600 mm"', 'source_distance = "1 mm"')
    scene = scene.replace('camera = "1 m"', 'plate_distance = "500 mm"')
    refused(scene, tmp_path, r"would take about \d+ hours for its near field; expected fewer")


@pytest.mark.slow
def test_a_profile_of_slits_finer_than_light(tmp_path: Path) -> None:
    """One window leaves a single slit of three, whose light never falls to a half."""
    (tmp_path / "fine.toml").write_text(SMALL_SCENE.replace('width = "40 um"', 'width = "2 nm"'))
    with warnings.catch_warnings(action="error"):
        commanded("profile", str(tmp_path / "fine.toml"))


def test_a_prediction_of_a_ghost_within_its_own_line(tmp_path: Path) -> None:
    """A period longer than the ruling: on the line itself the waves of a step's edges are 0 / 0."""
    defects = (
        '[[aperture.defects]]\nkind = "periodic"\namplitude = "4 nm"\nperiod = "3 mm"\n'
        '[[aperture.defects]]\nkind = "step"\nsize = "0.83333333333 um"\nfraction = 0.5\n'
    )
    scene = GRATING.replace("count = 1500", "count = 600")
    scene = re.sub("defects = .*", "", scene).replace("[plate]", f"{defects}\n[plate]")
    (tmp_path / "step.toml").write_text(scene)
    with warnings.catch_warnings(action="error"):
        commanded("predict", str(tmp_path / "step.toml"))
