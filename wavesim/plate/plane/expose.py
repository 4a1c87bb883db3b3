"""A plate in two dimensions: from an aperture in the plane to the light in each pixel."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from wavesim.aperture.elements import Element
from wavesim.aperture.plane import PlaneAperture
from wavesim.arrays import Floats
from wavesim.diffraction.fresnel import wavefront
from wavesim.diffraction.planar import SamplingPlan, plan_table, plane_table
from wavesim.light import recorder_of
from wavesim.plate.bins import bands_nm
from wavesim.plate.compose import Light
from wavesim.plate.computed import Computed, Stage
from wavesim.plate.geometry import Geometry
from wavesim.plate.memory import require_memory
from wavesim.plate.plane.accuracy import measured_error
from wavesim.plate.plane.costs import frame_s, require_soon, table_s
from wavesim.plate.plane.direct import Direct, core_light, direct_image, in_proportion, without_core
from wavesim.plate.plane.frame import (
    Frame,
    bearable,
    flat_frame,
    frame_of,
    to_pixels,
    wanted_fineness,
)
from wavesim.plate.plane.gathering import Gathering, Setting, gathered
from wavesim.plate.plane.interpolation import TAPS
from wavesim.plate.plane.knots import Knots, far_knots, near_knots
from wavesim.plate.plane.profile import Strip, empty_strip, middle_row, strip_of
from wavesim.plate.plane.propagation import flatness, propagation
from wavesim.plate.plane.source import Extent, blurred, extent
from wavesim.plate.plane.sweep import reach_of, sweep_plane
from wavesim.plate.plane.wavelengths import Steps, Wavelengths, choose_wavelengths
from wavesim.scene import Scene

if TYPE_CHECKING:
    from wavesim.light import Spectrum

_CELL = 16  # numbers held for each cell of the frame at the peak: swept, blurred, put in pixels
PIXEL = 8  # and for each pixel: four of the light before and after it is scaled
_RESOLVED = 1e-5  # of the brightest pixel, against narrower bins (tests/test_plane_power.py)
_BLURRED = 1e-3  # the same where pixel or source blur more than two bins are apart
_MARGIN = 2.0  # wavelengths per period of the pattern in 1 / lambda
_WIDEST_M = 1e-9  # bin at 550 nm: the observer's curves bend from one nanometre to the next


def steps_of(
    size_m: tuple[float, float],
    geometry: Geometry,
    pixel: tuple[float, float],
    source: Extent,
    *,
    widest_m: float = _WIDEST_M,
) -> Steps:
    """Steps of the wavelength for a plate, none wider than `widest_m` at 550 nm.

    Seen against 1 / lambda the pattern at (p, q) holds no frequency above the longest path,
    width x |sin alpha + p| + height x |q|: two steps to its period keep the sum equal to the
    integral. Where pixel or source blur more, two steps to that blur do.
    """
    p, q = _farthest(geometry, source)
    path = max(path_of(size_m, geometry, source), 1e-12)
    fringe = 550e-9 / max(size_m)
    blur = max(min(pixel), min(source.half))
    widest = widest_m / 550e-9**2
    if fringe >= blur:
        return Steps(min(1 / (_MARGIN * path), widest), _RESOLVED)
    farthest = math.hypot(p, q)
    return Steps(min(blur / (_MARGIN * 550e-9 * farthest), widest), _BLURRED, resolved=False)


def path_of(size_m: tuple[float, float], geometry: Geometry, source: Extent) -> float:
    """Longest difference of paths [m] between two points of an aperture, at a plate's corner."""
    p, q = _farthest(geometry, source)
    return size_m[0] * p + size_m[1] * q


def _farthest(geometry: Geometry, source: Extent) -> tuple[float, float]:
    """Largest |sin alpha + p| and |q| on a plate, what the source blurs into it included."""
    p = np.abs(geometry.sine_in + geometry.sine(geometry.x_edges_m, 0.0)).max() + source.reach[0]
    y = float(np.abs(geometry.y_edges_m).max())
    return float(p), y / math.hypot(y, geometry.focal_m) + source.reach[1]


