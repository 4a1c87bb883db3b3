"""Small scenes and apertures, the same as those of the benchmarks."""

from __future__ import annotations

from benchmarks.bench import SMALL_SCENE, from_positions, scene, slits, text

__all__ = ["SMALL_SCENE", "from_positions", "scene", "slits", "text"]
