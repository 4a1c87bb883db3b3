"""Arrays kept in the user's cache folder between runs, such as the Sun's transmission.

The product over 8,783 lines takes 0.1 s and the loading of its kernels as long again; reading it
back takes 5 ms and gives the same bits. Each file holds the array and, at its end, a digest of
the array and of what it depends on: one that is cut short, damaged or written by anything else is
computed anew. So is everything where no folder can be written.
"""

from __future__ import annotations

import hashlib
import io
import os
from collections.abc import Callable
from functools import cache
from pathlib import Path

import numpy as np

from wavesim.arrays import Floats
from wavesim.errors import InputError, OutputError
from wavesim.files import replacing, report_full_disk
from wavesim.inputs import read_bounded

Shape = tuple[int | None, ...]  # None: any length

_MOST_BYTES = 200_000_000
_SEAL = 32  # bytes of the digest at the end of a file


def grid(
    table: Floats,
    settings: tuple[float | str, ...],
    make: Callable[[], Floats],
    shape: Shape,
    *,
    what: str = "sun",
    room: str = "light",
) -> Floats:
    """The array that `make` gives, from the cache if it was made before.

    Parameters
    ----------
    table, settings
        All that the array depends on; their digest, with that of the code, is the name.
    shape
        What the array must have; a file with another is computed anew.
    what
        Beginning of the file's name.
    room
        Folder of the package whose code makes the array: an array of other code is not read.
    """
    key = _digest(table, settings, room)
    path = _folder() / f"{what}-{key}.npy"
    stored = _read(path, key, shape)
    if stored is not None:
        return stored
    made = make()
    _write(path, key, made)
    return made


def _folder() -> Path:
    given = os.environ.get("WAVESIM_CACHE")
    if given:
        return Path(given)
    import platformdirs

    return platformdirs.user_cache_path("wavesim")


def _digest(table: Floats, settings: tuple[float | str, ...], room: str) -> str:
    digest = hashlib.sha256(np.ascontiguousarray(table).tobytes())
    digest.update(repr((settings, _code(room))).encode())
    return digest.hexdigest()[:24]


@cache
def _code(room: str) -> str:
    """Digest of the source of a folder of this package, and its version."""
    from wavesim.version import __version__

    digest = hashlib.sha256(__version__.encode())
    for path in sorted((Path(__file__).parent / room).rglob("*.py")):
        digest.update(path.read_bytes())
    return digest.hexdigest()[:16]


def _seal(key: str, payload: bytes | memoryview) -> bytes:
    """Digest that stands behind the array in the file."""
    return hashlib.sha256(key.encode() + payload).digest()


def _read(path: Path, key: str, shape: Shape) -> Floats | None:
    """The array in a file that this program wrote whole, or None."""
    try:
        content = memoryview(read_bounded(path, _MOST_BYTES, InputError, "a cached array"))
        payload, seal = content[:-_SEAL], content[-_SEAL:]
        if seal != _seal(key, payload):
            return None
        values = np.load(io.BytesIO(payload), allow_pickle=False)
    except (InputError, OSError, ValueError, EOFError, MemoryError):
        return None
    return values if _fits(values, shape) else None


def _fits(values: object, shape: Shape) -> bool:
    return (
        isinstance(values, np.ndarray)
        and values.dtype == np.float64
        and values.ndim == len(shape)
        and all(want in (None, size) for want, size in zip(shape, values.shape, strict=True))
        and bool(np.isfinite(values).all())
    )


def _write(path: Path, key: str, values: Floats) -> None:
    """Write if it can be written: a full disk or a read-only home costs time, not the result."""
    stream = io.BytesIO()
    np.save(stream, values, allow_pickle=False)
    payload = stream.getvalue()
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with replacing(path) as temporary:
            temporary.write_bytes(payload + _seal(key, payload))
    except (OSError, OutputError, ValueError) as error:
        report_full_disk("an array for later runs", path.parent, error)
