"""The whole way of a fit: photographs, start values, least squares, outcome."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from wavesim.errors import ComputationError, InputError
from wavesim.fitting.fitted import Fit
from wavesim.fitting.keys import FreeKey, check_keys, free_key
from wavesim.fitting.model import Model
from wavesim.fitting.outcome import finished
from wavesim.fitting.photograph import Pattern, Reading, read_photograph
from wavesim.fitting.search import SAMPLES, Search
from wavesim.fitting.squares import MONOCHROME, Problem, refined
from wavesim.scene import Plane, Scene

Floats = NDArray[np.float64]

_COLUMNS = 1200  # of the engine's plate in the last step


def fit(
    scene: Scene,
    photographs: Sequence[str | Path],
    free: Sequence[str],
    *,
    reading: Reading,
    progress: Callable[[str], None] | None = None,
) -> Fit:
    """Values of a scene's free keys that give what the photographs show.

    Parameters
    ----------
    scene : what is known; its values of the free keys are where the search starts, and may be
        wrong by a factor of two
    photographs : picture or plate files of this one bench
    free : "aperture.width", or with a range "aperture.width=20 um..60 um"
    reading : scale, place and tone of the pictures
    progress : told what is being done

    Raises
    ------
    InputError
        A key that cannot be fitted, a picture without a pattern, more free keys than it carries.
    ComputationError
        No values give a pattern like the picture's.
    """
    tell = progress or (lambda _: None)
    if not free:
        raise InputError("is missing", key="--free", expected='a key, such as "aperture.width"')
    keys = tuple(free_key(scene, text) for text in free)
    check_keys(scene, keys)
    tell("photographs")
    radial = isinstance(scene.aperture, Plane)
    patterns = tuple(
        _channels(read_photograph(path, reading, radial=radial), scene) for path in photographs
    )
    _check_enough(keys, patterns)
    tell("start values")
    coarse = tuple(_coarse(pattern) for pattern in patterns)
    search = _search(scene, keys, coarse)
    starts = search.best(keys)
    if search.judge(starts[0])[0] < 0:
        raise ComputationError("no values of the free keys give a pattern on the plate")
    tell("least squares")
    problem = Problem(
        keys, patterns, tuple(Model(scene, keys, p, _columns(p, _COLUMNS)) for p in patterns)
    )
    return finished(scene, problem, refined(problem, search, starts))


def _search(scene: Scene, keys: tuple[FreeKey, ...], coarse: tuple[Pattern, ...]) -> Search:
    return Search(coarse, tuple(Model(scene, keys, p, _columns(p, SAMPLES)) for p in coarse))


def _channels(pattern: Pattern, scene: Scene) -> Pattern:
    """Of light of one wavelength, the channel that shows it best, alone."""
    if scene.source.kind not in MONOCHROME or pattern.value.shape[1] == 1:
        return pattern
    power = np.where(pattern.usable, pattern.value, 0.0).std(axis=0) / pattern.noise.mean(axis=0)
    best = slice(int(np.argmax(power)), int(np.argmax(power)) + 1)
    return replace(
        pattern,
        value=pattern.value[:, best],
        noise=pattern.noise[:, best],
        usable=pattern.usable[:, best],
    )


def _coarse(pattern: Pattern) -> Pattern:
    """Fewer samples, for the search."""
    bins = max(1, pattern.x_m.size // SAMPLES)
    whole = pattern.x_m.size // bins * bins

    def mean(a: Floats) -> Floats:
        return np.asarray(a[:whole].reshape(-1, bins, *a.shape[1:]).mean(axis=1))

    return replace(
        pattern,
        x_m=mean(pattern.x_m),
        value=mean(pattern.value),
        noise=mean(pattern.noise),
        usable=mean(pattern.usable.astype(np.float64)) > 0.5,
        step_m=pattern.step_m * bins,
    )


def _columns(pattern: Pattern, most: int) -> int:
    """Samples of the engine: as fine as the photograph's, or as many as allowed."""
    if pattern.radial:
        return min(2 * pattern.x_m.size, 300 if most > SAMPLES else 160)
    wide = 1.04 if pattern.left_m is not None else 1.7
    return int(min(wide * pattern.x_m.size, wide * most))


def _check_enough(keys: tuple[FreeKey, ...], patterns: tuple[Pattern, ...]) -> None:
    samples = sum(int(pattern.usable.sum()) for pattern in patterns)
    if samples < 20 * len(keys):
        raise InputError(
            "frees more keys than the photographs carry",
            key="--free",
            value=len(keys),
            expected=f"at most {max(samples // 20, 1)}",
        )
