"""A plate in two dimensions: from an aperture in the plane to the light in each pixel."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from wavesim.aperture.elements import Element, Floats
from wavesim.aperture.plane import PlaneAperture
from wavesim.diffraction.fresnel import wavefront
from wavesim.diffraction.planar import SamplingPlan, plan_table, plane_table
from wavesim.light import recorder_of
from wavesim.plate.bins import bands_nm
from wavesim.plate.compose import Light
from wavesim.plate.computed import Computed, Stage
from wavesim.plate.geometry import Geometry
from wavesim.plate.memory import require_memory
from wavesim.plate.plane.accuracy import measured_error
from wavesim.plate.plane.direct import Direct, core_light, direct_image, in_proportion, without_core
from wavesim.plate.plane.frame import (
    Frame,
    bearable,
    flat_frame,
    frame,
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
from wavesim.plate.plane.waves import Steps, Waves, choose_waves
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
    place: Geometry,
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
    p, q = _farthest(place, source)
    path = max(path_of(size_m, place, source), 1e-12)
    fringe = 550e-9 / max(size_m)
    blur = max(min(pixel), min(source.half))
    widest = widest_m / 550e-9**2
    if fringe >= blur:
        return Steps(min(1 / (_MARGIN * path), widest), _RESOLVED)
    farthest = math.hypot(p, q)
    return Steps(min(blur / (_MARGIN * 550e-9 * farthest), widest), _BLURRED, resolved=False)


def path_of(size_m: tuple[float, float], place: Geometry, source: Extent) -> float:
    """Longest difference of paths [m] between two places of an aperture, at a plate's corner."""
    p, q = _farthest(place, source)
    return size_m[0] * p + size_m[1] * q


def _farthest(place: Geometry, source: Extent) -> tuple[float, float]:
    """Largest |sin alpha + p| and |q| on a plate, what the source blurs into it included."""
    p = np.abs(place.sine_in + place.sine(place.x_edges_m, 0.0)).max() + source.reach[0]
    y = float(np.abs(place.y_edges_m).max())
    return float(p), y / math.hypot(y, place.focal_m) + source.reach[1]


