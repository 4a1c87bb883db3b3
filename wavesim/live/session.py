"""One bench: a scene, what was turned on it, and what it shows. No sockets, no page.

bench = Session(scene)
bench.turn({"aperture.width": "50 um"})
view = bench.preview(columns=1200)
"""

from __future__ import annotations

import time
import tomllib
from collections.abc import Callable, Mapping
from copy import deepcopy
from pathlib import Path
from typing import Any

from wavesim import light
from wavesim.colorimetry.rendering import Rendering
from wavesim.colorimetry.tone import Film, Linear, Logarithmic, Tone
from wavesim.errors import InputError, LimitError
from wavesim.lightpath import ExposedPlate, LightPath
from wavesim.live import views
from wavesim.live.cost import MOST_SECONDS, require_affordable
from wavesim.live.edits import Given, rewritten
from wavesim.live.handles import Handle, handles_of, ratio_keys
from wavesim.live.marks import Marks, marks_of, reference_wavelength
from wavesim.live.views import View
from wavesim.plate import Plate
from wavesim.plate.duration import at_most
from wavesim.scene import Scene, from_tables, named_files, parse
from wavesim.scene.changes import put
from wavesim.scene.quantities import show

TONES: dict[str, Callable[[], Tone]] = {"linear": Linear, "film": Film, "logarithmic": Logarithmic}
_LONGEST_VALUE = 80
_SLOW_S, _FEWEST = 1.0, 64  # a preview that takes longer gets fewer columns, but so many
_MOST_NAMED = 3  # of what was turned, in a title
_MOST_BYTES = 100_000_000  # remembered between frames; what the last frame used stays anyway


