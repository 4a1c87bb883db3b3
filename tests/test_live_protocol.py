"""The live bench without a browser: what a page asks and is answered, through the web server."""

from __future__ import annotations

import io
import json
import re
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

from benchmarks.messages import unpacked
from tests.bench import SMALL_SCENE
from wavesim.lightpath import expose
from wavesim.scene import parse

pytest.importorskip("starlette", reason='needs the extra "live"')
pytest.importorskip("httpx2", reason="starlette's test client needs it")

from starlette.testclient import TestClient, WebSocketTestSession
from starlette.websockets import WebSocketDisconnect

from wavesim.live.guard import Access, access
from wavesim.live.protocol import Desk, Reply
from wavesim.live.server import MOST_CONNECTIONS, Server
from wavesim.live.session import Session
from wavesim.live.wire import MOST_WAITING, Overrun, Waiting, packed

ORIGIN = {"origin": "http://127.0.0.1:8642"}
BENCH = "ws://127.0.0.1:8642/bench"
SCENE = parse(SMALL_SCENE)


def client(rights: Access | None = None) -> TestClient:
    server = Server(SCENE, [SCENE], rights or access([], 8642, shared=False))
    return TestClient(server.app(), base_url="http://127.0.0.1:8642")


class Page:
    """What a page does: numbered messages up, answers down."""

    def __init__(self, socket: WebSocketTestSession) -> None:
        self.socket, self.number = socket, 0

    def send(self, kind: str, **details: object) -> int:
        self.number += 1
        self.socket.send_text(json.dumps({"n": self.number, "kind": kind, **details}))
        return self.number

    def next(self, *kinds: str) -> Reply:
        """The next answer of one of the kinds; a refusal fails."""
        while True:
            reply = unpacked(self.socket.receive_bytes())
            if reply.head["kind"] in kinds:
                return reply
            assert reply.head["kind"] != "refused", reply.head

    def refused(self) -> Reply:
        """The next refusal."""
        while (reply := unpacked(self.socket.receive_bytes())).head["kind"] != "refused":
            pass
        return reply

    def ask(self, kind: str, wanted: str, **details: object) -> Reply:
        number = self.send(kind, **details)
        reply = self.next(wanted)
        assert reply.head["n"] == number
        return reply


@contextmanager
def two_pages(rights: Access | None = None) -> Iterator[tuple[Page, Page]]:
    """Two pages of one server."""
    with (
        client(rights) as web,
        web.websocket_connect(BENCH, headers=ORIGIN) as first,
        web.websocket_connect(BENCH, headers=ORIGIN) as second,
    ):
        yield Page(first), Page(second)


@pytest.fixture
def page() -> Iterator[Page]:
    with client() as web, web.websocket_connect(BENCH, headers=ORIGIN) as socket:
        made = Page(socket)
        made.send("hello", columns=200)
        assert made.next("state").head["title"] == "Three slits"
        made.next("frame")
        yield made


def profile(reply: Reply) -> np.ndarray[Any, Any]:
    return np.frombuffer(reply.buffers[2], "<f4")


def test_a_frame_holds_rows_hues_and_a_profile(page: Page) -> None:
    frame = page.ask("turn", "frame", changes={"aperture.width": "30 um"}, columns=150)
    head = frame.head
    assert (head["quality"], head["columns"]) == ("preview", 150)
    assert len(frame.buffers[0]) == 4 * 150 * len(head["rows"])
    assert len(frame.buffers[1]) == 4 * 150
    assert profile(frame).max() == 1.0
    assert head["values"]["aperture.width"] == [3e-05, "30 um"]


def test_orders_and_minima_stand_where_the_grating_equation_puts_them(page: Page) -> None:
    """x = f tan(asin(m lambda / d)), dark at m + k / N: Born & Wolf 8.6.1."""
    head = page.ask("turn", "frame", changes={"aperture.pitch": "100 um"}).head
    marks, focal = head["marks"], SCENE.bench.camera_focal_m
    for order, x, _ in marks["orders"]:
        expected = focal * np.tan(np.arcsin(order * marks["wavelength_m"] / 100e-6))
        assert x == pytest.approx(expected, abs=1e-6)  # readable to the micrometre
    darkest = [x for x, where in marks["minima"] if where in ("0.3333", "0.6667")]
    expected = [focal * np.tan(np.arcsin(k / 3 * marks["wavelength_m"] / 100e-6)) for k in (1, 2)]
    assert darkest == pytest.approx(expected, abs=1e-6)