def expose_plane(
    scene: Scene,
    aperture: PlaneAperture,
    spectrum: Spectrum,
    geometry: Geometry,
    stage: Stage,
    *,
    groove: Element | None = None,
) -> Computed:
    """Light in each pixel and along the middle row, before any exposure time.

    `groove` is the element whose |E|^2 multiplies the light, where it is not a table's affair.

    Raises
    ------
    LimitError
        The far field's table does not fit the memory, or a near field is too near.
    """
    source = extent(scene, geometry)
    half_m = max(abs(edge) for edge in aperture.box_m)
    front = wavefront(scene.bench, half_m)
    phases = aperture.lattice is not None and aperture.lattice.path_m is not None
    apart = phases or not front.plane
    run = _each_wavelength if apart else _all_at_once
    flat, exact = flatness(scene.bench)
    exact = exact and not phases and aperture.lattice is None and groove is None
    recorder = stage("recorder", recorder_of, scene)
    setting = Setting(
        geometry, frame_of(geometry, source.reach), source, front, groove, scene.bench.air, flat,
        exact, recorder,
    )  # fmt: skip
    found = run(aperture, spectrum, setting, stage)
    wavelengths, frame = found.wavelengths, found.frame
    spectral = stage("profile", middle_row, found.strip, frame, geometry, source)
    if found.direct is not None:
        spectral = in_proportion(spectral, found.light, found.direct)
    return Computed(
        light=light_of(found.light, spectral, wavelengths, scene.plate.pixel_area_m2),
        opening=aperture,
        source_sr=source.area,
        averaged=True,
        elements=aperture.elements,
        wavelengths=int(wavelengths.power.size),
        smoothing=source.text,
        pixel_error=found.plan.error / averaged(aperture.size_m, frame, source),
        bin_error=wavelengths.error,
        half_m=half_m,
        notes=(*aperture.limits, *found.notes),
    )


@dataclass(frozen=True, eq=False)
class Found:
    """Light of the pixels (ny, nx, c), the strip about the middle row, and how it was found."""

    light: Floats
    strip: Strip
    wavelengths: Wavelengths
    plan: SamplingPlan
    frame: Frame
    notes: tuple[str, ...] = ()
    direct: Direct | None = None


def _all_at_once(
    aperture: PlaneAperture, spectrum: Spectrum, setting: Setting, stage: Stage
) -> Found:
    """Light (ny, nx, c) and the middle strip, by one table for all wavelengths."""
    geometry, source, size = setting.geometry, setting.source, aperture.size_m
    steps = steps_of(size, geometry, setting.frame.pixel, source)
    air, recorder = setting.air, setting.recorder
    wavelengths = stage(
        "wavelengths", choose_wavelengths, spectrum, steps, air=air, recorder=recorder
    )
    shortest = float(wavelengths.bench_m.min())
    wanted = wanted_fineness(geometry, size, shortest)
    knots = Knots(wavelengths.bench_m)
    if setting.groove is None:  # whose light may change from one nanometre to the next
        knots = far_knots(wavelengths, path_of(size, geometry, source))
    fine = bearable(geometry, wanted, knots.wavelength_m.size)
    frame = frame_of(geometry, source.reach, fine)
    setting = replace(setting, frame=frame)
    real = setting.groove is None and aperture.of_one_phase
    half = real and geometry.sine_in == 0.0 and frame.symmetric
    part = _upper_half(frame) if half else frame
    twice = replace(steps, inverse_per_m=steps.inverse_per_m / 2)
    finer = choose_wavelengths(spectrum, twice, air=air, recorder=recorder)
    every = np.concatenate([knots.wavelength_m, finer.bench_m])
    plan = plan_table(aperture, reach_of(_with_windows(part, half=half), every, geometry.sine_in))
    _require_memory(plan, frame, geometry, wavelengths)
    require_soon(
        table_s(aperture, plan)
        + frame_s(part, knots.wavelength_m.size, one_by_one=setting.groove is not None,
                  source=source)
    )  # fmt: skip
    table = stage("far field", plane_table, aperture, plan)
    weight = knots.shared(wavelengths.weights())
    cells = stage(
        "cells", gathered, table, replace(setting, frame=part), knots.wavelength_m, weight
    )
    whole = _mirrored(cells, frame) if half else cells
    light = Gathering(aperture, table, setting, half)
    direct = direct_image(geometry, source, frame, wanted)
    if direct is None:
        power = stage("pixels", _pixels, whole, frame, geometry, source)
    else:
        power = stage(
            "pixels", _pixels_apart, whole, direct, light, source, knots.wavelength_m, weight
        )
    node_weight = knots.shared(wavelengths.onto_nodes())
    strip = strip_of(
        table, frame, half, geometry.sine_in, knots.wavelength_m, node_weight, setting.factor
    )
    error = stage(
        "accuracy", measured_error, power, geometry, source, size, shortest, light, finer,
        frame.fine, direct,
    )  # fmt: skip
    return Found(power, strip, replace(wavelengths, error=error), plan, frame, direct=direct)