class Session:
    """A bench in somebody's hands.

    Attributes
    ----------
    scene : as it stands now
    tone : name of the tone of pictures, one of `TONES`
    locks : keys that may not be turned
    wavelength_m : for which orders are marked [m]; None follows the scene
    plate : the whole plate, if the scene was exposed since it was last changed
    """

    def __init__(self, scene: Scene) -> None:
        self.tone = "linear"
        self.locks: frozenset[str] = frozenset()
        self._pace, self._slow = 1.0, False  # share of a screen's columns that a preview has
        self.wavelength_m: float | None = None
        self._folder = scene.folder
        self._path = LightPath(most_bytes=_MOST_BYTES)
        self._take(scene.text or _text_of(scene), scene)

    def _take(self, text: str, scene: Scene) -> None:
        self.scene = scene
        self.plate: ExposedPlate | None = None
        self._text = text
        self._edits: dict[str, Given | None] = {}
        self._tables: dict[str, Any] = tomllib.loads(text)
        self._turned: dict[str, None] = {}  # keys, in the order in which they were last turned
        self._reference_m: float | None = None
        self._shown: Plate | None = None
        self._marked: tuple[object, Marks] | None = None

    @property
    def title(self) -> str:
        """The scene's title, and what was turned since it was put on the bench."""
        texts = {h.path: f"{h.name} {h.text}" for h in self.handles() if h.path in self._turned}
        names = [texts[path] for path in self._turned if path in texts][-_MOST_NAMED:]
        return f"{self.scene.title}, {', '.join(names)}" if names else self.scene.title

    @property
    def text(self) -> str:
        """The scene file as it would be saved, with its comments."""
        if self._edits:
            self._text, self._edits = rewritten(self._text, self._edits.items()), {}
        return self._text

    def read(self, text: str) -> None:
        """Take the scene that a text describes.

        Raises
        ------
        SceneError
            The text is not a scene; the bench stays as it was.
        LimitError
            It would take too long or too much memory.
        """
        scene = self._checked(parse(text))
        self._take(text, scene)

    def turn(self, changes: Mapping[str, Given | None]) -> None:
        """Set handles: texts with a unit, numbers, choices; None leaves the key to the program.

        Raises
        ------
        InputError
            A value that cannot be, or a locked key; the bench stays as it was.
        """
        tables, edits = deepcopy(self._tables), dict(self._edits)
        for path, value in self._resolved(changes).items():
            put(tables, path, value)
            edits[path] = value
        if edits == self._edits:
            return
        self.scene = self._checked(from_tables(tables))
        self.plate, self._tables, self._edits = None, tables, edits
        for path in changes:
            self._turned.pop(path, None)
            self._turned[path] = None
        if any(path.startswith("source") for path in changes):
            self._reference_m = None

    def _checked(self, scene: Scene) -> Scene:
        scene = scene.beside(self._folder)
        _keep_inside(scene, self._folder)
        require_affordable(scene)
        return scene

    def _resolved(self, changes: Mapping[str, Given | None]) -> dict[str, Given | None]:
        """Ratios as values; what a locked ratio moves moves along."""
        plain: dict[str, Given | None] = {}
        for path, value in changes.items():
            if path in self.locks:
                raise InputError("is locked", key=path, expected="a key that is not locked")
            if isinstance(value, str) and len(value) > _LONGEST_VALUE:
                raise InputError("is too long", key=path, expected="a value with its unit")
            if " : " in path:
                plain |= self._ratio(path, value)
            else:
                plain[path] = value
        for path in [lock for lock in self.locks if " : " in lock]:
            plain |= self._follow(path, plain)
        return plain

    def _ratio(self, path: str, value: Given | None) -> dict[str, Given | None]:
        upper, lower = ratio_keys(path)
        ratio = _plain_number(path, value)
        held, moved = (upper, lower) if upper in self.locks else (lower, upper)
        if moved in self.locks:
            raise InputError(
                "both of its lengths are locked", key=path, expected="unlock one of them"
            )
        length = self._length(held)
        return {moved: _shown(length * ratio if moved == upper else length / ratio)}

    def _follow(self, path: str, plain: Mapping[str, Given | None]) -> dict[str, Given | None]:
        """The other length of a locked ratio, where one of the two is turned."""
        upper, lower = ratio_keys(path)
        if (upper in plain) == (lower in plain):
            return {}
        ratio = self._length(upper) / self._length(lower)
        turned = upper if upper in plain else lower
        length = _length_of(turned, plain[turned])
        other = lower if turned == upper else upper
        return {other: _shown(length / ratio if turned == upper else length * ratio)}

    def _length(self, path: str) -> float:
        value = next((h.value for h in self.handles() if h.path == path), None)
        if not isinstance(value, float) or value <= 0:
            raise InputError(
                "is not a length of this scene", key=path[:80], expected="aperture.width"
            )
        return value

    def handles(self) -> tuple[Handle, ...]:
        """What can be turned, from the source to the plate."""
        return handles_of(self.scene)

    def marks(self) -> Marks:
        """Orders, minima and angles at the reference wavelength."""
        if self._reference_m is None:
            self._reference_m = reference_wavelength(self.scene)
        wave, scene = self.wavelength_m or self._reference_m, self.scene
        key = (wave, scene.bench, scene.aperture, scene.plate)
        if self._marked is None or self._marked[0] != key:
            self._marked = (key, marks_of(scene, wave))
        return self._marked[1]

    def preview(self, columns: int) -> View:
        """The plate as coarse as a screen asks."""
        begin = time.perf_counter()
        with at_most(MOST_SECONDS):
            view = views.preview(self._path, self.scene, max(_FEWEST, round(columns * self._pace)))
        self._keep_pace(time.perf_counter() - begin)
        return self._kept(view)

    def _keep_pace(self, seconds: float) -> None:
        """Fewer columns for a scene that is slow twice in a row (near fields, powder), and back."""
        if seconds > _SLOW_S and self._slow:
            self._pace = max(self._pace * max(_SLOW_S / seconds, 0.25), _FEWEST / 4096)
        elif seconds < _SLOW_S / 4:
            self._pace = min(1.0, 1.5 * self._pace)
        self._slow = seconds > _SLOW_S

    def full_row(self, columns: int) -> View:
        """The plate at its own columns; a scene that is slow shows its preview until exposed."""
        if self._slow or self._pace < 1.0:
            return self.preview(columns)
        with at_most(MOST_SECONDS):
            return self._kept(views.full_row(self._path, self.scene, columns))

    def _kept(self, view: View) -> View:
        self._shown = view.plate
        return view

    def shown(self) -> Plate:
        """The plate last shown: the whole one if it is exposed, else a preview.

        Raises
        ------
        InputError
            Nothing was shown yet.
        """
        shown = self.plate or self._shown
        if shown is None:
            raise InputError("nothing has been shown yet", expected="a change, or an exposure")
        return shown

    def expose(self, progress: Callable[[str], None] | None = None) -> ExposedPlate:
        """The whole plate, as `wavesim expose` makes it; kept until something is turned."""
        if self.plate is None:
            require_affordable(self.scene)
            scene = self.scene.with_text(self.text)
            with at_most(MOST_SECONDS):
                self.plate = self._path.expose(scene, progress=progress)
        return self.plate

    def rendering(self) -> Rendering:
        """How pictures are made; the default is that of `wavesim expose`."""
        return Rendering(tone=TONES[self.tone]())

    def cautions(self) -> tuple[str, ...]:
        """For the eyes."""
        return light.cautions(self.scene.source)


def _shown(length_m: float) -> str:
    return show(length_m, "length")


def _plain_number(path: str, value: object) -> float:
    try:
        number = float(value)  # type: ignore[arg-type]
    except (TypeError, ValueError):
        number = 0.0
    if not 1e-6 <= number <= 1e6:
        raise InputError("is not a ratio", key=path, value=value, expected="a number such as 0.44")
    return number


def _length_of(path: str, value: object) -> float:
    from wavesim.scene.units import UnitError, measure

    try:
        return measure(str(value)).value
    except UnitError as error:
        raise InputError(str(error), key=path, value=value, expected='"40 um"') from None


def _text_of(scene: Scene) -> str:
    """A scene built in Python as a scene file."""
    from wavesim.live.writing import scene_text

    return scene_text(scene)


def _keep_inside(scene: Scene, folder: Path) -> None:
    """Refuse tables and pictures outside the folder that the bench was started with."""
    root = folder.resolve()
    for key, name in named_files(scene):
        if not (root / name).resolve().is_relative_to(root):
            raise LimitError(
                "lies outside the folder of this bench", key=key, value=name,
                expected="the name of a file in the folder that the bench was started with",
            )  # fmt: skip
        if not (root / name).is_file():
            raise InputError("names a file that does not exist", key=key, value=name)
