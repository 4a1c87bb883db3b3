"""Mutated scene texts, exposed and asked about."""

from __future__ import annotations

import copy
import random
import re
import shutil
import tomllib
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from tests.mutations import ROOT
from tests.narrowing import known
from tests.scene_texts import GOOD, Table, leaves, text

if TYPE_CHECKING:
    from wavesim.scene import Scene

SHIPPED = {path.stem: path for path in sorted((ROOT / "scenes").glob("*.toml"))}
COLUMNS, ROWS = 48, 5  # of the shrunk plates
MOST_RULINGS = 600  # of the shrunk gratings

NEWEST = (  # of the good scenes: drawn three times as often
    "turned slit", "slit like a wedge", "single lens", "lens with a rim", "beam aside", "achromat",
    "turned plate", "trapezoidal", "multilevel", "rigorous trapezoid", "rigorous levels",
    "rigorous table", "another observer", "sensor", "sensor of a table", "film", "film of a table",
)  # fmt: skip

_UNITS = ("m", "mm", "um", "nm", "pm", "deg", "arcsec", "rad", "K", "degC", "s", "1 / mm", "Pa",
          "kPa", "lx", "cd/m^2", "%", "ppm", "waves", "furlong", "kg", "W", "")  # fmt: skip
_WORDS = ("", "auto", "sun", "slits", "grating", "disc", "Na", "none", "independent", "waves",
          "\N{MICRO SIGN}m", "\N{GREEK SMALL LETTER MU}m", "\N{PILE OF POO}", "\u202e", "\0", "\n",
          "../../etc/passwd", "/dev/zero", ".", "lamp.csv", "mask.png", "x" * 5000)  # fmt: skip
_NUMBERS = (0, 1, -1, 2, 7, 0.5, 1e-300, 1e300, -1e300, 10**9, 10_000_000, -(10**18), 2**63,
            10**400, float("nan"), float("inf"), -float("inf"), 5e-324, -0.0)  # fmt: skip


def shrunk(scene: Table) -> Table:
    """The same scene on few pixels over the same plate, with fewer rulings."""
    from wavesim.scene.units import measure

    scene = copy.deepcopy(scene)
    plate = scene.get("plate")
    if isinstance(plate, dict) and "width" in plate:
        pixel = measure(str(plate["width"])).value / COLUMNS
        plate.update(pixel=f"{pixel:.6g} m", height=f"{pixel * ROWS:.6g} m")
    found: list[Table] = []
    _gather(scene, found)
    for table in found:
        for key, most in (("count", MOST_RULINGS), ("count_x", 7), ("count_y", 6)):
            if isinstance(table.get(key), int):
                table[key] = min(int(str(table[key])), most)
        if table.get("kind") == "dots":
            table["count"] = 20
        if "ruled_width" in table:
            table["ruled_width"] = "0.2 mm"
    return scene


def seeds_of_scenes() -> dict[str, Table]:
    """Shipped scenes and the tests' good ones, shrunk; the costly ones in a narrow band."""
    shipped = {name: tomllib.loads(path.read_text("utf-8")) for name, path in SHIPPED.items()}
    good = {name: shrunk(scene) for name, scene in {**shipped, **GOOD}.items()}
    for scene in good.values():
        _narrow(scene)
        if scene["aperture"].get("obstacle"):  # type: ignore[attr-defined]
            scene["source"] = copy.deepcopy(GOOD["laser"]["source"])
    good["rigorous"]["source"]["filters"] = [  # type: ignore[index]
        {"kind": "polariser", "axis": "45 deg"}  # crossed, it lets nothing through
    ]
    return good


_BROAD = ("sun", "blackbody", "illuminant", "led")
_BEAM = ("slit", "disc", "polarisation", "filters")
_NARROW: Table = {"kind": "band", "centre": "550 nm", "width": "2 nm"}
_COSTLY_BENCH = {"plate_tilt", "plate_tip", "camera_lens", "collimator_lens", "defocus",
                 "aberrations", "source_distance", "plate_distance"}  # fmt: skip


def _narrow(scene: Table) -> None:
    """Put a band of 2 nm in the place of broad light where that would be long to compute."""
    with suppress(KeyError, TypeError, AttributeError):  # a mutant need be no scene
        source: Table = scene["source"]  # type: ignore[assignment]
        if source.get("kind") in _BROAD and _costly(scene):
            scene["source"] = {k: v for k, v in source.items() if k in _BEAM} | _NARROW


