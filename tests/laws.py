"""What must hold between two plates, whatever the scene: metamorphic laws over random benches.

Nothing from outside is needed: linearity in time, symmetry, a whole as the sum of its parts, the
energy sent. A seed is the name of its scene. Each law gives its `Violation`: the largest difference
it finds, of the brightest pixel, and what is allowed there: the errors that the plates state
themselves (`Report.pixel_error` and `bin_error`), or nothing at all. `tests/test_laws.py` holds
them; `python -m tests.properties 300` prints the worst of each.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from decimal import Decimal
from typing import NamedTuple

import numpy as np

import wavesim
from tests import bench
from tests.light_budget import POWER_W, case_of
from tests.plate_quadrature import setup_of
from tests.random_scenes import (
    aperture_text,
    blazed_text,
    grating_text,
    random_scene,
    slit_scene,
    um,
)
from wavesim.plate import Plate
from wavesim.scene import Scene, parse

CAUGHT = 1e-3  # of the light through an opening: half from the plate, half from the truth's grid


class Violation(NamedTuple):
    """A law's largest difference and what is allowed, both of the brightest pixel (or of 1)."""

    difference: float
    allowed: float

    @property
    def ratio(self) -> float:
        """Difference over what is allowed; above 1 the law is broken."""
        if self.difference == 0.0:
            return 0.0
        return self.difference / self.allowed if self.allowed else math.inf


def allowed(*plates: Plate) -> float:
    """The errors that plates state, together, of the first one's brightest pixel."""
    errors = (
        (plate.report.pixel_error + plate.report.bin_error) * float(plate.irradiance.max())
        for plate in plates
    )
    return sum(errors) / float(plates[0].irradiance.max())


def compared(whole: Plate, other: np.ndarray, *plates: Plate) -> Violation:
    """A plate's light against another's, or what was put together of others (stating `plates`)."""
    off = float(np.abs(other - whole.irradiance).max() / whole.irradiance.max())
    return Violation(off, allowed(whole, *plates))


def exactly(same: bool) -> Violation:
    """A law that holds to the bit, or does not."""
    return Violation(0.0 if same else 1.0, 0.0)


# ---- energy


def no_more_than_sent(seed: int) -> Violation:
    """A plate gets no more light than a laser sends."""
    setup = setup_of(seed)
    laser = f'kind = "laser"\nwavelength = "{450 + seed % 200} nm"\npower = "{POWER_W} W"'
    scene = random_scene(seed)
    sent = bench.scene(
        source=laser,
        bench=setup.bench if scene.bench.far_field else 'plate_distance = "500 mm"',
        plate=setup.plate,
        aperture=aperture_text(seed, setup),
    )
    plate = wavesim.expose(sent)
    return Violation(max(plate.power_W / POWER_W - 1, 0.0), plate.report.pixel_error)


def all_light_caught(seed: int) -> Violation:
    """A plate that catches all gets the light through the opening (or past the obstacle), and
    never more than is sent."""
    case = case_of(np.random.default_rng(seed), obstacle=seed % 2 == 1)
    found = wavesim.expose(case.scene).power_W
    if found > POWER_W * (1 + 1e-6):  # what a plate states of its pixels
        return Violation(found / POWER_W - 1, 1e-6)
    return Violation(abs(found / case.through_W / (1 - case.lost) - 1), CAUGHT)


def doubled_time(seed: int) -> Violation:
    """Twice the time, twice the exposure, to the bit: a factor of two rounds nothing."""
    scene = random_scene(seed)
    if scene.source.kind in ("lamp", "led", "band"):  # their level is not known of itself
        scene = scene.but({"source.luminance": "1e6 cd/m^2"})
    single, double = (wavesim.expose(scene.but({"exposure.time": t})) for t in ("10 ms", "20 ms"))
    same_light = np.array_equal(single.irradiance, double.irradiance)
    return exactly(same_light and np.array_equal(double.xyz, 2 * single.xyz))


# ---- symmetry and units


def mirrored(seed: int) -> Violation:
    """Aperture, beam and camera seen in a mirror give the plate seen in a mirror."""
    scene = random_scene(seed)
    plates = [wavesim.expose(_in_mirror(scene, seed, sign)) for sign in (1.0, -1.0)]
    return compared(plates[0], plates[1].irradiance[:, ::-1], plates[1])


