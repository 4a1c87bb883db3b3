"""Stated uncertainties against true misses, on plates exposed by the engine.

Standard uncertainties are right where about 68 % of the misses lie within one and 95 % within two
of them. A line's true place is that of the lamp's line, or the mean by strength of those within
half a width (multiplets); lines with another of more than 1 % between half a width and three
widths away are left out, and so is, in sunlight, what is mostly other lines than the strongest.
With noise, pixels err by 0.1 % of the brightest one and by 0.5 % of their own light.

Run as a program it judges as many plates as asked: python -m tests.test_measure_coverage 60
"""

from __future__ import annotations

import math
import sys
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest

from tests import bench
from tests.narrowing import known
from wavesim.light import lamps, sun
from wavesim.lightpath import expose
from wavesim.measuring import (
    Feature,
    Instrument,
    Line,
    Profile,
    find_lines,
    from_plate,
    measure,
    of_scene,
)
from wavesim.measuring import profile as profile_of
from wavesim.scene import load, parse

SCENES = Path(__file__).resolve().parents[1] / "scenes"
LAMPS = ("Hg", "Ne", "Cd", "He")
FAINT = 0.03  # of the brightest line: the fainter ones are judged apart
NOISE, UNEVEN = 1e-3, 5e-3


@dataclass(frozen=True)
class Judged:
    """Misses over stated uncertainties, of lines above and below 3 % of the brightest."""

    bright: np.ndarray
    faint: np.ndarray


def scene_text(rng: np.random.Generator, source: str, pixels_um: tuple[float, float]) -> str:
    """A grating of 300 or 600 lines a millimetre and a plate that holds 400 to 700 nm."""
    density, camera = int(rng.choice([300, 600])), int(rng.choice([500, 1000]))
    middle = rng.uniform(540e-9, 560e-9) * density * 1e3
    width = 300e-9 * density * 1e3 / math.sqrt(1 - middle**2) * camera
    low, high = np.log(pixels_um)
    pixel = round(float(np.exp(rng.uniform(low, high))), 2)
    slit = round(float(np.exp(rng.uniform(math.log(5), math.log(40)))), 2)
    return bench.text(
        source=f'{source}\nslit = {{ width = "{slit} um", height = "2 mm" }}',
        bench=f'collimator = "600 mm"\ncamera = "{camera} mm"\n'
        f'viewing = "{math.degrees(math.asin(middle))} deg"',
        aperture=f'kind = "grating"\ndensity = "{density} / mm"\nheight = "10 mm"\n'
        f'ruled_width = "{rng.choice([10, 25])} mm"',
        plate=f'width = "{math.floor(width)} mm"\nheight = "0.1 mm"\npixel = "{pixel} um"',
    )


def plate(text: str, rng: np.random.Generator, noise: float) -> tuple[Profile, Instrument]:
    scene = parse(text)
    clean = from_plate(expose(scene))
    value = clean.value * (1 + 5 * noise * rng.normal(size=clean.value.size))
    value += noise * clean.value.max() * rng.normal(size=clean.value.size)
    noisy = profile_of(clean.x_m, value, slit_image_m=clean.slit_image_m)
    return (noisy if noise else clean), of_scene(scene)


def lamp(seed: int, noise: float = NOISE) -> Judged:
    """Lines of a lamp on a plate of 8 to 100 um pixels."""
    rng = np.random.default_rng(seed)
    element = str(rng.choice(LAMPS))
    text = scene_text(rng, f'kind = "lamp"\nelement = "{element}"', (8, 100))
    found, instrument = plate(text, rng, noise)
    table = lamps.lines(element)
    position = instrument.position_m(table.wavelength_m, 1)
    features = find_lines(found)
    top = max(f.height for f in features)
    wide = np.median([f.width_m for f in features if f.height > FAINT * top])
    ratios: tuple[list[float], list[float]] = ([], [])
    for f in features:
        miss = lamp_miss(f, position, table.strength, max(float(wide), found.pixel_m))
        if miss is not None:
            ratios[f.height < FAINT * top].append(miss / f.x_error_m)
    return Judged(*(np.array(r) for r in ratios))


def lamp_miss(
    f: Feature, position: np.ndarray, strength: np.ndarray, width_m: float
) -> float | None:
    """x found less x true [m]; None where no line or several are meant."""
    apart = np.abs(position - f.x_m)
    near = apart < 0.5 * width_m
    far = (apart < 3 * width_m) & ~near
    if not near.any() or (strength[far] > 0.01 * strength[near].sum()).any():
        return None
    return f.x_m - float(np.average(position[near], weights=strength[near]))


