"""The plate file: bit for bit, readable elsewhere, whole or not there, and never a crash."""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import fields, replace
from pathlib import Path

import h5py
import numpy as np
import pytest

from tests.sample_plates import slit_plate
from wavesim import store
from wavesim.colorimetry.plates import picture_of
from wavesim.errors import InputError, OutputError, PlateFileError
from wavesim.plate import Plate

ROOT = Path(__file__).resolve().parents[1]


def assert_same(first: Plate, second: Plate) -> None:
    for field in fields(Plate):
        a, b = getattr(first, field.name), getattr(second, field.name)
        if isinstance(a, np.ndarray):
            assert a.dtype == b.dtype
            assert a.tobytes() == b.tobytes(), field.name
        else:
            assert a == b, field.name
    assert first.scene.text == second.scene.text


@pytest.mark.parametrize(
    "plate",
    [
        slit_plate(),
        slit_plate(flat=False),
        slit_plate(3, nx=4099, ny=1),
        slit_plate(9, nx=1, ny=1, nw=1),
        slit_plate(2, nx=7, ny=1500, nw=3),
    ],
    ids=["flat", "differing rows", "one row", "one pixel", "tall"],
)
def test_plate_returns_bit_for_bit(plate: Plate, tmp_path: Path) -> None:
    store.save(plate, tmp_path / "p.h5")
    back = store.load(tmp_path / "p.h5")
    assert_same(plate, back)
    assert picture_of(back).tobytes() == picture_of(plate).tobytes()
    with h5py.File(tmp_path / "p.h5") as file:
        assert file["entry/plate/picture"][()].tobytes() == picture_of(plate).tobytes()


def test_single_precision_is_right_to_a_part_in_ten_million(tmp_path: Path) -> None:
    """Half the size; float32 has 24 bits (IEEE 754), so each value is right to 6e-8."""
    plate = slit_plate()
    whole, half = tmp_path / "double.h5", tmp_path / "single.h5"
    store.save(plate, whole, precision="double")
    store.save(plate, half, precision="single")
    found = store.load(half)
    for name in ("irradiance", "xyz", "profile_spectrum"):
        np.testing.assert_allclose(
            getattr(found, name), getattr(plate, name), rtol=6e-8, atol=1e-40
        )
    np.testing.assert_array_equal(found.x_m, plate.x_m)
    assert half.stat().st_size < whole.stat().st_size


@pytest.mark.parametrize("precision", ["double", "single"])
@pytest.mark.parametrize(("nx", "ny", "nw"), [(300, 40, 48), (2401, 41, 61), (97, 1025, 3)])
def test_a_file_is_as_large_as_was_said(
    nx: int, ny: int, nw: int, precision: str, tmp_path: Path
) -> None:
    """HDF5 stores whole chunks, the last ones filled up (HDF5 User Guide, chunking)."""
    plate = slit_plate(nx=nx, ny=ny, nw=nw, flat=False)  # rows that differ are not packed
    store.save(plate, tmp_path / "p.h5", precision=precision)
    said = store.most_bytes(plate, precision=precision)
    size = (tmp_path / "p.h5").stat().st_size
    assert size <= said
    assert said - size < 3 * plate.irradiance.size + 100_000  # the picture may be packed


def test_a_precision_that_is_none_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="precision"):
        store.save(slit_plate(), tmp_path / "plate.h5", precision="half")
    assert not list(tmp_path.iterdir())


def test_awkward_numbers_return_exactly(tmp_path: Path) -> None:
    tiny = np.nextafter(0.0, 1.0)
    plate = slit_plate()
    report = replace(plate.report, bin_error=float("inf"), pixel_error=tiny, cautions=())
    plate = replace(plate, exposure_s=0.1 + 0.2, report=report, irradiance=plate.irradiance * tiny)
    store.save(plate, tmp_path / "p.h5")
    assert_same(plate, store.load(tmp_path / "p.h5"))


def test_scene_built_in_python_returns(tmp_path: Path) -> None:
    plate = slit_plate()
    scene = plate.scene.with_text("").beside(tmp_path / "tables")
    store.save(replace(plate, scene=scene), tmp_path / "p.h5")
    back = store.load(tmp_path / "p.h5")
    assert back.scene == plate.scene
    assert back.scene.text == ""
    assert back.scene.folder == tmp_path / "tables"


def test_text_of_a_scene_changed_since_is_not_kept(tmp_path: Path) -> None:
    plate = slit_plate()
    changed = plate.scene.model_copy(update={"title": "another"})
    store.save(replace(plate, scene=changed), tmp_path / "p.h5")
    back = store.load(tmp_path / "p.h5")
    assert back.scene.title == "another"
    assert back.scene.text == ""