def _costly(scene: Table) -> bool:
    """Whether it is computed in the plane, near by, at several distances, or rigorously."""
    source: Table = scene["source"]  # type: ignore[assignment]
    bench: Table = scene["bench"]  # type: ignore[assignment]
    aperture: dict[str, Any] = scene["aperture"]  # type: ignore[assignment]
    flat = aperture["kind"] not in ("slits", "wires", "grating") or "disc" in source
    kinds = {defect["kind"] for defect in aperture.get("defects", [])}
    rigorous = aperture.get("groove", {}).get("theory") == "rigorous"
    return flat or rigorous or bool(_COSTLY_BENCH & set(bench) or {"fan", "bow"} & kinds)


class SceneMutator:
    """Texts of wrong, odd and extreme scenes, the same for the same seed."""

    def __init__(self) -> None:
        self.good = seeds_of_scenes()
        self.names = sorted(self.good)
        self.stock = (*self.names, *NEWEST, *NEWEST)
        self.leaves = [pair for name in self.names for pair in leaves(self.good[name])]
        self.parts: dict[str, list[object]] = {}
        for name in self.names:
            for key, value in self.good[name].items():
                self.parts.setdefault(key, []).append(value)
        self.parts["defects"] = [
            scene["aperture"]["defects"]  # type: ignore[index]
            for scene in self.good.values()
            if "defects" in scene["aperture"]  # type: ignore[operator]
        ]

    def text(self, seed: int) -> str:
        dice = random.Random(seed)
        scene = copy.deepcopy(self.good[dice.choice(self.stock)])
        for _ in range(dice.choice((1, 1, 1, 2, 2, 3, 5))):
            dice.choice(_TABLE_CHANGES)(self, scene, dice)
        if seed % 20:
            _narrow(scene)
        written = text(scene)
        if dice.random() < 0.3:
            for _ in range(dice.choice((1, 1, 2, 4))):
                written = dice.choice(TEXT_CHANGES)(written, dice)
        return written

    # ---- changes of tables

    def scale(self, scene: Table, dice: random.Random) -> None:
        """A number a little or many decades off; most such scenes are still scenes."""
        table, key, value = self._leaf(scene, dice)
        factor = dice.choice((0.5, 0.9, 1.1, 2, 3, 10, -1, 10.0 ** dice.randint(-12, 12)))
        if isinstance(value, str) and (found := re.match(r"-?[0-9.]+(e-?[0-9]+)?", value)):
            table[key] = f"{float(found[0]) * factor:.6g}{value[found.end() :]}"
        elif isinstance(value, (int, float)) and not isinstance(value, bool):
            table[key] = round(value * factor) if isinstance(value, int) else value * factor

    def replace(self, scene: Table, dice: random.Random) -> None:
        table, key, _ = self._leaf(scene, dice)
        table[key] = self.value(dice)

    def drop(self, scene: Table, dice: random.Random) -> None:
        table, key, _ = self._leaf(scene, dice)
        del table[key]

    def cross(self, scene: Table, dice: random.Random) -> None:
        """A key's value from another scene, at the same key or at another."""
        table, key, _ = self._leaf(scene, dice)
        alike = [value for name, value in self.leaves if name.endswith(f".{key}")]
        pool = alike if alike and dice.random() < 0.7 else [value for _, value in self.leaves]
        table[key] = copy.deepcopy(dice.choice(pool))

    def graft(self, scene: Table, dice: random.Random) -> None:
        """A whole table from another scene."""
        key = dice.choice(("source", "bench", "aperture", "aperture", "plate", "exposure"))
        scene[key] = copy.deepcopy(dice.choice(self.parts[key]))

    def harm(self, scene: Table, dice: random.Random) -> None:
        """Defects of another ruling."""
        aperture = scene.get("aperture")
        if isinstance(aperture, dict):
            found = aperture.setdefault("defects", [])
            if isinstance(found, list):
                found += copy.deepcopy(dice.choice(self.parts["defects"]))  # type: ignore[arg-type]

    def add(self, scene: Table, dice: random.Random) -> None:
        """A key that stands elsewhere, or nowhere."""
        table = self._table(scene, dice)
        name, value = dice.choice(self.leaves)
        key = name.rpartition(".")[2]
        if re.fullmatch(r"\w+", key):
            table[key] = copy.deepcopy(value)

    def move(self, scene: Table, dice: random.Random) -> None:
        """A table inside another, or in a list, or a hundred lists."""
        table = self._table(scene, dice)
        if table:
            key = dice.choice(sorted(table))
            for _ in range(dice.choice((1, 1, 2, 100))):
                table[key] = dice.choice(([table[key]], {key: table[key]}))

    def value(self, dice: random.Random) -> object:
        number = dice.choice(_NUMBERS)
        return dice.choice((
            number,
            dice.choice(_WORDS),
            f"{number} {dice.choice(_UNITS)}",
            f"{dice.uniform(-5, 500):.3g} {dice.choice(_UNITS)}",
            f"1/{number} {dice.choice(_UNITS)}",
            dice.choice((True, False)),
            [],
            {},
            [number] * dice.randint(1, 3),
            list(range(dice.choice((3, 20_000)))),
            {"kind": dice.choice(_WORDS[:11])},
        ))  # fmt: skip

    def _table(self, scene: Table, dice: random.Random) -> Table:
        found: list[Table] = []
        _gather(scene, found)
        return dice.choice(found)

    def _leaf(self, scene: Table, dice: random.Random) -> tuple[Table, str, object]:
        tables: list[Table] = []
        _gather(scene, tables)
        pairs = [
            (table, key)
            for table in tables
            for key, value in table.items()
            if not isinstance(value, dict)
        ]
        if not pairs:
            return {"x": 1}, "x", 1
        table, key = dice.choice(pairs)
        return table, key, table[key]


