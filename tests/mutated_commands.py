"""Mutated command lines: options wrong, odd, extreme, doubled or missing, and names of any kind.

Every line is run as the program runs it, in this process: it ends with 0, 1 or 2; a refusal is one
line and leaves no file behind; what is written is whole; what was read stays as it was.
"""

from __future__ import annotations

import contextlib
import importlib
import io
import itertools
import json
import os
import random
import re
import struct
import tomllib
from collections.abc import Callable
from pathlib import Path

import click
import numpy as np

from tests.mutated_doors import rigorous_scene
from tests.mutated_files import GHOSTS, LINES_OF_A_CIRCLE, PROFILE
from tests.mutated_scenes import SceneMutator
from tests.mutations import ROOT

Work = Callable[[int], str]

_BENCH = ("--density", "600 / mm", "--camera", "1 m", "--viewing", "19.3 deg")
_FIT = ("fit", "pair.toml", "pair.png", "--free")
_RIGOROUS = ("efficiency", "rigorous.toml", "--points", "3")
_GOOD: tuple[tuple[str, ...], ...] = (
    ("expose", "bench.toml"),
    ("expose", "bench.toml", "-o", "out.h5", "--png", "out.png", "--precision", "single"),
    ("expose", "bench.toml", "grating.toml", "--folder", "sub"),
    ("develop", "plate.h5", "--stops", "-1", "--stops", "1", "-o", "out.png"),
    ("develop", "plate.h5", "--tone", "log", "--decades", "5", "-o", "out.tif"),
    ("develop", "plate.h5", "--negative", "--fog", "0.3", "--reciprocity", "0.85"),
    ("develop", "plate.h5", "--curve", "curve.csv", "--reciprocity", "late.csv"),
    ("develop", "plate.h5", "--grain", "0.01", "--halation", "0.03", "--halo", "60 um", "--seed",
     "3", "--noise"),
    ("develop", "plate.h5", "--space", "rec2020", "--depth", "32", "-o", "out.tif"),
    ("develop", "bench.toml", "--keep", "luminance", "--depth", "16"),
    ("point", "bench.toml", "--x", "3 mm"),
    ("point", "plate.h5", "--angle", "0.2 deg", "--figure", "out.svg"),
    ("predict", "grating.toml", "--wavelength", "546.1 nm", "--order", "1", "--ghosts-above",
     "1e-5"),
    ("profile", "grating.toml", "--order", "1", "--span", "0.5", "--table", "out.csv"),
    ("profile", "plate.h5", "--ghosts", "found.csv", "--figure", "out.png"),
    ("tolerance", "grating.toml", "--ghost", "1e-3", "--diffuse", "0.1%", "--period", "50"),
    ("tolerance", "grating.toml", "--resolving-power", "500", "--workers", "1"),
    ("diagnose", "ghosts.csv", "--pitch", "600 / mm"),
    ("measure", "line.csv", *_BENCH, "--element", "Hg", "--csv", "out.csv"),
    ("measure", "line.csv", *_BENCH, "--reference", "546.075 nm @ -2 mm", "--solve", "origin"),
    ("measure", "plate.h5", "--dark", "--least", "0.1", "--all", "--order", "1"),
    ("measure", "out.png", "--pixel", "100 um", "--left", "-10 mm", "--rows", "0.2", "0.8",
     "--encoding", "srgb", "--density", "90 um", "--camera", "1 m", "--bright"),
    ("measure", "circle.csv", "--circle", "--density", "600 / mm", "--reading-error", "5 arcsec"),
    (*_RIGOROUS, "--from", "500 nm", "--to", "520 nm", "-o", "out.csv"),
    (*_RIGOROUS, "--wavelength", "546.1 nm", "--turn-from", "5 deg", "--turn-to", "8 deg"),
    (*_RIGOROUS, "--order", "1", "--conical", "10 deg", "--figure", "out.png", "--from", "500 nm"),
    ("compare", "bench.toml", "--only", "order-places", "--steps", "2", "-o", "out.h5"),
    ("compare", "bench.toml", "--only", "small-angles", "--vary", "aperture.pitch", "--from",
     "80 um", "--to", "100 um", "--steps", "2", "--linear", "--figure", "out.png"),
    (*_FIT, "aperture.width", "--pixel", "160 um", "-o", "out.toml"),
    (*_FIT, "aperture.width=20 um..90 um", "--width", "48 mm", "--left-edge", "-24 mm", "--axis",
     "0 deg", "--tone", "srgb", "--figure", "out.png"),
    (*_FIT, "aperture.pitch", "--scale", "10..290 = 44.8 mm"),
    ("study", "study.toml", "-o", "out.h5", "--workers", "1"),
    ("study", "study.toml", "--dry-run", "--workers", "1"),
    ("study", "study.h5", "--json"),
    ("study", "study.h5", "--member", "1"),
    ("figure", "plate.h5", "--draw", "map", "-o", "out.pdf"),
    ("figure", "bench.toml", "--mark", "lines", "--log", "--title", "Slits", "--size", "web"),
    ("figure", "study.h5", "--draw", "distribution", "--number", "brightest"),
    ("sheet", "plate.h5", "bench.toml", "--title", "Two", "--size", "a4", "--bar"),
    ("animate", "bench.toml", "--vary", "aperture.count=1,2", "--seconds", "0.5", "-o", "out.gif"),
    ("animate", "bench.toml", "--vary", "aperture.width=30 um, 50 um", "--one-time", "-o",
     "out.png", "--workers", "1"),
    ("live", "bench.toml", "--no-browser", "--port", "0"),
    ("live", "plate.h5", "--share", "--json", "--no-browser", "--port", "0"),
    ("keys",), ("keys", "aperture.pitch"), ("keys", "--markdown", "-o", "out.md"),
    ("schema", "-o", "out.json"), ("schema",), (), ("--version",), ("--debug", "keys", "plate"),
)  # fmt: skip

