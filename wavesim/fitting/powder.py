"""The mean light of very many random dots: rings without the speckle of one draw.

Dots at random positions add their light without interference, but in the direct beam: away from
it the mean over draws is that of one dot, whatever their number,

    I(r) = integral P(lambda) D^4 [2 J1(v) / v]^2 dlambda,   v = pi D sin(beta) / lambda,

averaged over diameters (Gauss-Hermite nodes of the spread) and over the image of the source.
Obstacles give what holes give (Babinet). Born & Wolf 8.5.2; van de Hulst, Light Scattering by
Small Particles, 8.3. The direct beam is not part of it: `direct_m` says how far it reaches. Dots
that keep a least distance lack some light within lambda / distance of the beam, which is left
out, too.
"""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np

from wavesim.arrays import Floats
from wavesim.errors import LimitError
from wavesim.light import Spectrum
from wavesim.plate import geometry_of
from wavesim.plate.photometry import sensitivities
from wavesim.scene import Dots, Scene

_STEP_M = 4e-9  # of wavelength: rings of white light are far wider
_NODES = 7  # diameters of a spread
_SOURCE = 14  # points across the source each way
_TABLE = 6000  # values of [2 J1(v) / v]^2 that are read
_AIRY = 1.22


def powder_rings(scene: Scene, spectrum: Spectrum, edge_m: Floats) -> Floats:
    """(n, 3) X, Y, Z between radii `edge_m` (n + 1,) [m], up to a constant.

    Raises
    ------
    LimitError
        A bench without a camera lens in focus, or one seen at an angle.
    """
    _check_bench(scene)
    shape = scene.aperture
    assert isinstance(shape, Dots)
    focal = geometry_of(scene).focal_m
    wave, weight = _waves(spectrum)
    r = (edge_m[1:] + edge_m[:-1]) / 2
    reach = float(edge_m[-1]) + math.hypot(*_source_m(scene, focal))
    fine = np.linspace(0.0, reach, 2 * r.size)
    sine = np.sin(np.arctan(fine / focal))
    xyz = np.zeros((fine.size, 3))
    for diameter, part in _diameters(shape):
        disc = _disc(diameter * sine[:, None] / wave)  # (n, b)
        xyz += part * diameter**4 * (disc @ weight)
    return _over_source(scene, focal, fine, xyz, r)


def direct_m(scene: Scene) -> float:
    """Distance from the centre [m] within which direct light and order of the dots may tell."""
    shape, focal = scene.aperture, geometry_of(scene).focal_m
    if not isinstance(shape, Dots):
        return 0.0
    stop = shape.stop.diameter_m or min(shape.stop.width_m or 1.0, shape.stop.height_m or 1.0)
    apart = max(shape.min_distance_m, 0.0)
    order = 0.35 * 550e-9 * focal / apart if apart else 0.0
    return max(_source_m(scene, focal)) + 3 * _AIRY * 700e-9 * focal / stop + order


def _check_bench(scene: Scene) -> None:
    bench = scene.bench
    if not bench.far_field or bench.alpha_rad or bench.lens_errors is not None:
        raise LimitError(
            "is not one for which powders can be fitted", key="bench",
            expected="a camera lens in focus behind the powder, in line with the source",
        )  # fmt: skip


def _waves(spectrum: Spectrum) -> tuple[Floats, Floats]:
    """Wavelengths (b,) [m] with light, and X, Y, Z of each (b, 3)."""
    lo, hi = [], []
    for a, b in spectrum.support_m:
        edges = np.linspace(a, b, max(1, math.ceil((b - a) / _STEP_M)) + 1)
        lo.append(edges[:-1])
        hi.append(edges[1:])
    power, centre = spectrum.integrate(np.concatenate(lo), np.concatenate(hi))
    bright = power > 0
    return centre[bright], sensitivities(centre[bright])[:, :3] * power[bright, None]


def _diameters(shape: Dots) -> list[tuple[float, float]]:
    """Diameters [m] and parts of the dots that have them."""
    if not shape.spread:
        return [(shape.diameter_m, 1.0)]
    node, part = np.polynomial.hermite_e.hermegauss(_NODES)
    sizes = shape.diameter_m * np.maximum(1 + shape.spread * node, 0.05)
    return list(zip(sizes.tolist(), (part / part.sum()).tolist(), strict=True))


@lru_cache(maxsize=1)
def _table() -> tuple[Floats, Floats]:
    from scipy.special import j1

    s = np.linspace(0.0, 60.0, _TABLE)
    v = np.maximum(np.pi * s, 1e-9)
    return s, np.asarray((2 * j1(v) / v) ** 2)


def _disc(s: Floats) -> Floats:
    """[2 J1(pi s) / (pi s)]^2, its mean beyond the table."""
    argument, value = _table()
    far = 4 / (np.pi * np.pi**3 * np.maximum(s, 1.0) ** 3)
    return np.where(s < argument[-1], np.interp(s, argument, value), far)


def _source_m(scene: Scene, focal_m: float) -> tuple[float, float]:
    """Half the source's image [m] along x and y."""
    if scene.source.disc_rad is not None:
        return (focal_m * math.tan(scene.source.disc_rad / 2),) * 2
    geometry = geometry_of(scene)
    if geometry.slit_sines is None or geometry.slit_rise is None:
        return 0.0, 0.0
    low, high = geometry.slit_sines
    return focal_m * (high - low) / 2, focal_m * geometry.slit_rise


def _over_source(scene: Scene, focal_m: float, fine_m: Floats, xyz: Floats, r: Floats) -> Floats:
    """Mean over the source's image of the rings about each of its points, read at radii r."""
    half_x, half_y = _source_m(scene, focal_m)
    if max(half_x, half_y) < 0.2 * (r[1] - r[0]):
        points = np.zeros((1, 2))
    else:
        t = (np.arange(_SOURCE) + 0.5) / _SOURCE * 2 - 1
        x, y = np.meshgrid(t, t)
        inside = np.hypot(x, y) <= 1 if scene.source.disc_rad is not None else x < 2
        points = np.stack([x[inside] * half_x, y[inside] * half_y], axis=1)
    turned = scene.source.disc_rad is None and half_x != half_y
    angles = np.linspace(0, np.pi / 2, 9) if turned and len(points) > 1 else np.zeros(1)
    found = np.zeros((r.size, 3))
    for angle in angles:
        away = np.hypot(
            r[:, None] * np.cos(angle) - points[:, 0], r[:, None] * np.sin(angle) - points[:, 1]
        )
        for c in range(3):
            found[:, c] += np.interp(away, fine_m, xyz[:, c]).mean(axis=1)
    return found / angles.size