def _in_mirror(scene: Scene, seed: int, sign: float) -> Scene:
    """Unequal slits, or a blazed grating, and the angles of the bench, on one side or the other."""
    setup, draw = setup_of(seed), np.random.default_rng(seed)
    centres = np.cumsum(draw.uniform(1.2, 3.0, int(draw.integers(2, 7)))) * setup.width_m
    listed = ", ".join(
        f'{{ centre = "{sign * c * 1e6:.4f} um", width = {um(setup.width_m * (1 + k % 3 / 9))} }}'
        for k, c in enumerate(centres - centres.mean())
    )
    shape = f'kind = "slits"\nslits = [{listed}]\nheight = "2 mm"'
    if seed % 4 == 3:
        facet = f'facet_angle = "{sign * (2 + seed % 9)} deg"'
        shape = grating_text(seed, f'{{ profile = "blazed", {facet} }}')
    made = slit_scene(seed, shape)
    if not scene.bench.far_field:
        return made.but({"bench": {"source_distance": "1.5 m", "plate_distance": "0.4 m"}})
    alpha, viewing = scene.bench.incidence_rad, scene.bench.viewing_rad or 0.0
    return made.but({
        "bench.incidence": f"{sign * math.degrees(alpha)!r} deg",
        "bench.viewing": f"{sign * math.degrees(viewing)!r} deg",
    })  # fmt: skip


def other_units(seed: int) -> Violation:
    """The same lengths in other units are the same scene, and its plate the same to the bit."""
    draw = np.random.default_rng(seed)
    lengths = {
        name: Decimal(int(draw.integers(low, high))).scaleb(-9 + shift)  # in metres, exactly
        for name, low, high, shift in (
            ("width", 20_000, 60_000, 0), ("pitch", 70_000, 90_000, 0),
            ("camera", 300_001, 999_999, 3), ("slit", 5_001, 30_001, 0),
        )
    }  # fmt: skip
    powers = {"m": 0, "cm": 2, "mm": 3, "um": 6, "nm": 9}

    def spelled(units: tuple[str, ...]) -> Scene:
        given = {
            name: f'"{length.scaleb(powers[unit]):f} {unit}"'
            for (name, length), unit in zip(lengths.items(), units, strict=True)
        }
        shape = f'kind = "slits"\ncount = 3\nwidth = {given["width"]}\npitch = {given["pitch"]}'
        return parse(bench.text(
            source=f'kind = "sun"\nslit = {{ width = {given["slit"]}, height = "1 mm" }}',
            bench=f'collimator = "600 mm"\ncamera = {given["camera"]}',
            aperture=shape,
            plate='width = "6 mm"\nheight = "0.2 mm"\npixel = "50 um"',
        ))  # fmt: skip

    first = spelled(("um", "um", "mm", "um"))
    second = spelled(tuple(str(draw.choice(list(powers))) for _ in range(4)))
    same = np.array_equal(wavesim.expose(first).xyz, wavesim.expose(second).xyz)
    return exactly(first == second and same)


# ---- the whole and its parts


def narrower_slits(seed: int) -> Violation:
    """A source slit is the sum of its halves, each seen from the aperture under its own angle.

    The halves lie at a quarter of the width: sin(alpha) = -+ w / 4 f, camera unmoved.
    """
    scene, draw, setup = slit_scene(seed), np.random.default_rng(seed), setup_of(seed)
    width, focal = draw.uniform(5e-6, 200e-6), 0.6
    light = setup.source.split("\nslit")[0]
    if "laser" in light:
        light = 'kind = "lamp"\nelement = "Cd"'
    viewing = math.degrees(scene.bench.viewing_rad or 0.0) % 10 - 5

    def plate(wide: float, centre_m: float) -> Plate:
        angle = math.degrees(math.atan(centre_m / focal))
        made = bench.scene(
            source=f'{light}\nslit = {{ width = {um(wide)}, height = "20 um" }}',
            bench=f'collimator = "{focal} m"\ncamera = "{scene.bench.camera_focal_m!r} m"\n'
            f'incidence = "{angle!r} deg"\nviewing = "{viewing!r} deg"',
            aperture=blazed_text(seed) if seed % 4 == 3 else setup.slits(),
            plate=setup.plate,
        )
        return wavesim.expose(made)

    whole = plate(width, 0.0)
    left, right = plate(width / 2, -width / 4), plate(width / 2, width / 4)
    return compared(whole, left.irradiance + right.irradiance, left, right)