_NAMES = ("bench.toml", "grating.toml", "plate.h5", "study.h5", "study.toml", "line.csv",
          "ghosts.csv", "pair.png", "-dash.toml", "./-dash.toml", "two words.toml",
          "\N{GREEK SMALL LETTER ALPHA}\N{PILE OF POO}.toml", "missing.toml", "missing.h5", "sub",
          "sub/out.png", "nowhere/out.h5", "bench.toml/out.png", "out.png", "out.h5", "out.OUT",
          "out", ".png", "", " ", ".", "..", "-", "--", "/dev/null", "/dev/full",
          "x" * 260 + ".png", "x" * 250 + ".h5", "\udcff.png", "new\nline.png", "~", "*.toml",
          "\N{GREEK SMALL LETTER ALPHA}.h5", "-o.png", "sub/../out.svg", "pipe")  # fmt: skip
_ODD = ("", "nan", "inf", "-inf", "0", "-1", "1e400", "-0.0", "1e-320", "9" * 400, "1_0", "0x10",
        "1,5", "true", "None", "5", "0.5", "2", "1..2", "3 mm..2 mm", "=", "a=b", "aperture=1",
        "aperture.count=", "aperture.count=0,1", "plate.pixel=0.1 mm,x", "100%", "-5%", "1 %",
        "546 nm", "1 m", "-3 mm", "30 deg", "1e9 m", "600 / mm", "0 / mm", "1 / m", "D1", "Q9",
        "D1 @ 1 mm", "1..300 = 5 mm", "9..1 = 1 mm", "1 = 400 nm, 9 = 500 nm", "1..x = 5 mm",
        "\u202e", "x" * 3000, "'; --", "\N{ARABIC-INDIC DIGIT THREE}", "\x1b[31m",
        "aperture.slits", "source.kind=laser", "title=a,b", "order-places", "srgb", "2.2", "fitted",
        "film")  # fmt: skip
_COSTLY = {"--steps", "--points", "--workers", "--cluster"}  # of these, no value that asks for much
_DEAR = re.compile(r"\d{2,}|[3-9]|e")


