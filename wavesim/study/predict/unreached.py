"""A warning where a ruling sends no order of the source's light to the plate."""

from __future__ import annotations

import math

import numpy as np

from wavesim import light
from wavesim.scene import Scene
from wavesim.study.ruling import Ruling, ruling_seen
from wavesim.text import length

_FEW = 10  # rulings up to which light between the orders counts
_LEAST = 1e-4  # of the strongest nanometre: weaker light is not an order worth having


def unreached_warning(scene: Scene, ruled: Ruling | None = None) -> str | None:
    """The warning, or None where an order reaches the plate (or orders mean little)."""
    ruled = ruled or ruling_seen(scene)
    if ruled is None or ruled.count <= _FEW or not scene.bench.far_field:
        return None
    nodes = np.arange(380e-9, 781e-9, 1e-9)
    power, centre = light.of_scene(scene).integrate(nodes[:-1], nodes[1:])
    sent = centre[power > _LEAST * power.max()] if power.max() > 0 else centre
    x = np.array(scene.plate.x_range_m)
    orders = np.sort(ruled.geometry.order(x[:, None], sent[None, :]), axis=0)
    if np.any(np.ceil(orders[0]) <= np.floor(orders[1])):
        return None
    middle = float(sent[np.argmin(np.abs(sent - 550e-9))])
    return f"no order of the source's light reaches the plate: {_nearest(scene, ruled, middle)}"


def _nearest(scene: Scene, ruled: Ruling, wavelength_m: float) -> str:
    """Where the nearest order goes, and what would bring it to the plate."""
    low, high = ruled.geometry.propagating(wavelength_m)
    orders = [m for m in range(math.ceil(low), math.floor(high) + 1) if m]
    nm = f"{wavelength_m * 1e9:.0f} nm"
    if not orders:
        return (
            f"at a pitch of {length(ruled.pitch_m)} only order 0 of {nm} propagates; order 1 needs"
            f" a pitch above {length(wavelength_m / (1 + abs(ruled.sine_in)))} at this incidence"
        )
    axis = float(ruled.geometry.order(scene.plate.centre_m, wavelength_m))
    order = min(orders, key=lambda m: abs(m - axis))
    beta = math.degrees(math.asin(float(ruled.sine_out(order, wavelength_m))))
    return (
        f"order {order} of {nm} is diffracted to {beta:.4g} deg; "
        f'viewing = "{beta:.4g} deg" brings it to the plate'
    )
