"""Mutated plate files, tables and pictures, read and used."""

from __future__ import annotations

import io
import json
import random
import struct
import zlib
from collections.abc import Callable
from pathlib import Path

import numpy as np

from tests.mutated_scenes import TEXT_CHANGES, checked, commanded, furnish
from tests.scene_texts import GOOD, Table, edited, text

Work = Callable[[int], str]

# ---- bytes


def bytes_changed(content: bytes, dice: random.Random) -> bytes:
    """Flipped bits, a hole, noise, bytes lost or added, an extreme size, or the file cut short."""
    data, start, length = bytearray(content), dice.randrange(len(content)), dice.randint(1, 300)
    match dice.randrange(7):
        case 0:
            for _ in range(dice.randint(1, 8)):
                data[dice.randrange(len(data))] ^= 1 << dice.randrange(8)
        case 1:
            data[start : start + length] = bytes(len(data[start : start + length]))
        case 2:
            data[start : start + length] = dice.randbytes(len(data[start : start + length]))
        case 3:
            del data[start : start + length]
        case 4:
            data[start:start] = dice.randbytes(length)
        case 5:
            extremes = (0, 1, 2**31, 2**32 - 1, 2**63 - 1, 2**64 - 1)
            data[start : start + 8] = dice.choice(extremes).to_bytes(8, "little")
        case _:
            del data[start:]
    return bytes(data)


# ---- plate files


def plates(folder: Path) -> Work:
    """Plate files: opened, drawn, pointed at and measured."""
    from tests.bench import SMALL_SCENE
    from wavesim.lightpath import expose
    from wavesim.scene import parse

    good, path = folder / "good.h5", folder / "mutant.h5"
    expose(parse(SMALL_SCENE.replace("100 um", "250 um"))).save(good)
    content = good.read_bytes()

    def work(seed: int) -> str:
        dice = random.Random(seed)
        damage(path, content, dice, raw=0.4)
        return dice.choice(_USES)(path)

    return work


def _opened(path: Path) -> str:
    from wavesim.lightpath import open_plate

    plate = open_plate(path)
    return f"opened {plate.picture().shape}"


_USES: tuple[Callable[[Path], str], ...] = (
    _opened,
    _opened,
    lambda path: commanded("point", str(path), "--x", "1 mm"),
    lambda path: commanded("measure", str(path), "--density", "600 / mm", "--camera", "1 m"),
    lambda path: commanded("measure", str(path), "--bright", "--json"),
)


def damage(path: Path, content: bytes, dice: random.Random, raw: float) -> None:
    """Write an HDF5 file with changed bytes (one in `raw` of all), or with changed contents."""
    if dice.random() < raw:
        path.write_bytes(bytes_changed(content, dice))
    else:
        path.write_bytes(content)
        forge(path, dice)


def forge(path: Path, dice: random.Random) -> None:
    """Put something else in the place of a dataset, an attribute, or a word of its JSON."""
    import h5py

    with h5py.File(path, "r+") as file:
        names: list[str] = []
        file.visit(names.append)
        for _ in range(dice.choice((1, 1, 2))):
            name = dice.choice([n for n in names if _readable(file, n)])
            if isinstance(file[name], h5py.Dataset) and dice.random() < 0.9:
                _replaced(file, name, dice)
            else:
                _other_attributes(file[name], dice)
        for name in ("entry/scene/resolved", "entry/process/report/data", "entry/scene/text"):
            if dice.random() < 0.25 and _worded(file, name):
                _reworded(file, name, dice)


def _readable(file, name: str) -> bool:  # type: ignore[no-untyped-def]
    try:
        return name in file and file[name].name is not None
    except (RuntimeError, KeyError):  # a link to itself
        return False


def _worded(file, name: str) -> bool:  # type: ignore[no-untyped-def]
    node = file[name] if _readable(file, name) else None
    return node is not None and getattr(node, "shape", None) == (1,) and node.dtype.kind == "S"