# --- other programs


def test_arrays_carry_units_and_axes(tmp_path: Path) -> None:
    plate = slit_plate()
    store.save(plate, tmp_path / "p.h5")
    with h5py.File(tmp_path / "p.h5") as file:
        data = file["entry/plate"]
        assert data["irradiance"].attrs["units"] == "W/m^2"
        assert data["xyz"].attrs["units"] == "lx s"
        assert [d.label for d in data["irradiance"].dims] == ["y", "x"]
        # mm from m: one rounding
        np.testing.assert_allclose(data["x"][()], plate.x_m * 1000, rtol=3e-16)
        assert data["x"].attrs["units"] == "mm"
        assert file["entry/profile/spectral_irradiance"].attrs["units"] == "W/(m^2 nm)"
        process = file["entry/process"]
        assert process["program"][()] == b"wavesim"
        assert list(process["seeds"]) == [7]
        assert process["wall_time/far field"][()] == 1 / 3
        assert process["accuracy/pixel_error"][()] == 1.3e-7
        assert file["entry/scene/text"][0].decode() == plate.scene.text


def test_opens_in_xarray(tmp_path: Path) -> None:
    xarray = pytest.importorskip("xarray")
    pytest.importorskip("h5netcdf")
    plate = slit_plate()
    store.save(plate, tmp_path / "p.h5")
    with xarray.open_dataset(tmp_path / "p.h5", engine="h5netcdf", group="entry/plate") as data:
        assert data.irradiance.dims == ("y", "x")
        assert data.xyz.dims == ("y", "x", "tristimulus")
        assert data.picture.dims == ("picture_y", "x", "channel")
        np.testing.assert_array_equal(data.picture_y, plate.y_m[::-1] * 1e3)
        np.testing.assert_array_equal(data.irradiance, plate.irradiance)
        np.testing.assert_array_equal(data.x, plate.x_m * 1e3)
    with xarray.open_dataset(tmp_path / "p.h5", engine="h5netcdf", group="entry/profile") as data:
        assert data.spectral_irradiance.dims == ("wavelength", "x")


def test_nexus_reader_finds_the_default_plot(tmp_path: Path) -> None:
    nexus = pytest.importorskip("nexusformat.nexus")
    store.save(slit_plate(), tmp_path / "p.h5")
    root = nexus.nxload(str(tmp_path / "p.h5"))
    plot = root.get_default()
    assert plot.nxpath == "/entry/plate"
    assert plot.nxsignal.nxname == "irradiance"
    assert [axis.nxname for axis in plot.nxaxes] == ["y", "x"]
    assert root.entry.profile.nxsignal.nxname == "irradiance"


# --- files that are not ours, or no longer whole


@pytest.fixture
def good(tmp_path: Path) -> Path:
    store.save(slit_plate(nx=60, ny=8, nw=5), tmp_path / "p.h5")
    return tmp_path / "p.h5"


def test_missing_file(tmp_path: Path) -> None:
    with pytest.raises(PlateFileError, match=r"no\.h5: there is no such file; expected a plate"):
        store.load(tmp_path / "no.h5")


def test_folder(tmp_path: Path) -> None:
    with pytest.raises(PlateFileError, match="Is a directory"):
        store.load(tmp_path)


@pytest.mark.parametrize("content", [b"", b"PNG\r\n", b"\x89HDF\r\n\x1a\n", b"\0" * 5000])
def test_not_hdf5(content: bytes, tmp_path: Path) -> None:
    (tmp_path / "p.h5").write_bytes(content)
    with pytest.raises(PlateFileError, match=r"p\.h5: (is not an HDF5 file|is damaged)"):
        store.load(tmp_path / "p.h5")


def test_hdf5_of_another_program(tmp_path: Path) -> None:
    with h5py.File(tmp_path / "p.h5", "w") as file:
        file["data"] = np.arange(3)
    with pytest.raises(PlateFileError, match="is an HDF5 file of another program"):
        store.load(tmp_path / "p.h5")