def parts_of_aperture(seed: int) -> Violation:
    """Amplitudes add: those of some slits and of the others make that of all of them."""
    setup, draw = setup_of(seed), np.random.default_rng(seed)
    count = int(draw.integers(2, 9))
    centres = np.cumsum(draw.uniform(1.2, 3.0, count)) * setup.width_m
    listed = [
        f"{{ centre = {um(c)}, width = {um(setup.width_m * draw.uniform(0.5, 1.0))} }}"
        for c in centres - centres.mean()
    ]
    sines, wave = draw.uniform(-0.05, 0.05, 200), draw.uniform(400e-9, 700e-9)

    def amplitude(chosen: list[str]) -> np.ndarray:
        text = f'kind = "slits"\nslits = [{", ".join(chosen)}]\nheight = "2 mm"'
        return np.asarray(wavesim.amplitude(slit_scene(seed, text), sines, wave))

    cut = int(draw.integers(1, count))
    whole, parts = amplitude(listed), amplitude(listed[:cut]) + amplitude(listed[cut:])
    return Violation(float(np.abs(parts - whole).max() / np.abs(whole).max()), 1e-11)


def resized(scene: Scene, columns: int, centre_m: float | None = None, split: int = 1) -> Scene:
    """The same bench with another plate."""
    pixel = scene.plate.pixel_m
    changes: dict[str, object] = {
        "plate.width": f"{columns * pixel!r} m",
        "plate.height": f"{scene.plate.pixels_y * pixel!r} m",
        "plate.pixel": f"{pixel / split!r} m",
    }
    if centre_m is not None:
        changes["plate.centre"] = f"{centre_m!r} m"
    return scene.but(changes)  # type: ignore[arg-type]


def plate_around(seed: int) -> Violation:
    """A pixel does not know how large the plate about it is."""
    scene = random_scene(seed)
    columns = scene.plate.pixels_x
    cut = columns // 4
    whole, middle = wavesim.expose(scene), wavesim.expose(resized(scene, columns - 2 * cut))
    off = float(np.abs(whole.irradiance[:, cut : columns - cut] - middle.irradiance).max())
    return Violation(off / float(whole.irradiance.max()), allowed(whole, middle))


def finer_pixels(seed: int) -> Violation:
    """A pixel's light is that of the nine pixels it is made of."""
    scene = random_scene(seed)
    wide = wavesim.expose(scene)
    fine = wavesim.expose(resized(scene, scene.plate.pixels_x, split=3))
    ny, nx = wide.irradiance.shape
    return compared(wide, fine.irradiance.reshape(ny, 3, nx, 3).mean(axis=(1, 3)), fine)


