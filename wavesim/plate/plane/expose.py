"""A plate in two dimensions: from an aperture in the plane to the light in each pixel."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeVar

import numpy as np

from wavesim.aperture.elements import Floats
from wavesim.aperture.plane import PlaneAperture
from wavesim.errors import LimitError
from wavesim.farfield.plane import Plan, SummedTable, plan_table, plane_table
from wavesim.plate.compose import Light
from wavesim.plate.geometry import Geometry
from wavesim.plate.memory import available_bytes
from wavesim.plate.plane.frame import Frame, frame, to_pixels
from wavesim.plate.plane.profile import profile
from wavesim.plate.plane.source import Extent, blurred, extent
from wavesim.plate.plane.sweep import reach_of, sweep_plane
from wavesim.plate.plane.waves import Waves, choose_waves
from wavesim.plate.result import Report
from wavesim.scene import Scene

if TYPE_CHECKING:
    from wavesim.light import Spectrum

@dataclass(frozen=True, eq=False)
class Lit:
    """Light before exposure, the factor to its level, and how it was computed."""

    light: Light
    factor: float
    report: Report


_SHARE = 0.8  # of the memory that is free
_MARGIN = 2.0  # wavelengths per lambda / (radial order of interference)
_T = TypeVar("_T")
Stage = Callable[..., _T]


def relative_step(
    size_m: tuple[float, float], on: Frame, sine_in: float, source: Extent
) -> tuple[float, float]:
    """Largest step of the wavelength, relative to it, and the error that goes with it.

    A change of wavelength by d moves the pattern at the direction s by s d / lambda. Two steps
    for one 1 / width of the aperture, or for one cell or half the source's width where these
    blur more, keep the sum over wavelengths smooth.
    """
    farthest = math.hypot(
        max(abs(sine_in + on.p[0]), abs(sine_in + on.p[-1])), max(abs(on.q[0]), abs(on.q[-1]))
    )
    fringe = 550e-9 / max(size_m)
    blur = max(min(on.cell), min(source.half))
    step = max(fringe, blur) / (_MARGIN * max(farthest, 1e-12))
    return step, 1e-9 if fringe >= blur else 1e-3


def expose_plane(
    scene: Scene, aperture: PlaneAperture, spectrum: Spectrum, place: Geometry, stage: Stage
) -> Lit:
    """Light in each pixel and along the middle row, before any exposure time.

    Raises
    ------
    LimitError
        The far field's table does not fit the memory.
    """
    source = extent(scene, place)
    on = frame(place, scene.plate.pixel_m, source.half)
    step, error = relative_step(aperture.size_m, on, place.sine_in, source)
    waves = stage("wavelengths", choose_waves, spectrum, step, error=error)
    half = aperture.of_one_phase and place.sine_in == 0.0 and on.symmetric
    part = _upper_half(on) if half else on
    plan = plan_table(aperture, reach_of(part, waves.wavelength_m, place.sine_in))
    _check_memory(plan, on, waves)
    table = stage("far field", plane_table, aperture, plan)
    cells = stage("cells", _cells, table, part, place.sine_in, waves)
    whole = _mirrored(cells, on) if half else cells
    seen = stage("pixels", _pixels, whole, on, place, source)
    spectral = stage("profile", profile, table, on, half, place, waves, source)
    factor = level_plane(scene, source, spectrum.kind_of_level)
    report = Report(
        elements=aperture.elements,
        wavelengths=int(waves.power.size),
        smoothing=source.words,
        pixel_error=plan.error,
        bin_error=waves.error,
        seeds=(scene.aperture.seed,) if hasattr(scene.aperture, "seed") else (),
        notes=aperture.limits,
    )
    return Lit(light_of(seen, spectral, waves, scene.plate.pixel_m), factor, report)


def level_plane(scene: Scene, source: Extent, kind_of_level: str) -> float:
    """Factor from the spectrum to irradiance at the aperture: the source's projected solid angle
    for a radiance, cos(alpha) for a beam, twice that in the middle of a laser's Gaussian beam."""
    if kind_of_level == "radiance":
        return source.area
    beam = scene.bench.beam
    gaussian = beam is not None and beam.profile == "gaussian" and scene.source.kind == "laser"
    return math.cos(scene.bench.alpha_rad) * (2.0 if gaussian else 1.0)


def _upper_half(on: Frame) -> Frame:
    """Rows from the middle upwards; the middle row whole where their number is odd."""
    return Frame(on.p, on.q[(on.q.size - 1) // 2 :], on.margin, on.straight)


def _mirrored(cells: Floats, on: Frame) -> Floats:
    """The whole frame (nq, np, c) from its upper half, |A(-u, -v)| being |A(u, v)|."""
    rows = on.q.size - 1
    lower = cells[rows % 2 :][::-1, ::-1]
    return np.concatenate([lower, cells])


def _cells(table: SummedTable, on: Frame, sine_in: float, waves: Waves) -> Floats:
    swept = sweep_plane(table, on, sine_in, waves.wavelength_m, waves.weights())
    return np.ascontiguousarray(np.moveaxis(swept, 0, 2))


def _pixels(cells: Floats, on: Frame, place: Geometry, source: Extent) -> Floats:
    return to_pixels(blurred(cells, on, source), on, place)


def light_of(seen: Floats, spectral: Floats, waves: Waves, pixel_m: float) -> Light:
    """Powers per pixel (ny, nx, 4) and of the middle row (k, nx) as light on the plate."""
    seen = seen / (pixel_m * pixel_m)
    edges = np.concatenate([waves.node_m[:1], waves.node_m, waves.node_m[-1:]])
    gaps = np.minimum(np.diff(edges), 1.0001e-9)
    width_nm = (gaps[:-1] + gaps[1:]) / 2 * 1e9
    return Light(
        xyz_lx=np.ascontiguousarray(seen[:, :, :3]),
        irradiance=np.ascontiguousarray(seen[:, :, 3]),
        profile_irradiance=seen[seen.shape[0] // 2, :, 3].copy(),
        profile_wavelength_m=waves.node_m,
        profile_spectrum=spectral / (pixel_m * pixel_m) / width_nm[:, None],
    )


def _check_memory(plan: Plan, on: Frame, waves: Waves) -> None:
    cells = (on.p.size - 1) * (on.q.size - 1) * 8 * 16
    need = plan.bytes + cells + 8 * waves.node_m.size * (on.p.size + waves.power.size)
    free = available_bytes()
    if free is not None and need > _SHARE * free:
        raise LimitError(
            f"would need about {need / 1e9:.3g} GB of memory and {free / 1e9:.3g} GB are free "
            f"(far field {plan.bytes / 1e9:.2g} GB of {plan.samples:,} samples, "
            f"pixels {cells / 1e9:.2g} GB)",
            key="plate",
            expected="a smaller aperture, a smaller plate or larger pixels",
        )