def test_truncated_anywhere(good: Path) -> None:
    content = good.read_bytes()
    for size in range(0, len(content), max(1, len(content) // 97)):
        good.write_bytes(content[:size])
        with pytest.raises(PlateFileError):
            store.load(good)


def _later_layout(file: h5py.File) -> None:
    file.attrs["wavesim_plate"] = 2


def _no_irradiance(file: h5py.File) -> None:
    del file["entry/plate/irradiance"]


def _group_for_dataset(file: h5py.File) -> None:
    del file["entry/plate/xyz"]
    file.create_group("entry/plate/xyz")


def _wrong_type(file: h5py.File) -> None:
    _swap(file, "entry/plate/x_m", np.zeros(60, dtype=np.float32))


def _wrong_length(file: h5py.File) -> None:
    _swap(file, "entry/plate/x_m", np.arange(61.0))


def _falling_axis(file: h5py.File) -> None:
    _swap(file, "entry/plate/x_m", -np.arange(60.0))


def _not_a_number(file: h5py.File) -> None:
    file["entry/plate/irradiance"][2, 3] = np.nan


def _external_link(file: h5py.File) -> None:
    del file["entry/plate/irradiance"]
    file["entry/plate/irradiance"] = h5py.ExternalLink("other.h5", "/x")


def _external_data(file: h5py.File) -> None:
    del file["entry/plate/x_m"]
    file["entry/plate"].create_dataset(
        "x_m", (60,), "f8", external=[("/etc/passwd", 0, h5py.h5f.UNLIMITED)]
    )


def _virtual(file: h5py.File) -> None:
    del file["entry/plate/x_m"]
    layout = h5py.VirtualLayout((60,), "f8")
    layout[:] = h5py.VirtualSource("other.h5", "x", (60,))
    file["entry/plate"].create_virtual_dataset("x_m", layout)


def _bomb(file: h5py.File) -> None:
    del file["entry/plate/irradiance"]
    file["entry/plate"].create_dataset("irradiance", (10**6, 10**6), "f8", chunks=(1024, 1024))


def _no_report(file: h5py.File) -> None:
    _swap(file, "entry/process/report/data", np.array([b"{}"]))


def _report_not_json(file: h5py.File) -> None:
    _swap(file, "entry/process/report/data", np.array([b"[" * 100_000]))


def _scene_of_elsewhere(file: h5py.File) -> None:
    _swap(file, "entry/scene/resolved", np.array([b'{"title": 3}']))


def _variable_text(file: h5py.File) -> None:
    del file["entry/scene/text"]
    file["entry/scene/text"] = "schema = 1"


def _swap(file: h5py.File, path: str, values: np.ndarray) -> None:
    del file[path]
    file[path] = values


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (_later_layout, "wavesim_plate: has a layout unknown to this version (found"),
        (_no_irradiance, "entry/plate/irradiance: is missing"),
        (_group_for_dataset, "entry/plate/xyz: is not a plain dataset"),
        (_wrong_type, "entry/plate/x_m: has the wrong shape or type (found 'float32 (60,)')"),
        (_wrong_length, "does not fit the x axis"),
        (_falling_axis, "entry/plate/x_m: does not increase"),
        (_not_a_number, "entry/plate/irradiance: holds a value that is not a number"),
        (_external_link, "entry/plate/irradiance: is a link"),
        (_external_data, "entry/plate/x_m: is not a plain dataset"),
        (_virtual, "entry/plate/x_m: is not a plain dataset"),
        (_bomb, "entry/plate/irradiance: declares more data than the file can hold"),
        (_no_report, "entry/process/report/data: is damaged at 'report'"),
        (_report_not_json, "entry/process/report/data: is not JSON"),
        (_scene_of_elsewhere, "entry/scene/resolved: is not a scene"),
        (_variable_text, "entry/scene/text: is not a text of fixed length"),
    ],
)
def test_forged_file(change: Callable[[h5py.File], None], says: str, good: Path) -> None:
    with h5py.File(good, "r+") as file:
        change(file)
    with pytest.raises(PlateFileError, match=re.escape(says)) as caught:
        store.load(good)
    assert caught.value.exit_status == 2
    assert str(good) in str(caught.value)


MUTATE = """
import sys, faulthandler, random, resource
from pathlib import Path
from tests.mutated_files import bytes_changed
from tests.test_store import assert_same
from wavesim import store
from wavesim.errors import PlateFileError

faulthandler.dump_traceback_later(60, exit=True)
source, target = Path(sys.argv[1]), Path(sys.argv[2])
good, content, refused = store.load(source), source.read_bytes(), 0
before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
for seed in range(300):
    target.write_bytes(bytes_changed(content, random.Random(seed)))
    try:
        back = store.load(target)
    except PlateFileError:
        refused += 1
    else:
        assert_same(good, back)
print(refused, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before)
"""


