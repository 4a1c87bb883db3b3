"""CIEDE2000: how different two colours look."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]


def ciede2000(lab_1: ArrayLike, lab_2: ArrayLike) -> Array:
    """CIEDE2000 difference (...) of two CIELAB colours (..., 3), with kL = kC = kH = 1.

    G. Sharma, W. Wu, E. N. Dalal, Color Res. Appl. 30, 21 (2005), equations 2 to 22. About 1 is
    just seen side by side. Fitted to differences below 5; larger ones are only ordered.
    """
    one, two = np.broadcast_arrays(
        np.asarray(lab_1, dtype=np.float64), np.asarray(lab_2, dtype=np.float64)
    )
    stretch = _a_stretch(one, two)
    chroma_1, hue_1 = _polar(one, stretch)
    chroma_2, hue_2 = _polar(two, stretch)
    d_hue, mean_hue = _hue_step(chroma_1 * chroma_2, hue_1, hue_2)
    d_big_hue = 2 * np.sqrt(chroma_1 * chroma_2) * np.sin(d_hue / 2)
    light = (one[..., 0] + two[..., 0]) / 2
    chroma = (chroma_1 + chroma_2) / 2
    s_light, s_chroma, s_hue, rotation = _weights(light, chroma, mean_hue)
    d_light = (two[..., 0] - one[..., 0]) / s_light
    d_chroma = (chroma_2 - chroma_1) / s_chroma
    d_big_hue = d_big_hue / s_hue
    total = d_light**2 + d_chroma**2 + d_big_hue**2 + rotation * d_chroma * d_big_hue
    return np.asarray(np.sqrt(np.maximum(total, 0)))


def _a_stretch(one: Array, two: Array) -> Array:
    chroma = (np.hypot(one[..., 1], one[..., 2]) + np.hypot(two[..., 1], two[..., 2])) / 2
    return np.asarray(1.5 - 0.5 * np.sqrt(chroma**7 / (chroma**7 + 25.0**7)))


def _polar(lab: Array, stretch: Array) -> tuple[Array, Array]:
    a = lab[..., 1] * stretch
    return np.hypot(a, lab[..., 2]), np.arctan2(lab[..., 2], a) % (2 * np.pi)


def _hue_step(product: Array, hue_1: Array, hue_2: Array) -> tuple[Array, Array]:
    step = hue_2 - hue_1
    turned = step - 2 * np.pi * np.sign(step)
    d_hue = np.where(product == 0, 0.0, np.where(np.abs(step) <= np.pi, step, turned))
    total = hue_1 + hue_2
    across = np.where(total < 2 * np.pi, total + 2 * np.pi, total - 2 * np.pi) / 2
    mean = np.where(np.abs(step) <= np.pi, total / 2, across)
    return d_hue, np.where(product == 0, total, mean)


def _weights(light: Array, chroma: Array, hue: Array) -> tuple[Array, Array, Array, Array]:
    t = (
        1
        - 0.17 * np.cos(hue - np.radians(30))
        + 0.24 * np.cos(2 * hue)
        + 0.32 * np.cos(3 * hue + np.radians(6))
        - 0.20 * np.cos(4 * hue - np.radians(63))
    )
    turn = np.radians(30) * np.exp(-(((np.degrees(hue) - 275) / 25) ** 2))
    around = 2 * np.sqrt(chroma**7 / (chroma**7 + 25.0**7))
    s_light = 1 + 0.015 * (light - 50) ** 2 / np.sqrt(20 + (light - 50) ** 2)
    return s_light, 1 + 0.045 * chroma, 1 + 0.015 * chroma * t, -np.sin(2 * turn) * around