def _gather(value: object, found: list[Table]) -> None:
    if isinstance(value, dict):
        found.append(value)
        for inner in value.values():
            _gather(inner, found)
    elif isinstance(value, list):
        for inner in value[:50]:
            _gather(inner, found)


_TABLE_CHANGES = (
    SceneMutator.scale, SceneMutator.scale, SceneMutator.scale, SceneMutator.scale,
    SceneMutator.replace, SceneMutator.replace, SceneMutator.drop, SceneMutator.cross,
    SceneMutator.cross, SceneMutator.graft, SceneMutator.graft, SceneMutator.harm,
    SceneMutator.add, SceneMutator.move,
)  # fmt: skip


# ---- changes of the text


def _slip(written: str, dice: random.Random) -> str:
    start = dice.randrange(len(written) + 1)
    put = dice.choice(("", "0", "9", "-", "e9", ".", '"', "[", "{", "}", "=", "\n", "\r", "\0",
                       "\t", "\ufeff", "\N{EN SPACE}", "\u202e", "#", "_", "'''"))  # fmt: skip
    return written[:start] + put + written[start + dice.choice((0, 0, 1, 2, 30)) :]


def _digit(written: str, dice: random.Random) -> str:
    positions = [m.start() for m in re.finditer(r"\d", written)] or [0]
    index = dice.choice(positions)
    return written[:index] + dice.choice("0123456789") + written[index + 1 :]


def _unit(written: str, dice: random.Random) -> str:
    found = list(re.finditer(r"(?<=\d )(m|mm|um|nm|deg|K|s|cm)\b", written))
    if not found:
        return written
    m = dice.choice(found)
    return written[: m.start()] + dice.choice(_UNITS) + written[m.end() :]


def _line(written: str, dice: random.Random) -> str:
    """A line lost, doubled, moved, or there a thousand times."""
    lines = written.split("\n")
    source, target = dice.randrange(len(lines)), dice.randrange(len(lines))
    match dice.randrange(4):
        case 0:
            del lines[source]
        case 1:
            lines.insert(target, lines[source])
        case 2:
            lines.insert(target, lines.pop(source))
        case _:
            lines[source:source] = [lines[source]] * 1000
    return "\n".join(lines)


def _nest(written: str, dice: random.Random) -> str:
    deep = dice.choice((3, 100, 5000))
    return written + dice.choice((
        "x = " + "[" * deep + "]" * deep,
        "x = " + "[" * deep,
        ".".join("x" * deep) + " = 1",
        "[" + ".".join(f"x{k}" for k in range(deep)) + "]",
        "[[aperture.defects]]\nkind = 'random'\nrms = '3 nm'\n" * deep,
        "x = " + "9" * deep,
        "x = 1979-05-27T07:32:00Z",
        "plate.pixel = '1 um'",
    )) + "\n"  # fmt: skip


def _ends(written: str, dice: random.Random) -> str:
    return dice.choice((
        written.replace("\n", "\r\n"), written.replace("\n", "\r"), written.replace(" ", "\t"),
        written.replace('"', "'"), written.upper(), "\ufeff" + written, written[::-1],
        written[: dice.randrange(len(written) + 1)], written * 2,
    ))  # fmt: skip


TEXT_CHANGES = (_slip, _slip, _digit, _digit, _unit, _line, _nest, _ends)


# ---- what is done with a scene