def test_at_rest_the_row_has_the_plates_own_columns(page: Page) -> None:
    page.ask("turn", "frame", changes={"aperture.width": "30 um"}, columns=100)
    head = page.ask("rest", "frame").head
    assert (head["quality"], head["columns"]) == ("row", SCENE.plate.pixels_x)
    assert 'width = "30 um"' in head["text"]
    assert head["sentences"]


def test_the_whole_plate_is_the_one_that_expose_makes(page: Page) -> None:
    page.ask("turn", "frame", changes={"aperture.width": "30 um"}, columns=100)
    page.send("expose")
    stages, reply = [], page.next("stage", "frame")
    while reply.head["kind"] == "stage":
        stages.append(reply.head["stage"])
        reply = page.next("stage", "frame")
    assert "pixels" in stages
    assert reply.head["quality"] == "plate"
    shown = np.asarray(Image.open(io.BytesIO(reply.buffers[3])))
    plate = expose(parse(SMALL_SCENE.replace('"40 um"', '"30 um"', 1)))
    assert np.array_equal(shown, plate.picture())


def test_what_is_wrong_is_said_and_the_bench_stays(page: Page) -> None:
    page.send("turn", changes={"aperture.width": "2 km"})
    reply = page.refused()
    assert reply.head["key"] == "aperture.width"
    assert "more than the pitch" in reply.head["message"]
    assert page.ask("rest", "frame").head["values"]["aperture.width"][1] != "2 km"


@pytest.mark.parametrize(
    "message",
    [
        {"kind": "turn"}, {"kind": "turn", "changes": 3}, {"kind": "none"}, {"kind": 7}, {},
        {"kind": "turn", "changes": {"a.b[": 1}}, {"kind": "turn", "changes": {"schema": 2}},
        {"kind": "turn", "changes": {"aperture.width": [1]}}, {"kind": "cursor", "x_m": "far"},
        {"kind": "cursor", "x_m": 5.0}, {"kind": "choose", "number": 9},
        {"kind": "read", "text": ""},
        {"kind": "unpin", "number": 0}, {"kind": "save", "what": "../../etc/passwd"},
        {"kind": "look", "tone": "loud"},
        {"kind": "turn", "changes": {"aperture.width": "9" * 99}},
    ],
)  # fmt: skip
def test_senseless_messages_are_refused_in_words(page: Page, message: dict[str, Any]) -> None:
    page.socket.send_text(json.dumps({"n": 99, **message}))
    reply = page.refused()
    assert reply.head["n"] == 99
    assert reply.head["message"]
    assert "\n" not in reply.head["message"]
    page.ask("turn", "frame", changes={"aperture.width": "31 um"})  # and goes on


@pytest.mark.parametrize(
    "text",
    [
        '{"kind": "\\ud800"}',
        '{"kind": "turn", "changes": {"\\ud800": "\\udfff"}}',
        '{"a":' * 20_000 + "1" + "}" * 20_000,
        "[" * 30_000 + "]" * 30_000,
        "[]",
        "",
    ],
    ids=["half a character", "halves", "deep", "deep list", "list", "nothing"],
)
@pytest.mark.parametrize("first", [True, False])
def test_what_is_no_message_ends_its_own_connection_only(text: str, *, first: bool) -> None:
    """Closed with 1008, policy violation (RFC 6455, 7.4.1); the next page is served."""
    with client() as web:
        with web.websocket_connect(BENCH, headers=ORIGIN) as socket:
            if not first:
                Page(socket).send("hello", columns=64)
            socket.send_text(text)
            while (message := socket.receive())["type"] != "websocket.close":
                pass
        assert message["code"] == 1008
        with web.websocket_connect(BENCH, headers=ORIGIN) as socket:
            assert Page(socket).ask("hello", "frame", columns=64).head["columns"] == 64


