"""What a page or a notebook asks of a bench, and what it is answered: plain JSON and buffers.

A message is a JSON object with a number `n` and a `kind`; the answer repeats `n`. The two doors,
a websocket and a notebook's widget, carry messages; all that they mean is said here.

    desk = Desk(Session(scene))
    desk.answer({"n": 1, "kind": "turn", "changes": {"aperture.width": "50 um"}}, tell)
"""

from __future__ import annotations

import json
import math
import time
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from functools import cache
from importlib import resources
from typing import Any

from wavesim.colorimetry import png_bytes
from wavesim.errors import InputError, WavesimError
from wavesim.live import saving, study
from wavesim.live.pins import MOST_PINS, Pins
from wavesim.live.session import TONES, Session
from wavesim.live.views import WHOLE, View, view_of
from wavesim.scene import Scene
from wavesim.text import shutter

DEFAULT_COLUMNS, _FEWEST, _MOST = 1200, 64, 4096
LONGEST_TEXT = 1 << 15  # characters of a scene that a page sends


@dataclass(frozen=True)
class Reply:
    """One answer: a JSON object and the binary arrays that go with it."""

    head: dict[str, Any]
    buffers: tuple[bytes, ...] = ()


Tell = Callable[[Reply], None]


@dataclass
class Desk:
    """One pair of hands at a bench.

    Attributes
    ----------
    bench : the scene and what was turned on it
    scenes : others that can be put on the bench, by number
    columns : of the screen
    pins : plates kept
    covered : whether the plate is hidden until everybody has said what it will show
    share : address for the class and its QR code as a path, where the bench is shared
    """

    bench: Session
    scenes: Sequence[Scene] = ()
    columns: int = DEFAULT_COLUMNS
    pins: Pins = field(default_factory=Pins)
    covered: bool = False
    share: dict[str, Any] | None = None

    def answer(self, message: dict[str, Any], tell: Tell) -> None:
        """Do what a message asks and reply; what is wrong is replied, not raised."""
        number, given = message.get("n"), message.get("kind")
        number = number if isinstance(number, int | float) else 0
        kind = given if isinstance(given, str) else None
        work = None if kind is None else self._WORK.get(kind)
        begin = time.perf_counter()

        def numbered(reply: Reply) -> None:
            spent = round(1e3 * (time.perf_counter() - begin), 2)
            tell(Reply({"n": number, "ms": spent, **reply.head}, reply.buffers))

        try:
            if work is None:
                raise InputError("is not a known kind of message", key="kind", value=given)
            work(self, message, numbered)
        except WavesimError as error:
            numbered(refusal(error, kind))
        except MemoryError:
            numbered(Reply({"kind": "refused", "of": kind, "key": None, "message":
                            "there is not enough free memory for this scene"}))  # fmt: skip
        except (TypeError, ValueError, KeyError, OverflowError, RecursionError) as error:
            text = f"the message cannot be read ({type(error).__name__})"
            numbered(Reply({"kind": "refused", "of": kind, "key": None, "message": text}))

    def state(self) -> Reply:
        """All that a page needs to begin."""
        return Reply(
            {
                "kind": "state",
                "strings": strings(),
                "title": self.bench.title,
                "text": self.bench.text,
                "handles": [handle.record() for handle in self.bench.handles()],
                "locks": sorted(self.bench.locks),
                "cautions": list(self.bench.cautions()),
                "scenes": [scene.title or f"scene {k + 1}" for k, scene in enumerate(self.scenes)],
                "tones": list(TONES),
                "tone": self.bench.tone,
                "share": self.share,
            }
        )

    def _hello(self, message: dict[str, Any], tell: Tell) -> None:
        """Begin, or begin again with the scene that the page remembers."""
        self._set_columns(message)
        text = message.get("text")
        if isinstance(text, str) and text and text != self.bench.text:
            try:
                self.bench.read(_short(text))
            except WavesimError as error:  # a link gone wrong: the bench begins as it is
                tell(refusal(error, "hello"))
        if message.get("tone") in TONES:
            self.bench.tone = str(message["tone"])
        self._hold(message.get("locks", ()))
        tell(self.state())
        self._frame(self.bench.preview(self.columns), tell)
        if message.get("pins") and not len(self.pins):
            self._keep_again(list(message["pins"])[:MOST_PINS])
            self._tell_pins(tell)

    def _keep_again(self, texts: list[object]) -> None:
        """Plates that a page had kept before its connection was lost."""
        for text in texts:
            again = Session(self.bench.scene)
            again.read(_short(str(text)))
            self.pins.add(again.expose(), again.text, again.title)

    def _turn(self, message: dict[str, Any], tell: Tell) -> None:
        self._set_columns(message)
        self.bench.turn(dict(message["changes"]))
        self._frame(self.bench.preview(self.columns), tell)

    def _rest(self, _message: dict[str, Any], tell: Tell) -> None:
        view = self.bench.full_row(self.columns)
        more: dict[str, Any] = {"text": self.bench.text, "sentences": study.in_short(view.plate)}
        more["handles"] = [handle.record() for handle in self.bench.handles()]
        self._frame(view, tell, more)

    def _expose(self, _message: dict[str, Any], tell: Tell) -> None:
        plate = self.bench.expose(lambda stage: tell(Reply({"kind": "stage", "stage": stage})))
        view = view_of(plate, WHOLE)
        text = study.in_full(plate)
        picture = png_bytes(saving.picture_of_bench(self.bench))
        self._frame(view, tell, {"text": self.bench.text, "sentences": text}, picture)

    def _read(self, message: dict[str, Any], tell: Tell) -> None:
        self.bench.read(_short(str(message["text"])))
        tell(self.state())
        self._frame(self.bench.preview(self.columns), tell)

    def _choose(self, message: dict[str, Any], tell: Tell) -> None:
        number = int(message["number"])
        if not 0 <= number < len(self.scenes):
            raise InputError("is not a scene of the list", key="number", value=number)
        self.bench.read(self.scenes[number].text)
        tell(self.state())
        self._frame(self.bench.preview(self.columns), tell)

    def _look(self, message: dict[str, Any], tell: Tell) -> None:
        """Tone of the picture, and the wavelength for which orders are marked."""
        tone = message.get("tone", self.bench.tone)
        if tone not in TONES:
            raise InputError("is not a tone", key="tone", value=tone, expected=" or ".join(TONES))
        self.bench.tone = tone
        if "wavelength_m" in message:
            wave = message["wavelength_m"]
            self.bench.wavelength_m = None if wave is None else _within(wave, 360e-9, 830e-9)
        self._frame(self.bench.preview(self.columns), tell)

    def _lock(self, message: dict[str, Any], tell: Tell) -> None:
        self._hold(message["locks"])
        tell(Reply({"kind": "locks", "locks": sorted(self.bench.locks)}))

    def _hold(self, paths: Iterable[object]) -> None:
        known = {handle.path for handle in self.bench.handles()}
        self.bench.locks = frozenset(known & set(map(str, paths)))

    def _cursor(self, message: dict[str, Any], tell: Tell) -> None:
        x_m = _within(message["x_m"], -1e13, 1e13)
        why = bool(message.get("why"))
        tell(Reply({"kind": "cursor", "why": why, **study.at_position(self.bench, x_m, why=why)}))

    def _pin(self, _message: dict[str, Any], tell: Tell) -> None:
        plate = self.bench.expose(lambda stage: tell(Reply({"kind": "stage", "stage": stage})))
        self.pins.add(plate, self.bench.text, self.bench.title)
        self._tell_pins(tell)

    def _unpin(self, message: dict[str, Any], tell: Tell) -> None:
        self.pins.remove(int(message["number"]))
        self._tell_pins(tell)

    def _arrange(self, message: dict[str, Any], tell: Tell) -> None:
        """One exposure for all pins, or each its own."""
        self.pins.shared_exposure = bool(message["shared"])
        self._tell_pins(tell)

    def _recall(self, message: dict[str, Any], tell: Tell) -> None:
        """Put a pin's scene back on the bench."""
        self.bench.read(self.pins.text(int(message["number"])))
        tell(self.state())
        self._frame(self.bench.preview(self.columns), tell)

    def _cover(self, message: dict[str, Any], tell: Tell) -> None:
        """Hide the plate, or show what it became meanwhile."""
        self.covered = bool(message["covered"])
        tell(Reply({"kind": "cover", "covered": self.covered}))
        if not self.covered:
            self._frame(self.bench.preview(self.columns), tell)

    def _tell_pins(self, tell: Tell) -> None:
        head, buffers = self.pins.record(self.bench.rendering())
        tell(Reply({"kind": "pins", **head}, buffers))

    def _save(self, message: dict[str, Any], tell: Tell) -> None:
        def stage(name: str) -> None:
            tell(Reply({"kind": "stage", "stage": name}))

        what, paper = str(message["what"]), str(message.get("paper", "A4"))
        made = saving.saved(self.bench, self.pins, what, paper, stage)
        head = {"kind": "file", "what": what, "name": made.name, "type": made.type}
        tell(Reply(head, (made.content,)))

    def _set_columns(self, message: dict[str, Any]) -> None:
        self.columns = int(_within(message.get("columns", self.columns), _FEWEST, _MOST))

    def _frame(
        self, view: View, tell: Tell, more: dict[str, Any] | None = None, picture: bytes = b""
    ) -> None:
        head = frame_head(self.bench, view)
        rows, hues = view.painted(self.bench.rendering())
        painted = b"" if picture else rows.tobytes()
        buffers = (painted, hues.tobytes(), view.profile.astype("<f4").tobytes(), picture)
        tell(Reply({**head, **(more or {})}, buffers))

    _WORK: dict[str, Callable[[Desk, dict[str, Any], Tell], None]] = field(
        init=False, repr=False, default_factory=dict
    )

    def __post_init__(self) -> None:
        kinds = ("hello", "turn", "rest", "expose", "read", "choose", "look", "lock", "cursor",
                 "pin", "unpin", "arrange", "recall", "cover", "save")  # fmt: skip
        self._WORK.update({kind: getattr(type(self), f"_{kind}") for kind in kinds})


