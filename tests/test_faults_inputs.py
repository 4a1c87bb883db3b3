"""Files that never end, wait for ever or unpack to far more than they are.

Each is refused in one line that names the file, and a process that has met them all has held
little memory. How far deflate can shrink is RFC 1951's; the rest follows from the files themselves.
"""

from __future__ import annotations

import json
import os
import struct
import subprocess
import sys
import zlib
from collections.abc import Callable
from pathlib import Path

import h5py
import numpy as np
import pytest

from tests.sample_plates import slit_plate
from wavesim.aperture.measured import dataset, two_columns
from wavesim.aperture.plane.picture import read_grey
from wavesim.colorimetry.film import read_curve, read_reciprocity
from wavesim.errors import InputError, LimitError, PlateFileError, TableError
from wavesim.grooves.materials import read as read_material
from wavesim.light.tables import source_table
from wavesim.measuring import Scan, read_picture, read_settings
from wavesim.measuring.diagnosis import read as read_ghosts
from wavesim.scene import load
from wavesim.store import load as load_plate
from wavesim.store import save

ROOT = Path(__file__).resolve().parents[1]
SPARE_BYTES = 300_000_000  # that reading the whole set may take: libraries, and what is judged

Reader = Callable[[Path], object]
READERS: dict[str, Reader] = {
    "scene.toml": load,
    "light.csv": source_table,
    "places.csv": lambda path: two_columns(path, ("x_mm",), ("displacement_nm",)),
    "places.h5": lambda path: dataset(path, "displacement"),
    "mask.png": read_grey,
    "scan.png": lambda path: read_picture(path, Scan(1e-5)),
    "scan.tif": lambda path: read_picture(path, Scan(1e-5)),
    "plate.h5": load_plate,
}


@pytest.mark.parametrize("name", READERS)
def test_a_pipe_that_nobody_writes_into_is_refused_at_once(name: str, tmp_path: Path) -> None:
    os.mkfifo(tmp_path / name)
    with pytest.raises(InputError, match=r"is not an ordinary file") as caught:
        READERS[name](tmp_path / name)
    assert name in str(caught.value)


@pytest.mark.parametrize("name", READERS)
def test_a_device_that_never_ends_is_refused_at_once(name: str, tmp_path: Path) -> None:
    (tmp_path / name).symlink_to("/dev/zero")
    with pytest.raises(InputError, match=r"is not an ordinary file"):
        READERS[name](tmp_path / name)


def _tiff(path: Path, tile: int, packed: bytes) -> None:
    """64 x 64 levels of 8 bits in one deflated tile of a stated side."""
    entries = [
        (256, 64), (257, 64), (258, 8), (259, 8), (262, 1), (277, 1), (322, tile), (323, tile),
        (324, 8), (325, len(packed)),
    ]  # fmt: skip
    directory = struct.pack("<H", len(entries))
    for tag, value in entries:
        directory += struct.pack("<HHII", tag, 4, 1, value)
    body = struct.pack("<2sHI", b"II", 42, 8 + len(packed)) + packed
    path.write_bytes(body + directory + struct.pack("<I", 0))