def test_a_message_as_deep_as_its_reader_bears_is_refused_in_words(page: Page) -> None:
    for depth in (300, 700):
        deep: Any = 1
        for _ in range(depth):
            deep = [deep]
        for message in ({"kind": deep}, {"kind": "turn", "changes": {"aperture.width": deep}}):
            page.socket.send_text(json.dumps({"n": deep, **message}))
            assert page.refused().head["n"] == 0


def test_a_text_becomes_the_scene_or_is_refused_with_its_key(page: Page) -> None:
    state = page.ask("read", "state", text=SMALL_SCENE.replace("Three slits", "Mine"))
    assert state.head["title"] == "Mine"
    page.send("read", text=SMALL_SCENE.replace("pitch", "pich", 1))
    assert "pitch" in page.refused().head["message"]


@pytest.mark.parametrize(
    ("old", "new", "why"),
    [
        ("count = 3", "count = 9000000", "would"),
        ('pixel = "100 um"', 'pixel = "1 um"', "would"),
    ],
)
def test_a_scene_that_costs_too_much_is_refused_before_it_runs(
    page: Page, old: str, new: str, why: str
) -> None:
    assert old in SMALL_SCENE
    page.send("read", text=SMALL_SCENE.replace(old, new))
    assert why in page.refused().head["message"]


def test_files_outside_the_folder_are_not_read(page: Page) -> None:
    filters = '[[source.filters]]\nkind = "table"\nfile = "/etc/passwd"\n'
    page.send("read", text=SMALL_SCENE + filters)
    assert "outside the folder" in page.refused().head["message"]


def test_the_cursor_tells_place_order_colour_and_why(page: Page) -> None:
    plate = expose(SCENE)
    x = float(plate.x_m[30])
    quick = page.ask("cursor", "cursor", x_m=x).head
    sine = np.sin(np.arctan(x / SCENE.bench.camera_focal_m))
    pitch = SCENE.aperture.mean_pitch_m  # type: ignore[union-attr]
    assert quick["order"] == pytest.approx(pitch * sine / quick["wavelength_m"], rel=1e-6)
    assert len(quick["patch"]) == 3
    why = page.ask("cursor", "cursor", x_m=x, why=True).head
    assert why["sentences"]
    assert max(why["spectrum"]["relative"]) == 1.0


def test_pins_are_compared_on_one_exposure(page: Page) -> None:
    page.ask("pin", "pins")
    page.ask("turn", "frame", changes={"aperture.count": 5})
    pins = page.ask("pin", "pins").head["pins"]
    assert len(pins) == 2
    assert pins[0]["exposure"] == pins[1]["exposure"]
    assert any("2 more subsidiary maxima" in line for line in pins[1]["sentences"])
    each = page.ask("arrange", "pins", shared=False).head["pins"]
    assert each[0]["exposure"] != each[1]["exposure"]
    assert page.ask("recall", "state", number=0).head["title"] == "Three slits"
    assert len(page.ask("unpin", "pins", number=0).head["pins"]) == 1


@pytest.mark.slow
def test_six_pins_and_no_more(page: Page) -> None:
    for number in range(6):
        assert len(page.ask("pin", "pins").head["pins"]) == number + 1
    page.send("pin")
    assert "remove one first" in page.refused().head["message"]


@pytest.mark.slow
def test_saved_files_are_those_of_the_command(page: Page, tmp_path: Path) -> None:
    from wavesim.lightpath import open_plate
    from wavesim.scene import parse as read

    page.ask("turn", "frame", changes={"aperture.width": "35 um"})
    scene = page.ask("save", "file", what="scene")
    plate = expose(read(scene.buffers[0].decode()))
    assert plate.scene.aperture.width_m == pytest.approx(35e-6)  # type: ignore[union-attr]
    picture = page.ask("save", "file", what="picture")
    plate.save_png(tmp_path / "same.png")
    assert picture.buffers[0] == (tmp_path / "same.png").read_bytes()
    stored = page.ask("save", "file", what="plate")
    (tmp_path / stored.head["name"]).write_bytes(stored.buffers[0])
    assert np.array_equal(open_plate(tmp_path / stored.head["name"]).xyz, plate.xyz)
    assert page.ask("save", "file", what="sheet", paper="letter").buffers[0].startswith(b"%PDF")


