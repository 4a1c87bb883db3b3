"""Mutated studies, photographs, tables of materials and films, and messages to a live bench."""

from __future__ import annotations

import copy
import io
import json
import random
import tomllib
from collections.abc import Callable
from pathlib import Path

import numpy as np

from tests.mutated_files import bytes_changed, table_changed
from tests.mutated_scenes import (
    TEXT_CHANGES,
    SceneMutator,
    checked,
    commanded,
    furnish,
    leaving_nothing,
    shrunk,
)
from tests.mutations import ROOT
from tests.scene_texts import Table, text

Work = Callable[[int], str]

# ---- studies

_STUDIES: tuple[Table, ...] = (
    {"vary": [{"key": "aperture.count", "values": [1, 2]},
              {"key": "aperture.width", "from": "30 um", "to": "40 um", "steps": 2}],
     "record": {"numbers": ["exposure_time", "brightest"]}},
    {"seed": 4, "draws": 3,
     "draw": [{"key": "aperture.width", "law": "normal", "mean": "40 um", "deviation": "1 um"},
              {"key": "aperture.pitch", "law": "uniform", "from": "85 um", "to": "95 um"}],
     "record": {"line": {"wavelength": "546.1 nm", "order": 1}, "numbers": ["line_width"]},
     "report": {"limits": [{"number": "line_width", "at_most": 1e-3}]}},
    {"vary": [{"key": "aperture.count", "values": [2, 3]}],
     "record": {"picture": {"columns": 40, "rows": 4}}},
    {"draws": 3, "draw": [{"key": "aperture.width", "law": "table", "file": "widths.csv"}],
     "record": {"numbers": ["exposure_time", "power", "burnt_area"]},
     "report": {"quantiles": [0.1, 0.5], "worst": 2}},
    {"seed": 1, "draws": 2, "design": "sobol",
     "draw": [{"key": "aperture.width", "law": "uniform", "from": "30 um", "to": "50 um"}],
     "record": {"numbers": ["line_width", "resolved"], "plate": True,
                "line": {"wavelength": "546.1 nm", "order": 1, "pair": "9 nm"},
                "profile": {"half_width": 0.4, "points": 51}}},
    {"vary": [{"key": "aperture.width", "from": "20 um", "to": "40 um", "steps": 2,
               "spacing": "logarithmic"},
              {"key": "source.slit.width", "values": ["10 um", "20 um"],
               "along": "aperture.width"}],
     "record": {"numbers": ["brightest_position", "visible_area"]}},
    {"scene": "turned.toml",
     "vary": [{"key": "bench.plate_tilt", "values": ["0 deg", "2 deg"]},
              {"key": "source.slit.jaws", "values": ["0.01 deg", "0.05 deg"]}],
     "record": {"numbers": ["brightest", "predicted_position"]}},
)  # fmt: skip


def studies(folder: Path) -> Work:
    """Study files: judged, and those of few members run."""
    from tests.bench import SMALL_SCENE
    from wavesim.ensemble import load_plan
    from wavesim.ensemble.members import Design

    mutator, path = SceneMutator(), folder / "mutant.toml"
    (folder / "base.toml").write_text(SMALL_SCENE)
    (folder / "turned.toml").write_text(text(mutator.good["turned plate"]))
    widths = "value,weight\n30e-6,1\n40e-6,2\n50e-6,1\n"
    good = [{"schema": 1, "title": "Few", "scene": "base.toml", **study} for study in _STUDIES]
    for shipped in sorted((ROOT / "scenes" / "studies").glob("*.toml")):
        study = tomllib.loads(shipped.read_text("utf-8"))
        if "record" in study:
            base = tomllib.loads((shipped.parent / study["scene"]).read_text("utf-8"))
            (folder / f"{shipped.stem}_base.toml").write_text(text(shrunk(base)))
            good.append({**study, "scene": f"{shipped.stem}_base.toml"})

    def work(seed: int) -> str:
        dice = random.Random(seed)
        study = copy.deepcopy(dice.choice(good))
        for _ in range(dice.choice((0, 1, 1, 1, 2, 3))):
            change = dice.choice(
                (mutator.scale, mutator.scale, mutator.replace, mutator.drop, mutator.move)
            )
            change(study, dice)
        written = text(study)
        if dice.random() < 0.3:
            written = dice.choice(TEXT_CHANGES)(written, dice)
        path.write_text(written, encoding="utf-8", newline="", errors="replace")
        drawn = table_changed(widths, dice) if dice.random() < 0.5 else widths.encode()
        (folder / "widths.csv").write_bytes(drawn)
        few = Design(load_plan(str(path))).count <= 6 and seed % 3 < 2
        how = (
            () if few else dice.choice((("--dry-run",), ("--member", "1"), ("--json", "--dry-run")))
        )
        args = (str(path), "-o", str(folder / "out.h5"), "--workers", "1", *how)
        return leaving_nothing(folder, lambda: commanded("study", *args))

    return work


