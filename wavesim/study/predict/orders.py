"""The table of orders: where each lies, how far it is spread, what overlaps it."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from wavesim.scene import Scene
from wavesim.study.formulas import (
    SINC_FWHM,
    anamorphic_factor,
    angular_dispersion_rad_m,
    free_spectral_range_m,
    gaussian_width_orders,
    half_width_orders,
)
from wavesim.study.roots import falling_root
from wavesim.study.ruling import Ruling, source_angle_rad

VISIBLE_M = (380e-9, 780e-9)
_ALL_SHOWN = 15  # this many propagating orders are all listed, of more those on the plate
_MOST = 41
DARK = 1e-9  # of the strongest order; the rounding of a zero of the envelope lies far below
_CUT = 1e-3  # amplitude at the ruling's ends above which a Gaussian beam counts as cut


@dataclass(frozen=True)
class Order:
    """One order at one wavelength.

    Attributes
    ----------
    order : m
    wavelength_m : in standard air [m]
    beta_rad : diffraction angle [rad]
    x_m : position on the plate from the camera's axis [m]
    on_plate : whether the plate reaches there
    dispersion_nm_mm : wavelength along the plate [nm/mm]; infinite in order 0
    free_spectral_range_m : lambda / |m| [m]
    anamorphic : cos(alpha) / cos(beta)
    resolving_power : |m| N, peak on first zero; in a Gaussian beam lambda over the line's FWHM
    resolved_m : lambda / resolving power [m]
    line_m : full width of the line at half maximum on the plate [m], of diffraction alone
    slit_image_m : width of the source slit's image on the plate [m], 0 without a slit
    efficiency : share of the light on the grating that goes there, scalar theory
    relative : the same over the strongest order's at this wavelength
    missing : whether the envelope has a zero here
    overlaps : ((order, wavelength [m]), ...) of visible light that falls on the same point
    """

    order: int
    wavelength_m: float
    beta_rad: float
    x_m: float
    on_plate: bool
    dispersion_nm_mm: float
    free_spectral_range_m: float
    anamorphic: float
    resolving_power: float
    resolved_m: float
    line_m: float
    slit_image_m: float
    efficiency: float
    relative: float
    missing: bool
    overlaps: tuple[tuple[int, float], ...]


def order_table(
    scene: Scene,
    ruled: Ruling,
    wavelengths_m: tuple[float, ...],
    *,
    orders: tuple[int, ...] = (),
) -> tuple[Order, ...]:
    """Every order worth listing at each wavelength, by order, then wavelength.

    Those of `orders` that propagate; by default all where there are at most 15, else those
    on the plate (the 41 nearest to its middle at most). A lone slit has only its order 0.
    """
    lines: list[Order] = []
    for wavelength in wavelengths_m:
        propagating = _propagating(ruled, wavelength)
        efficiency = ruled.efficiency(np.array(propagating), wavelength)
        chosen = (
            [m for m in propagating if m in orders] if orders else _chosen(scene, ruled, wavelength)
        )
        lines += [_order(scene, ruled, wavelength, m, float(efficiency.max())) for m in chosen]
    return tuple(sorted(lines, key=lambda line: (line.order, line.wavelength_m)))


def line_width_orders(ruled: Ruling) -> float:
    """Full width of a line at half maximum in orders, of diffraction alone."""
    if ruled.uniform:
        return half_width_orders(ruled.count) if ruled.count > 1 else SINC_FWHM
    if ruled.in_round_beam:
        return _measured_width(ruled)
    radius = gaussian_radius_m(ruled)
    edge = float(np.abs(ruled.weight[[0, -1]]).max())
    if edge <= _CUT:
        return gaussian_width_orders(radius, ruled.pitch_m)
    return _measured_width(ruled)


def gaussian_radius_m(ruled: Ruling) -> float:
    """Radius along the ruling [m] at which a Gaussian beam has 1/e^2 of its irradiance."""
    weight, x = np.abs(ruled.weight), ruled.position_m
    far, middle = int(np.argmin(np.abs(weight - 0.5))), x[int(np.argmax(weight))]
    return float(abs(x[far] - middle) / math.sqrt(-math.log(weight[far])))


def _measured_width(ruled: Ruling) -> float:
    """Full width at half maximum of |sum w exp(-2 pi i u x)|^2, or of its mean over the heights of
    a round beam, by bisection."""
    parts = ruled.aperture_parts()
    turns = [2 * np.pi * comb.position_m / ruled.pitch_m for _, comb in parts]
    half = ruled.peak_power() / 2

    def above(offset: float) -> float:
        light = (
            fraction * abs(np.sum(np.abs(comb.weight) * np.exp(1j * offset * turn))) ** 2
            for (fraction, comb), turn in zip(parts, turns, strict=True)
        )
        return float(sum(light) - half)

    return 2 * falling_root(above, 0.0, 2.0 / ruled.count)


def _propagating(ruled: Ruling, wavelength_m: float) -> list[int]:
    if ruled.count == 1:
        return [0]
    first, last = ruled.geometry.propagating(wavelength_m)
    return list(range(math.ceil(first + 1e-12), math.floor(last - 1e-12) + 1))


def _chosen(scene: Scene, ruled: Ruling, wavelength_m: float) -> list[int]:
    orders = _propagating(ruled, wavelength_m)
    if len(orders) <= _ALL_SHOWN:
        return orders
    low, high = scene.plate.x_range_m
    x = ruled.x_m(ruled.sine_out(np.array(orders), wavelength_m))
    on_plate = [m for m, position in zip(orders, x, strict=True) if low <= position <= high]
    middle = ruled.x_m(ruled.sine_out(np.array(on_plate), wavelength_m)) if on_plate else x[:0]
    near = np.argsort(np.abs(middle - scene.plate.centre_m), kind="stable")[:_MOST]
    return sorted(on_plate[k] for k in near)


def _order(scene: Scene, ruled: Ruling, wavelength_m: float, order: int, strongest: float) -> Order:
    sine = float(ruled.sine_out(order, wavelength_m))
    beta = math.asin(sine)
    x = float(ruled.x_m(sine))
    low, high = scene.plate.x_range_m
    plate_rate = ruled.geometry.x_per_rad(beta)
    per_wavelength = float(angular_dispersion_rad_m(order, ruled.pitch_m, beta)) * plate_rate
    width = line_width_orders(ruled)
    power = abs(order) * (ruled.count if ruled.uniform else 1 / width)
    efficiency = float(ruled.efficiency(order, wavelength_m))
    anamorphic = float(anamorphic_factor(scene.bench.alpha_rad, beta))
    return Order(
        order=order,
        wavelength_m=wavelength_m,
        beta_rad=beta,
        x_m=x,
        on_plate=bool(low <= x <= high),
        dispersion_nm_mm=1e6 / abs(per_wavelength) if order else math.inf,
        free_spectral_range_m=free_spectral_range_m(order, wavelength_m),
        anamorphic=anamorphic,
        resolving_power=power,
        resolved_m=wavelength_m / power if power else math.inf,
        line_m=width * ruled.bench_m(wavelength_m) / (ruled.pitch_m * math.cos(beta)) * plate_rate,
        slit_image_m=source_angle_rad(scene) * anamorphic * plate_rate,
        efficiency=efficiency,
        relative=efficiency / strongest if strongest else 0.0,
        missing=efficiency <= DARK * strongest,
        overlaps=_overlaps(ruled, order, wavelength_m),
    )


def _overlaps(ruled: Ruling, order: int, wavelength_m: float) -> tuple[tuple[int, float], ...]:
    """Other orders of the same sign whose visible light has the same m lambda."""
    if order == 0 or ruled.count == 1:
        return ()
    product, sign = abs(order) * ruled.bench_m(wavelength_m), int(math.copysign(1, order))
    first, last = math.ceil(product / VISIBLE_M[1]), math.floor(product / VISIBLE_M[0])
    others = [m for m in range(max(first, 1), last + 1) if m != abs(order)]
    return tuple(
        (sign * m, ruled.geometry.same_direction_m(wavelength_m, abs(order), m))
        for m in others[:12]
    )
