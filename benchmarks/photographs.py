"""Photographs of lamp spectra by a small renderer of its own, for checks of measuring.

Nothing of the product is used here: positions by d sin(beta) = m lambda and a pinhole camera,
lines as a slit's image through a Gaussian lens, then what a camera adds: tilt, barrel distortion,
uneven light, a sky of stray light, shot noise, grain that spans pixels, clipping, a gamma curve and
whole numbers. Wavelengths in air as the usual tables print them (NIST Atomic Spectra Database, from
memory to 0.1 pm or 1 pm; what counts is that the same number is drawn and looked for).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

LAMPS = {
    "Hg": {404.6565: 40, 407.7837: 5, 435.8335: 100, 491.607: 1, 546.0750: 80, 576.9610: 22,
           579.0670: 24},
    "He": {388.8648: 50, 402.6191: 5, 447.1479: 20, 471.3146: 3, 492.1931: 4, 501.5678: 10,
           587.5621: 50, 667.8151: 20},
    "Cd": {467.8149: 30, 479.9912: 40, 508.5822: 60, 643.8470: 80},
    "Ne": {585.2488: 70, 588.1895: 20, 594.4834: 25, 597.5534: 10, 603.0: 12, 607.4338: 30,
           614.3063: 40, 616.3594: 15, 621.7281: 15, 626.6495: 25, 633.4428: 30, 638.2992: 35,
           640.2248: 60, 650.6528: 35, 659.8953: 20},
}  # fmt: skip


@dataclass(frozen=True)
class Photograph:
    """A picture and the truth behind it.

    Attributes
    ----------
    encoded : (ny, nx) uint8 or uint16
    wavelength_m, strength, x_m : (n,) lines drawn, their places without distortion
    pitch_m, focal_m, viewing_rad, pixel_m : the bench, as the person measuring knows it
    width_m : [m] full width of a line
    distortion : at the picture's edge, relative
    """

    encoded: np.ndarray
    wavelength_m: np.ndarray
    strength: np.ndarray
    x_m: np.ndarray
    pitch_m: float
    focal_m: float
    viewing_rad: float
    pixel_m: float
    width_m: float
    distortion: float


def photograph(
    seed: int, *, neighbours: bool = False, noise: float = 1.0, distortion: float = 0.0
) -> Photograph:
    """A lamp's spectrum as photographed; `neighbours` sets a faint line beside half of them."""
    rng = np.random.default_rng(seed)
    lamp = LAMPS[str(rng.choice(list(LAMPS)))]
    wavelength = np.array(list(lamp)) * 1e-9
    strength = np.array(list(lamp.values()), dtype=np.float64)
    density, focal = float(rng.choice([300e3, 600e3])), float(rng.choice([0.3, 0.6]))
    viewing = math.asin(540e-9 * density)
    x = focal * np.tan(np.arcsin(wavelength * density) - viewing)
    columns = 1800
    pixel = 1.1 * 2 * float(np.abs(x).max()) / columns
    width = float(rng.uniform(2.5, 7.0)) * pixel
    if neighbours:
        x, strength = _with_neighbours(rng, x, strength, width)
        wavelength = np.sin(np.arctan(x / focal) + viewing) / density
    light = _drawn(rng, x, strength, (columns, pixel, width, distortion))
    bits = int(rng.choice([8, 16]))
    encoded = _camera(rng, light, noise, bits, float(rng.uniform(0.6, 1.3)))
    return Photograph(
        encoded, wavelength, strength, x, 1 / density, focal, viewing, pixel, width, distortion
    )


def _with_neighbours(
    rng: np.random.Generator, x: np.ndarray, strength: np.ndarray, width: float
) -> tuple[np.ndarray, np.ndarray]:
    """Half of the lines with another 0.5 to 3 widths away, of 5 to 70 % of their strength."""
    chosen = rng.random(x.size) < 0.5
    beside = x[chosen] + width * rng.uniform(0.5, 3, chosen.sum()) * rng.choice(
        [-1, 1], chosen.sum()
    )
    faint = strength[chosen] * np.exp(rng.uniform(math.log(0.05), math.log(0.7), chosen.sum()))
    return np.concatenate([x, beside]), np.concatenate([strength, faint])


def _drawn(
    rng: np.random.Generator,
    x: np.ndarray,
    strength: np.ndarray,
    frame: tuple[int, float, float, float],
) -> np.ndarray:
    """Linear light (ny, nx): each line a box through a Gaussian, tilted and bent as a lens does."""
    columns, pixel, width, distortion = frame
    rows, tilt = 120, math.radians(float(rng.uniform(-1.0, 1.0)))
    box = float(rng.uniform(0.0, 0.8)) * width
    sigma = math.sqrt(max(width**2 - box**2, (0.3 * width) ** 2)) / 2.355
    half = columns * pixel / 2
    bent = x * (1 + distortion * (x / half) ** 2)
    row = (np.arange(rows) - (rows - 1) / 2) * pixel
    column = (np.arange(columns) - (columns - 1) / 2) * pixel
    light = np.zeros((rows, columns))
    for line, height in zip(bent, strength / strength.max(), strict=True):
        off = column[None, :] * math.cos(tilt) + row[:, None] * math.sin(tilt) - line
        near = np.abs(off) < 6 * sigma + box
        light[near] += height * _line(off[near], box, sigma, pixel)
    uneven = 1 + 0.1 * np.cos(row / row.max() * 1.3 + rng.uniform(-1, 1))[:, None]
    return np.asarray(light * uneven + 0.004 * (1 + 0.5 * (column / half))[None, :])


def _line(off: np.ndarray, box: float, sigma: float, pixel: float) -> np.ndarray:
    """A box through a Gaussian, averaged over a pixel by five points; 1 at its middle, about."""
    from scipy.special import erf

    total = np.zeros_like(off)
    for step in np.linspace(-0.4, 0.4, 5):
        t = off + step * pixel
        if box > 0.05 * sigma:
            edges = erf((t + box / 2) / (math.sqrt(2) * sigma)) - erf(
                (t - box / 2) / (math.sqrt(2) * sigma)
            )
            total += edges / (2 * math.erf(box / 2 / (math.sqrt(2) * sigma)))
        else:
            total += np.exp(-((t / sigma) ** 2) / 2)
    return total / 5


def _camera(
    rng: np.random.Generator, light: np.ndarray, noise: float, bits: int, exposure: float
) -> np.ndarray:
    """Shot noise, grain of one and a half pixels, clipping, the sRGB curve, whole numbers."""
    from scipy.ndimage import gaussian_filter

    recorded = light * exposure
    recorded = recorded + noise * 0.01 * np.sqrt(np.maximum(recorded, 0)) * rng.normal(
        size=recorded.shape
    )
    grain = gaussian_filter(rng.normal(size=recorded.shape), 0.7)
    recorded = recorded * (1 + noise * 0.04 * grain / grain.std()) + noise * 1e-3 * rng.normal(
        size=recorded.shape
    )
    recorded = np.clip(recorded, 0, 1)
    curve = np.where(recorded <= 0.0031308, 12.92 * recorded, 1.055 * recorded ** (1 / 2.4) - 0.055)
    full = 2**bits - 1
    kind = np.uint8 if bits == 8 else np.uint16
    return np.asarray(np.clip(np.round(curve * full), 0, full), dtype=kind)