def arguments(folder: Path) -> Work:
    """Command lines, run in a folder that holds one file of each kind."""
    furnish_all(folder)
    before = {path.name: path.read_bytes() for path in folder.iterdir() if path.is_file()}
    mutator, commands = SceneMutator(), _options()
    cli = importlib.import_module("wavesim.cli")
    _hold_back(cli)
    os.chdir(folder)

    def work(seed: int) -> str:
        dice = random.Random(seed)
        args = _mutated(list(dice.choice(_GOOD)), commands, mutator, dice)
        (folder / "mutant.txt").write_text("\n".join(args), errors="surrogateescape")
        try:
            return _checked(cli, args, folder, before)
        finally:
            _restored(folder, before)

    return work


# ---- the folder


def furnish_all(folder: Path) -> None:
    """A file of every kind that a command reads."""
    from PIL import Image

    from tests.bench import SMALL_SCENE
    from tests.drawn_patterns import Camera, slits
    from wavesim.ensemble import load_plan, run_study
    from wavesim.lightpath import expose
    from wavesim.scene import parse

    (folder / "sub").mkdir()
    os.mkfifo(folder / "pipe")
    for name in ("bench.toml", "-dash.toml", "two words.toml", _NAMES[11]):
        (folder / name).write_text(SMALL_SCENE)
    grating = SMALL_SCENE.replace(
        'kind = "slits"\ncount = 3\nwidth = "40 um"\npitch = "90 um"',
        'kind = "grating"\ncount = 500\ndensity = "600 / mm"\n'
        'defects = [{ kind = "periodic", amplitude = "8 nm", period = 50 }]',
    ).replace('camera = "1 m"', 'camera = "1 m"\nviewing = "19.3 deg"')
    (folder / "grating.toml").write_text(grating)
    (folder / "rigorous.toml").write_text(rigorous_scene('material = "silver"'))
    (folder / "study.toml").write_text(_STUDY)
    run_study(load_plan(folder / "study.toml"), folder / "study.h5", workers=1)
    plate = expose(parse(SMALL_SCENE))
    plate.save(folder / "plate.h5")
    plate.save_png(folder / "out.png")
    (folder / "line.csv").write_text(PROFILE)
    (folder / "circle.csv").write_text(LINES_OF_A_CIRCLE)
    (folder / "ghosts.csv").write_text(GHOSTS)
    (folder / "curve.csv").write_text("log_exposure,density\n-3,0.1\n-1,0.8\n0,1.5\n1,2.1\n")
    (folder / "late.csv").write_text("metered_s,corrected_s\n1,1\n10,20\n100,500\n")
    x = np.linspace(-0.02392, 0.02392, 300, dtype=np.float64)
    light = slits(x, width_m=41e-6, pitch_m=157e-6, count=2, wavelength_m=632.8e-9)
    drawn = Camera(rows=12).of_line(light, np.random.default_rng(1))
    Image.fromarray(drawn).save(folder / "pair.png")
    scene = (ROOT / "scenes" / "photographs" / "pair.toml").read_text()
    (folder / "pair.toml").write_text(scene)


_STUDY = """schema = 1
scene = "bench.toml"
[[vary]]
key = "aperture.width"
values = ["30 um", "40 um", "50 um"]
[record]
numbers = ["brightest"]
"""


def _restored(folder: Path, before: dict[str, bytes]) -> None:
    """The folder as it was."""
    for path in [*folder.iterdir(), *(folder / "sub").iterdir()]:
        if path.parent != folder or path.name not in before:
            _removed(path)
    for name, content in before.items():
        if not (folder / name).is_file() or (folder / name).read_bytes() != content:
            (folder / name).write_bytes(content)


def _removed(path: Path) -> None:
    import shutil

    if path.name in ("sub", "pipe", "mutant.txt"):
        return
    shutil.rmtree(path) if path.is_dir() else path.unlink()


def _hold_back(cli: object) -> None:
    """Serve nobody, and let an error that nobody expected through to the judge."""
    from wavesim.live import starting

    def raised(error: BaseException) -> int:
        raise error

    def closed(bench: starting.Opened, **_: object) -> None:
        bench.listening.close()
        bench.server.pool.shutdown(wait=True)

    vars(cli)["_internal"] = raised
    vars(starting)["served"] = closed


