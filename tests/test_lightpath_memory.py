"""A light path that remembers: the same bits as a fresh exposure, whatever was exposed before."""

from __future__ import annotations

import os
import random
from dataclasses import fields
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import wavesim
from wavesim.errors import InputError
from wavesim.lightpath import ExposedPlate, LightPath
from wavesim.scene import Scene

SEED = 20_240
STEPS = 40

RULED = """
[source]
kind = "sun"
slit = { width = "20 um", height = "1 mm" }
[bench]
collimator = "600 mm"
camera = "1 m"
[aperture]
kind = "slits"
count = 5
width = "40 um"
pitch = "90 um"
[plate]
width = "20 mm"
height = "2 mm"
pixel = "200 um"
"""
GRATING = """
[source]
kind = "blackbody"
temperature = "3000 K"
[bench]
collimator = "600 mm"
camera = "300 mm"
incidence = "10 deg"
[aperture]
kind = "grating"
count = 400
density = "300 / mm"
groove = { profile = "blazed", facet_angle = "5 deg" }
[[aperture.defects]]
kind = "periodic"
amplitude = "30 nm"
period = 20
[plate]
width = "20 mm"
height = "2 mm"
pixel = "200 um"
centre = "50 mm"
"""
HOLE = """
[source]
kind = "led"
wavelength = "530 nm"
width = "20 nm"
disc = "2 arcmin"
[bench]
collimator = "600 mm"
camera = "1 m"
[aperture]
kind = "disc"
diameter = "0.4 mm"
[plate]
width = "8 mm"
height = "6 mm"
pixel = "200 um"
"""
NEAR = RULED.replace('camera = "1 m"', 'plate_distance = "300 mm"').replace(
    '"sun"', '"laser"\nwavelength = "633 nm"'
)
STARTS = {"ruled": RULED, "grating": GRATING, "hole": HOLE, "near": NEAR}

# what a step of the walk may change: place in the scene, values
CHANGES: dict[str, list[tuple[str, list[object]]]] = {
    "ruled": [
        ("aperture.count", [1, 2, 5, 6]),
        ("aperture.width_m", [30e-6, 40e-6]),
        ("aperture.height_m", [5e-3, 10e-3]),
        ("source.slit.width_m", [20e-6, 60e-6]),
        ("source.slit.height_m", [1e-3, 2e-3]),
        ("source.lines", [True, False]),
    ],
    "grating": [
        ("aperture.count", [300, 400]),
        ("aperture.defects", ["keep", ()]),
        ("bench.incidence_rad", [0.17, 0.2]),
        ("source.temperature_K", [2800.0, 3000.0]),
    ],
    "hole": [
        ("aperture.diameter_m", [0.3e-3, 0.4e-3]),
        ("source.disc_rad", [6e-4, 9e-4]),
        ("source.wavelength_m", [530e-9, 600e-9]),
    ],
    "near": [
        ("aperture.count", [1, 2, 5]),
        ("bench.plate_distance_m", [0.3, 0.6]),
        ("source.slit.width_m", [20e-6, 60e-6]),
    ],
}
COMMON: list[tuple[str, list[object]]] = [
    ("exposure.over", [0.0, 1.0]),
    ("exposure.speed", [50.0, 100.0]),
    ("plate.pixel_m", [200e-6, 250e-6]),
    ("plate.height_m", [1e-3, 2e-3]),
    ("bench.beam", [None, "0.5 mm"]),
    ("title", ["one", "another"]),
]


def changed(scene: Scene, key: str, value: object) -> Scene:
    """The scene with one value put in, checked as a scene file is."""
    if value == "keep":
        return scene
    if key == "bench.beam" and value is not None:
        value = wavesim.scene.Beam(diameter_m=value)  # type: ignore[attr-defined]
    first, _, rest = key.partition(".")
    return _put(scene, first, rest, value)


def _put(model: Any, first: str, rest: str, value: object) -> Any:
    if rest:
        inner, _, more = rest.partition(".")
        value = _put(getattr(model, first), inner, more, value)
    return model.model_copy(update={first: value})


def assert_same(first: ExposedPlate, second: ExposedPlate) -> None:
    """All values equal to the bit; the report but for its wall times."""
    for field in fields(first):
        a, b = getattr(first, field.name), getattr(second, field.name)
        if isinstance(a, np.ndarray):
            np.testing.assert_array_equal(a, b, err_msg=field.name)
        elif field.name == "report":
            for inner in fields(a):
                if inner.name != "seconds":
                    assert getattr(a, inner.name) == getattr(b, inner.name)
        else:
            assert a == b