def test_begun_again_with_the_scene_that_the_page_remembers() -> None:
    with client() as web, web.websocket_connect(BENCH, headers=ORIGIN) as socket:
        page = Page(socket)
        page.send("hello", columns=200, text=SMALL_SCENE.replace("Three slits", "Remembered"))
        assert page.next("state").head["title"] == "Remembered"


def test_a_remembered_scene_that_is_none_leaves_the_bench_as_it_is() -> None:
    with client() as web, web.websocket_connect(BENCH, headers=ORIGIN) as socket:
        page = Page(socket)
        page.send("hello", columns=200, text="schema = 9")
        assert "schema" in page.refused().head["message"]
        assert page.next("state").head["title"] == "Three slits"


def test_what_a_page_kept_is_kept_again() -> None:
    with client() as web, web.websocket_connect(BENCH, headers=ORIGIN) as socket:
        page = Page(socket)
        five = SMALL_SCENE.replace("count = 3", "count = 5")
        page.send("hello", columns=200, text=SMALL_SCENE, pins=[SMALL_SCENE, five],
                  locks=["aperture.pitch", "nothing"], tone="film")  # fmt: skip
        state = page.next("state").head
        assert (state["locks"], state["tone"]) == (["aperture.pitch"], "film")
        assert [pin["text"] for pin in page.next("pins").head["pins"]] == [SMALL_SCENE, five]


# ---- who may come in


@pytest.mark.parametrize("headers", [{}, {"origin": "http://evil.example"}, {"origin": "null"},
                                     {"origin": "https://127.0.0.1:8642"},
                                     {**ORIGIN, "host": "evil.example"},
                                     {**ORIGIN, "host": "127.0.0.1:80"}])  # fmt: skip
def test_foreign_origins_and_hosts_get_no_bench(headers: dict[str, str]) -> None:
    with (
        client() as web,
        pytest.raises(WebSocketDisconnect),
        web.websocket_connect(BENCH, headers=headers),
    ):
        pass


def test_a_page_is_answered_to_printed_names_only_and_may_load_nothing_else() -> None:
    with client() as web:
        assert web.get("/", headers={"host": "evil.example:8642"}).status_code == 421
        for path in ("/", "/bench.js", "/socket.js", "/bench.css"):
            answer = web.get(path)
            assert answer.status_code == 200
            assert answer.headers["content-security-policy"].startswith("default-src 'self';")
        assert web.get("/../../etc/passwd").status_code == 404
        assert web.post("/").status_code == 405


def test_the_page_is_small_and_names_no_other_host() -> None:
    paths = ("/", "/bench.js", "/socket.js", "/bench.css", "/strings.json", "/favicon.ico")
    with client() as web:
        texts = [web.get(path).text for path in paths]
    assert sum(len(text.encode()) for text in texts) < 200_000
    named = {name for text in texts for name in re.findall(r"https?://[^\s\"'`$]+", text)}
    assert named <= {"http://www.w3.org/2000/svg"}  # the name of a language, no address


def test_every_word_of_the_page_is_in_its_place() -> None:
    """Words that the page names are there, and no others: a translation is one file."""
    with client() as web:
        scripts = web.get("/bench.js").text + web.get("/socket.js").text
        texts = web.get("/strings.json").json()
    named = set(re.findall(r"(?<!/)\bstrings\.(\w+)", scripts)) - {"then"}
    refused = re.search(r"REFUSED = \{(.*?)\}", scripts)
    assert refused is not None
    named |= {"lost", *re.findall(r'"(\w+)"', refused[1])}
    named |= {f"save_{what}" for what in ("scene", "plate", "picture", "sheet")}
    assert named == set(texts)


def test_a_shared_bench_asks_for_a_key() -> None:
    rights = access(["10.0.0.7"], 8642, shared=True)
    with client(rights) as web:
        for key in ("", "wrong", None, 7):
            with web.websocket_connect(BENCH, headers=ORIGIN) as socket:
                socket.send_text(json.dumps({"n": 1, "kind": "hello", "key": key}))
                with pytest.raises(WebSocketDisconnect) as gone:
                    socket.receive_bytes()
                assert gone.value.code == 4401