# ---- the lines


def _options() -> dict[str, list[click.Option]]:
    """The options of every command."""
    names = importlib.import_module("wavesim.cli").__dict__["_COMMANDS"]
    found = {}
    for name in names:
        command = importlib.import_module(f"wavesim.cli.{name}").command
        found[name] = [param for param in command.params if isinstance(param, click.Option)]
    return found


def _mutated(
    args: list[str],
    commands: dict[str, list[click.Option]],
    mutator: SceneMutator,
    dice: random.Random,
) -> list[str]:
    for _ in range(dice.choice((0, 1, 1, 1, 2, 2, 3))):
        index = dice.randrange(len(args) + 1)
        match dice.randrange(9):
            case 0:
                del args[index : index + dice.choice((1, 1, 2))]
            case 1:
                args[index:index] = args[index - 1 : index + 1]
            case 2 if args:
                other = dice.randrange(len(args))
                args[index - 1], args[other] = args[other], args[index - 1]
            case 3 | 4 if args and (own := commands.get(args[0])):
                args[index or 1 : index or 1] = _option(dice.choice(own), mutator, dice)
            case 5 if index > 1:
                args[index - 1] = dice.choice(_NAMES)
            case 6 if args:
                args[-1] = dice.choice(_NAMES)
            case 7 if index > 1:
                name = args[index - 1]
                odd = name + dice.choice(("=", "=1", "s", " ", ","))
                args[index - 1] = dice.choice((name[:-1], name.upper(), odd))
            case _ if index > 1:
                args[index - 1] = _odd(args[index - 1], mutator, dice)
    cheap = ("1" if k and args[k - 1] in _COSTLY and _DEAR.search(a) else a
             for k, a in enumerate(args))  # fmt: skip
    return [arg.replace("\0", "") for arg in cheap]


def _option(option: click.Option, mutator: SceneMutator, dice: random.Random) -> list[str]:
    """An option of the command, mostly with a value that it may take."""
    name = dice.choice((*option.opts, *option.secondary_opts))
    if option.is_flag or "--cluster" in option.opts:
        return [name] if option.is_flag else []
    kind = option.type
    good = list(kind.choices) if isinstance(kind, click.Choice) else []
    shown = getattr(kind, "shown", "").strip('"')
    good += [shown] if shown and not shown.isupper() else [dice.choice(_ODD), dice.choice(_NAMES)]
    value = str(dice.choice(good)) if dice.random() < 0.6 else _odd(shown, mutator, dice)
    return [f"{name}={value}"] if dice.random() < 0.2 else [name, value]


def _odd(arg: str, mutator: SceneMutator, dice: random.Random) -> str:
    """Another value: a number some decades off, an odd one, or one of a scene."""
    number = re.search(r"\d+(\.\d+)?", arg)
    if number and dice.random() < 0.5:
        factor = dice.choice((0.0, -1.0, 0.5, 1.1, 3.0, 10.0 ** dice.randint(-12, 12)))
        return f"{arg[: number.start()]}{float(number[0]) * factor:g}{arg[number.end() :]}"
    return dice.choice(_ODD) if dice.random() < 0.8 else str(mutator.value(dice))


# ---- what comes of them


def _checked(cli: object, args: list[str], folder: Path, before: dict[str, bytes]) -> str:
    from wavesim.errors import InputError

    os.environ.pop("WAVESIM_DEBUG", None)  # --debug sets it for the whole process
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        status = vars(cli)["_run"](list(args))
    output, errors = out.getvalue(), err.getvalue()
    written = _written(folder, before)
    for path in written:
        check_whole(path)
    _check_inputs(args, folder, before)
    if status == 0:
        _check_output(args, output, errors)
        return f"{' '.join(args)[:60]}: {len(output)} letters, {len(written)} files"
    if "--debug" in args:
        errors = errors[errors.rfind("wavesim: ") :]  # after the traceback
    if status not in (1, 2) or not re.fullmatch(r"wavesim: [^\n]+\n", errors):
        raise ValueError(f"status {status} with {errors[-300:]!r}")
    if status == 2 and written and args[0] not in ("study", "expose"):
        raise ValueError(f"refused, and wrote {[path.name for path in written]}: {errors}")
    raise InputError(errors.strip()[:300])