def _replaced(file, name: str, dice: random.Random) -> None:  # type: ignore[no-untyped-def]
    import h5py

    old = file[name]
    shape, dtype = old.shape, old.dtype
    if dtype.kind == "f" and old.size < 10**7 and dice.random() < 0.5:
        values = np.asarray(old[()], dtype=np.float64)
        odd = dice.choice((np.nan, np.inf, -np.inf, -1.0, 0.0, 1e300, -1e300, 1e-320, 1e38))
        if values.ndim and dice.random() < 0.5:
            values.flat[dice.randrange(values.size)] = odd
        elif dice.random() < 0.5:
            values = np.full_like(values, odd)
        else:
            with np.errstate(all="ignore"):
                values = values * odd
        del file[name]
        file[name] = values
        return
    del file[name]
    parent, _, last = name.rpartition("/")
    group = file.require_group(parent or "/")
    match dice.randrange(14):
        case 0:
            group[last] = np.zeros(dice.choice(((0,), (1,), (2, 2, 2), (3, 0), ())))
        case 1:
            group[last] = np.zeros(
                shape, dtype=dice.choice(("i1", "u8", "f2", "f4", ">f8", "c16", "?"))
            )
        case 2:
            group.create_dataset(last, (10**7, 10**6), "f8", chunks=(1024, 1024))
        case 3:
            group.create_dataset(last, shape or (1,), "f8", fillvalue=np.nan, chunks=True)
        case 4:
            group[last] = h5py.ExternalLink("/etc/passwd", "/x")
        case 5:
            group[last] = h5py.SoftLink(f"/{name}")
        case 6:
            group.create_group(last)
        case 7:
            group.create_dataset(last, (3,), dtype=h5py.string_dtype())[:] = "x"
        case 8:
            group.create_dataset(last, (3,), dtype=h5py.vlen_dtype(np.float64))
        case 9:
            group[last] = np.zeros(3, dtype=[("a", "f8"), ("b", "S3")])
        case 10:
            group.create_dataset(last, (2,), dtype=h5py.ref_dtype)
        case 11:
            group[last] = h5py.Empty("f8")
        case 12:
            group[last] = np.array([b"\xff\xfe\0{"])
        case _:
            pass  # gone


def _other_attributes(node, dice: random.Random) -> None:  # type: ignore[no-untyped-def]
    import h5py

    odd = (
        np.nan, -1, 2, "x", "\N{PILE OF POO}", np.arange(3), h5py.Empty("f8"), 10**18,
        np.array([b"a", b"b"]), 1.0, True, np.zeros((2, 2)),
    )  # fmt: skip
    keys = [*node.attrs, "wavesim_plate", "units"]
    key = dice.choice(keys)
    if key in node.attrs:
        del node.attrs[key]
    if dice.random() < 0.7:
        node.attrs[key] = dice.choice(odd)


def _reworded(file, name: str, dice: random.Random) -> None:  # type: ignore[no-untyped-def]
    """A text with a slip, or JSON with one value replaced."""
    written = bytes(file[name][0]).decode(errors="replace")
    if written.startswith("{") and dice.random() < 0.7:
        content = json.loads(written)
        _one_value_changed(content, dice)
        written = json.dumps(content)
    else:
        written = dice.choice(TEXT_CHANGES)(written, dice)
    del file[name]
    file[name] = np.array([written.encode(errors="replace") or b" "])


def _one_value_changed(content: object, dice: random.Random) -> None:
    while isinstance(content, (dict, list)) and content:
        keys = list(content) if isinstance(content, dict) else list(range(len(content)))
        key = dice.choice(keys)
        inner = content[key]
        if not isinstance(inner, (dict, list)) or not inner or dice.random() < 0.2:
            odd: tuple[object, ...] = (
                None,
                -1,
                0,
                1e300,
                "x",
                [],
                {},
                True,
                float("nan"),
                float("inf"),
                2**70,
                [[1]],
            )
            content[key] = dice.choice(odd)
            return
        content = inner


# ---- tables


def _cells(written: str, dice: random.Random) -> str:
    """One cell replaced, or a row."""
    lines = written.split("\n")
    row = dice.randrange(len(lines))
    cells = lines[row].split(",")
    odd = ("", "nan", "inf", "-1", "0", "1e300", "-1e-300", "1e999", "x", "1,5", "1;2", '"', '"1"',
           "\N{ARABIC-INDIC DIGIT THREE}", " ", "1_0", "0x10", "9" * 400)  # fmt: skip
    cells[dice.randrange(len(cells))] = dice.choice(odd)
    lines[row] = ",".join(cells)
    return "\n".join(lines)


