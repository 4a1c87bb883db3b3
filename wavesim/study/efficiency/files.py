"""Efficiencies as CSV and HDF5 files."""

from __future__ import annotations

import csv
import json
from pathlib import Path

from wavesim.files import replacing
from wavesim.scene import Scene, resolved
from wavesim.study.efficiency.result import Efficiency

_COLUMNS = ("along", "across", "unpolarised", "scalar")


def save_csv(found: Efficiency, path: str | Path) -> None:
    """Write a table: wavelength (and turn), then four columns for each order.

    Raises
    ------
    OutputError
        The file cannot be written.
    """
    turned = found.over == "turn"
    head = ["wavelength_nm", *(["turn_rad"] if turned else [])]
    head += [f"order_{order.order}_{name}" for order in found.orders for name in _COLUMNS]
    with replacing(path) as temporary, temporary.open("w", newline="", encoding="utf-8") as stream:
        writer = csv.writer(stream)
        writer.writerow(head)
        for k, wavelength in enumerate(found.wavelength_m):
            row = [f"{wavelength * 1e9:.9g}", *([f"{found.x[k]:.12g}"] if turned else [])]
            row += [f"{getattr(order, name)[k]:.9g}" for order in found.orders for name in _COLUMNS]
            writer.writerow(row)


def save_hdf5(found: Efficiency, scene: Scene, path: str | Path) -> None:
    """Write an HDF5 file, atomically.

    /entry (NXentry) holds one NXdata group an order and side, such as `reflected_-1`: along,
    across, unpolarised, scalar over `wavelength` [m] (or `turn` [rad]), each (n,).

    Raises
    ------
    OutputError
        The file cannot be written.
    """
    from wavesim.store.sink import hdf5_replacing
    from wavesim.version import __version__

    axis, unit = ("wavelength", "m") if found.over == "wavelength" else ("turn", "rad")
    record = found.record()
    with hdf5_replacing(path) as file:
        file.attrs.update({"NX_class": "NXroot", "default": "entry", "creator": "wavesim"})
        entry = file.create_group("entry")
        entry.attrs["NX_class"] = "NXentry"
        entry["title"] = found.title
        entry["program"], entry["version"] = "wavesim", __version__
        entry["scene_text"] = scene.text
        entry["scene_resolved"] = json.dumps(resolved(scene))
        entry["material"] = found.material
        entry["accuracy"] = json.dumps(record["accuracy"])
        entry["anomalies"] = json.dumps(record["anomalies"])
        entry["wavelength"] = found.wavelength_m
        entry["wavelength"].attrs["units"] = "m"
        entry["absorbed"] = found.absorbed
        for order in found.orders:
            group = entry.create_group(f"{order.side}_{order.order}")
            group.attrs.update({"NX_class": "NXdata", "signal": "unpolarised", "axes": [axis]})
            group[axis] = found.x
            group[axis].attrs["units"] = unit
            for name in _COLUMNS:
                group[name] = getattr(order, name)