def sunlight(seed: int, noise: float = NOISE) -> np.ndarray:
    """Ratios of dark lines of which half or more of what is missing is one line's.

    Within 0.6 of the plate's resolution lines are one, at the mean by equivalent width.
    """
    rng = np.random.default_rng(seed)
    found, instrument = plate(scene_text(rng, 'kind = "sun"', (20, 40)), rng, noise)
    table = sun.lines()
    missing = table.depth * (1.064 * table.gaussian_m + math.pi / 2 * table.lorentz_m)
    features = find_lines(found, "dark")
    width = float(np.percentile([f.width_m for f in features], 30))
    out = []
    for f in features:
        read, per_m = float(instrument.wavelength(f.x_m, 1)), abs(instrument.dispersion(f.x_m, 1))
        candidates = np.abs(table.wavelength_m - read) < 0.6 * width * per_m
        near = np.abs(table.wavelength_m - read) < 2 * width * per_m
        if candidates.any() and missing[near].sum() < 2 * missing[candidates].max():
            true = float(np.average(table.wavelength_m[candidates], weights=missing[candidates]))
            out.append((read - true) / per_m / f.x_error_m)
    return np.array(out)


def within(ratios: np.ndarray) -> tuple[float, float]:
    within_1, within_2 = (float(np.mean(np.abs(ratios) < k)) for k in (1, 2))
    return within_1, within_2


@pytest.fixture(scope="module")
def ratios() -> dict[str, np.ndarray]:
    """Without noise, where what a plate hides is not drowned."""
    each = [lamp(seed, 0.0) for seed in range(30)]
    found = {k: np.concatenate([getattr(j, k) for j in each]) for k in ("bright", "faint")}
    return {**found, "dark": sunlight(0, 0.0)}


@pytest.mark.slow
@pytest.mark.parametrize("which", ["bright", "faint", "dark"])
def test_two_thirds_of_the_lines_lie_within_the_stated_uncertainty(ratios, which):
    """A Gaussian's 68, 95 and 99.7 %, less three deviations of a share of 150 lines."""
    chosen = np.abs(ratios[which])
    assert chosen.size > 150
    within_1, within_2 = within(chosen)
    assert within_1 > 0.68 - 0.12
    assert within_2 > 0.95 - 0.06
    assert np.mean(chosen > 3) < 0.003 + 0.013
    # not by stating too much: half of a Gaussian's errors exceed 0.67; a third of that is cautious
    assert np.median(chosen) > 0.67 / 3


@pytest.mark.parametrize("wavelength_nm", [535.403, 580.378])
def test_faint_lines_that_one_pixel_holds(wavelength_nm):
    """Lines of 33 um in pixels of 80 um; 2 standard uncertainties hold 95 %."""
    scene = load(SCENES / "grating_600_mercury.toml")
    row = nearest(measure(expose(scene)).lines, wavelength_nm)
    assert abs(known(row.wavelength_m) * 1e9 - wavelength_nm) < 2e9 * known(row.uncertainty_m)
    assert (
        known(row.uncertainty_m) * 1e9 < 0.13 * 0.2
    )  # a fifth of a pixel's 0.13 nm: not just anything


def nearest(lines: tuple[Line, ...], wavelength_nm: float) -> Line:
    return min(lines, key=lambda row: abs(known(row.wavelength_m) * 1e9 - wavelength_nm))


def main(count: int) -> None:
    for noise, name in ((0.0, "no noise"), (NOISE, "noise 1e-3")):
        each = [lamp(seed, noise) for seed in range(count)]
        dark = [sunlight(seed, noise) for seed in range(max(1, count // 20))]
        rows = {
            "bright": [j.bright for j in each], "faint": [j.faint for j in each], "dark": dark,
        }  # fmt: skip
        for kind, parts in rows.items():
            ratios = np.concatenate(parts)
            within_1, within_2 = within(ratios)
            print(
                f"{name:10}  {kind:6}  {ratios.size:5} lines  within 1: {within_1:.0%}  "
                f"2: {within_2:.0%}"
                f"  median {np.median(np.abs(ratios)):.2f}  largest {np.abs(ratios).max():.1f}"
            )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 20)