def _number(written: str, dice: random.Random) -> str:
    """One number some decades off."""
    lines = written.split("\n")
    row = dice.randrange(len(lines))
    cells = lines[row].split(",")
    column = dice.randrange(len(cells))
    try:
        factor = dice.choice((-1.0, 0.0, 1 + 1e-12, 10.0 ** dice.randint(-12, 12)))
        cells[column] = repr(float(cells[column]) * factor)
    except ValueError:
        return written
    lines[row] = ",".join(cells)
    return "\n".join(lines)


def _column(written: str, dice: random.Random) -> str:
    """A column scaled, shifted, or made of one value."""
    lines = [line.split(",") for line in written.split("\n") if line]
    column = dice.randrange(len(lines[0]))
    scale, shift = (
        10.0 ** dice.randint(-9, 9) * dice.choice((1, -1, 0)),
        dice.choice((0, 0, 1, -500)),
    )
    for line in lines[1:]:
        if len(line) > column:
            try:
                line[column] = repr(float(line[column]) * scale + shift)
            except ValueError:
                continue
    return "\n".join(map(",".join, lines)) + "\n"


_TABLE_CHANGES = (_cells, _cells, _number, _number, _number, _column, *TEXT_CHANGES)


def table_changed(written: str, dice: random.Random) -> bytes:
    for _ in range(dice.choice((1, 1, 2, 3))):
        written = dice.choice(_TABLE_CHANGES)(written, dice)
    content = written.encode("utf-8", errors="replace")
    return bytes_changed(content, dice) if content and dice.random() < 0.1 else content


_SMALL_PLATE: Table = {"width": "60 mm", "height": "5 mm", "pixel": "1 mm"}
_SLITS = {"kind": "slits", "count": 9, "width": "40 um", "pitch": "90 um"}


def _with(name: str, defects: list[Table] | None = None, **plate: str) -> str:
    scene = {**GOOD[name], "plate": {**_SMALL_PLATE, **plate}}
    if defects is not None:
        scene["aperture"] = {**_SLITS, "defects": defects}
    return text(scene)


def _displaced(quantity: str | None) -> list[Table]:
    more = {} if quantity is None else {"quantity": quantity, "order": 1}
    return [{"kind": "table", "file": "defect.csv", **more}]


_SCENE_TABLES = (  # name of the table, its text, the scene that uses it
    ("lamp.csv", "wavelength_nm,relative\n400,1\n500,2\n600,3\n700,2\n", _with("table")),
    ("lamp.csv", "wavelength_vacuum_nm,radiance_W_m-2_sr-1_nm-1\n400,1\n500,2\n600,3\n",
     _with("table")),
    ("lamp.csv", "wavelength_um;irradiance_W_m-2_nm-1;x\n0.4;1;2\n0.5;2;2\n", _with("table")),
    ("green.csv", "wavelength_nm,transmittance\n400,0\n550,0.9\n700,0\n", _with("filter table")),
    ("green.csv", "wavelength_nm,density\n400,5\n550,0.1\n700,6\n", _with("filter table")),
    ("aluminium.csv", "wavelength_nm,reflectance\n400,0.92\n550,0.91\n800,0.87\n",
     _with("metal grating")),
    ("camera.csv",
     "wavelength_nm,red,green,blue\n400,0,0,0.6\n500,0.1,0.8,0.3\n600,0.9,0.4,0\n700,0.5,0,0\n",
     _with("sensor of a table")),
    ("film.csv", "wavelength_nm,log_sensitivity\n400,1.2\n500,0.9\n600,-0.5\n",
     _with("film of a table")),
    ("groove.csv", "place_um,height_nm\n0,0\n0.8,200\n1.66666667,0\n", _with("groove table")),
    ("defect.csv", "x_mm,displacement_nm\n-0.4,0\n-0.1,30\n0.1,-20\n0.5,4\n",
     _with("slits", _displaced(None))),
    ("defect.csv", "ruling,wavefront_waves\n0,0\n3,0.2\n8,-0.1\n",
     _with("slits", _displaced("wavefront"))),
)  # fmt: skip