# ---- photographs


def photographs(folder: Path) -> Work:
    """Photographs from which a scene is fitted: damaged, of any mode, or of something else."""
    from PIL import Image

    drawn = drawn_pair()
    scene = (ROOT / "scenes" / "photographs" / "pair.toml").read_text()
    (folder / "scene.toml").write_text(scene)
    mutator = SceneMutator()

    def work(seed: int) -> str:
        dice = random.Random(seed)
        image = Image.fromarray(_photograph(drawn, dice))
        kind, ending = dice.choice((("PNG", ".png"), ("JPEG", ".jpg"), ("TIFF", ".tif")))
        modes = ("RGB", "RGB", "L", "CMYK" if kind == "JPEG" else "RGBA", "1")
        stream = io.BytesIO()
        image.convert(dice.choice(modes)).save(stream, kind)
        content = stream.getvalue()
        path = folder / f"mutant{ending}"
        path.write_bytes(bytes_changed(content, dice) if dice.random() < 0.5 else content)
        options = ["--free", dice.choice(_FREE), "--pixel", "160 um", *dice.choice(_FIT_MORE)]
        if dice.random() < 0.3:
            index = dice.choice((1, 3))
            odd = f"{dice.choice(('aperture.pitch', 'aperture.width', 'x'))}={mutator.value(dice)}"
            options[index] = (odd if index == 1 else str(mutator.value(dice))).replace("\0", "")
        photographs = [str(path)] * dice.choice((1, 1, 1, 2))
        args = (str(folder / "scene.toml"), *photographs, *options)
        return leaving_nothing(folder, lambda: commanded("fit", *args))

    return work


def drawn_pair() -> np.ndarray:
    """A small photograph of two slits, by the textbook formula."""
    from tests.drawn_patterns import Camera, slits

    x = np.linspace(-0.02392, 0.02392, 300, dtype=np.float64)
    light = slits(x, width_m=41e-6, pitch_m=157e-6, count=2, wavelength_m=632.8e-9)
    return Camera(rows=12).of_line(light, np.random.default_rng(1))


_FREE = ("aperture.width", "aperture.width", "aperture.pitch", "aperture.count")
_FIT_MORE: tuple[tuple[str, ...], ...] = (
    (), (), (), (), ("--tone", "film"), ("--tone", "srgb"), ("--axis", "0 deg"), ("--json",),
)  # fmt: skip


def _photograph(drawn: np.ndarray, dice: random.Random) -> np.ndarray:
    """The pattern whole, cut, turned about, in grain, even, or another's."""
    match dice.randrange(10):
        case 0:
            return np.full_like(drawn, dice.choice((0, 90, 255)))
        case 1:
            return np.random.default_rng(dice.randrange(99)).integers(
                0, 256, drawn.shape, dtype=np.uint8
            )
        case 2:
            return np.ascontiguousarray(drawn.transpose(1, 0, 2))
        case 3:
            return drawn[: dice.choice((1, 2, 5)), : dice.choice((1, 2, 9, 100))]
        case 4:
            return np.roll(drawn, dice.randint(-150, 150), axis=1)
        case 5:
            return np.asarray(255 - drawn, dtype=np.uint8)
        case _:
            return drawn


# ---- tables of materials and of films

_METAL = (
    "wavelength_nm,n,k\n350,0.4,3.9\n450,0.62,5.47\n550,0.96,6.69\n700,1.83,8.31\n850,2.6,8.5\n"
)
_RIGOROUS = """schema = 1
[source]
kind = "laser"
wavelength = "546.1 nm"
power = "1 mW"
[bench]
camera = "1 m"
beam = "8 mm"
viewing = "19 deg"
[aperture]
kind = "grating"
count = 200
density = "600 / mm"
height = "5 mm"
mounting = "reflection"
{material}
groove = {{ {groove}, theory = "rigorous" }}
[plate]
width = "20 mm"
height = "2 mm"
pixel = "1 mm"
"""
_MATERIALS = (
    'material_file = "mutant.csv"',
    'material = "silver"\ncoating = {{ material = "magnesium fluoride", thickness = "{nm} nm" }}',
    'material_file = "mutant.csv"\ncoating = {{ material = "{name}", thickness = "{nm} nm" }}',
)


_GROOVES = (
    'profile = "binary", depth = "180 nm"',
    'profile = "sinusoidal", depth = "180 nm"',
    'profile = "trapezoidal", depth = "150 nm", top = 0.3, bottom = 0.3',
    'profile = "multilevel", depth = "180 nm", levels = 3',
    'profile = "blazed", facet_angle = "9 deg"',
)


