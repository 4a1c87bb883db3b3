"""The Sun's transmission on its fine grid, kept in the user's cache folder between runs.

The product over 8,783 lines takes 0.1 s and the loading of its kernels as long again; reading it
back takes 5 ms and gives the same bits. Without a writable folder it is computed each time.
"""

from __future__ import annotations

import hashlib
import os
from collections.abc import Callable
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from wavesim.errors import OutputError
from wavesim.files import replacing

Reals = NDArray[np.float64]


def grid(table: Reals, settings: tuple[float, ...], make: Callable[[], Reals]) -> Reals:
    """The array that `make` gives, from the cache if it was made before.

    Parameters
    ----------
    table, settings
        All that the array depends on; their digest, with this package's version, is the name.
    """
    path = _folder() / f"sun-{_digest(table, settings)}.npy"
    try:
        kept: Reals = np.load(path, allow_pickle=False)
    except (OSError, ValueError, EOFError):
        kept = make()
        _keep(path, kept)
    return kept


def _folder() -> Path:
    given = os.environ.get("WAVESIM_CACHE")
    if given:
        return Path(given)
    import platformdirs

    return platformdirs.user_cache_path("wavesim")


def _digest(table: Reals, settings: tuple[float, ...]) -> str:
    from wavesim import __version__

    digest = hashlib.sha256(np.ascontiguousarray(table).tobytes())
    digest.update(repr((settings, __version__)).encode())
    return digest.hexdigest()[:24]


def _keep(path: Path, values: Reals) -> None:
    """Write if it can be written: a full disk or a read-only home costs time, not the result."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with replacing(path) as temporary, temporary.open("wb") as stream:
            np.save(stream, values, allow_pickle=False)
    except (OSError, OutputError):
        return