def tables(folder: Path) -> Work:
    """Tables that scenes name, exposed."""
    from wavesim.scene import load

    furnish(folder)

    def work(seed: int) -> str:
        dice = random.Random(seed)
        name, written, scene = dice.choice(_SCENE_TABLES)
        (folder / name).write_bytes(table_changed(written, dice))
        (folder / "mutant.csv").write_bytes((folder / name).read_bytes())
        (folder / "scene.toml").write_text(scene)
        return checked(load(folder / "scene.toml"), folder)

    return work


def displacements(folder: Path) -> Work:
    """HDF5 files of displacements, exposed."""
    import h5py

    from wavesim.scene import load

    path, good = folder / "measured.h5", folder / "good.h5"
    (folder / "mutant.h5").symlink_to(path)
    with h5py.File(good, "w") as file:
        file["entry/error"] = np.sin(np.arange(9) / 2) * 5.0
        file["entry/error"].attrs["units"] = "nm"
    content = good.read_bytes()
    defect: Table = {"kind": "table", "file": "measured.h5", "dataset": "entry/error"}
    (folder / "scene.toml").write_text(_with("slits", [defect]))

    def work(seed: int) -> str:
        dice = random.Random(seed)
        path.write_bytes(bytes_changed(content, dice) if dice.random() < 0.5 else content)
        if path.read_bytes() == content:
            _forge_displacement(path, dice)
        return checked(load(folder / "scene.toml"), folder)

    return work


def _forge_displacement(path: Path, dice: random.Random) -> None:
    import h5py

    with h5py.File(path, "r+") as file:
        if dice.random() < 0.3:
            _other_attributes(file["entry/error"], dice)
        else:
            _replaced(file, "entry/error", dice)
            node = file.get("entry/error", getlink=True)
            if isinstance(node, h5py.HardLink) and dice.random() < 0.8:
                file["entry/error"].attrs["units"] = dice.choice(("nm", "m", "waves", "rad"))


# ---- what measure and diagnose read


def _spectrum() -> str:
    x = np.arange(400) * 0.02 - 4
    light = 0.01 + sum(
        a * np.exp(-(((x - c) / 0.05) ** 2)) for a, c in ((1, -2), (0.5, 1), (0.2, 2))
    )
    return "x_mm,value\n" + "".join(f"{a:.3f},{b:.6f}\n" for a, b in zip(x, light, strict=True))


PROFILE = _spectrum()
LINES_OF_A_CIRCLE = (
    "order,degrees,minutes,seconds,name\n0,180,0,0,\n1,200,37,10,D2\n-1,159,22,50,D2\n"
    "2,224,45,30,D2\n"
)
_VERNIERS = (
    "order,degrees,minutes,seconds,degrees2,minutes2,seconds2,name\n0,180,0,0,0,0,12,\n"
    "1,200,37,10,20,37,20,D2\n-1,159,22,50,339,22,55,D2\n"
)
GHOSTS = "order,offset [orders],strength\n" + "".join(
    f"{m},{s / 96:.8f},{4e-5 * m * m:.4g}\n" for m in (1, 2) for s in (-1, 1)
)
_GHOST_LINES = (
    "order,line [nm],ghost [nm],strength,ghost error [nm],strength error\n"
    "1,546.075,551.763,5.7e-5,0.01,1e-6\n1,546.075,540.387,5.6e-5,0.01,1e-6\n"
    "2,546.075,548.919,2.2e-4,0.01,1e-6\n2,546.075,543.231,2.2e-4,0.01,1e-6\n"
)
_BENCH = ("--density", "600 / mm", "--camera", "1 m", "--viewing", "19.3 deg")
_BENCH_TABLES = (
    (PROFILE, ("measure", *_BENCH, "--element", "Hg")),
    (PROFILE, ("measure", *_BENCH, "--bright", "--json")),
    (PROFILE, ("measure", *_BENCH, "--dark", "--element", "sun")),
    (PROFILE, ("measure", *_BENCH, "--reference", "546.075 nm @ -2 mm", "--solve", "origin")),
    (LINES_OF_A_CIRCLE, ("measure", "--circle", "--density", "600 / mm")),
    (_VERNIERS, ("measure", "--circle", "--density", "600 / mm", "--json")),
    (GHOSTS, ("diagnose", "--pitch", "1.667 um")),
    (_GHOST_LINES, ("diagnose", "--json")),
)


