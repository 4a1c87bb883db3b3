"""Quantities with units as options of a command: --wavelength "546.1 nm"."""

from __future__ import annotations

import click


class _Measure(click.ParamType):  # type: ignore[type-arg,unused-ignore]
    """A text with its unit -> SI."""

    example = ""
    low, high = 0.0, float("inf")
    range = ""

    def convert(
        self, value: object, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        """The value in SI; refuses a bare number, another dimension, and what is out of range."""
        from wavesim.scene.units import UnitError

        if isinstance(value, float):
            return value
        try:
            found = self.read(str(value))
        except UnitError as error:
            self.fail(f"{value!r} {error}; expected {self.name} such as {self.example}", param, ctx)
        if found is None:
            self.fail(f"{value!r} is no {self.name}; expected {self.example}", param, ctx)
        if not self.low <= found <= self.high:
            self.fail(f"{value!r} is out of range; expected {self.range}", param, ctx)
        return found

    def read(self, text: str) -> float | None:
        """SI value, or None for another dimension."""
        from wavesim.scene.units import measure

        found = measure(text)
        return found.value if found.dimension == "length" else None


class Wavelength(_Measure):
    """A wavelength in air -> [m]."""

    name = "wavelength"
    example = '"546.1 nm"'
    low, high = 200e-9, 20e-6
    range = "200 nm to 20 um"


class Pitch(_Measure):
    """A pitch, or a groove density -> pitch [m]."""

    name = "pitch"
    example = '"1.667 um" or "600 / mm"'
    low, high = 1e-8, 1.0
    range = "10 nm to 1 m"

    def read(self, text: str) -> float | None:
        """Pitch [m] of either."""
        from wavesim.scene.units import measure

        found = measure(text)
        if found.dimension == "length":
            return found.value
        return 1 / found.value if found.dimension == "lines per length" and found.value else None