def _each_wavelength(
    aperture: PlaneAperture, spectrum: Spectrum, setting: Setting, stage: Stage
) -> Found:
    """The same, by a table for each wavelength: the near field, and pictures with phases."""
    geometry, source, front, size = setting.geometry, setting.source, setting.front, aperture.size_m
    frame = setting.frame
    steps = steps_of(size, geometry, frame.pixel, source)
    steps = replace(steps, error=max(steps.error, _BLURRED))  # patterns are straight between knots
    air, recorder = setting.air, setting.recorder
    wavelengths = stage(
        "wavelengths", choose_wavelengths, spectrum, steps, air=air, recorder=recorder
    )
    apart = steps_of(size, geometry, frame.pixel, source, widest_m=np.inf)
    knots = near_knots(wavelengths, size, apart.inverse_per_m * 550e-9, front)
    wanted = wanted_fineness(geometry, size, float(wavelengths.bench_m.min()))
    make = flat_frame if setting.flat else frame_of
    frame = make(geometry, source.reach, bearable(geometry, wanted, knots.wavelength_m.size))
    near = propagation(
        aperture, front, geometry.sine_in, frame, knots.wavelength_m,
        distance_m=geometry.focal_m if setting.exact else None,
    )  # fmt: skip
    plan = near.plan(knots.wavelength_m)
    _require_memory(plan, frame, geometry, wavelengths)
    require_soon(
        near.seconds(knots.wavelength_m)
        + frame_s(frame, knots.wavelength_m.size, one_by_one=True, source=source)
    )
    strip = empty_strip(frame, wavelengths)
    weight = knots.shared(wavelengths.weights())
    node_weight = knots.shared(wavelengths.onto_nodes())
    cells = np.zeros((frame.q.size - 1, frame.p.size - 1, weight.shape[1]))
    finer = replace(setting, frame=frame)

    def add_wavelength(b: int) -> None:
        now = knots.wavelength_m[b : b + 1]
        light = sweep_plane(near.table(float(now[0])), frame, near.sine_in, now, np.ones((1, 1)))[0]
        light *= finer.factor(float(now[0]))
        np.add(cells, light[:, :, None] * weight[b], out=cells)
        strip.add(light, node_weight[b], frame)

    def every() -> None:
        for b in range(knots.wavelength_m.size):
            add_wavelength(b)

    stage("near field", every)
    power = stage("pixels", _pixels, cells, frame, geometry, source)
    text = f"propagation: {near.text}; {knots.wavelength_m.size} wavelengths"
    return Found(power, strip, wavelengths, plan, frame, notes=(text,))