@pytest.mark.slow
def test_a_random_walk_over_scenes_gives_the_bits_of_fresh_exposures() -> None:
    """One path for scenes of every kind; each step changes one value or jumps to another kind."""
    rng = random.Random(SEED)
    path = LightPath(most_bytes=20_000_000)  # small, so that results are forgotten, too
    scenes = {name: wavesim.parse(text) for name, text in STARTS.items()}
    kind, reused = "ruled", 0
    for step in range(STEPS):
        if rng.random() < 0.2:
            kind = rng.choice(sorted(scenes))
        key, values = rng.choice(CHANGES[kind] + COMMON)
        scenes[kind] = changed(scenes[kind], key, rng.choice(values))
        found = path.expose(scenes[kind])
        reused += len(path.reused)
        try:
            assert_same(found, wavesim.expose(scenes[kind]))
        except AssertionError as error:
            raise AssertionError(f"step {step}, {kind}, {key}: {error}") from error
    assert reused > STEPS  # else nothing was remembered and the test says nothing


@pytest.mark.parametrize(
    ("key", "value", "repeated"),
    [
        ("title", "another", {"exposure"}),
        ("exposure.over", 1.0, {"exposure"}),
        ("source.slit.height_m", 2e-3, {"geometry", "rows", "accuracy", "pixels", "exposure"}),
        (
            "aperture.count",
            6,
            {"aperture", "far field", "columns", "accuracy", "pixels", "exposure"},
        ),
    ],
)
def test_only_stages_that_read_a_value_are_repeated(
    key: str, value: object, repeated: set[str]
) -> None:
    scene = wavesim.parse(RULED)
    path = LightPath()
    every = set(path.expose(scene).report.seconds)
    assert path.reused == ()
    path.expose(changed(scene, key, value))
    again = every - set(path.reused)
    assert repeated <= again
    assert "light" not in again
    assert again <= repeated | {"wavelengths", "far field", "columns"}


def test_a_table_that_changes_is_read_again(tmp_path: Path) -> None:
    table = tmp_path / "filter.csv"
    table.write_text("wavelength_nm,transmittance\n400,0.5\n700,0.5\n")
    text = RULED.replace(
        "[bench]", '[[source.filters]]\nkind = "table"\nfile = "filter.csv"\n[bench]'
    )
    scene = wavesim.parse(text).beside(tmp_path)
    path = LightPath()
    first = path.expose(scene)
    table.write_text("wavelength_nm,transmittance\n400,0.25\n700,0.25\n")
    os.utime(table, (1, 1))  # a clock of coarse steps may not have moved
    second = path.expose(scene)
    np.testing.assert_allclose(second.irradiance * 2, first.irradiance, rtol=1e-12)


def test_little_memory_is_kept_where_little_is_allowed() -> None:
    scene = wavesim.parse(RULED)
    path = LightPath(most_bytes=0)
    path.expose(scene)
    single = path.bytes
    for count in (2, 3, 4, 5):
        path.expose(changed(scene, "aperture.count", count))
        assert path.bytes < 2 * single


