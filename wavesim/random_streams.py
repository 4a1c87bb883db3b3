"""Random numbers from a seed that are the same with every version of numpy.

numpy may improve the distributions of its `Generator`; those of `RandomState` are frozen, and so
are the words of its bit generators and of `SeedSequence` (numpy's policy NEP 19). Everything in
the program that is drawn takes its stream from here.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

_STEP = 2.0**-53


def ruling_stream(seed: int) -> np.random.RandomState:
    """The stream of a ruling's errors: Mersenne Twister. `seed` from 0 to 2^63 - 1."""
    return np.random.RandomState(seed if seed < 2**32 else [seed % 2**32, seed >> 32])


def stream(seed: int, *part: int) -> np.random.RandomState:
    """The stream of anything else (PCG64); `part` tells apart several streams of one seed.

    `seed` is a whole number from 0, of any size.
    """
    sequence = np.random.SeedSequence([seed, *part] if part else seed)
    return np.random.RandomState(np.random.PCG64(sequence))


def words(seed: int, count: int, *, member: int | None = None) -> NDArray[np.uint64]:
    """(count,) words of 64 random bits (PCG64): of the seed, or of one member's own stream."""
    key = () if member is None else (member,)
    sequence = np.random.SeedSequence(seed, spawn_key=key)
    return np.asarray(np.random.PCG64(sequence).random_raw(count))


def as_level(word: NDArray[np.uint64]) -> NDArray[np.float64]:
    """Numbers in [0, 1) of 64-bit words: (word >> 11) 2^-53."""
    return np.asarray((word >> np.uint64(11)) * _STEP)