def furnish(folder: Path) -> None:
    """The tables and pictures that the good scenes name."""
    import h5py
    from PIL import Image

    (folder / "lamp.csv").write_text("wavelength_nm,relative\n400,1\n500,2\n600,3\n700,2\n")
    (folder / "green.csv").write_text("wavelength_nm,transmittance\n400,0\n550,0.9\n700,0\n")
    (folder / "aluminium.csv").write_text(
        "wavelength_nm,reflectance\n400,0.92\n550,0.91\n800,0.87\n"
    )
    (folder / "nk.csv").write_text("wavelength_nm,n,k\n300,0.3,3.6\n550,1.0,6.7\n900,2.1,8.6\n")
    (folder / "groove.csv").write_text("place_um,height_nm\n0,0\n0.8,200\n1.66666667,0\n")
    (folder / "camera.csv").write_text(
        "wavelength_nm,red,green,blue\n400,0,0,0.6\n500,0.1,0.8,0.3\n600,0.9,0.4,0\n700,0.5,0,0\n"
    )
    (folder / "film.csv").write_text("wavelength_nm,log_sensitivity\n400,1.2\n500,0.9\n600,-0.5\n")
    for drawn in (ROOT / "scenes").glob("*.png"):
        (folder / drawn.name).write_bytes(drawn.read_bytes())
    with h5py.File(folder / "measured.h5", "w") as file:
        file["entry/error"] = np.sin(np.arange(MOST_RULINGS) / 9) * 5.0
        file["entry/error"].attrs["units"] = "nm"
    rows, columns = np.mgrid[:24, :24]
    disc = ((rows - 11.5) ** 2 + (columns - 11.5) ** 2 < 90) * np.uint8(255)
    for name in ("mask.png", "phase.png"):
        Image.fromarray(disc).save(folder / name)


def scenes(folder: Path) -> Callable[[int], str]:
    """Mutants of scenes: load, expose, draw; and one thing more for each seed."""
    return _each(folder, _MORE)


def drawings(folder: Path) -> Callable[[int], str]:
    """Mutants of scenes for the commands that draw, and for tolerances."""
    to_file = ("-o", str(folder / "drawn.png"))
    return _each(
        folder,
        (
            *[_command("figure", "--draw", what, *to_file) for what in ("plate", "map", "colours")],
            *[
                _command("figure", "--mark", what, "--log", *to_file)
                for what in ("lines", "ghosts")
            ],
            _command("sheet", *to_file),
            _command("animate", "--vary", "aperture.count=1,3", "-o", str(folder / "drawn.gif")),
            _command("tolerance", "--ghost", "1e-3", "--diffuse", "1e-3"),
        ),
    )


def _each(folder: Path, uses: tuple[Callable[[object, Path], str], ...]) -> Callable[[int], str]:
    """A mutant for every seed, put to one use after the other."""
    from wavesim.scene import load

    furnish(folder)
    mutator = SceneMutator()
    path = folder / "mutant.toml"

    def work(seed: int) -> str:
        path.write_text(mutator.text(seed), encoding="utf-8", newline="")
        return leaving_nothing(folder, lambda: uses[seed % len(uses)](load(path), folder))

    return work


def leaving_nothing(folder: Path, work: Callable[[], str]) -> str:
    """Do the work; a refusal leaves no file behind, and nothing leaves half of one."""
    from wavesim.errors import WavesimError

    before = set(folder.iterdir())
    try:
        outcome = work()
    except WavesimError as error:
        if left := _cleared(folder, before):
            raise ValueError(f"{left} left behind by {error}") from error
        raise
    left = _cleared(folder, before)
    if half := [name for name in left if name.endswith((".wavesim-part", ".parts"))]:
        raise ValueError(f"{half} left behind")
    return outcome


def _cleared(folder: Path, before: set[Path]) -> list[str]:
    """Names of what is new in a folder, which is removed."""
    new = sorted(set(folder.iterdir()) - before)
    for path in new:
        _removed(path)
    return [path.name for path in new]


def _removed(path: Path) -> None:
    if path.is_dir():
        shutil.rmtree(path)
    else:
        path.unlink()


