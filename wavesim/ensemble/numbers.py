"""Numbers that can be recorded of a member: name, unit, what it is, and what it is taken from."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Source = Literal["line", "groove", "light", "shown", "prediction", "line prediction"]


@dataclass(frozen=True)
class Number:
    """A number of a member.

    Attributes
    ----------
    unit : "" for a plain number
    meaning : in words
    source : the line's profile, the groove, the exposed plate, what shows on it, the formulas'
        prediction of the exposure or of the line
    worst : which end counts as the worst, "" where neither does
    """

    unit: str
    meaning: str
    source: Source
    worst: Literal["high", "low", ""] = ""


NUMBERS: dict[str, Number] = {
    "line_width": Number("m", "full width at half maximum, in wavelength", "line", "high"),
    "line_width_orders": Number("", "full width at half maximum, in orders", "line", "high"),
    "line_width_on_plate": Number("m", "full width at half maximum, on the plate", "line", "high"),
    "line_position": Number("", "order of the peak, as a real number", "line"),
    "resolving_power": Number(
        "", "0.8859 times the order, over the full width in orders", "line", "low"
    ),
    "rayleigh_separation": Number(
        "m", "wavelength difference just resolved (Rayleigh, dip of 8/pi^2)", "line", "high"
    ),
    "sparrow_separation": Number(
        "m",
        "wavelength difference at which two lines no longer leave a dip (Sparrow)",
        "line",
        "high",
    ),
    "resolved": Number(
        "", "1 where the pair is resolved (dip of 8/pi^2 or deeper), else 0", "line", "low"
    ),
    "strehl": Number("", "peak relative to that of the perfect ruling", "line", "low"),
    "ghosts_found": Number("", "number of ghosts found in the profile", "line", "high"),
    "strongest_ghost": Number(
        "",
        "strength of the strongest ghost relative to the line, 0 if there is none",
        "line",
        "high",
    ),
    "strongest_ghost_offset": Number(
        "", "distance of the strongest ghost from the line, in orders", "line"
    ),
    "ghosts_total": Number("", "sum of the strengths of all ghosts found", "line", "high"),
    "diffuse_level": Number(
        "", "mean diffuse light between ghosts, relative to the peak of the line", "line", "high"
    ),
    "diffuse_contrast": Number(
        "", "standard deviation of the diffuse light, relative to its mean; 1 for speckle", "line"
    ),
    "power_within_10_widths": Number(
        "", "fraction of the profile's power within 10 widths of the peak", "line", "low"
    ),
    "efficiency": Number(
        "",
        "fraction of the light on the grating that goes into the order, by the scene's theory",
        "groove",
        "low",
    ),
    "exposure_time": Number("s", "exposure time of the plate", "light", "high"),
    "brightest": Number("lx", "illuminance of the brightest pixel", "light"),
    "brightest_position": Number("m", "x of the brightest pixel", "light"),
    "power": Number("W", "power on the whole plate", "light"),
    "burnt_area": Number("", "fraction of the plate that is burnt out", "shown", "high"),
    "visible_area": Number("", "fraction of the plate that is visible", "shown"),
    "predicted_resolving_power": Number(
        "", "resolving power of the perfect ruling", "line prediction", "low"
    ),
    "predicted_position": Number("m", "x of the line on the plate", "line prediction"),
    "predicted_exposure_time": Number("s", "exposure time from formulas", "prediction", "high"),
}


OF_THE_LINE = ("line", "groove", "line prediction")  # what needs a line to be named


def needed(names: tuple[str, ...]) -> set[Source]:
    """What the named numbers are taken from."""
    return {NUMBERS[name].source for name in names}
