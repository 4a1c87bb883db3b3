"""A million rulings in one profile, and what a sampled mask makes of a nanometre.

python -m benchmarks profile
"""

from __future__ import annotations

import math
import resource
import time

import numpy as np

from benchmarks.row import Row
from wavesim.aperture import Aperture, Comb, Slit
from wavesim.aperture.build import even_positions
from wavesim.diffraction.far import amplitude
from wavesim.study.formulas import ghost_ratio
from wavesim.study.profile import Illumination
from wavesim.study.profile.scan import scan

PITCH_M = 1e-3 / 600
WAVELENGTH_M = 400e-9
MILLION, FINENESS = 1_000_000, 4.0
PERIOD, ERROR_M = 50, 1e-9
COUNT, CLOSE = 500, 0.01
HARD_NM = (50.0, 20.0, 10.0, 5.0, 2.0, 1.0, 0.5, 0.2, 0.1)
GREY_NM = (400.0, 300.0, 200.0, 100.0, 50.0, 20.0, 10.0, 5.0)


def rows() -> list[Row]:
    """The million rulings, then masks of hard and of grey samples."""
    return [_million(), _mask(grey=False), _mask(grey=True), _engine()]


def displaced(count: int, error_m: float) -> Aperture:
    """Rulings of 0.5 um slits with one periodic displacement."""
    position = even_positions(count, PITCH_M)
    position = position + error_m * np.sin(2 * np.pi * position / (PERIOD * PITCH_M))
    return Aperture((Comb(Slit(0.5e-6), position, np.ones(count, dtype=complex)),), 0.01, PITCH_M)


def _million() -> Row:
    """Three orders, four samples per 1/width: 12 million places, one wavelength."""
    ruled = displaced(MILLION, ERROR_M)
    light = Illumination(ruled, 0.0, WAVELENGTH_M)
    samples = int(3 * MILLION * FINENESS)
    before = _resident_gb()
    ours, bare = math.inf, math.inf
    for _ in range(2):  # the best of two, taken in turn
        begin = time.perf_counter()
        level = scan(light, 0.5, 3.5, fineness=FINENESS).level
        ours = min(ours, time.perf_counter() - begin)
        grown = _resident_gb() - before
        del level
        begin = time.perf_counter()
        _bare(ruled, samples)
        bare = min(bare, time.perf_counter() - begin)
    return Row(
        f"{MILLION:,} rulings, one wavelength, profile over three orders ({samples:,} places)",
        f"{ours:.1f} s" + (f", {grown:.2f} GB" if grown > 0.05 else ""),
        f"bare non-uniform FFT to as many: {bare:.1f} s, {ours / bare:.2f} x",
        "3 x",
        ours <= 3 * bare,
    )


def _bare(ruled: Aperture, samples: int) -> None:
    from finufft import nufft1d1

    comb = ruled.combs[0]
    angle = comb.position_m * (2 * np.pi / (FINENESS * ruled.width_m))
    nufft1d1(angle, comb.weight, samples, isign=-1, eps=1e-12)


def _resident_gb() -> float:
    """Largest memory of this process so far."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 2**20


def sampled(count: int, step_m: float, *, grey: bool) -> tuple[np.ndarray, np.ndarray]:
    """Samples (n,) of the rulings and their places [m], `step_m` apart.

    Hard samples are clear or opaque; grey ones carry the share that is clear.
    """
    comb = displaced(count, ERROR_M).combs[0]
    start = comb.position_m[0] - 1e-6
    position = (np.stack([comb.position_m - 0.25e-6, comb.position_m + 0.25e-6]) - start) / step_m
    if not grey:
        position = np.rint(position)
    mask = np.zeros(int(position.max()) + 4)
    for row, sign in ((position[0], 1.0), (position[1], -1.0)):
        cell = np.floor(row).astype(int)
        np.add.at(mask, cell, sign * (1 - (row - cell)))
        np.add.at(mask, cell + 1, sign * (row - cell))
    return np.cumsum(mask), np.arange(mask.size) * step_m


def sampled_level(clear: np.ndarray, x_m: np.ndarray, mu: np.ndarray) -> np.ndarray:
    """|A|^2 of a mask at the orders mu (k,): what its FFT gives there, summed directly."""
    found = [np.sum(clear * np.exp(-2j * np.pi * m / PITCH_M * x_m)) for m in mu]
    return np.asarray(np.abs(np.array(found)) ** 2)


def true_ghost() -> float:
    """The same by the exact formula, envelope included."""
    mu = 1 + 1 / PERIOD
    envelope = (np.sinc(0.3 * mu) / np.sinc(0.3)) ** 2
    return ghost_ratio(1, 1, amplitude=ERROR_M / PITCH_M, period=PERIOD) * float(envelope)


def _mask(*, grey: bool) -> Row:
    steps = GREY_NM if grey else HARD_NM
    texts, ratios = [], {}
    for nm in steps:
        clear, x = sampled(COUNT, nm * 1e-9, grey=grey)
        line, ghost = sampled_level(clear, x, np.array([1.0, 1 + 1 / PERIOD]))
        false = _false(clear, x) / line
        ratios[nm] = ghost / line / true_ghost()
        texts.append(f"{nm:g} nm {ratios[nm]:.3g} x" + (f" ({false:.0e})" if false else ""))
        if false > CLOSE * true_ghost():
            ratios[nm] = math.inf  # the true ghost is lost among false ones
    good = [nm for nm in steps if all(abs(ratios[s] - 1) < CLOSE for s in steps if s <= nm)]
    enough = max(good, default=math.nan)
    samples = 60_000 * PITCH_M / (enough * 1e-9)
    return Row(
        f"1 nm error by a mask of {'grey' if grey else 'hard'} samples: ghost over the true one "
        f"(strongest false ghost)",
        ", ".join(texts),
        f"right to {CLOSE:.0%}, false ghosts below {CLOSE:.0%} of it, from {enough:g} nm on: "
        f"{samples:.1e} samples for 60,000 rulings, and an FFT of them for each wavelength",
        "-",
        True,
    )


def _false(clear: np.ndarray, x_m: np.ndarray) -> float:
    """Strongest light at zeros of a perfect ruling where no ghost stands; 0 if not looked for."""
    if clear.size > 500_000:
        return 0.0
    harmonics = [k for k in range(-249, 250, 2) if k % (COUNT // PERIOD)]
    return float(sampled_level(clear, x_m, 1 + np.array(harmonics) / COUNT).max())


def _engine() -> Row:
    mu = np.array([1.0, 1.0 + 1 / PERIOD])
    level = np.abs(amplitude(displaced(COUNT, ERROR_M), 0.0, mu * WAVELENGTH_M / PITCH_M,
                             WAVELENGTH_M)) ** 2  # fmt: skip
    ratio = float(level[1] / level[0]) / true_ghost()
    return Row(
        "the same by positions",
        f"{ratio:.9f} x",
        f"the true ghost is {true_ghost():.4e} of the line",
        "1e-6",
        abs(ratio - 1) < 1e-6,
    )