@pytest.mark.parametrize("name", sorted(STARTS))
def test_a_preview_holds_the_mean_of_the_plate(name: str) -> None:
    """Whole = parts: each coarse pixel's power is the sum of the pixels that it covers.

    Exact where columns and rows are differences of running integrals (rulings, tolerance: the
    stated errors of pixel and bins); cells in the plane are blurred by the source on their own
    grid, so only the total is compared there.
    """
    scene = wavesim.parse(STARTS[name])
    full = wavesim.expose(scene)
    rows, columns = full.irradiance.shape
    small = wavesim.preview(scene, columns // 4, rows // 2)
    assert small.irradiance.shape == (rows // 2, columns // 4)
    assert small.power_W == pytest.approx(full.power_W, rel=2e-3)
    if name != "hole":
        mean = full.irradiance.reshape(rows // 2, 2, columns // 4, 4).mean(axis=(1, 3))
        np.testing.assert_allclose(small.irradiance, mean, atol=2e-3 * mean.max())


_RULINGS = """
[bench]
collimator = "600 mm"
camera = "600 mm"
viewing = "{viewing}"
[aperture]
kind = "grating"
count = {count}
density = "600 / mm"
[[aperture.defects]]
kind = "periodic"
amplitude = "20 nm"
period = 96
[plate]
width = "{width}"
height = "0.8 mm"
pixel = "20 um"
"""
PREVIEWED = {  # dark lines and bright ones, either side of the zero order and across it
    "sun": '[source]\nkind = "sun"\nslit = { width = "20 um", height = "4 mm" }\n'
    + _RULINGS.format(viewing="19.3 deg", count=3000, width="24 mm"),
    "sodium": '[source]\nkind = "lamp"\nelement = "Na"\n'
    'slit = { width = "2 um", height = "2 mm" }\n'
    + _RULINGS.format(viewing="-20.7 deg", count=987, width="12 mm"),
    "zero order": '[source]\nkind = "blackbody"\ntemperature = "5000 K"\n'
    + _RULINGS.format(viewing="0 deg", count=300, width="32 mm"),
}


@pytest.mark.parametrize("name", sorted(PREVIEWED))
def test_a_preview_is_the_plate_within_the_errors_that_both_state(name: str) -> None:
    """Whole = parts, in X, Y and Z: another method (few sums over all wavelengths at once, grids
    that light and plate share) gives the mean of the pixels that a plate of every node has. The
    plate is so low that lines bowed within wide pixels, of which a preview does not speak, do not
    show.
    """
    scene = wavesim.parse(PREVIEWED[name])
    full = wavesim.expose(scene)
    rows, columns, _ = full.xyz.shape
    small = wavesim.preview(scene, columns // 4, rows // 5)
    mean = full.xyz.reshape(rows // 5, 5, columns // 4, 4, 3).mean(axis=(1, 3)) / full.exposure_s
    stated = small.report.bin_error + full.report.bin_error
    assert stated < 4e-3
    wrong = np.abs(small.xyz / small.exposure_s - mean).max(axis=(0, 1))
    assert np.all(wrong <= stated * mean.max(axis=(0, 1)))


@pytest.mark.parametrize("name", sorted(PREVIEWED))
def test_the_spectra_of_a_preview_add_up_to_its_light(name: str) -> None:
    """The sum over the wavelengths' triangular bands is the irradiance (energy is kept)."""
    small = wavesim.preview(wavesim.parse(PREVIEWED[name]), 100, 5)
    nodes = small.profile_wavelength_m
    step = np.minimum(np.diff(nodes, prepend=nodes[0], append=nodes[-1]), 1.0001e-9)
    total = ((step[:-1] + step[1:]) / 2 * 1e9) @ small.profile_spectrum
    brightest = small.profile_irradiance.max()
    np.testing.assert_allclose(total, small.profile_irradiance, atol=1e-3 * brightest)
    with pytest.raises(ValueError, match="read-only"):
        small.profile_spectrum[0, 0] = 1.0


def test_a_preview_is_never_finer_than_the_plate() -> None:
    scene = wavesim.parse(RULED)
    assert_same(wavesim.preview(scene, 100_000, 100_000), wavesim.expose(scene))


def test_the_middle_row_is_that_of_the_plate() -> None:
    scene = wavesim.parse(RULED)
    full = wavesim.expose(scene)
    row = LightPath().middle_row(scene, full.x_m.size)
    assert row.irradiance.shape == (1, full.x_m.size)
    middle = full.irradiance[full.irradiance.shape[0] // 2 - 1]
    np.testing.assert_allclose(row.irradiance[0], middle, rtol=1e-3)


@pytest.mark.parametrize(("columns", "rows"), [(0, 10), (10, -1)])
def test_a_preview_of_no_pixels_is_refused(columns: int, rows: int) -> None:
    with pytest.raises(InputError, match="number of pixels"):
        wavesim.preview(wavesim.parse(RULED), columns, rows)


def test_the_middle_row_of_a_symmetric_plate_is_whole() -> None:
    """Light at right angles: one half is computed and mirrored, in one row as in many."""
    from wavesim.scene import load

    scene = load(Path(__file__).resolve().parents[1] / "scenes/slits_002.toml")
    row = wavesim.LightPath().middle_row(scene, 400)
    assert row.xyz.shape == (1, 400, 3)
    np.testing.assert_allclose(row.irradiance[0], row.irradiance[0, ::-1], rtol=1e-9)
