"""Finds reference data that is kept beside a checkout; tests skip where it is absent."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

_BESIDE = Path(__file__).resolve().parents[2] / "shared" / "data"


def reference(name: str) -> Path:
    """Path of a reference data file, from $WAVESIM_REFERENCE or a folder beside the checkout."""
    folder = Path(os.environ.get("WAVESIM_REFERENCE", _BESIDE))
    path = folder / name
    if not path.exists():
        pytest.skip(f"reference data {name} is not here (set WAVESIM_REFERENCE to its folder)")
    return path