@pytest.mark.slow
def test_mutated_files_are_refused_or_read_right(good: Path, tmp_path: Path) -> None:
    """In a process of its own, since a crash or a hang of the HDF5 library would end it."""
    done = subprocess.run(
        [sys.executable, "-c", MUTATE, good, tmp_path / "mutant.h5"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    assert done.returncode == 0, done.stderr[-2000:]
    refused, grown_kib = map(int, done.stdout.split())
    assert refused > 150  # most mutations hit something that is read
    assert grown_kib < 50 * 1024  # a 30 kB file leads to no large allocation


# --- writing: whole or not at all

OVERWRITE = """
import sys
from tests.sample_plates import slit_plate
from wavesim import store
plate = slit_plate(5, nx=400, ny=200)
store.save(plate, sys.argv[1] + ".warm")
print("ready", flush=True)
while True:
    store.save(plate, sys.argv[1])
"""


@pytest.mark.slow
def test_killed_writer_leaves_a_whole_file(tmp_path: Path) -> None:
    path, old, new = tmp_path / "p.h5", slit_plate(6), slit_plate(5, nx=400, ny=200)
    random = np.random.default_rng(3)
    for _ in range(5):
        store.save(old, path)
        with subprocess.Popen(
            [sys.executable, "-c", OVERWRITE, path], cwd=ROOT, stdout=subprocess.PIPE, text=True
        ) as writer:
            assert writer.stdout is not None
            writer.stdout.readline()
            time.sleep(float(random.uniform(0, 0.05)))
            writer.send_signal(signal.SIGKILL)
        back = store.load(path)
        assert_same(back, old if back.x_m.size == 300 else new)


@pytest.mark.slow
def test_two_writers_of_one_file(tmp_path: Path) -> None:
    path, new = tmp_path / "p.h5", slit_plate(5, nx=400, ny=200)
    store.save(new, path)
    command: list[str | Path] = [sys.executable, "-c", OVERWRITE, path]
    writers = [
        subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, text=True) for _ in range(2)
    ]
    try:
        for writer in writers:
            assert writer.stdout is not None
            writer.stdout.readline()
        for _ in range(20):
            assert_same(store.load(path), new)
    finally:
        for writer in writers:
            writer.kill()
            writer.communicate()
    assert_same(store.load(path), new)


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A file system of 256 KiB; needs the right to mount one."""
    folder = tmp_path / "disk"
    folder.mkdir()
    mount: list[str | Path] = ["mount", "-t", "tmpfs", "-o", "size=256k", "tmpfs", folder]
    if os.geteuid() != 0 or subprocess.run(mount, check=False, capture_output=True).returncode:
        pytest.skip("may not mount a file system here")
    yield folder
    subprocess.run(["umount", folder], check=True)


FILL = """
import sys
from tests.sample_plates import slit_plate
from wavesim import store
from wavesim.errors import OutputError
for ny in range(30, 130):  # the disk fills at another place of the file each time
    try:
        store.save(slit_plate(6, ny=ny, flat=False), sys.argv[1])
    except OutputError as error:
        print(error)
"""


@pytest.mark.slow
def test_full_disk_leaves_the_old_file(small_disk: Path) -> None:
    path, old = small_disk / "p.h5", slit_plate(6, nx=60, ny=8, nw=5)
    store.save(old, path)
    done = subprocess.run(
        [sys.executable, "-c", FILL, path],
        cwd=ROOT,
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    assert done.returncode == 0, done.stderr[-2000:]
    messages = done.stdout.splitlines()
    assert len(messages) == 100
    assert all("p.h5: cannot be written: No space left on device" in text for text in messages)
    assert_same(store.load(path), old)
    assert list(small_disk.iterdir()) == [path]


def test_no_folder_to_write_to(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match="cannot be written: No such file or directory"):
        store.save(slit_plate(), tmp_path / "no" / "p.h5")


def test_read_only_folder(tmp_path: Path) -> None:
    tmp_path.chmod(0o555)
    if os.access(tmp_path, os.W_OK):  # root may write anywhere but on a read-only file system
        folder = tmp_path / "disk"
        tmp_path.chmod(0o755)
        folder.mkdir()
        mount: list[str | Path] = ["mount", "-t", "tmpfs", "-o", "ro", "tmpfs", folder]
        if subprocess.run(mount, check=False, capture_output=True).returncode:
            pytest.skip("may not mount a file system here")
        try:
            with pytest.raises(OutputError, match="Read-only file system"):
                store.save(slit_plate(), folder / "p.h5")
        finally:
            subprocess.run(["umount", folder], check=True)
    else:
        with pytest.raises(OutputError, match="Permission denied"):
            store.save(slit_plate(), tmp_path / "p.h5")


def test_importing_the_store_does_not_import_h5py() -> None:
    code = "import sys, wavesim.store; assert 'h5py' not in sys.modules"
    assert subprocess.run([sys.executable, "-c", code], cwd=ROOT, check=False).returncode == 0