def _icon(path: Path) -> None:
    """An icon said to be 64 x 64 that holds a PNG of 20,000 square."""
    side = 20_000
    chunks = b""
    for part in (
        b"IHDR" + struct.pack(">IIBBBBB", side, side, 8, 0, 0, 0, 0),
        b"IDAT" + zlib.compress(bytes(side * (side + 1) // 50)),
        b"IEND",
    ):
        chunks += struct.pack(">I", len(part) - 4) + part + struct.pack(">I", zlib.crc32(part))
    png = b"\x89PNG\r\n\x1a\n" + chunks
    entry = struct.pack("<BBBBHHII", 64, 64, 0, 0, 1, 8, len(png), 22)
    path.write_bytes(struct.pack("<HHH", 0, 1, 1) + entry + png)


def _places(path: Path, size: int, chunk: int) -> None:
    with h5py.File(path, "w") as file:
        made = file.create_dataset(
            "displacement", (size,), "<i1", chunks=(chunk,), compression="gzip", maxshape=(None,)
        )
        made.attrs["units"] = np.bytes_("nm")
        made[0] = 1


def _hostile(folder: Path) -> dict[str, str]:
    """Name of each file, and a word of what is said about it."""
    (folder / "deep.toml").write_text("a" + ".a" * 50_000 + " = 1\n")
    (folder / "long.csv").write_text("wavelength_nm,relative\n" + "1,2\n" * 1_200_000)
    (folder / "wide.csv").write_text("wavelength_nm,relative\n" + "1," * 3_000_000)
    (folder / "head.csv").write_text("wavelength_nm," * 400_000)
    _tiff(folder / "tile.tif", 40_000, zlib.compress(bytes(1000)))
    _tiff(folder / "packed.tif", 64, zlib.compress(bytes(80_000_000)))
    _icon(folder / "icon.png")
    (folder / "print.png").write_text("%!PS-Adobe-3.0 EPSF-3.0\n%%BoundingBox: 0 0 9 9\n")
    _places(folder / "large.h5", 3_000_000_000, 1_000_000)
    _places(folder / "chunk.h5", 10, 400_000_000)
    return {
        "deep.toml": "parts", "long.csv": "ascend",
        "wide.csv": "6,000,000 bytes in one line", "head.csv": "bytes in one line",
        "tile.tif": "tile", "packed.tif": "packed",
        "icon.png": "cannot be read", "print.png": "cannot be read", "large.h5": "too large",
        "chunk.h5": "too large",
    }  # fmt: skip


WORK = """
import json, resource, sys
from pathlib import Path
from tests.test_faults_inputs import READERS
import wavesim.memory
from wavesim.colorimetry.film import read_curve, read_reciprocity
from wavesim.errors import InputError
import PIL.Image, tifffile  # not to be counted

def peak():
    # ru_maxrss would begin at the peak of the process that started this one
    status = Path("/proc/self/status").read_text()
    return int(status.partition("VmHWM:")[2].split()[0]) * 1024

wavesim.memory.available_bytes = lambda: 400_000_000
kinds = {".toml": "scene.toml", ".csv": "light.csv", ".h5": "places.h5", ".tif": "scan.tif"}
PIL.Image.preinit()
before, said = peak(), {}
for name in sys.argv[2:]:
    path = Path(sys.argv[1]) / name
    for reader in (kinds.get(path.suffix),) if path.suffix in kinds else ("mask.png", "scan.png"):
        try:
            READERS[reader](path)
            said[name] = "read"
        except InputError as error:
            said[name] = str(error)
print(json.dumps([peak() - before, said]))
"""


@pytest.mark.slow
def test_hostile_files_are_refused_without_being_unpacked(tmp_path: Path) -> None:
    files = _hostile(tmp_path)
    done = subprocess.run(
        [sys.executable, "-c", WORK, tmp_path, *files],
        cwd=ROOT, capture_output=True, text=True, check=True,
    )  # fmt: skip
    held, said = json.loads(done.stdout)
    for name, word in files.items():
        assert name in said[name]
        assert word in said[name], said[name]
        assert len(said[name]) < 400
    assert held < SPARE_BYTES
    assert done.stderr == ""


def test_a_plate_larger_than_the_memory_is_refused_before_it_is_read(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    plate = slit_plate()
    save(plate, tmp_path / "p.h5")
    monkeypatch.setattr("wavesim.memory.available_bytes", lambda: plate.xyz.nbytes)
    with pytest.raises(LimitError, match=r"p\.h5.*memory"):
        load_plate(tmp_path / "p.h5")


def test_texts_in_a_plate_file_are_bounded(tmp_path: Path) -> None:
    save(slit_plate(), tmp_path / "p.h5")
    with h5py.File(tmp_path / "p.h5", "r+") as file:
        del file["entry/scene/resolved"]
        long = np.array([b"[" + b"0," * 15_000_000], dtype="S30000001")
        file.create_dataset("entry/scene/resolved", data=long, chunks=(1,), compression="gzip")
    with pytest.raises(PlateFileError, match=r"resolved.*longer than 8 MiB"):
        load_plate(tmp_path / "p.h5")


def test_a_table_larger_than_the_memory_is_refused_before_it_is_parsed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "t.csv").write_text("wavelength_nm,relative\n" + "1,2\n" * 100_000)
    monkeypatch.setattr("wavesim.memory.available_bytes", lambda: 1_000_000)
    with pytest.raises(LimitError, match=r"t\.csv.*would need about .* GB of memory for a table"):
        source_table(tmp_path / "t.csv")


@pytest.mark.parametrize(
    ("read", "head", "row", "message"),
    [
        (read_settings, "order,degrees", "1,2", "too many settings.*2001.*at most 2,000"),
        (read_ghosts, "order,offset [orders],strength", "1,0.5,0.1", "2,001 ghosts.*at most 2,000"),
        (read_curve, "log_exposure,density", "1,2", "100,001 rows.*at most 100,000"),
        (read_reciprocity, "metered_s,corrected_s", "1,2", "100,001 rows"),
        (read_material, "wavelength_nm,n,k", "1,2,3", "100,001 rows"),
    ],
)
def test_a_table_has_a_largest_number_of_rows(
    read: Reader, head: str, row: str, message: str, tmp_path: Path
) -> None:
    count = 2001 if "at most 2,000" in message else 100_001
    (tmp_path / "t.csv").write_text(f"{head}\n" + f"{row}\n" * count)
    with pytest.raises(InputError, match=message):
        read(tmp_path / "t.csv")


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_lines_are_counted_as_an_editor_does(end: str, tmp_path: Path) -> None:
    """With every way to end a line, blank ones and remarks among them, quoted or not."""
    lines = ["\ufeff# note", "", "wavelength_nm,relative", " 400 ,\t1", "\u00a0", "#", '"450","2"',
             "500,x", ""]  # fmt: skip
    (tmp_path / "t.csv").write_text(end.join(lines), encoding="utf-8", newline="")
    with pytest.raises(TableError, match=r"line 8: .*found '500,x'"):
        source_table(tmp_path / "t.csv")
    (tmp_path / "t.csv").write_text(end.join(lines[:-2]), encoding="utf-8", newline="")
    assert source_table(tmp_path / "t.csv").value.tolist() == [1.0, 2.0]


def test_a_table_has_a_largest_number_of_lines(tmp_path: Path) -> None:
    (tmp_path / "t.csv").write_bytes(b"wavelength_nm,relative\n" + b"\n" * 12_000_000)
    with pytest.raises(TableError, match="12,000,001 lines"):
        source_table(tmp_path / "t.csv")


def test_no_line_of_a_foreign_file_is_repeated(tmp_path: Path) -> None:
    """A table named by a scene may be anything that its user may read."""
    (tmp_path / "secret").write_text("-----BEGIN KEY-----\nabcdef\n")
    for reader in (source_table, READERS["places.csv"]):
        with pytest.raises(InputError) as caught:
            reader(tmp_path / "secret")
        assert "BEGIN" not in str(caught.value)
        assert "line 1" in str(caught.value)