def rigorous_scene(material: str, groove: str = _GROOVES[0]) -> str:
    """A reflection grating of that material, by rigorous theory."""
    return _RIGOROUS.format(material=material, groove=groove)


def materials(folder: Path) -> Work:
    """Tables of optical constants, and coatings of odd materials and thicknesses."""
    from wavesim.scene import load

    scene = folder / "scene.toml"

    def work(seed: int) -> str:
        dice = random.Random(seed)
        kind = dice.choice((0, 0, 0, 1, 2))
        (folder / "mutant.csv").write_bytes(table_changed(_METAL, dice))
        nm = dice.choice((0, -1, 25, 1e-9, 3e3, 1e12, 1e300, float("nan")))
        name = dice.choice(("magnesium fluoride", "gold", "mutant.csv", "", "x" * 3000))
        material = _MATERIALS[kind].format(nm=nm, name=name)
        scene.write_text(rigorous_scene(material, dice.choice(_GROOVES)))
        if dice.random() < 0.3:
            span = ("--from", "400 nm", "--to", "700 nm", "--points", "3")
            return commanded("efficiency", str(scene), *span)
        return checked(load(scene), folder)

    return work


def curves(folder: Path) -> Work:
    """Characteristic curves of films and tables of their reciprocity: a plate is developed."""
    from tests.bench import SMALL_SCENE

    (folder / "scene.toml").write_text(SMALL_SCENE.replace("100 um", "1 mm"))
    curve = "log_exposure,density\n-3,0.1\n-2,0.2\n-1,0.8\n0,1.5\n1,2.1\n2,2.2\n"
    late = "metered_s,corrected_s\n0.001,0.001\n1,1\n10,20\n100,500\n"
    path, good = folder / "mutant.csv", folder / "good.csv"
    good.write_text(curve)

    def work(seed: int) -> str:
        dice = random.Random(seed)
        failing = dice.random() < 0.3
        path.write_bytes(table_changed(late if failing else curve, dice))
        tables = ("--curve", str(good), "--reciprocity", str(path)) if failing else (
            "--curve", str(path))  # fmt: skip
        args = (str(folder / "scene.toml"), *tables, *dice.choice(_FILM))
        where = ("-o", str(folder / "drawn.png"))
        return leaving_nothing(folder, lambda: commanded("develop", *args, *where))

    return work


_FILM = ((), ("--negative",), ("--stops", "3"), ("--json",))

# ---- messages to a live bench

_KINDS = ("hello", "turn", "turn", "turn", "rest", "expose", "read", "read", "choose", "look",
          "lock", "cursor", "cursor", "pin", "unpin", "arrange", "recall", "cover", "save",
          "")  # fmt: skip
_BENCHES = ("slit like a wedge", "lens with a rim", "single lens", "turned plate",
            "sensor of a table", "film", "trapezoidal", "multilevel", "periodic",
            "mesh")  # fmt: skip
_FIELDS = ("n", "text", "tone", "locks", "pins", "changes", "columns", "number", "wavelength_m",
           "x_m", "why", "shared", "covered", "what", "paper", "kind", "key", "own")  # fmt: skip


