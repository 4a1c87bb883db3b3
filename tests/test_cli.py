"""The commands as a user meets them: words, numbers, files, exit status."""

from __future__ import annotations

import json
import re
import shlex
import subprocess
import sys
from pathlib import Path

import h5py
import numpy as np
import pytest
from PIL import Image

import wavesim
from tests.bench import SMALL_SCENE
from wavesim import cli, lightpath
from wavesim.text import length, shutter


@pytest.fixture
def desk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with the scene three.toml, for the command to work in."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "three.toml").write_text(SMALL_SCENE)
    return tmp_path


class Run:
    """Status, output and complaints of one command line."""

    def __init__(self, line: str, capsys: pytest.CaptureFixture[str]) -> None:
        with pytest.raises(SystemExit) as end:
            cli.main(shlex.split(line))
        self.status = end.value.code
        self.out, self.err = capsys.readouterr()


# what a person must learn of an exposure, whatever the words
SUMMARY = (
    "Three slits", "3 slits", "200 x 20 pixels of 100 um", "ISO 100", "at white", "0.78 lx s",
    "orders -", "subsidiary maximum", "three.h5, three.png", "caution",
    "never look at the Sun", "supervisor",
)  # fmt: skip


@pytest.mark.usefixtures("desk")
def test_expose_tells_in_words(capsys: pytest.CaptureFixture[str]) -> None:
    run = Run("expose three.toml", capsys)
    record = " ".join(run.out.split())
    assert [fact for fact in SUMMARY if fact not in record] == []
    assert all(len(line) <= 80 for line in run.out.splitlines())
    assert (run.status, run.err) == (0, "")


