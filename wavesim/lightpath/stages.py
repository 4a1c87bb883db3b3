"""Running the stages of the path: one after the other, or only those whose inputs changed."""

from __future__ import annotations

import hashlib
import time
from collections import OrderedDict
from collections.abc import Callable, Hashable
from dataclasses import dataclass, field, fields, is_dataclass
from typing import Any, ParamSpec, TypeVar, cast

import numpy as np

from wavesim.lightpath.inputs import files_of, scene_key
from wavesim.scene import Scene
from wavesim.threads import working

_P = ParamSpec("_P")
_T = TypeVar("_T")


class Stages:
    """Runs one stage after the other, names each and notes its wall time [s]."""

    def __init__(self, progress: Callable[[str], None] | None = None) -> None:
        self.seconds: dict[str, float] = {}
        self._progress = progress

    def __call__(
        self, name: str, work: Callable[_P, _T], /, *args: _P.args, **options: _P.kwargs
    ) -> _T:
        """work(*args, **options)."""
        if self._progress is not None:
            self._progress(name)
        begin = time.perf_counter()
        with working():
            result = self.run(work, args, options)
        self.seconds[name] = self.seconds.get(name, 0.0) + time.perf_counter() - begin
        return result

    def run(
        self, work: Callable[..., _T], args: tuple[object, ...], options: dict[str, object]
    ) -> _T:
        """The work itself."""
        return work(*args, **options)


class RememberingStages(Stages):
    """The same, but a stage whose inputs a memory knows is not run again.

    Attributes
    ----------
    reused : names of the stages whose results were remembered
    """

    def __init__(self, memory: Memory, progress: Callable[[str], None] | None = None) -> None:
        super().__init__(progress)
        self.reused: list[str] = []
        self._memory = memory
        self._found = False

    def __call__(
        self, name: str, work: Callable[_P, _T], /, *args: _P.args, **options: _P.kwargs
    ) -> _T:
        """work(*args, **options), or what it returned for the same inputs before."""
        self._found = False
        result = super().__call__(name, work, *args, **options)
        if self._found:
            self.reused.append(name)
        return result

    def run(
        self, work: Callable[..., _T], args: tuple[object, ...], options: dict[str, object]
    ) -> _T:
        """The work, or its remembered result."""
        if "<locals>" in work.__qualname__:  # a closure: its inputs cannot be known
            return work(*args, **options)
        key = self._memory.key(work, args, options)
        if key is None:
            return work(*args, **options)
        self._found = key in self._memory
        if not self._found:
            self._memory.keep(key, work(*args, **options))
        return cast(_T, self._memory[key])


@dataclass
class _Entry:
    result: object
    bytes: int
    parts: list[object] = field(default_factory=list)


_MOST_ENTRIES = 500  # results held, however small: about sixty exposures


class Memory:
    """Results of stages by their inputs, the longest unused forgotten first.

    Inputs are told apart by value: numbers, texts and the parts of a scene that a stage reads;
    arrays by their content. A result that is itself the input of a later stage is known by what
    it was made from, so that no large array is looked at.

    Parameters
    ----------
    most_bytes : arrays held beyond this are forgotten; the last exposure's are held in any case
    """

    def __init__(self, most_bytes: int) -> None:
        self._most_bytes = most_bytes
        self._entries: OrderedDict[Hashable, _Entry] = OrderedDict()
        self._known: dict[int, Hashable] = {}  # id of a held result (or part) -> what made it
        self._in_use: set[Hashable] = set()
        self._total = 0  # bytes of all entries
        self._files: dict[int, tuple[Scene, Hashable]] = {}  # of this exposure's scenes, by id

    def begin(self) -> None:
        """A new exposure begins: what the last one used may be forgotten from now on."""
        self._in_use.clear()
        self._files.clear()

    def __contains__(self, key: Hashable) -> bool:
        return key in self._entries

    def __getitem__(self, key: Hashable) -> object:
        self._entries.move_to_end(key)
        self._in_use.add(key)
        return self._entries[key].result

    @property
    def bytes(self) -> int:
        """Size of all arrays held."""
        return self._total

    def keep(self, key: Hashable, result: object) -> None:
        """Hold a result, and forget others while they are too large."""
        entry = _Entry(result, _bytes(result))
        self._entries[key] = entry
        self._total += entry.bytes
        self._in_use.add(key)
        parts = list(result) if isinstance(result, tuple) else []
        for number, part in enumerate([result, *parts]):
            if not _plain(part) and id(part) not in self._known:
                self._known[id(part)] = (key, number)
                entry.parts.append(part)
        self._forget()

    def _forget(self) -> None:
        """Let the longest unused results go until the others fit; only a few steps each time."""
        if self._total <= self._most_bytes and len(self._entries) <= _MOST_ENTRIES:
            return
        for key in [key for key in self._entries if key not in self._in_use]:
            if self._total <= self._most_bytes and len(self._entries) <= 0.9 * _MOST_ENTRIES:
                return
            entry = self._entries.pop(key)
            self._total -= entry.bytes
            for part in entry.parts:
                del self._known[id(part)]

    def key(
        self, work: Callable[..., object], args: tuple[object, ...], options: dict[str, object]
    ) -> Hashable | None:
        """What a stage's result depends on; None where that cannot be known."""
        given = tuple(self._of(value, work) for value in args)
        named = tuple((name, self._of(value, work)) for name, value in sorted(options.items()))
        key = _Key((work, given, named))
        try:
            hash(key)
        except TypeError:  # an input that may change: a dictionary, say
            return None
        return key

    def _of(self, value: Any, work: Callable[..., object]) -> Hashable:
        if id(value) in self._known:
            return self._known[id(value)]
        if isinstance(value, Scene):
            return scene_key(value, work, self._files_of(value))
        if isinstance(value, np.ndarray):
            return _content(value)
        if isinstance(value, (tuple, list)):
            return tuple(self._of(item, work) for item in value)
        if is_dataclass(value) and not isinstance(value, type):
            parts = (self._of(getattr(value, f.name), work) for f in fields(value))
            return (type(value), *parts)
        return cast(Hashable, value)

    def _files_of(self, scene: Scene) -> Hashable:
        """What files a scene names, looked at once an exposure."""
        if id(scene) not in self._files:
            self._files[id(scene)] = (scene, files_of(scene))
        return self._files[id(scene)][1]


class _Key(tuple[Hashable, ...]):
    """A key that hashes its parts once."""

    def __hash__(self) -> int:
        known = self.__dict__.get("known")
        if known is None:
            known = self.__dict__["known"] = super().__hash__()
        return cast(int, known)


def _plain(value: object) -> bool:
    return value is None or isinstance(value, (bool, int, float, str, type))


def _content(array: np.ndarray[Any, Any]) -> Hashable:
    digest = hashlib.blake2b(np.ascontiguousarray(array).data, digest_size=16).digest()
    return (array.shape, array.dtype.str, digest)


def _bytes(value: object) -> int:
    """Size of the arrays of a result and of its parts."""
    if isinstance(value, np.ndarray):
        return value.nbytes
    if isinstance(value, (tuple, list)):
        return sum(_bytes(item) for item in value)
    if is_dataclass(value) and not isinstance(value, type):
        return sum(_bytes(vars(value).get(f.name)) for f in fields(value))
    return 0
