"""Previews of gratings: what wide pixels leave out is stated.

A pixel holds the mean irradiance over its area, so four columns of a finer preview add up to one of
a coarser: a law, whatever either of them left out. The sparse sampling of a far field is held
against the sum over its rulings (array theorem).
"""

from __future__ import annotations

import numpy as np
import pytest

from wavesim import aperture, preview
from wavesim.diffraction.far import far_field, interference, smoothed_far_field
from wavesim.diffraction.far.resampling import resampled
from wavesim.scene import parse

_BENCH = """
[source]
{source}
[bench]
collimator = "600 mm"
camera = "600 mm"
viewing = "19.3 deg"
[aperture]
kind = "grating"
count = {count}
density = "600 / mm"
height = "10 mm"
{defect}
[plate]
width = "60 mm"
height = "{height}"
pixel = "10 um"
"""
_SLIT = 'slit = { width = "20 um", height = "2 mm" }\n'
_SOURCES = {
    "sun": 'kind = "sun"\n' + _SLIT,
    "sharp edge": 'kind = "sun"\n'
    + _SLIT
    + '[[source.filters]]\nkind = "longpass"\nedge = "550 nm"\n',
    "smooth band": 'kind = "sun"\n'
    + _SLIT
    + '[[source.filters]]\nkind = "bandpass"\ncentre = "560 nm"\nwidth = "80 nm"\n',
    "lamp": 'kind = "lamp"\nelement = "Hg"\n' + _SLIT,
}
_DEFECTS = {
    "perfect": "",
    "ghosts": '[[aperture.defects]]\nkind = "periodic"\namplitude = "20 nm"\nperiod = 96',
    "random": '[[aperture.defects]]\nkind = "random"\nrms = "30 nm"\nseed = 5',
}


def _scene(source: str, defect: str, height: str = "0.1 mm", count: int = 12_000):
    text = _BENCH.format(
        source=_SOURCES[source], defect=_DEFECTS[defect], height=height, count=count
    )
    return parse(text)


@pytest.mark.parametrize("defect", sorted(_DEFECTS))
@pytest.mark.parametrize("source", sorted(_SOURCES))
def test_wide_columns_hold_what_narrow_ones_do_within_the_stated_error(
    source: str, defect: str
) -> None:
    scene = _scene(source, defect)
    wide, narrow = preview(scene, 750, 4), preview(scene, 3000, 4)
    mean = narrow.irradiance.reshape(wide.irradiance.shape[0], 750, 4).mean(axis=2)
    brightest = wide.irradiance.max()
    # errors of narrow pixels are of their brightest, which four of them may have one of
    stated = wide.report.bin_error + narrow.report.bin_error * narrow.irradiance.max() / brightest
    assert np.abs(wide.irradiance - mean).max() <= stated * brightest
    assert stated < 0.05


def test_a_preview_states_what_bow_does_within_its_pixels() -> None:
    scene = _scene("sun", "ghosts", height="8 mm", count=4_000)
    wide, narrow = preview(scene, 750, 40), preview(scene, 3000, 40)
    mean = narrow.irradiance.reshape(wide.irradiance.shape[0], 750, 4).mean(axis=2)
    missed = np.abs(wide.irradiance - mean).max() / wide.irradiance.max()
    assert 1e-4 < missed <= wide.report.bin_error < 0.1


def test_sparse_samples_give_the_power_between_them() -> None:
    ruled = aperture.build(_scene("sun", "random", count=500))
    width, comb = ruled.width_m, ruled.combs[0]

    def power(start: float, step: float, count: int) -> np.ndarray:
        u = np.asarray(start + step * np.arange(count), dtype=np.float64)
        return np.abs(interference(comb, u, np.zeros(count), ruled.pitch_m)) ** 2

    start, step = 5.8e5, 1 / (8 * width)
    found = resampled(power, width, start, step, 3000)
    exact = power(start, step, 3000)
    assert np.abs(found - exact).max() <= 1e-8 * exact.max()  # half of its own statement


def test_few_sparse_samples_far_from_the_brightest_are_as_good() -> None:
    """Two slits in closed form; the middle is some hundred times as bright."""
    slit, apart = 20e-6, 62e-6

    def power(start: float, step: float, count: int) -> np.ndarray:
        u = start + step * np.arange(count)
        return (np.sinc(slit * u) * np.cos(np.pi * apart * u)) ** 2

    start, step = 2.246e5, 1 / (8 * (slit + apart))
    found = resampled(power, slit + apart, start, step, 250)
    reach = power(start - 250 * step, step, 750).max()  # of what the samples are made of
    assert np.abs(found - power(start, step, 250)).max() <= 2e-8 * reach


def test_a_smoothed_far_field_keeps_the_power_of_wide_stretches() -> None:
    """Fine structure is moved about, not lost: over 200 / L the power agrees to what the ends of
    a stretch may hold."""
    ruled = aperture.build(_scene("sun", "random", count=3_000))
    first, last = 5.0e5, 7.0e5
    longest = ruled.width_m / 4
    (plain,) = far_field(ruled, first, last).terms(again=False)
    (smooth,) = smoothed_far_field(ruled, first, last, longest, longest).terms(again=False)
    u = np.linspace(5.1e5, 6.9e5, 10)
    total = np.ptp(plain.integral.read(u))
    assert (
        np.abs(np.diff(plain.integral.read(u)) - np.diff(smooth.integral.read(u))).max()
        <= 2e-3 * total
    )