def expose_plane(
    scene: Scene,
    aperture: PlaneAperture,
    spectrum: Spectrum,
    place: Geometry,
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
    source = extent(scene, place)
    half_m = max(abs(edge) for edge in aperture.box_m)
    front = wavefront(scene.bench, half_m)
    phases = aperture.lattice is not None and aperture.lattice.path_m is not None
    apart = phases or not front.plane
    run = _each_wavelength if apart else _all_at_once
    flat, exact = flatness(scene.bench)
    exact = exact and not phases and aperture.lattice is None and groove is None
    recorder = stage("recorder", recorder_of, scene)
    setting = Setting(
        place, frame(place, source.reach), source, front, groove, scene.bench.air, flat, exact,
        recorder,
    )  # fmt: skip
    found = run(aperture, spectrum, setting, stage)
    waves, on = found.waves, found.on
    spectral = stage("profile", middle_row, found.strip, on, place, source)
    if found.direct is not None:
        spectral = in_proportion(spectral, found.light, found.direct)
    return Computed(
        light=light_of(found.light, spectral, waves, scene.plate.pixel_area_m2),
        opening=aperture,
        source_sr=source.area,
        averaged=True,
        elements=aperture.elements,
        wavelengths=int(waves.power.size),
        smoothing=source.words,
        pixel_error=found.plan.error / averaged(aperture.size_m, on, source),
        bin_error=waves.error,
        half_m=half_m,
        notes=(*aperture.limits, *found.notes),
    )


@dataclass(frozen=True, eq=False)
class Found:
    """Light of the pixels (ny, nx, c), the strip about the middle row, and how it was found."""

    light: Floats
    strip: Strip
    waves: Waves
    plan: SamplingPlan
    on: Frame
    notes: tuple[str, ...] = ()
    direct: Direct | None = None


def _all_at_once(
    aperture: PlaneAperture, spectrum: Spectrum, setting: Setting, stage: Stage
) -> Found:
    """Light (ny, nx, c) and the middle strip, by one table for all wavelengths."""
    place, source, size = setting.place, setting.source, aperture.size_m
    steps = steps_of(size, place, setting.on.pixel, source)
    air, recorder = setting.air, setting.recorder
    waves = stage("wavelengths", choose_waves, spectrum, steps, air=air, recorder=recorder)
    shortest = float(waves.bench_m.min())
    wanted = wanted_fineness(place, size, shortest)
    knots = Knots(waves.bench_m)
    if setting.groove is None:  # whose light may change from one nanometre to the next
        knots = far_knots(waves, path_of(size, place, source))
    fine = bearable(place, wanted, knots.wavelength_m.size)
    on = frame(place, source.reach, fine)
    setting = replace(setting, on=on)
    real = setting.groove is None and aperture.of_one_phase
    half = real and place.sine_in == 0.0 and on.symmetric
    part = _upper_half(on) if half else on
    twice = replace(steps, inverse_per_m=steps.inverse_per_m / 2)
    finer = choose_waves(spectrum, twice, air=air, recorder=recorder)
    every = np.concatenate([knots.wavelength_m, finer.bench_m])
    plan = plan_table(aperture, reach_of(_with_windows(part, half=half), every, place.sine_in))
    _require_memory(plan, on, place, waves)
    table = stage("far field", plane_table, aperture, plan)
    weight = knots.shared(waves.weights())
    cells = stage("cells", gathered, table, replace(setting, on=part), knots.wavelength_m, weight)
    whole = _mirrored(cells, on) if half else cells
    light = Gathering(aperture, table, setting, half)
    direct = direct_image(place, source, on, wanted)
    if direct is None:
        seen = stage("pixels", _pixels, whole, on, place, source)
    else:
        seen = stage(
            "pixels", _pixels_apart, whole, direct, light, source, knots.wavelength_m, weight
        )
    share = knots.shared(waves.onto_nodes())
    strip = strip_of(table, on, half, place.sine_in, knots.wavelength_m, share, setting.factor)
    error = stage(
        "accuracy", measured_error, seen, place, source, size, shortest, light, finer, on.fine,
        direct,
    )  # fmt: skip
    return Found(seen, strip, replace(waves, error=error), plan, on, direct=direct)


def _each_wavelength(
    aperture: PlaneAperture, spectrum: Spectrum, setting: Setting, stage: Stage
) -> Found:
    """The same, by a table for each wavelength: the near field, and pictures with phases."""
    place, source, front, size = setting.place, setting.source, setting.front, aperture.size_m
    on = setting.on
    steps = steps_of(size, place, on.pixel, source)
    steps = replace(steps, error=max(steps.error, _BLURRED))  # patterns are straight between knots
    air, recorder = setting.air, setting.recorder
    waves = stage("wavelengths", choose_waves, spectrum, steps, air=air, recorder=recorder)
    apart = steps_of(size, place, on.pixel, source, widest_m=np.inf)
    knots = near_knots(waves, size, apart.inverse_per_m * 550e-9, front)
    wanted = wanted_fineness(place, size, float(waves.bench_m.min()))
    make = flat_frame if setting.flat else frame
    on = make(place, source.reach, bearable(place, wanted, knots.wavelength_m.size))
    near = propagation(
        aperture, front, place.sine_in, on, float(knots.wavelength_m.min()),
        distance_m=place.focal_m if setting.exact else None,
    )  # fmt: skip
    plan = near.plan(knots.wavelength_m)
    _require_memory(plan, on, place, waves)
    strip = empty_strip(on, waves)
    weight, share = knots.shared(waves.weights()), knots.shared(waves.onto_nodes())
    cells = np.zeros((on.q.size - 1, on.p.size - 1, weight.shape[1]))
    finer = replace(setting, on=on)

    def one(b: int) -> None:
        now = knots.wavelength_m[b : b + 1]
        light = sweep_plane(near.table(float(now[0])), on, near.sine_in, now, np.ones((1, 1)))[0]
        light *= finer.factor(float(now[0]))
        np.add(cells, light[:, :, None] * weight[b], out=cells)
        strip.add(light, share[b], on)

    def every() -> None:
        for b in range(knots.wavelength_m.size):
            one(b)

    stage("near field", every)
    seen = stage("pixels", _pixels, cells, on, place, source)
    words = f"path of the waves: {near.words}; {knots.wavelength_m.size} wavelengths"
    return Found(seen, strip, waves, plan, on, notes=(words,))


def averaged(size_m: tuple[float, float], on: Frame, source: Extent) -> float:
    """How many of the aperture's finest details (lambda / width at 550 nm) a pixel or the source
    averages over, along the direction where they are fewer; 1 at least."""
    blur = (max(c, 2 * h) for c, h in zip(on.pixel, source.half, strict=True))
    return max(1.0, min(b * w / 550e-9 for b, w in zip(blur, size_m, strict=True)))


def _upper_half(on: Frame) -> Frame:
    """Rows from the middle upwards; the middle row whole where their number is odd."""
    return replace(on, q=on.q[(on.q.size - 1) // 2 :])


def _with_windows(on: Frame, *, half: bool) -> Frame:
    """The frame with what windows at its rim ask for, whose cells are up to half a pixel wide."""
    p, q = ((TAPS // 2 + 2) / 2 * side for side in on.pixel)
    along = on.q[-1:] + q if half else on.q[[0, -1]] + np.array([-q, q])
    return replace(
        on, p=on.p[[0, -1]] + np.array([-p, p]), q=np.append(on.q[:1], along) if half else along
    )


def _mirrored(cells: Floats, on: Frame) -> Floats:
    """The whole frame (nq, np, c) from its upper half, |A(-u, -v)| being |A(u, v)|."""
    rows = on.q.size - 1
    lower = cells[rows % 2 :][::-1, ::-1]
    return np.concatenate([lower, cells])


def _pixels(cells: Floats, on: Frame, place: Geometry, source: Extent) -> Floats:
    return to_pixels(blurred(cells, on, source), on, place)


def _pixels_apart(
    cells: Floats,
    direct: Direct,
    gathering: Gathering,
    source: Extent,
    wavelength_m: Floats,
    weight: Floats,
) -> Floats:
    """The same, with the light about the direct image's peak gathered by itself."""
    on, place = gathering.setting.on, gathering.setting.place
    light = _pixels(without_core(cells, direct), on, place, source)
    light[direct.rows, direct.columns] += core_light(
        direct, gathering, source, wavelength_m, weight
    )
    return light


def light_of(seen: Floats, spectral: Floats, waves: Waves, pixel_area_m2: float) -> Light:
    """Powers per pixel (ny, nx, c) and of the middle row (k, nx) as light on the plate.

    What the table's error leaves below zero in the dark counts as none.
    """
    xyz = np.maximum(seen[:, :, :3], 0.0, order="C")
    irradiance = np.maximum(seen[:, :, 3], 0.0, order="C")
    xyz /= pixel_area_m2
    irradiance /= pixel_area_m2
    spectral = np.maximum(spectral, 0.0)
    return Light(
        xyz_lx=xyz,
        irradiance=irradiance,
        profile_irradiance=irradiance[irradiance.shape[0] // 2].copy(),
        profile_wavelength_m=waves.node_m,
        profile_spectrum=spectral / pixel_area_m2 / bands_nm(waves.node_m)[:, None],
        recorded_lx=seen[:, :, 4:] / pixel_area_m2 if seen.shape[2] > 4 else None,
    )


def _require_memory(plan: SamplingPlan, on: Frame, place: Geometry, waves: Waves) -> None:
    """Refuse what does not fit the memory: the table, the frame's cells, the plate's pixels."""
    cells = _CELL * (on.p.size - 1) * (on.q.size - 1)
    if not on.straight:  # else the cells are the pixels
        cells += PIXEL * place.x_m.size * place.y_m.size
    strip = waves.node_m.size * (on.p.size + waves.power.size)
    require_memory(
        plan.bytes + 8 * (cells + strip),
        parts=f" (far field {plan.bytes / 1e9:.2g} GB of {plan.samples:,} samples, "
        f"pixels {8 * cells / 1e9:.2g} GB)",
        expected="a smaller aperture, a smaller plate or larger pixels",
    )
