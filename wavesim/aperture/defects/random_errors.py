"""Random errors along a ruling: independent, accumulated, or correlated over a length."""

from __future__ import annotations

import numpy as np

from wavesim.arrays import Floats
from wavesim.random_streams import ruling_stream
from wavesim.scene.defect import Span


def draw(correlation: str | Span, seed: int, count: int, pitch_m: float) -> Floats:
    """(count,) Gaussian numbers of unit variance.

    Independent from ruling to ruling; their running sum ("accumulated": unit variance for each
    step); or with the correlation exp(-(distance / length)^2), made by filtering independent
    numbers with the Gaussian exp(-2 (distance / length)^2).

    A seed means the same ruling with every version of numpy (`random_streams`).
    """
    stream = ruling_stream(seed)
    if isinstance(correlation, Span):
        return _filtered(stream, correlation.in_rulings(pitch_m), count)
    independent = np.asarray(stream.standard_normal(count))
    return np.cumsum(independent) if correlation == "accumulated" else independent


def _filtered(stream: np.random.RandomState, length: float, count: int) -> Floats:
    reach = int(np.ceil(3.0 * length))  # the Gaussian has fallen to exp(-18) there
    if reach > 50 * count:
        return np.full(count, float(stream.standard_normal()))
    kernel = np.exp(-2.0 * (np.arange(-reach, reach + 1) / max(length, 1e-9)) ** 2)
    kernel /= np.sqrt(np.sum(kernel**2))
    noise = stream.standard_normal(count + 2 * reach)
    size = noise.size + kernel.size - 1
    size = 1 << (size - 1).bit_length()
    whole = np.fft.irfft(np.fft.rfft(noise, size) * np.fft.rfft(kernel, size), size)
    return np.asarray(whole[2 * reach : 2 * reach + count])
