"""Comparisons in an HDF5 file: one group a formula, the scene beside them."""

from __future__ import annotations

import json
from dataclasses import asdict
from pathlib import Path

import numpy as np

from wavesim.scene import resolved
from wavesim.study.compare.result import Comparison, FormulaComparisons

_COLUMNS = ("value", "engine", "formula", "error")


def save(compared: FormulaComparisons, path: str | Path) -> None:
    """Write a comparison (HDF5), atomically.

    /entry (NXentry) holds one NXdata group a formula: value, engine, formula, error, each (n,),
    and as attributes title, quantity, parameter, unit, tolerance, fails_at, estimate.

    Raises
    ------
    OutputError
        The file cannot be written.
    """
    from wavesim.store.sink import hdf5_replacing
    from wavesim.version import __version__

    with hdf5_replacing(path) as file:
        file.attrs.update({"NX_class": "NXroot", "default": "entry", "creator": "wavesim"})
        entry = file.create_group("entry")
        entry.attrs["NX_class"] = "NXentry"
        entry["title"] = compared.scene.title
        entry["program"], entry["version"] = "wavesim", __version__
        entry["scene_text"] = compared.scene.text
        entry["scene_resolved"] = json.dumps(resolved(compared.scene))
        entry["stated"] = list(compared.stated)
        for comparison in compared.comparisons:
            _group(entry.create_group(comparison.name), comparison)


def _group(group, comparison: Comparison) -> None:  # type: ignore[no-untyped-def]
    group.attrs.update({"NX_class": "NXdata", "signal": "error", "axes": ["value"]})
    for column in _COLUMNS:
        group[column] = np.array([getattr(row, column) for row in comparison.rows])
    group["value"].attrs["units"] = comparison.unit
    for key in ("title", "quantity", "parameter", "fails", "estimate_source", "tolerance"):
        group.attrs[key] = getattr(comparison, key)
    for key in ("fails_at", "estimate", "own"):
        if getattr(comparison, key) is not None:
            group.attrs[key] = getattr(comparison, key)
    if comparison.at_scene is not None:
        for key, value in asdict(comparison.at_scene).items():
            group.attrs[f"scene_{key}"] = value
