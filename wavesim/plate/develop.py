"""From light on the plate to exposures: level of the source, time, and what counts as white."""

from __future__ import annotations

import math
from functools import lru_cache, partial
from pathlib import Path

import numpy as np

from wavesim import light
from wavesim.aperture.illumination import Opening, aperture_irradiance
from wavesim.arrays import Floats
from wavesim.light import Recorder, Spectrum, recorder_of
from wavesim.light.photometry import tristimulus
from wavesim.light.recorders import D65_XYZ
from wavesim.plate.compose import Light
from wavesim.plate.computed import Computed
from wavesim.plate.deferred import later
from wavesim.plate.photometry import exposure_time
from wavesim.plate.result import Plate, Report
from wavesim.scene import Scene, Source
from wavesim.threads import in_threads

_WHITE_SOURCES = ("sun", "blackbody", "illuminant", "table")  # the others have a hue of their own


def level(scene: Scene, kind_of_level: str, found: Computed) -> float:
    """Factor from a source of level 1 to the scene's: see `level_of`."""
    return level_of(scene, kind_of_level, found.opening, found.source_sr, averaged=found.averaged)


def level_of(
    scene: Scene, kind_of_level: str, opening: Opening, source_sr: float, *, averaged: bool = False
) -> float:
    """Factor from a spectrum to the light computed with it.

    The power in a pixel is the source's radiance L times an integral over the directions that
    the source fills, `source_sr`; the irradiance of a beam counts as at the aperture
    (`aperture_irradiance`) and is spread over those directions, L = E / source_sr.

    Parameters
    ----------
    source_sr : [sr] projected solid angle of the source; 0 for a point, of which E itself counts
    averaged : whether the light is the mean over those directions instead of the integral
    """
    area = source_sr or 1.0
    if kind_of_level == "radiance":
        return area if averaged else 1.0
    beam = aperture_irradiance(scene, opening.circle_m(math.cos(scene.bench.alpha_rad)))
    return beam if averaged else beam / area


def develop(plate_light: Light, factor: float, scene: Scene, report: Report) -> Plate:
    """Expose the light for the scene's time.

    Raises
    ------
    LimitError
        The time is to be found and no visible light reaches the plate.
    """
    brightest = float(plate_light.shown_lx[..., 1].max()) * factor
    seconds = exposure_time(scene.exposure, brightest)
    recorder = None if plate_light.recorded_lx is None else recorder_of(scene)
    return Plate(
        x_m=scene.plate.x_m(),
        y_m=scene.plate.y_m(),
        irradiance=_scaled(plate_light.irradiance, factor),
        xyz=_scaled(plate_light.xyz_lx, factor * seconds),
        profile_irradiance=plate_light.profile_irradiance * factor,
        profile_wavelength_m=plate_light.profile_wavelength_m,
        profile_spectrum=later(partial(_spectrum, plate_light, factor)),
        scene=scene,
        white_xyz=white(scene),
        white_exposure_lx_s=scene.exposure.white_exposure_lx_s,
        exposure_s=seconds,
        report=report,
        recorded=None if recorder is None else _scaled(plate_light.shown_lx, factor * seconds),
        recorded_white_xyz=None if recorder is None else _recorded_white(scene, recorder),
    )


def _scaled(values: Floats, factor: float) -> Floats:
    """Values of every row times a number."""
    out = np.empty_like(values)
    in_threads(lambda rows: np.multiply(values[rows], factor, out=out[rows]), values.shape[0])
    return out


def _spectrum(plate_light: Light, factor: float) -> Floats:
    # differences of running integrals fall below zero by their rounding where it is dark
    return np.asarray(np.maximum(plate_light.profile_spectrum * factor, 0.0))


def white(scene: Scene) -> Floats:
    """(3,) XYZ with Y = 1 of the source without its filters; D65 where it has a hue of its own."""
    if scene.source.kind not in _WHITE_SOURCES:
        return np.array(D65_XYZ)
    if scene.source.kind == "table":
        return _white(scene.source, scene.folder)
    return _white_known(scene.source, scene.folder)


def _recorded_white(scene: Scene, recorder: Recorder) -> Floats:
    """(3,) the same as a recorder counts it; grey to a film."""
    if recorder.grey or scene.source.kind not in _WHITE_SOURCES:
        return recorder.white_xyz
    xyz = recorder.records(_bare(scene.source, scene.folder))
    return np.asarray(xyz / xyz[1])


def _white(source: Source, folder: Path) -> Floats:
    xyz = tristimulus(_bare(source, folder))
    return np.asarray(xyz / xyz[1])


def _bare(source: Source, folder: Path) -> Spectrum:
    """The light of the source without its filters and dark lines."""
    update: dict[str, object] = {"filters": ()}
    if source.kind == "sun":
        update["lines"] = False
    return light.spectrum(source.model_copy(update=update), folder=folder)


_white_known = lru_cache(maxsize=16)(_white)  # of a source that no file describes
