"""Unknown tone curve, gains and background: found beside the keys, by linear least squares.

What a picture holds is T(g_c L + b_c): the light L of the engine in channel c, its gain and
background, and a rising tone curve T that all channels share. T is a constant and a sum of
smooth steps (integrals of triangles on even knots) of the encoded light, with coefficients that
are not negative (Ramsay 1988, Statistical Science 3, 425): for given gains and backgrounds the
best one follows from non-negative least squares, so that a search moves the keys, the position,
gains and backgrounds alone (variable projection, Golub & Pereyra 1973).
"""

from __future__ import annotations

import numpy as np

from wavesim.arrays import Floats
from wavesim.colorimetry.spaces import decode, encode
from wavesim.colorimetry.tone import Film, Tone

KNOWN: dict[str, Tone] = {"film": Film()}  # as `wavesim develop --tone` has it
_STEPS = 7  # smooth steps of a tone curve


def known_tone(tone: str | float, value: Floats) -> tuple[Floats, Floats]:
    """Linear light for values as in the picture (any shape), and its slope."""
    if tone == "linear":
        return value, np.ones(value.shape)
    if tone == "srgb":
        small = 1e-5
        above, below = (
            decode(np.minimum(value + small, 1.0)),
            decode(np.maximum(value - small, 0.0)),
        )
        return np.asarray(decode(value)), np.asarray((above - below) / (2 * small))
    if tone in KNOWN:
        return _read_back(KNOWN[str(tone)], value)
    power = float(tone)
    return value**power, power * np.maximum(value, 1e-4) ** (power - 1)


def _read_back(tone: Tone, value: Floats) -> tuple[Floats, Floats]:
    """The exposure that a tone shows as a value, and its slope, by a table."""
    exposure = np.concatenate([[0.0], np.geomspace(1e-6, 10.0, 4000)])
    shown = np.asarray(encode(np.minimum(tone.shown(exposure), 1.0)))
    rising = np.concatenate([[True], np.diff(np.maximum.accumulate(shown)) > 1e-9])
    shown, exposure = shown[rising], exposure[rising]
    slope = np.gradient(exposure, shown)
    return np.interp(value, shown, exposure), np.interp(value, shown, slope)


def fitted_linear(light: Floats, value: Floats, noise: Floats) -> Floats:
    """Best gain x light + background, neither negative, for one channel of linear light (n,)."""
    return _combined(np.stack([np.ones(light.size), light], axis=1), value, noise)


def fitted_curve(light: Floats, value: Floats, noise: Floats) -> Floats:
    """T of the light (n,) of all channels together, with the best rising curve T."""
    encoded = np.asarray(encode(np.maximum(light, 0.0) / max(float(light.max()), 1e-300)))
    return _combined(_steps(encoded), value, noise)


def _steps(v: Floats) -> Floats:
    """(n, steps + 1) a constant and smooth steps from 0 to 1 over 0 <= v <= 1."""
    width = 1.0 / (_STEPS - 1)
    columns = [np.ones(v.size)]
    for k in range(_STEPS):
        t = (v - (k - 1) * width) / width
        rise = np.where(t < 1, 0.5 * np.clip(t, 0, 1) ** 2, 1 - 0.5 * np.clip(2 - t, 0, 1) ** 2)
        columns.append(rise)
    return np.stack(columns, axis=1)


def _combined(basis: Floats, value: Floats, noise: Floats) -> Floats:
    """The combination (n,) of columns (n, k) nearest to the value, none of them negative."""
    from scipy.optimize import nnls

    weighted, wanted = basis / noise[:, None], value / noise
    normal = weighted.T @ weighted
    scale = 1e-9 * float(np.trace(normal)) / normal.shape[0]
    upper = np.linalg.cholesky(normal + scale * np.eye(normal.shape[0])).T
    projected = np.linalg.solve(upper.T, weighted.T @ wanted)
    return np.asarray(basis @ nnls(upper, projected)[0])