def measurements(folder: Path) -> Work:
    """CSV profiles, settings of a circle and tables of ghosts."""
    path = folder / "mutant.csv"

    def work(seed: int) -> str:
        dice = random.Random(seed)
        written, (name, *options) = dice.choice(_BENCH_TABLES)
        path.write_bytes(table_changed(written, dice))
        return commanded(name, str(path), *options)

    return work


# ---- pictures


def pictures(folder: Path) -> Work:
    """Pictures as apertures, and as scanned plates."""
    from wavesim.scene import load

    furnish(folder)
    scene = {**GOOD["picture"], "plate": {**_SMALL_PLATE, "width": "30 mm"}}
    (folder / "scene.toml").write_text(edited(scene, "aperture.cell", "20 um"))

    def work(seed: int) -> str:
        dice = random.Random(seed)
        content, ending = _picture(dice)
        if dice.random() < 0.5:
            content = bytes_changed(content, dice)
        elif dice.random() < 0.3:
            content = _other_head(content, dice)
        if dice.random() < 0.5:
            for name in ("mask.png", "phase.png", "mutant.png"):
                (folder / name).write_bytes(content)
            return checked(load(folder / "scene.toml"), folder)
        path = folder / f"mutant{ending}"
        path.write_bytes(content)
        return commanded("measure", str(path), "--pixel", "10 um", *_BENCH)

    return work


def _picture(dice: random.Random) -> tuple[bytes, str]:
    """A picture of any mode, form and content."""
    from PIL import Image

    height, width = dice.choice(((24, 24), (24, 24), (1, 1), (1, 40), (40, 1), (3, 200), (200, 3)))
    grain = np.random.default_rng(dice.randrange(2**32))
    levels = grain.integers(0, 256, (height, width, 4), dtype=np.uint8)
    content = dice.choice((levels, levels, levels * 0, levels * 0 + np.uint8(255)))
    mode = dice.choice(("1", "L", "LA", "P", "RGB", "RGBA", "I;16", "I", "F", "CMYK", "L", "RGB"))
    grey = content[..., 0]
    if mode == "I;16":
        image = Image.fromarray(grey.astype(np.uint16) * 257)
    elif mode == "F":
        odd = dice.choice((1.0, np.nan, np.inf, -1.0, 1e30))
        image = Image.fromarray(np.where(grey > 9, np.float32(odd), grey.astype(np.float32)))
    elif mode == "I":
        image = Image.fromarray(grey.astype(np.int32) * dice.choice((1, -1, 2**20)))
    else:
        image = Image.fromarray(grey).convert("RGB").convert(mode)
    kinds = {"1": "PNG", "F": "TIFF", "I": "TIFF", "CMYK": "JPEG"}
    kind = kinds.get(mode) or dice.choice(("PNG", "PNG", "TIFF"))
    stream = io.BytesIO()
    image.save(stream, kind)
    return stream.getvalue(), {"PNG": ".png", "TIFF": ".tif", "JPEG": ".jpg"}[kind]


def _other_head(content: bytes, dice: random.Random) -> bytes:
    """A PNG that claims another size or depth, with a right checksum."""
    if not content.startswith(b"\x89PNG"):
        return content
    size = struct.pack(">II", *(dice.choice((0, 1, 23, 8192, 50_000, 2**31 - 1)) for _ in range(2)))
    rest = (
        content[24:29]
        if dice.random() < 0.7
        else bytes(dice.choice((1, 2, 3, 8, 16)) for _ in "abcde")
    )
    head = b"IHDR" + size + rest
    return content[:12] + head + struct.pack(">I", zlib.crc32(head)) + content[33:]


WORKSHOPS: dict[str, Callable[[Path], Work]] = {
    "plates": plates,
    "tables": tables,
    "displacements": displacements,
    "measurements": measurements,
    "pictures": pictures,
}
