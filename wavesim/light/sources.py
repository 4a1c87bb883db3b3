"""From the source of a scene to its spectrum, at its absolute level, behind its filters."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from wavesim.constants import VISIBLE_HI_M, VISIBLE_LO_M
from wavesim.errors import SceneError, TableError
from wavesim.light import filters, lamps, photometry, pieces, smooth, sun, tables
from wavesim.light.pieces import Spectrum
from wavesim.scene import (
    Band,
    BlackBody,
    Illuminant,
    Lamp,
    Laser,
    Led,
    Scene,
    Source,
    Sun,
    TableSource,
)

# luminance of a slit filled with the light of a source whose table is relative [cd/m2], and
# illuminance in the beam of one without a slit [lx]; common practice, no source: a slit before a
# low-pressure lamp or a lit diffuser, a well-lit bench
DEFAULT_LUMINANCE_CD_M2 = 1e4
DEFAULT_ILLUMINANCE_LX = 1000.0
DEFAULT_BEAM_M = 1e-3  # diameter of a laser's beam where the bench names none
_DARK = 1e-200  # cd/m2 or lx below which a level cannot be scaled up


def of_scene(scene: Scene) -> Spectrum:
    """Spectrum of a scene's light: its tables lie beside it, its beam is the bench's.

    Raises as `spectrum`.
    """
    beam = scene.bench.beam
    diameter = DEFAULT_BEAM_M if beam is None else beam.diameter_m
    return spectrum(scene.source, folder=scene.folder, beam_diameter_m=diameter)


def unfiltered(scene: Scene) -> Spectrum:
    """Spectrum of a scene's light before its filters, over all that is visible of it.

    Raises as `spectrum`.
    """
    source = scene.source.model_copy(update={"filters": ()})
    return of_scene(scene.model_copy(update={"source": source}))


def spectrum(
    source: Source, *, folder: Path = Path(), beam_diameter_m: float = DEFAULT_BEAM_M
) -> Spectrum:
    """Spectrum that leaves the source's filters, at its absolute level.

    With a slit or a disc: radiance [W m-2 sr-1 m-1]; without: irradiance at the aperture
    [W m-2 m-1]. A laser always gives irradiance, power / (pi D^2 / 4) over the beam.

    Level, before the filters: the source's own luminance or illuminance if given; else the true
    level of the Sun, of a black body with a slit, and of an absolute table; else 1e4 cd/m2 or
    1000 lx.

    Parameters
    ----------
    folder : Path
        Where tables named by the scene lie.
    beam_diameter_m : float [m]
        Diameter D of a laser's beam.

    Raises
    ------
    TableError, SceneError
        A table is missing or malformed or holds no visible light; a level does not fit; filters
        let nothing through.
    """
    raw, absolute = _raw(source, folder)
    if isinstance(source, Laser):
        area = np.pi * beam_diameter_m**2 / 4.0
        levelled = raw.scaled(source.power_W / area, "irradiance")
    else:
        levelled = _levelled(raw, source, absolute=absolute)
    return filters.passed(levelled, source.filters, folder, source.polarisation_rad)


def _raw(source: Source, folder: Path) -> tuple[Spectrum, bool]:
    """Spectrum before level and filters, and whether its level is the true one."""
    match source:
        case Sun():
            return _sun(source), True
        case BlackBody():
            return smooth.blackbody(source.temperature_K), not source.is_point
        case Illuminant():
            return smooth.illuminant(source.name), False
        case Lamp():
            return _lamp(source), False
        case Laser():
            return lamps.laser(source.wavelength_m, source.linewidth_m), True
        case Led():
            return smooth.led(source.wavelength_m, source.width_m), False
        case Band():
            return smooth.band(source.centre_m, source.width_m), False
        case TableSource():
            return _table(source, folder)


def _lamp(source: Lamp) -> Spectrum:
    lines = lamps.lines(
        source.element,
        temperature_K=source.temperature_K,
        pressure_Pa=source.pressure_Pa,
        reversal=source.reversal,
    )
    return lamps.spectrum(lines).clipped(VISIBLE_LO_M, VISIBLE_HI_M)


def _sun(source: Sun) -> Spectrum:
    """Only the range that the filters pass is built."""
    ranges = [filters.range_m(item) for item in source.filters]
    lo = max([VISIBLE_LO_M, *[r[0] for r in ranges]])
    hi = min([VISIBLE_HI_M, *[r[1] for r in ranges]])
    if lo >= hi or source.luminance_cd_m2 is not None or source.illuminance_lx is not None:
        lo, hi = VISIBLE_LO_M, VISIBLE_HI_M
    mass = source.air_mass
    if mass is None and source.height_rad is not None:
        mass = sun.air_mass_at(source.height_rad)
    from_ground = source.air == "ground" or mass is not None
    found = sun.irradiance(
        "ground" if from_ground else "above", with_lines=source.lines, telluric=source.telluric,
        air_mass=mass or sun.G173_AIR_MASS, lo_m=lo, hi_m=hi,
    )  # fmt: skip
    return found if source.is_point else sun.radiance(found)


def _table(source: TableSource, folder: Path) -> tuple[Spectrum, bool]:
    path = folder / source.file
    table = tables.source_table(path)
    step = float(np.diff(table.wavelength_m).min())
    kind: pieces.Level = "irradiance" if table.quantity == "irradiance" else "radiance"
    whole = pieces.from_nodes(table.wavelength_m, table.value, kind, features_m=step)
    visible = whole.clipped(VISIBLE_LO_M, VISIBLE_HI_M)
    if visible.total() <= 0.0:
        raise TableError(
            "holds no visible light", file=path, expected="values within 360 to 830 nm"
        )
    absolute = table.quantity != "relative"
    if absolute and _given(source) is None and (kind == "irradiance") != source.is_point:
        extent, level = ("no", "illuminance") if source.is_point else ("a", "luminance")
        raise SceneError(
            f"is a table of {kind}, which does not set the level of a source with {extent} slit",
            file=path,
            key="source.file",
            expected=f"source.{level} in the scene",
        )
    return visible, absolute


def _given(source: Source) -> float | None:
    return source.illuminance_lx if source.is_point else source.luminance_cd_m2


def _levelled(raw: Spectrum, source: Source, *, absolute: bool) -> Spectrum:
    kind: pieces.Level = "irradiance" if source.is_point else "radiance"
    given = _given(source)
    if given is None and absolute:
        return raw.scaled(1.0, kind)
    if given is None:
        given = DEFAULT_ILLUMINANCE_LX if source.is_point else DEFAULT_LUMINANCE_CD_M2
    measure = photometry.luminous(raw)
    if measure < _DARK:
        raise SceneError(
            "gives no visible light, so its level cannot be set", key="source",
            value=source.kind, expected="a source with light within 360 to 830 nm",
        )  # fmt: skip
    return raw.scaled(given / measure, kind)