@cache
def strings() -> dict[str, Any]:
    """All words of the page, in one place for translation."""
    text = resources.files("wavesim.live").joinpath("data/strings.json").read_text("utf-8")
    return dict(json.loads(text))


def frame_head(bench: Session, view: View) -> dict[str, Any]:
    """What is said of a frame; lengths in metres."""
    marks, plate = bench.marks(), view.plate
    top, bottom = view.y_range_m[1], view.y_range_m[0]
    return {
        "kind": "frame",
        "quality": view.quality,
        "columns": int(view.profile.size),
        "rows": [round((top - float(y)) / (top - bottom), 6) for y in view.row_m],
        "x_m": view.x_range_m,
        "y_m": view.y_range_m,
        "exposure_s": plate.exposure_s,
        "exposure": shutter(plate.exposure_s),
        "white_lx_s": plate.white_exposure_lx_s,
        "brightest_W_m2": view.brightest_W_m2,
        "title": bench.title,
        "marks": vars(marks),
        "values": {handle.path: [handle.value, handle.text] for handle in bench.handles()},
    }


def refusal(error: WavesimError, request: object = None) -> Reply:
    """An error in the program's own words, and the key it is about."""
    head = {
        "kind": "refused",
        "of": request,
        "key": getattr(error, "key", None),
        "message": str(error),
    }
    return Reply(head)


def _short(text: str) -> str:
    if len(text) > LONGEST_TEXT:
        raise InputError("is longer than a live bench takes", key="text", value=f"{len(text):,}")
    return text


def _within(value: object, low: float, high: float) -> float:
    number = float(value)  # type: ignore[arg-type]
    if not math.isfinite(number):
        raise ValueError
    return min(max(number, low), high)