def messages(folder: Path) -> Work:
    """Messages to a live bench, one after the other on benches that live for 25 of them.

    Every message ends in an answer that can be packed; a refusal is one line of bounded length.
    """
    from benchmarks.messages import unpacked
    from tests.bench import SMALL_SCENE
    from wavesim.errors import InputError
    from wavesim.live.protocol import Desk, Reply
    from wavesim.live.session import Session
    from wavesim.live.wire import packed
    from wavesim.scene import load

    furnish(folder)
    mutator = SceneMutator()
    written = [SMALL_SCENE, SMALL_SCENE, *(text(mutator.good[name]) for name in _BENCHES)]
    scenes = []
    for number, bench in enumerate(written):
        (folder / f"bench{number}.toml").write_text(bench)
        scenes.append(load(folder / f"bench{number}.toml"))
    desks: dict[int, Desk] = {}

    def work(seed: int) -> str:
        dice = random.Random(seed)
        if seed // 25 not in desks:
            desks.clear()
            scene = scenes[seed // 25 % len(scenes)]
            desks[seed // 25] = Desk(Session(scene), [scene], columns=100)
        message = json.loads(json.dumps(_message(desks[seed // 25], mutator, dice)))
        (folder / "mutant.json").write_text(json.dumps(message))
        replies: list[Reply] = []
        desks[seed // 25].answer(message, lambda reply: replies.append(unpacked(packed(reply))))
        if not replies:
            raise ValueError("no answer")
        last = replies[-1].head
        if last["kind"] == "refused":
            raise InputError(_plain(last["message"]))
        return str(last["kind"])

    return work


def _plain(message: object) -> str:
    if not isinstance(message, str) or "\n" in message or not 0 < len(message) < 1500:
        raise ValueError(f"a refusal of {str(message)[:200]!r}")
    return message


def _message(desk, mutator: SceneMutator, dice: random.Random) -> Table:  # type: ignore[no-untyped-def]
    """A right message of some kind, and then perhaps a field of it wrong."""
    kind = dice.choice(_KINDS)
    message: Table = {"n": dice.randrange(99), "kind": kind}
    handles = desk.bench.handles()
    paths = [handle.path for handle in handles]
    match kind:
        case "turn":
            handle = dice.choice(handles)
            value = handle.text if dice.random() < 0.3 else mutator.value(dice)
            message["changes"] = {handle.path: value}
        case "read" | "hello":
            message["text"] = mutator.text(dice.randrange(10**6))
            if dice.random() < 0.05:
                message["text"] = "#" * dice.choice((1 << 15, 1 << 20))
        case "lock":
            message["locks"] = dice.choices(paths, k=dice.choice((0, 1, 2)))
        case "cursor":
            message.update(x_m=dice.choice((0, 1e-3, -1e300, 1e13)), why=dice.random() < 0.5)
        case "choose" | "unpin" | "recall":
            message["number"] = dice.choice((0, 1, -1, 10**30))
        case "save":
            message.update(
                what=dice.choice(("scene", "plate", "picture", "sheet", "x")), paper="A4"
            )
        case "arrange" | "cover":
            message["shared"] = message["covered"] = dice.random() < 0.5
    if dice.random() < 0.4:
        message[dice.choice(_FIELDS)] = mutator.value(dice)
    if dice.random() < 0.1:
        del message[dice.choice(sorted(message))]
    return message


def sockets(folder: Path) -> Work:  # noqa: ARG001  (no files)
    """Texts sent to the page's own socket: after each, the next client is still served."""
    from starlette.testclient import TestClient
    from starlette.websockets import WebSocketDisconnect

    from benchmarks.messages import unpacked
    from tests.bench import SMALL_SCENE
    from wavesim.errors import InputError
    from wavesim.live.guard import access
    from wavesim.live.server import Server
    from wavesim.scene import parse

    scene = parse(SMALL_SCENE)
    server = Server(scene, [scene], access([], 8642, shared=False))
    web = TestClient(server.app(), base_url="http://127.0.0.1:8642").__enter__()
    origin = {"origin": "http://127.0.0.1:8642"}

    def work(seed: int) -> str:
        dice = random.Random(seed)
        with web.websocket_connect("ws://127.0.0.1:8642/bench", headers=origin) as socket:
            if dice.random() < 0.7:
                socket.send_text('{"n": 1, "kind": "hello", "columns": 64}')
            socket.send_text(_wire_text(dice))
            socket.send_text('{"n": 777, "kind": "look"}')
            try:
                while (head := unpacked(socket.receive_bytes()).head)["kind"] != "frame" or (
                    head["n"] != 777
                ):
                    pass
            except WebSocketDisconnect as closed:
                if closed.code not in (1008, 1009, 4401):
                    raise
                raise InputError(f"closed with {closed.code}") from None
        return "answered"

    return work


def _wire_text(dice: random.Random) -> str:
    """Broken JSON, deep JSON, JSON of another kind, numbers without end, huge texts."""
    good = '{"n": 2, "kind": "turn", "changes": {"aperture.width": "30 um"}, "columns": 80}'
    deep = dice.choice((10, 900, 30_000))
    return dice.choice((
        good, dice.choice(TEXT_CHANGES)(good, dice), good[: dice.randrange(len(good))],
        "[" * deep + "]" * deep, '{"a":' * deep + "1" + "}" * deep, "null", "3", "[]", '"x"', "",
        '{"n": ' + "9" * dice.choice((30, 5000)) + ', "kind": "turn", "changes": {}}',
        '{"n": 1e999, "kind": "rest"}', '{"n": NaN, "kind": "rest"}',
        '{"n": 1, "kind": "read", "text": "' + "x" * dice.choice((10, 60_000)) + '"}',
        '{"n": {"a": [1]}, "kind": ["turn"]}', '{"n": 1, "kind": "\\ud800"}',
        '{"n": 1, "kind": "turn", "changes": {"\\ud800": "\\ud800"}}',
    ))  # fmt: skip


WORKSHOPS: dict[str, Callable[[Path], Work]] = {
    "studies": studies,
    "photographs": photographs,
    "materials": materials,
    "curves": curves,
    "messages": messages,
    "sockets": sockets,
}