def two_halves(seed: int) -> Violation:
    """A plate cut in two and joined."""
    scene = random_scene(seed)
    scene = resized(scene, columns := scene.plate.pixels_x // 2 * 2, 0.0)
    quarter = columns * scene.plate.pixel_m / 4
    whole = wavesim.expose(scene)
    left, right = (
        wavesim.expose(resized(scene, columns // 2, centre_m)) for centre_m in (-quarter, quarter)
    )
    joined = np.concatenate([left.irradiance, right.irradiance], axis=1)
    return compared(whole, joined, left, right)


# ---- written in two ways


def as_mesh(seed: int) -> Violation:
    """Slits, and the same as a mesh of one row."""
    setup = setup_of(seed)
    slits, mesh = (wavesim.expose(slit_scene(seed, t)) for t in (setup.slits(), setup.mesh()))
    return compared(slits, mesh.irradiance, mesh)


def little_fan(seed: int) -> Violation:
    """Slits, and the same fanned by next to nothing, cut into strips."""
    setup = setup_of(seed)
    slits, fan = (
        wavesim.expose(slit_scene(seed, t)) for t in (setup.slits(), setup.fan("1e-9 deg"))
    )
    return compared(slits, fan.irradiance, fan)


def other_words(seed: int) -> Violation:
    """Slits counted and listed; a grating of slits; gaps of wires; a slit as a hole; a round hole
    as an ellipse."""
    setup = setup_of(seed)
    count, width, pitch = max(setup.count, 2), setup.width_m, setup.pitch_m
    tall = f"height = {um(setup.height_m)}"
    centre = (np.arange(count) - (count - 1) / 2) * pitch
    slits = f'kind = "slits"\ncount = {count}\nwidth = {um(width)}\npitch = {um(pitch)}\n{tall}'
    listed = ", ".join(f"{{ centre = {um(x)}, width = {um(width)} }}" for x in centre)
    pair = (
        (slits, f'kind = "slits"\nslits = [{listed}]\n{tall}'),
        (slits, f'kind = "grating"\ncount = {count}\npitch = {um(pitch)}\n{tall}\n'
         f'groove = {{ profile = "slit", width = {um(width)} }}'),
        (slits, f'kind = "wires"\ncount = {count + 1}\nwidth = {um(pitch - width)}\n'
         f"pitch = {um(pitch)}\n{tall}"),
        (f'kind = "slits"\ncount = 1\nwidth = {um(width)}\n{tall}',
         f'kind = "rectangle"\nwidth = {um(width)}\n{tall}'),
        (f'kind = "disc"\ndiameter = {um(width)}',
         f'kind = "ellipse"\nwidth = {um(width)}\nheight = {um(width)}\nturn = "17 deg"'),
    )[seed % 5]  # fmt: skip
    plates = [wavesim.expose(slit_scene(seed, text)) for text in pair]
    return compared(plates[0], plates[1].irradiance, plates[1])


# ---- errors of no size


def no_defocus(seed: int) -> Violation:
    """A plate that stands no distance out of focus stands in focus, to the bit."""
    scene = random_scene(seed)
    if not scene.bench.far_field:
        scene = slit_scene(seed)
    sharp, out = wavesim.expose(scene), wavesim.expose(scene.but({"bench.defocus": "0 mm"}))
    return exactly(np.array_equal(sharp.xyz, out.xyz))


def little_defocus(seed: int) -> Violation:
    """Out of focus by a nanometre: another method, the same plate."""
    scene = slit_scene(seed)
    sharp, out = wavesim.expose(scene), wavesim.expose(scene.but({"bench.defocus": "1 nm"}))
    return compared(sharp, out.irradiance, out)


NO_DEFECT = (
    'kind = "periodic"\namplitude = "0 nm"\nperiod = 7',
    'kind = "random"\nrms = "0 nm"\nseed = 3',
    'kind = "random"\nrms = "0 nm"\ncorrelation = "accumulated"\nseed = 3',
    'kind = "fan"\nangle = "0 deg"',
    'kind = "bow"\nsag = "0 nm"',
    'kind = "step"\nsize = "0 nm"',
    'kind = "drift"\nlinear = 0.0',
    'kind = "width"\nrms = "0 nm"\nseed = 2',
    'kind = "depth"\nwear = 0.0',
)


def no_defect(seed: int) -> Violation:
    """A ruling error of no size, on slits or on grooves; to the bit."""
    setup, text = setup_of(seed), NO_DEFECT[seed % len(NO_DEFECT)]
    shape = setup.slits() if setup.count > 1 and "depth" not in text else blazed_text(seed)
    if "width" in text:
        shape = grating_text(seed, '{ profile = "slit" }')
    plates = [
        wavesim.expose(slit_scene(seed, shape + more))
        for more in ("", f"\n[[aperture.defects]]\n{text}")
    ]
    return exactly(np.array_equal(plates[0].irradiance, plates[1].irradiance))


LAWS: tuple[Callable[[int], Violation], ...] = (
    no_more_than_sent, all_light_caught, doubled_time, mirrored, other_units, narrower_slits,
    parts_of_aperture, plate_around, finer_pixels, two_halves, as_mesh, little_fan, other_words,
    no_defocus, little_defocus, no_defect,
)  # fmt: skip