def averaged(size_m: tuple[float, float], frame: Frame, source: Extent) -> float:
    """How many of the aperture's finest details (lambda / width at 550 nm) a pixel or the source
    averages over, along the direction where they are fewer; 1 at least."""
    blur = (max(c, 2 * h) for c, h in zip(frame.pixel, source.half, strict=True))
    return max(1.0, min(b * w / 550e-9 for b, w in zip(blur, size_m, strict=True)))


def _upper_half(frame: Frame) -> Frame:
    """Rows from the middle upwards; the middle row whole where their number is odd."""
    return replace(frame, q=frame.q[(frame.q.size - 1) // 2 :])


def _with_windows(frame: Frame, *, half: bool) -> Frame:
    """The frame with what windows at its rim ask for, whose cells are up to half a pixel wide."""
    p, q = ((TAPS // 2 + 2) / 2 * side for side in frame.pixel)
    along = frame.q[-1:] + q if half else frame.q[[0, -1]] + np.array([-q, q])
    return replace(
        frame,
        p=frame.p[[0, -1]] + np.array([-p, p]),
        q=np.append(frame.q[:1], along) if half else along,
    )


def _mirrored(cells: Floats, frame: Frame) -> Floats:
    """The whole frame (nq, np, c) from its upper half, |A(-u, -v)| being |A(u, v)|."""
    rows = frame.q.size - 1
    lower = cells[rows % 2 :][::-1, ::-1]
    return np.concatenate([lower, cells])


def _pixels(cells: Floats, frame: Frame, geometry: Geometry, source: Extent) -> Floats:
    return to_pixels(blurred(cells, frame, source), frame, geometry)


def _pixels_apart(
    cells: Floats,
    direct: Direct,
    gathering: Gathering,
    source: Extent,
    wavelength_m: Floats,
    weight: Floats,
) -> Floats:
    """The same, with the light about the direct image's peak gathered by itself."""
    frame, geometry = gathering.setting.frame, gathering.setting.geometry
    light = _pixels(without_core(cells, direct), frame, geometry, source)
    light[direct.rows, direct.columns] += core_light(
        direct, gathering, source, wavelength_m, weight
    )
    return light


def light_of(
    power: Floats, spectral: Floats, wavelengths: Wavelengths, pixel_area_m2: float
) -> Light:
    """Powers per pixel (ny, nx, c) and of the middle row (k, nx) as light on the plate.

    What the table's error leaves below zero in the dark counts as none.
    """
    xyz = np.maximum(power[:, :, :3], 0.0, order="C")
    irradiance = np.maximum(power[:, :, 3], 0.0, order="C")
    xyz /= pixel_area_m2
    irradiance /= pixel_area_m2
    spectral = np.maximum(spectral, 0.0)
    return Light(
        xyz_lx=xyz,
        irradiance=irradiance,
        profile_irradiance=irradiance[irradiance.shape[0] // 2].copy(),
        profile_wavelength_m=wavelengths.node_m,
        profile_spectrum=spectral / pixel_area_m2 / bands_nm(wavelengths.node_m)[:, None],
        recorded_lx=power[:, :, 4:] / pixel_area_m2 if power.shape[2] > 4 else None,
    )


def _require_memory(
    plan: SamplingPlan, frame: Frame, geometry: Geometry, wavelengths: Wavelengths
) -> None:
    """Refuse what does not fit the memory: the table, the frame's cells, the plate's pixels."""
    cells = _CELL * (frame.p.size - 1) * (frame.q.size - 1)
    if not frame.straight:  # else the cells are the pixels
        cells += PIXEL * geometry.x_m.size * geometry.y_m.size
    strip = wavelengths.node_m.size * (frame.p.size + wavelengths.power.size)
    require_memory(
        plan.bytes + 8 * (cells + strip),
        parts=f" (far field {plan.bytes / 1e9:.2g} GB of {plan.samples:,} samples, "
        f"pixels {8 * cells / 1e9:.2g} GB)",
        expected="a smaller aperture, a smaller plate or larger pixels",
    )
