"""Stated uncertainties on photographs drawn by a renderer that shares nothing with the product.

Tilt, uneven light, shot noise, grain, the sRGB curve, 8 or 16 bits (`benchmarks/photographs.py`).
68 and 95 % of the misses lie within one and two stated uncertainties, less three deviations of a
share of so many lines.
"""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from benchmarks.photograph_coverage import judged
from benchmarks.photographs import Photograph, photograph
from wavesim.measuring import (
    Instrument,
    Known,
    Measurement,
    Scan,
    Task,
    find_references,
    measure_profile,
    read_picture,
    solve,
    with_distortion_error,
)


def covered(ratio: np.ndarray) -> None:
    size = np.abs(ratio)
    for within, share in ((1, 0.683), (2, 0.954)):
        deviation = math.sqrt(share * (1 - share) / size.size)
        assert np.mean(size < within) > share - 3 * deviation
    assert np.median(size) > 0.67 / 3  # not by stating too much


@pytest.mark.parametrize("first", [100, pytest.param(200, marks=pytest.mark.slow)])
def test_lines_that_stand_alone_in_strong_grain(tmp_path: Path, first: int) -> None:
    print(f"seeds {first} on")
    found = judged(range(first, first + (10 if first == 100 else 60)), tmp_path, noise=3.0)
    assert found.alone.size > 60
    covered(found.alone)


@pytest.mark.parametrize("first", [100, pytest.param(200, marks=pytest.mark.slow)])
@pytest.mark.parametrize("noise", [1.0, 3.0])
def test_the_statistical_part_alone(tmp_path: Path, first: int, noise: float) -> None:
    """Lines alone scatter by their noise as a Gaussian's 68 and 95 %, neither less nor more.

    Sixteen bands tell the scatter, so that Student's distribution with 14 to spare holds 94.5 %
    within two; three deviations of a share of so many lines to either side.
    """
    print(f"seeds {first} on")
    found = judged(range(first, first + (20 if first == 100 else 60)), tmp_path, noise=noise)
    size = np.abs(found.noise)
    assert size.size > 100
    for within, fraction in ((1, 0.683), (2, 0.945)):
        deviation = math.sqrt(fraction * (1 - fraction) / size.size)
        assert abs(np.mean(size < within) - fraction) < 3 * deviation


@pytest.mark.parametrize("first", [100, pytest.param(200, marks=pytest.mark.slow)])
def test_lines_with_unresolved_neighbours(tmp_path: Path, first: int) -> None:
    """Half of the lines have another of 5 to 70 % of their light half to three widths away."""
    print(f"seeds {first} on")
    found = judged(range(first, first + (10 if first == 100 else 60)), tmp_path, neighbours=True)
    assert found.close.size > 50
    covered(found.close)


def _misses(picture: Photograph, table: Measurement) -> list[float]:
    out = []
    for line in table.lines:
        k = int(np.argmin(np.abs(picture.wavelength_m - line.wavelength_m)))
        if abs(picture.wavelength_m[k] - line.wavelength_m) < 0.3e-9:
            out.append((line.wavelength_m - picture.wavelength_m[k]) / line.uncertainty_m)
    return out


@pytest.mark.slow
def test_a_lens_that_distorts(tmp_path: Path) -> None:
    """0.1 % rms at the picture's edge: allowed for by default, or solved from lines it shows."""
    import tifffile

    allowed: list[float] = []
    solved: list[float] = []
    wanted = ("focal", "origin", "distortion")
    for seed in range(16):
        bent = float(np.random.default_rng(seed).normal() * 1e-3)
        picture = photograph(seed, distortion=bent)
        path = tmp_path / "bent.tif"
        tifffile.imwrite(path, picture.encoded)
        known = Instrument(picture.pitch_m, picture.focal_m, viewing_rad=picture.viewing_rad)
        profile = read_picture(path, Scan(picture.pixel_m))
        trusted = with_distortion_error(known, profile, 1e-3)
        allowed += _misses(picture, measure_profile(profile, trusted, Task()))
        if picture.wavelength_m.size < 8:
            continue
        told = [
            Known(float(w), 1, float(x))
            for w, x in zip(picture.wavelength_m, picture.x_m, strict=True)
        ]
        references = find_references(profile, known, tuple(told[::2]), unknown=wanted)
        found = solve(references, known, wanted)
        solved += _misses(picture, measure_profile(profile, found.instrument, Task()))
        edge = float(np.abs(profile.x_m).max()) / picture.focal_m
        value, error = found.instrument.distortion, found.uncertainty["distortion"]
        assert abs(value * edge**2 - bent) < 3 * error * edge**2 + 3e-5
    covered(np.array(allowed))
    assert np.mean(np.abs(solved) < 2) > 0.93
    assert np.median(np.abs(solved)) < 0.8