def test_expose_alone_writes_plate_and_picture_here(
    desk: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = desk / "elsewhere"
    folder.mkdir()
    (desk / "three.toml").rename(folder / "three.toml")
    assert Run("expose elsewhere/three.toml", capsys).status == 0
    assert sorted(p.name for p in desk.iterdir()) == ["elsewhere", "three.h5", "three.png"]
    plate = wavesim.open_plate("three.h5")
    with Image.open("three.png") as picture:
        assert np.array_equal(np.asarray(picture), plate.picture())


@pytest.mark.parametrize(
    ("options", "files"),
    [
        ("-o a.h5", ["a.h5"]),
        ("--png a.png", ["a.png"]),
        ("-o a.h5 --png b.png", ["a.h5", "b.png"]),
    ],
)
def test_expose_writes_what_is_asked(
    options: str, files: list[str], desk: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    run = Run(f"expose three.toml {options}", capsys)
    assert run.status == 0
    assert f"written     {', '.join(files)}\n" in run.out
    assert sorted(p.name for p in desk.iterdir()) == [*files, "three.toml"]


def test_several_scenes_are_exposed_by_one_process(
    desk: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Each plate is the one that its scene alone makes; one JSON object tells of all."""
    text = (desk / "three.toml").read_text()
    (desk / "four.toml").write_text(text.replace("count = 3", "count = 4"))
    (desk / "out").mkdir()
    record = json.loads(Run("expose three.toml four.toml --folder out --json", capsys).out)
    assert [found["elements"] for found in record["plates"]] == [3, 4]
    assert Run("expose four.toml", capsys).status == 0
    together = wavesim.open_plate(desk / "out" / "four.h5")
    np.testing.assert_array_equal(together.xyz, wavesim.open_plate(desk / "four.h5").xyz)
    assert sorted(p.name for p in (desk / "out").iterdir()) == [
        "four.h5", "four.png", "three.h5", "three.png",
    ]  # fmt: skip


@pytest.mark.usefixtures("desk")
def test_expose_as_json(capsys: pytest.CaptureFixture[str]) -> None:
    record = json.loads(Run("expose three.toml -o a.h5 --json", capsys).out)
    plate = wavesim.open_plate("a.h5")
    assert record["scene_file"] == "three.toml"
    assert (record["plate_file"], record["picture_file"]) == ("a.h5", None)
    assert (record["elements"], record["pixels_x"], record["pixels_y"]) == (3, 200, 20)
    assert record["exposure_s"] == plate.exposure_s
    assert record["brightest"]["illuminance_lx"] == plate.illuminance_lx.max()
    # the automatic time makes the brightest pixel white, H = 78 / speed (ISO 12232)
    reached = record["brightest"]["illuminance_lx"] * record["exposure_s"]
    assert reached == pytest.approx(0.78, rel=1e-12)  # rounding of two products
    assert record["cautions"]
    assert set(record["stage_seconds"]) == set(plate.report.seconds)


def test_expose_replaces_what_was_there(desk: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (desk / "a.h5").write_text("an old file")
    assert Run("expose three.toml -o a.h5", capsys).status == 0
    assert h5py.is_hdf5("a.h5")


def test_schema_fits_the_shipped_scenes(desk: Path, capsys: pytest.CaptureFixture[str]) -> None:
    import tomllib

    import jsonschema

    printed = Run("schema", capsys)
    assert Run("schema -o s.json", capsys).status == 0
    assert (desk / "s.json").read_text(encoding="utf-8") == printed.out
    check = jsonschema.Draft202012Validator(json.loads(printed.out))
    scenes = Path(wavesim.__file__).parents[1] / "scenes"
    for scene in [desk / "three.toml", *scenes.glob("*.toml")]:
        check.validate(tomllib.loads(scene.read_text(encoding="utf-8")))
    assert not check.is_valid({"schema": 1})


@pytest.mark.slow
@pytest.mark.usefixtures("desk")
def test_sheet_of_scenes_and_plates(capsys: pytest.CaptureFixture[str]) -> None:
    Run("expose three.toml -o a.h5", capsys)
    run = Run("sheet three.toml a.h5 -o s.png --size web", capsys)
    assert run.status == 0
    assert run.out.startswith("written     2 plates in s.png\ncaution     Sunlight: never look")
    with Image.open("s.png") as picture:
        assert picture.width > 1000  # 8 inches on a screen of 192 dots per inch
    record = json.loads(Run("sheet a.h5 -o s.pdf --json", capsys).out)
    (caution,) = record.pop("cautions")
    assert caution.startswith("Sunlight: never look")
    assert record == {"sheet_file": "s.pdf", "plates": [{"file": "a.h5", "title": "Three slits"}]}


@pytest.mark.parametrize(
    ("line", "message"),
    [
        ("expos three.toml", "no command 'expos'; did you mean 'expose'?"),
        (
            "expose",
            "missing argument 'SCENE...'; expected a line such as: wavesim expose"
            " scenes/slits_005.toml; see wavesim expose --help",
        ),
        ("expose three.toml four.toml", "four.toml: there is no such file; expected a scene file"),
        ("expose three.toml three.toml", "three.h5: would be written twice; expected scenes"),
        ("expose three.toml x.toml -o a.h5", "a.h5: names one file, and there are 2 scenes"),
        ("expose three.toml --folder no", "three.h5: there is no folder"),
        ("expose a.h5", "a.h5: is already a plate file; expected a scene file (.toml)"),
        ("expose three.toml --png a", "a: has no file type; expected a name that ends in .png"),
        ("expose three.toml --png", "option '--png' requires an argument; see wavesim --help"),
        ("point three.toml --x '9,3 mm'", '"9,3 mm" has a decimal comma where a point belongs'),
        ("point three.toml --x 1 mm", """'--x': "1" has no unit; expected a length such as "9.3"""),
        ("point none.h5 --x '1 mm'", "none.h5: there is no such file; expected a plate file"),
        (
            "predict three.toml --wavelength 546",
            '"546" has no unit; expected a length such as "546',
        ),
        ("predict three.toml --wavelength '546 um'", "expected from 200 nm to 20 um"),
        ("predict three.toml --order 1.5", '"1.5" is not a whole number; expected one such as 2'),
        ("predict three.toml --order 999", "at 550 nm; expected an order from -163 to 163"),
        ("predict three.toml --ghosts-above 0", '"0" is out of range; expected a number above 0'),
        ("profile three.toml --span '1 mm'", "is not a number; expected a number from 0.01 to 50"),
        (
            "profile three.toml --table t.xlsx",
            "t.xlsx: has an unsupported file type (found '.xlsx')",
        ),
        ("tolerance three.toml", "expected --ghost, --diffuse or --resolving-power"),
        ("tolerance three.toml --ghost 5", "expected a number between 0 and 1"),
        (
            "diagnose g.csv --pitch '600 mm'",
            '"600 mm" is out of range; expected from 10 nm to 10 m',
        ),
        ("diagnose g.csv --pitch '0 / mm'", "is out of range; expected from 10 nm to 10 mm"),
        ("measure a.png", "a.png: --pixel: is needed: a picture carries no scale; expected"),
        ("measure a.h5 --pixel '80 um'", "--pixel applies to pictures, and a.h5 is not one"),
        ("measure a.h5 --density '600 / mm' --pitch '2 um'", "give the density or the pitch, once"),
        ("measure a.h5 --reference 546", """'--reference': "546" has no unit; expected a length"""),
        (
            "measure a.h5 --reference '546 nm @ 3'",
            '"3" has no unit; expected a length such as "-40',
        ),
        ("measure a.h5 --circle --camera '1 m'", "--camera cannot be combined with --circle"),
        ("measure a.h5 --reading-error '5 arcsec'", "--reading-error needs --circle"),
        ("measure a.h5 --least -1", "expected a number from 0 to 1"),
        ("measure a.h5 --incidence '95 deg'", "expected from -89.99 deg to 89.99 deg"),
        ("measure folder.h5", "cannot be read: Is a directory; expected a plate file"),
        ("compare three.toml --steps 1", '"1" is out of range; expected from 2 to 10,000'),
        ("compare three.toml --linear", "--linear: needs --vary; expected --vary and a key"),
        (
            "compare three.toml --vary aperture.pitch",
            "--from: is missing; expected both --from and",
        ),
        (
            "compare three.toml --vary aperture.pitch --from 20 --to '200 um'",
            "--to: is not the same kind of quantity as --from (found '200 um')",
        ),
        (
            "compare three.toml --vary aperture.pitch --from '1 deg' --to '2 deg'",
            'aperture.pitch: is an angle where a length belongs (found "1 deg")',
        ),
        (
            "compare three.toml --vary pitch --from '20 um' --to '200 um'",
            "pitch: does not belong here; expected pitch in [aperture]",
        ),
        ("figure three.toml --draw map --log", "--log needs --draw plate, not --draw map"),
        (
            "figure three.toml -o f.jpg",
            "f.jpg: has an unsupported file type (found '.jpg'); expected",
        ),
        ("animate three.toml --vary count=1,2", "count: does not belong here; expected count in"),
        ("animate three.toml --vary a.b.c=1 -o a.avi", "a.avi: has an unsupported file type"),
        (
            "animate three.toml --vary aperture.x.0.y=1",
            "leads nowhere in this scene; expected a key",
        ),
        (
            "animate three.toml --vary aperture.count=1 --vary plate.pixel=1",
            "--vary is given twice",
        ),
        ("expose three.toml -o a.h5 -o b.h5", "-o is given twice"),
        ("animate three.toml --vary aperture.count=1 --seconds 0", "a number from 0.02 to 600"),
        ("expose three.toml --pgn a", "no such option '--pgn'"),
        ("expose none.toml", "none.toml: there is no such file; expected a scene file"),
        ("expose .", ".: cannot be read: Is a directory; expected a scene file"),
        (
            "expose three.toml -o folder.h5",
            "folder.h5: is a folder; expected the name of a file to write",
        ),
        (
            "expose three.toml -o three.toml",
            "three.toml: has an unsupported file type (found '.toml'); "
            "expected a name that ends in .h5 or .hdf5 or .nxs",
        ),
        (
            "expose three.toml --png a.jpg",
            "a.jpg: has an unsupported file type (found '.jpg'); expected a name that ends in .png",
        ),
        ("expose three.toml -o no/a.h5", "expected an existing folder"),
        ("expose three.toml -o /proc/a.h5", "/proc/a.h5: "),
        ("diagnose three.toml", "three.toml: is not a table of ghosts; expected a CSV table"),
        ("expose three.toml -o device.h5", "device.h5: is not an ordinary file"),
        ("schema -o three.toml", "three.toml: has an unsupported file type"),
        ("sheet three.toml -o s.jpg", "s.jpg: has an unsupported file type"),
        ("sheet none.h5", "none.h5: "),
    ],
)
def test_wrong_input_is_one_sentence_and_status_2(
    line: str, message: str, desk: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (desk / "folder.h5").mkdir()
    (desk / "device.h5").symlink_to("/dev/null")
    (desk / "a.h5").touch()
    run = Run(line, capsys)
    assert run.status == 2
    assert message in run.err
    assert run.err.startswith("wavesim: ")
    assert run.err.count("\n") == 1
    assert run.out == ""
    assert (desk / "three.toml").read_text() == SMALL_SCENE


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("20 mm", "20", "three.toml: plate.width: "),
        ("20 mm", "20 s", "three.toml: plate.width: "),
        ("20 mm", "-20 mm", "three.toml: plate.width: "),
        ('count = 3', "count = 0", "three.toml: aperture.count: "),
        ('camera = "1 m"', 'camera = "1 m"\nviewing = "95 deg"', "three.toml: bench.viewing: "),
        ("pitch", "pich", "pitch"),
        ('"sun"', '"moon"', "three.toml: source.kind: "),
        ("schema = 1", "schema = 2", "three.toml: schema: "),
        ("[plate]", "[plate", "three.toml: line 18: has brackets that do not match (found [plate)"),
    ],
)  # fmt: skip
def test_a_wrong_scene_is_one_sentence_and_status_2(
    old: str, new: str, message: str, desk: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert old in SMALL_SCENE
    (desk / "three.toml").write_text(SMALL_SCENE.replace(old, new))
    run = Run("expose three.toml", capsys)
    assert run.status == 2
    assert message in run.err
    assert run.err.count("\n") == 1
    assert [p.name for p in desk.iterdir()] == ["three.toml"]


def test_a_plate_that_reaches_beyond_90_degrees_is_refused(
    desk: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    tilted = SMALL_SCENE.replace("[aperture]", 'viewing = "89.5 deg"\n[aperture]')
    (desk / "three.toml").write_text(tilted)
    run = Run("expose three.toml", capsys)
    assert run.status == 2
    assert "three.toml: plate.width: reaches 90.0729 deg" in run.err  # 89.5 deg + atan(10 mm / 1 m)


@pytest.mark.usefixtures("desk")
@pytest.mark.parametrize(
    ("error", "status", "message"),
    [
        (KeyboardInterrupt(), 130, "\nwavesim: interrupted\n"),  # a new line after ^C
        (wavesim.ComputationError("it diverged"), 1, "wavesim: it diverged\n"),
        (wavesim.LimitError("too much"), 2, "wavesim: too much\n"),
        (MemoryError(), 1, "wavesim: there is not enough free memory for this scene\n"),
        (
            ZeroDivisionError("division by zero"),
            1,
            "wavesim: an error in wavesim itself, please report it: ZeroDivisionError: "
            "division by zero (wavesim --debug ... shows where)\n",
        ),
    ],
    ids=lambda value: type(value).__name__,
)
def test_exit_status_when_the_computation_stops(
    error: BaseException,
    status: int,
    message: str,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    def fail(*_: object, **__: object) -> None:
        raise error

    monkeypatch.setattr(lightpath, "expose", fail)
    run = Run("expose three.toml", capsys)
    assert (run.status, run.err, run.out) == (status, message, "")


@pytest.mark.usefixtures("desk")
def test_debug_shows_where(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("WAVESIM_DEBUG", "0")  # restored afterwards
    run = Run("--debug expose none.toml", capsys)
    assert run.status == 2
    assert "Traceback" in run.err
    assert run.err.endswith("wavesim: none.toml: there is no such file; expected a scene file\n")


def test_a_title_cannot_steer_the_terminal(desk: Path, capsys: pytest.CaptureFixture[str]) -> None:
    sly = SMALL_SCENE.replace("Three slits", r"\u001b]0;owned\u0007 \u009b31m")
    (desk / "three.toml").write_text(sly)
    run = Run("expose three.toml", capsys)
    assert run.status == 0
    assert not re.search(r"[\x00-\x09\x0b-\x1f\x7f-\x9f]", run.out)


COMMANDS = sorted(cli._COMMANDS)


def examples(help_page: str) -> list[str]:
    """The command lines at the end of a help page, continued ones joined."""
    _, _, lines = help_page.partition(
        "  Examples:\n" if "Examples:" in help_page else "  Example:\n"
    )
    return [line.strip() for line in lines.replace("\\\n", " ").splitlines() if line.strip()]


@pytest.mark.parametrize("command", ["", *COMMANDS])
@pytest.mark.slow
def test_examples_of_help_run_as_they_stand(
    command: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    (tmp_path / "scenes").symlink_to(Path(wavesim.__file__).parents[1] / "scenes")
    monkeypatch.chdir(tmp_path)
    if command == "live":
        monkeypatch.setattr("wavesim.live.starting.served", lambda *_, **__: None)
    lines = examples(Run(f"{command} --help", capsys).out)
    assert lines
    for line in lines:
        run = Run(line.removeprefix("wavesim "), capsys)
        assert (run.status or 0, run.err) == (0, ""), line


@pytest.mark.parametrize("command", ["", *COMMANDS])
@pytest.mark.parametrize("columns", ["80", "100"])
def test_help_fits_the_terminal(
    command: str, columns: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("COLUMNS", columns)
    page = Run(f"{command} --help", capsys).out
    assert max(map(len, page.splitlines())) <= int(columns)
    assert "..." not in re.sub(r"[A-Z\]](\.csv)?\.\.\.", "", page)  # no sentence cut short
    assert not re.search("RANGE|FLOAT|INTEGER|TEXT|PATH", page)  # words of programmers


def test_help_without_a_command(capsys: pytest.CaptureFixture[str]) -> None:
    run = Run("", capsys)
    assert (run.status, run.err) == (0, "")
    assert run.out == Run("--help", capsys).out


@pytest.mark.parametrize("command", ["", *COMMANDS])
def test_help_has_an_example(command: str, capsys: pytest.CaptureFixture[str]) -> None:
    run = Run(f"{command} --help", capsys)
    assert run.status == 0
    assert re.search(rf"\n  Examples?:\n(.*\n)*    wavesim {command}", run.out)
    assert command in ("", "schema") or "--json" in run.out


def test_help_imports_nothing_heavy() -> None:
    code = (
        "import sys\nfrom wavesim.cli import main\ntry:\n    main(['--help'])\n"
        "finally:\n    heavy = {'numpy', 'numba', 'scipy', 'pydantic', 'h5py', 'rich', 'PIL'}\n"
        "    print(sorted(heavy & set(sys.modules)), file=sys.stderr)"
    )
    ran = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert ran.stderr == "[]\n"
    assert "expose" in ran.stdout


@pytest.mark.usefixtures("desk")
def test_expose_imports_only_what_it_needs() -> None:
    code = (
        "import sys\nfrom wavesim.cli import main\ntry:\n    main(['expose', 'three.toml'])\n"
        "finally:\n    heavy = {'matplotlib', 'pandas', 'rich', 'colour', 'pint', 'tifffile',\n"
        "             'scipy.special', 'scipy.optimize', 'wavesim.figures'}\n"
        "    print(sorted(heavy & set(sys.modules)), file=sys.stderr)"
    )
    ran = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert ran.stderr == "[]\n"


def test_the_module_is_the_command() -> None:
    line = [sys.executable, "-m", "wavesim", "--version"]
    ran = subprocess.run(line, capture_output=True, text=True, check=True)
    assert ran.stdout == f"wavesim {wavesim.__version__}\n"


@pytest.mark.parametrize(
    ("seconds", "said"),
    [
        (0.0231, "1/43 s"), (1 / 2, "0.5 s"), (0.25, "1/4 s"), (1 / 12345, "1/12000 s"),
        (3e-6, "3 us"), (1.3e-7, "130 ns"), (2e-9, "2 ns"), (1.0, "1 s"), (2.46, "2.5 s"),
        (59.0, "59 s"), (200.4, "3 min 20 s"), (7200.0, "2 h"), (1e6, "12 days"), (0.0, "0 s"),
    ],
)  # fmt: skip
def test_exposure_times_as_photographers_say_them(seconds: float, said: str) -> None:
    assert shutter(seconds) == said


@pytest.mark.parametrize(
    ("metres", "said"),
    [(25e-6, "25 um"), (0.0375, "37.5 mm"), (-12.5e-6, "-12.5 um"), (5e-7, "500 nm"), (0, "0 mm")],
)
def test_lengths_in_a_fitting_unit(metres: float, said: str) -> None:
    assert length(metres) == said