def _check_output(args: list[str], output: str, errors: str) -> None:
    silent = args[:1] in (["keys"], ["schema"])  # written to the file that -o names, or on paper
    if errors or not (output.strip() or silent):
        raise ValueError(f"says {output[:100]!r}, and complains {errors[:300]!r}")
    if found := re.search(r".*\b(nan|inf)\b.*", output):
        raise ValueError(f"says {found[0][:200]!r}")
    if "--json" in args and output.lstrip()[:1] in ("{", "["):
        json.loads(output, parse_constant=_no_number)


def _no_number(name: str) -> float:
    raise ValueError(f"JSON holds {name}")


def _written(folder: Path, before: dict[str, bytes]) -> list[Path]:
    """Files that were not there, or are not the same."""
    found = []
    for path in [*folder.iterdir(), *(folder / "sub").iterdir()]:
        old = before.get(path.name) if path.parent == folder else None
        if path.name == "mutant.txt" or not path.is_file():
            continue
        if old is None or path.read_bytes() != old:
            found.append(path)
    return found


def _check_inputs(args: list[str], folder: Path, before: dict[str, bytes]) -> None:
    """What a line names as an input is not written over."""
    outputs = {b for a, b in itertools.pairwise(args) if a.startswith("-")}
    outputs |= {arg.partition("=")[2] for arg in args if arg.startswith("-")}
    for name, content in before.items():
        path = folder / name
        if not path.is_file() or path.read_bytes() != content:
            inputs = [k for k, arg in enumerate(args) if arg == name and
                      not (k and args[k - 1].startswith("-"))]  # fmt: skip
            if inputs or name not in {Path(output).name for output in outputs} | {"out.png"}:
                raise ValueError(f"{name} was written over by {args}")


def check_whole(path: Path) -> None:
    """Open a file as far as its kind goes."""
    content = path.read_bytes()
    if path.name.endswith(".wavesim-part") or not content:
        raise ValueError(f"{path.name!r} was left behind, {len(content)} bytes")
    match path.suffix.lower():
        case ".png" | ".gif" | ".webp":
            _check_picture(path)
        case ".tif" | ".tiff":
            _check_tiff(content)
        case ".h5" | ".hdf5" | ".nxs":
            import h5py

            with h5py.File(path) as file:
                file.visititems(lambda _, node: node[()] if isinstance(node, h5py.Dataset) else 0)
        case ".json":
            json.loads(content)
        case ".toml":
            tomllib.loads(content.decode())
        case ".svg":
            if b"</svg>" not in content[-20:]:
                raise ValueError(f"{path.name} has no end")
        case ".pdf":
            if b"%%EOF" not in content[-20:]:
                raise ValueError(f"{path.name} has no end")


def _check_picture(path: Path) -> None:
    from PIL import Image

    with Image.open(path) as image:
        for frame in range(getattr(image, "n_frames", 1)):
            image.seek(frame)
            image.load()


def _check_tiff(content: bytes) -> None:
    """Its strips lie within it: Pillow opens none of three floating-point numbers a pixel."""
    offset = int.from_bytes(content[4:8], "little")
    fields = {}
    for k in range(int.from_bytes(content[offset : offset + 2], "little")):
        tag, kind, count, value = struct.unpack_from("<HHII", content, offset + 2 + 12 * k)
        fields[tag] = (kind, count, value & 0xFFFF if kind == 3 and count == 1 else value)
    (_, offsets, first), (_, counts, length) = fields[273], fields[279]
    if content[:4] != b"II*\0" or (offsets == counts == 1 and first + length > len(content)):
        raise ValueError("a TIFF file cut short")


WORKSHOPS = {"arguments": arguments}
