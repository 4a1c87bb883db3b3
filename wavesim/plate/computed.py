"""What every path of the light ends in: light on the plate, and how it was computed."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import ParamSpec, Protocol, TypeVar

from wavesim.aperture.illumination import Opening
from wavesim.plate.compose import Light

_P = ParamSpec("_P")
_T = TypeVar("_T")


class Stage(Protocol):
    """Runs a piece of work under a name and returns what it returns."""

    def __call__(
        self, name: str, work: Callable[_P, _T], /, *args: _P.args, **options: _P.kwargs
    ) -> _T:
        """work(*args, **options)."""


@dataclass(frozen=True, eq=False)
class Computed:
    """Light on the plate before its level is set.

    Attributes
    ----------
    light : of a source of level 1
    opening : the aperture, which tells how much of a beam it takes
    source_sr : projected solid angle that the source fills [sr]; 0 for a point
    averaged : whether `light` is the mean over those directions; else it is their integral
    elements, wavelengths, smoothing, pixel_error, bin_error : as in `Report`
    half_m : [m] half the aperture's width, which sets the Fresnel number
    notes : where theory or sampling limit the result
    """

    light: Light
    opening: Opening
    source_sr: float
    averaged: bool
    elements: int
    wavelengths: int
    smoothing: str
    pixel_error: float
    bin_error: float
    half_m: float
    notes: tuple[str, ...]
