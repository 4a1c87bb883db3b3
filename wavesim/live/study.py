"""What is said beside a plate: what it shows, and why a point has its colour."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np

from wavesim.errors import WavesimError
from wavesim.geometry import grating_geometry
from wavesim.plate import Plate
from wavesim.study.point import column_of, explain
from wavesim.study.point.colour import colour_at
from wavesim.study.ruling import ruling_seen
from wavesim.study.visibility import visibility
from wavesim.study.visibility.result import brief

if TYPE_CHECKING:
    from wavesim.live.session import Session

_MOST_SPECTRUM = 400  # points of a spectrum that is drawn
_MOST_ORDERS = 6  # that overlap at a point
_VISIBLE_M = (400e-9, 700e-9)


def in_short(plate: Plate) -> list[str]:
    """One sentence of what an exposure shows."""
    try:
        text = brief(visibility(plate))
    except WavesimError:
        return []
    return [sentence(text)]


def sentence(text: str) -> str:
    """Words that begin a line."""
    return text[:1].upper() + text[1:]


def in_full(plate: Plate) -> list[str]:
    """What an exposure shows and burns out, and where its theory ends."""
    try:
        texts = [sentence_.text for sentence_ in visibility(plate).sentences]
    except WavesimError:
        texts = []
    return [sentence(text) for text in (*texts, *plate.report.notes)]


def at_position(bench: Session, x_m: float, *, why: bool) -> dict[str, Any]:
    """One point of a plate [m]: angle, order, colour; with `why` its spectrum and sentences.

    Raises
    ------
    InputError
        Nothing was shown yet, or the point is not on the plate.
    """
    plate = bench.shown()
    column = column_of(plate, x_m)
    beta = float(grating_geometry(plate.scene).beta_rad(x_m))
    middle = plate.xyz.shape[0] // 2
    reply: dict[str, Any] = {
        "x_m": x_m,
        "column_m": float(plate.x_m[column]),
        "beta_rad": beta,
        "irradiance_W_m2": float(plate.irradiance[middle, column]),
        "relative": float(plate.profile_irradiance[column] / (plate.profile_irradiance.max() or 1)),
        "lx_s": float(plate.xyz[middle, column, 1]),
        **_order(bench, x_m),
        **_colour(plate, column),
    }
    if why:
        found = explain(plate, float(plate.x_m[column]))
        reply["sentences"] = [
            sentence(sentence_.text) for sentence_ in found.sentences if sentence_.label == "why"
        ]
        reply["spectrum"] = _spectrum(found.spectrum.wavelength_m, found.spectrum.irradiance)
    return reply


def _order(bench: Session, x_m: float) -> dict[str, Any]:
    """Order at the reference wavelength, and which visible wavelengths have a whole order here."""
    wave, ruled = bench.marks().wavelength_m, ruling_seen(bench.scene)
    if ruled is None or ruled.count < 2:
        return {"order": None, "wavelength_m": wave, "whole": []}
    geometry = ruled.geometry
    ends = sorted(float(geometry.order(x_m, end)) for end in _VISIBLE_M)
    orders = [m for m in range(math.ceil(ends[0]), math.floor(ends[1]) + 1) if m][:_MOST_ORDERS]
    return {
        "order": float(geometry.order(x_m, wave)),
        "wavelength_m": wave,
        "whole": [[m, float(geometry.wavelength_m(x_m, m))] for m in orders],
    }


def _colour(plate: Plate, column: int) -> dict[str, Any]:
    from wavesim.colorimetry.plates import white_of
    from wavesim.colorimetry.rendering import picture

    colour = colour_at(plate, column)
    xyz = plate.shown_xyz[plate.xyz.shape[0] // 2, column]
    patch = picture(xyz[None], **white_of(plate))[0]
    return {
        "colour": colour.name,
        "as_exposed": colour.as_exposed,
        "dominant_m": None if math.isnan(colour.dominant_m) else colour.dominant_m,
        "stops": None if math.isinf(colour.stops) else colour.stops,
        "patch": [int(channel) for channel in patch],
    }


def _spectrum(wavelength_m: Any, irradiance: Any) -> dict[str, Any]:
    """Thinned to what a screen shows: the highest value of each stretch."""
    step = max(1, math.ceil(wavelength_m.size / _MOST_SPECTRUM))
    starts = np.arange(0, wavelength_m.size, step)
    tops = np.maximum.reduceat(irradiance, starts)
    top = float(tops.max()) or 1.0
    return {
        "wavelength_m": [round(float(w), 12) for w in wavelength_m[starts]],
        "relative": [round(float(v) / top, 4) for v in tops],
    }
