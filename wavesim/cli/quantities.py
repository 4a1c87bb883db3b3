"""Quantities with units as options of a command: --wavelength "546.1 nm"."""

from __future__ import annotations

import click


class Wavelength(click.ParamType):  # type: ignore[type-arg,unused-ignore]
    """A visible wavelength in air, as a text with its unit -> [m]."""

    name = "wavelength"

    def convert(
        self, value: object, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        """The wavelength [m]; refuses a bare number and what nobody can see."""
        from wavesim.scene.units import UnitError, measure

        if isinstance(value, float):
            return value
        try:
            found = measure(str(value))
        except UnitError as error:
            self.fail(f'{value!r} {error}; expected a wavelength such as "546.1 nm"', param, ctx)
        if found.dimension != "length":
            self.fail(f'{value!r} is no length; expected "546.1 nm"', param, ctx)
        if not 200e-9 <= found.value <= 20e-6:
            self.fail(f"{value!r} is not light; expected 200 nm to 20 um", param, ctx)
        return found.value