def checked(scene: object, folder: Path) -> str:  # noqa: ARG001  (as the other uses)
    """Expose, and look at every number."""
    from wavesim.lightpath import expose
    from wavesim.scene import Scene

    assert isinstance(scene, Scene)
    plate = expose(scene)
    picture = plate.picture()
    for name in ("irradiance", "xyz", "profile_spectrum", "profile_irradiance", "recorded"):
        light = getattr(plate, name)
        if light is not None and not np.isfinite(light).all():
            raise ValueError(f"{name} holds a value that is no number")
        if name != "recorded" and light.min() < 0:  # a sensor's colours may lie outside XYZ
            raise ValueError(f"negative light in {name}: {light.min():.3g} of {light.max():.3g}")
    if not 0 < plate.exposure_s < float("inf"):
        raise ValueError(f"an exposure of {plate.exposure_s} s")
    errors = plate.report.pixel_error, plate.report.bin_error
    if not all(0 <= error < float("inf") for error in errors):
        raise ValueError(f"states an accuracy of {errors}")
    wrong = sum(errors) * plate.irradiance.max() * plate.irradiance.size
    if (got := plate.power_W) > (sent := sent_w(scene)) * (1 + 1e-6) + (
        wrong * scene.plate.pixel_area_m2
    ):
        raise ValueError(f"{got:.4g} W on the plate of {sent:.4g} W sent; errors {errors}")
    return f"plate {picture.shape}, errors {errors[0]:.1g} and {errors[1]:.1g}"


def sent_w(scene: Scene) -> float:
    """More than reaches the aperture between 360 and 830 nm [W]: by the radiometry of a beam.

    A laser sends its power; a slit of radiance L sends L w h / f^2 times the ruled area; the
    irradiance of a point, times that area. Infinite where the beam alone bounds it.
    """
    from wavesim.light import of_scene
    from wavesim.scene.source import Laser

    source, bench, ruled = scene.source, scene.bench, scene.aperture
    if isinstance(source, Laser) and bench.beam is not None:
        return source.power_W
    height, count = getattr(ruled, "height_m", None), getattr(ruled, "count", None)
    pitch = getattr(ruled, "pitch_m", None)
    if ruled.kind not in ("slits", "wires", "grating") or not (height and count and pitch):
        return float("inf")
    spectrum = of_scene(scene)
    power, _ = spectrum.integrate(np.array([360e-9]), np.array([830e-9]))
    brightest = float(power[0])
    if spectrum.kind_of_level == "radiance":
        if source.slit is None:
            return float("inf")
        distance = known(bench.collimator_m or bench.source_distance_m)
        brightest *= source.slit.width_m * source.slit.height_m / distance**2
    return brightest * (count + 1) * pitch * height


def saved_and_read(scene: object, folder: Path) -> str:
    """Expose, keep and read back; the scene in the file gives the same light once more."""
    from wavesim.lightpath import expose, open_plate
    from wavesim.scene import Scene

    assert isinstance(scene, Scene)
    plate = expose(scene)
    plate.save(folder / "kept.h5")
    plate.save_png(folder / "kept.png")
    back = open_plate(folder / "kept.h5")
    for name in ("xyz", "irradiance", "profile_spectrum", "profile_irradiance", "x_m", "y_m"):
        if not np.array_equal(getattr(back, name), getattr(plate, name)):
            raise ValueError(f"a plate's {name} comes back changed")
    if back.exposure_s != plate.exposure_s or not np.array_equal(back.picture(), plate.picture()):
        raise ValueError("a plate's time or picture comes back changed")
    if not np.array_equal(expose(back.scene.beside(folder)).xyz, plate.xyz):
        raise ValueError("the scene in a plate file gives another plate")
    return "kept"


def _command(name: str, *options: str) -> Callable[[object, Path], str]:
    """The command itself, in this process: its words and its JSON are made, too."""

    def run(scene: object, folder: Path) -> str:  # noqa: ARG001  (read again by the command)
        return commanded(name, str(folder / "mutant.toml"), *options)

    return run


def commanded(name: str, *args: str) -> str:
    """Run one command in this process, and give its errors on."""
    import importlib

    from click.testing import CliRunner

    from wavesim.errors import InputError

    command = importlib.import_module(f"wavesim.cli.{name}").command
    done = CliRunner().invoke(command, list(args))
    if done.exception is not None and not isinstance(done.exception, SystemExit):
        raise done.exception
    _, usage, message = done.output.partition("\nError: ")
    if done.exit_code == 2 and usage and "\n" not in message.strip():
        raise InputError(message)  # the program words it so, too
    if done.exit_code != 0:
        raise ValueError(f"{name} {args} ends with {done.exit_code}: {done.output[-200:]!r}")
    return f"{name}: {len(done.output)} letters"


_MORE = (
    *[checked] * 11, saved_and_read, saved_and_read,
    *[_command("predict")] * 2, _command("predict", "--json"),
    *[_command("profile")] * 2, _command("profile", "--order", "2", "--json"),
    _command("point", "--x", "1 mm"),
    _command("compare", "--steps", "2", "--only", "order-places"),
)  # fmt: skip
WORKSHOPS = {"scenes": scenes, "drawings": drawings}