def test_followers_see_the_owners_bench_and_turn_nothing() -> None:
    rights = access(["10.0.0.7"], 8642, shared=True)
    with two_pages(rights) as (owner, follower):
        owner.send("hello", key=rights.owner_key, columns=100)
        owner.next("frame")
        follower.send("hello", key=rights.class_key)
        assert follower.next("state").head["follower"] is True
        follower.send("turn", changes={"aperture.width": "1 um"})  # counts as a confirmation
        before = follower.next("frame")
        assert before.head["values"]["aperture.width"][1] == "40 um"
        follower.send("ack")
        owner.ask("turn", "frame", changes={"aperture.width": "33 um"})
        assert follower.next("frame").head["values"]["aperture.width"][1] == "33 um"


def test_nothing_is_shown_to_followers_while_the_plate_is_covered() -> None:
    rights = access([], 8642, shared=True)
    with two_pages(rights) as (owner, follower):
        owner.send("hello", key=rights.owner_key, columns=100)
        owner.next("frame")
        owner.ask("cover", "cover", covered=True)
        owner.ask("turn", "frame", changes={"aperture.width": "33 um"})
        owner.ask("turn", "frame", changes={"aperture.width": "34 um"})
        owner.ask("cover", "cover", covered=False)
        owner.next("frame")
        follower.send("hello", key=rights.class_key)
        follower.next("state")
        follower.send("ack")
        assert follower.next("frame").head["values"]["aperture.width"][1] == "34 um"


def test_two_pages_turn_two_benches() -> None:
    with two_pages() as pages:
        for page in pages:
            page.send("hello", columns=100)
            page.next("frame")
        pages[0].ask("turn", "frame", changes={"aperture.width": "33 um"})
        assert pages[1].ask("rest", "frame").head["values"]["aperture.width"][1] == "40 um"


def test_no_more_connections_than_are_allowed() -> None:
    server = Server(SCENE, [], access([], 8642, shared=False))
    server.connections = MOST_CONNECTIONS
    with (
        TestClient(server.app(), base_url="http://127.0.0.1:8642") as web,
        pytest.raises(WebSocketDisconnect),
        web.websocket_connect(BENCH, headers=ORIGIN),
    ):
        pass


# ---- the line


def test_packed_messages_come_back_whole() -> None:
    reply = Reply({"kind": "frame", "far": float("inf"), "n": 3}, (b"abc", b"", b"\0" * 5))
    back = unpacked(packed(reply))
    assert back == Reply({"kind": "frame", "far": None, "n": 3}, reply.buffers)


def test_the_latest_value_wins_and_none_is_forgotten() -> None:
    waiting = Waiting()
    waiting.put({"n": 1, "kind": "turn", "changes": {"a": 1, "b": 1}})
    waiting.put({"n": 2, "kind": "turn", "changes": {"a": 2}})
    waiting.put({"n": 3, "kind": "cursor", "x_m": 0.0})
    waiting.put({"n": 4, "kind": "cursor", "x_m": 1.0})
    assert waiting.take() == {"n": 2, "kind": "turn", "changes": {"a": 2, "b": 1}}
    assert waiting.take() == {"n": 4, "kind": "cursor", "x_m": 1.0}
    assert len(waiting) == 0


def test_who_sends_without_end_is_cut_off() -> None:
    waiting = Waiting()
    for number in range(MOST_WAITING):
        waiting.put({"n": number, "kind": "pin"})
    with pytest.raises(Overrun):
        waiting.put({"n": 99, "kind": "pin"})


def test_the_same_desk_serves_both_doors() -> None:
    """The protocol needs neither server nor widget."""
    replies: list[Reply] = []
    desk = Desk(Session(SCENE))
    desk.answer({"n": 1, "kind": "hello", "columns": 80}, replies.append)
    desk.answer({"n": 2, "kind": "turn", "changes": {"aperture.count": 4}}, replies.append)
    assert [reply.head["kind"] for reply in replies] == ["state", "frame", "frame"]
    assert [reply.head["n"] for reply in replies] == [1, 1, 2]
