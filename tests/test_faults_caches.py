"""Whatever is wrong with a cache, it is a miss: the result is the same, and stored anew."""

from __future__ import annotations

import errno
import importlib.util
import logging
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numba.core import config

from wavesim import disk_cache, files
from wavesim.compiled import _Sealed, compiled

MODULE = (
    "def half(values, out):\n    for k in range(values.size):\n        out[k] = values[k] / 2\n"
)


class Shelf:
    """A kernel whose compiled form lies in a folder of its own."""

    def __init__(self, folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        source = folder / "halving.py"
        source.write_text(MODULE)
        self.cache = folder / "cache"
        monkeypatch.setattr(config, "CACHE_DIR", str(self.cache))
        spec = importlib.util.spec_from_file_location("halving", source)
        assert spec is not None
        assert spec.loader is not None
        module = importlib.util.module_from_spec(spec)
        spec.loader.exec_module(module)
        self._plain = module.half

    def run(self) -> bool:
        """Call the kernel as a new process would; whether it was compiled for that."""
        kernel: Any = compiled()(self._plain)
        out = np.zeros(3)
        kernel(np.array([2.0, 4.0, 8.0]), out)
        assert out.tolist() == [1.0, 2.0, 4.0]
        return not kernel.stats.cache_hits

    def files(self, ending: str) -> list[Path]:
        return sorted(self.cache.rglob(f"*.{ending}"))


@pytest.fixture
def shelf(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Shelf:
    made = Shelf(tmp_path, monkeypatch)
    assert made.run()  # nothing was there
    assert not made.run()
    return made


def _cut(path: Path) -> None:
    path.write_bytes(path.read_bytes()[: path.stat().st_size // 2])


def _empty(path: Path) -> None:
    path.write_bytes(b"")


def _flip(path: Path) -> None:
    content = bytearray(path.read_bytes())
    content[len(content) // 2] ^= 1
    path.write_bytes(bytes(content))


def _replace_by_folder(path: Path) -> None:
    path.unlink()
    path.mkdir()


def _open_to_all(path: Path) -> None:
    path.chmod(0o666)


@pytest.mark.parametrize("ending", ["nbi", "nbc"])
@pytest.mark.parametrize("damage", [_cut, _empty, _flip, _open_to_all])
def test_a_kernel_in_a_damaged_cache_is_compiled_and_stored_anew(
    shelf: Shelf, ending: str, damage: Callable[[Path], None]
) -> None:
    (path,) = shelf.files(ending)
    damage(path)
    assert shelf.run()
    assert not shelf.run()


def test_a_cache_that_cannot_be_replaced_costs_only_time(shelf: Shelf) -> None:
    (path,) = shelf.files("nbi")
    _replace_by_folder(path)
    assert shelf.run()
    assert shelf.run()


def test_a_folder_that_anybody_may_write_is_not_read(shelf: Shelf) -> None:
    folder = shelf.files("nbi")[0].parent
    folder.chmod(0o777)
    assert shelf.run()


@contextmanager
def _full(*_: object) -> Iterator[None]:
    raise OSError(errno.ENOSPC, "No space left on device")
    yield


def test_a_full_disk_is_named_once_and_nothing_else_happens(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    monkeypatch.setattr(files, "_reported", set())
    monkeypatch.setattr(_Sealed, "_open_for_write", _full)
    shelf = Shelf(tmp_path, monkeypatch)
    with caplog.at_level(logging.WARNING, "wavesim"):
        assert shelf.run()
        assert shelf.run()
    (record,) = caplog.records
    assert str(shelf.cache) in record.getMessage()
    assert "full" in record.getMessage()


TABLE = np.arange(6.0).reshape(2, 3)
WRONG: dict[str, Callable[[bytes], bytes]] = {
    "cut": lambda whole: whole[:-7],
    "empty": lambda _: b"",
    "another array": lambda whole: whole.replace(np.float64(5).tobytes(), np.float64(6).tobytes()),
    "longer": lambda whole: whole + b"0",
}


@pytest.fixture
def cached(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("WAVESIM_CACHE", str(tmp_path))
    assert (_grid() == TABLE).all()
    (path,) = tmp_path.glob("*.npy")
    return path


def _grid(settings: tuple[float, ...] = (1.0,), value: float = 0.0) -> np.ndarray:
    return disk_cache.grid(np.ones(2), settings, lambda: TABLE + value, (None, 3))


@pytest.mark.parametrize("wrong", WRONG)
def test_a_damaged_array_is_made_anew(cached: Path, wrong: str) -> None:
    assert (_grid(value=1.0) == TABLE).all()  # from the file
    cached.write_bytes(WRONG[wrong](cached.read_bytes()))
    assert (_grid(value=1.0) == TABLE + 1).all()
    assert (_grid(value=2.0) == TABLE + 1).all()  # and stored


def test_the_array_of_other_settings_is_not_taken(cached: Path) -> None:
    _grid(settings=(2.0,))
    (other,) = set(cached.parent.glob("*.npy")) - {cached}
    other.write_bytes(cached.read_bytes())
    assert (_grid(settings=(2.0,), value=3.0) == TABLE + 3).all()


def test_an_array_of_another_shape_or_type_is_not_taken(cached: Path) -> None:
    key = cached.stem.removeprefix("sun-")
    wrong: list[Any] = [TABLE.T.copy(), TABLE.astype(np.float32), TABLE * np.nan]
    for values in wrong:
        disk_cache._write(cached, key, values)  # sealed, and wrong all the same
        assert (_grid(value=1.0) == TABLE + 1).all()
