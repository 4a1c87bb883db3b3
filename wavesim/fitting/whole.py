"""The whole way of a fit: photographs, start values, least squares, outcome."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from wavesim.arrays import Floats
from wavesim.colorimetry.spaces import encode
from wavesim.errors import ComputationError, InputError, WavesimError
from wavesim.fitting.bench import BenchModel
from wavesim.fitting.fitted import Fit
from wavesim.fitting.keys import FreeKey, check_keys, free_key
from wavesim.fitting.nuisances import Nuisances
from wavesim.fitting.outcome import finished
from wavesim.fitting.photograph import PhotographPattern, PhotographReading, read_photograph
from wavesim.fitting.powder import direct_m
from wavesim.fitting.search import Search
from wavesim.fitting.squares import MONOCHROME, FitProblem, refined, wanted
from wavesim.scene import Dots, Plane, Scene

_COARSE = 220  # samples of a photograph while searching, at the least
_RINGS = 300  # columns of the engine's plate for rings, at most
_LEAST_CHANGE = 1e-5  # of the brightest sample, below which a key does not change the pattern
_TRIED = 1.3  # factor each way by which that is tried


def fit(
    scene: Scene,
    photographs: Sequence[str | Path],
    free: Sequence[str],
    *,
    reading: PhotographReading | Sequence[PhotographReading],
    progress: Callable[[str], None] | None = None,
) -> Fit:
    """Values of a scene's free keys that give what the photographs show.

    Parameters
    ----------
    scene : what is known; its values of the free keys are where the search starts, and may be
        wrong by a factor of two
    photographs : picture or plate files of this one bench
    free : "aperture.width", or with a range "aperture.width=20 um..60 um"
    reading : scale, position and tone of the pictures; one for all, or one each
    progress : called with what is being done

    Raises
    ------
    InputError
        A key that cannot be fitted or that the pattern does not depend on, a picture without a
        pattern, more free keys than it carries.
    ComputationError
        No values give a pattern like the picture's.
    """
    tell = progress or (lambda _: None)
    if not free:
        raise InputError("is missing", key="--free", expected='a key, such as "aperture.width"')
    keys = tuple(free_key(scene, text) for text in free)
    check_keys(scene, keys)
    tell("photographs")
    patterns = _patterns(scene, photographs, reading)
    _check_enough(keys, patterns)
    coarse = tuple(_as_usual(pattern).coarse(_bins(pattern, scene)) for pattern in patterns)
    _check_influence(keys, BenchModel(scene, keys, coarse[0], _columns(coarse[0])))
    tell("start values")
    search = Search(coarse, tuple(BenchModel(scene, keys, p, _columns(p)) for p in coarse))
    starts = search.best(keys)
    if search.judge(starts[0])[0] < 0:
        raise ComputationError("no values of the free keys give a pattern on the plate")
    tell("least squares")
    problem = _problem(scene, keys, patterns)
    return finished(scene, problem, refined(problem, search, starts))


def _patterns(
    scene: Scene,
    photographs: Sequence[str | Path],
    reading: PhotographReading | Sequence[PhotographReading],
) -> tuple[PhotographPattern, ...]:
    readings = [reading] * len(photographs) if isinstance(reading, PhotographReading) else reading
    radial = isinstance(scene.aperture, Plane)
    found = (
        read_photograph(path, how, radial=radial)
        for path, how in zip(photographs, readings, strict=True)
    )
    direct = direct_m(scene) if isinstance(scene.aperture, Dots) else -1.0
    return tuple(_channels(pattern, scene).beyond(direct) for pattern in found)


def _problem(
    scene: Scene, keys: tuple[FreeKey, ...], patterns: tuple[PhotographPattern, ...]
) -> FitProblem:
    groups = _groups(patterns)
    exposure: dict[int, float] = {}
    for group in groups:
        first = patterns[group[0]].notes.exposure
        for k in group[1:]:
            exposure[k] = math.log(patterns[k].notes.exposure / first)
    return FitProblem(
        keys,
        tuple(Nuisances(p, exposure.get(k)) for k, p in enumerate(patterns)),
        tuple(BenchModel(scene, keys, p, _columns(p)) for p in patterns),
        groups,
    )


def _groups(patterns: tuple[PhotographPattern, ...]) -> tuple[tuple[int, ...], ...]:
    """Photographs of one camera, with exposures that their files tell, share a tone curve."""
    found: dict[object, list[int]] = {}
    for k, pattern in enumerate(patterns):
        notes = pattern.notes
        known = notes.camera and math.isfinite(notes.exposure) and not pattern.linear
        fitted = pattern.reading.tone == "fitted"
        found.setdefault((notes.camera, pattern.channels) if known and fitted else k, []).append(k)
    return tuple(tuple(group) for group in found.values())


def _channels(pattern: PhotographPattern, scene: Scene) -> PhotographPattern:
    """Of light of one wavelength, the channel that shows it best, alone."""
    if scene.source.kind not in MONOCHROME or pattern.channels == 1:
        return pattern
    power = np.where(pattern.usable, pattern.value, 0.0).std(axis=0) / pattern.noise.mean(axis=0)
    return pattern.only(int(np.argmax(power)))


def _as_usual(pattern: PhotographPattern) -> PhotographPattern:
    """With the tone curve of sRGB where another one is known, for the search."""
    if pattern.reading.tone == "fitted" and not pattern.linear:
        return pattern
    light, _ = wanted(pattern)
    scaled = light / max(float(light[pattern.usable].max()), 1e-300)
    return replace(pattern, value=np.asarray(encode(np.clip(scaled, 0.0, 1.0))))


def _bins(pattern: PhotographPattern, scene: Scene) -> int:
    """Samples that are averaged for the search; ghosts of ruling errors need every one."""
    if scene.aperture.defects:
        return 1
    return max(1, pattern.x_m.size // max(_COARSE, 2 * pattern.resolving))


def _columns(pattern: PhotographPattern) -> int:
    """Samples of the engine: as fine as the photograph's."""
    if pattern.radial:
        return min(2 * pattern.x_m.size, _RINGS)
    return int((1.06 if pattern.left_m is not None else 1.7) * pattern.x_m.size)


def _check_enough(keys: tuple[FreeKey, ...], patterns: tuple[PhotographPattern, ...]) -> None:
    """Refuse more keys than the pictures have details beyond what else is free."""
    details = sum(p.resolving * float(p.usable.mean()) for p in patterns) / 2.5
    most = max(int(details) - 4 * len(patterns), 1)
    if len(keys) > max(most, 2):
        raise InputError(
            "frees more keys than the photographs can determine",
            key="--free",
            value=len(keys),
            expected=f"at most {max(most, 2)} for this number of maxima and minima",
        )


def _check_influence(keys: tuple[FreeKey, ...], model: BenchModel) -> None:
    """Refuse a key that leaves the pattern as it is."""
    start = tuple(key.start for key in keys)
    middle = _shape(model, start)
    for number, key in enumerate(keys):
        changes = [
            float(np.abs(shape - middle).max())
            for value in _moved(key)
            for shape in (_shape(model, (*start[:number], value, *start[number + 1 :])),)
            if shape is not None and middle is not None
        ]
        if changes and max(changes) < _LEAST_CHANGE:
            raise InputError(
                "does not change the pattern", key=key.key,
                expected="a key that changes the pattern on the plate; overall brightness and "
                    "the seed of random positions cannot be fitted",
            )  # fmt: skip


def _moved(key: FreeKey) -> list[float]:
    """Values of a key on both sides of its start."""
    if key.whole:
        near = (key.start - 1, key.start + 1)
    elif key.logarithmic:
        near = (key.start / _TRIED, key.start * _TRIED)
    else:
        step = 0.2 * (key.high - key.low)
        near = (key.start - step, key.start + step)
    return [value for value in near if key.low <= value <= key.high]


def _shape(model: BenchModel, values: tuple[float, ...]) -> Floats | None:
    """The light of some values, its brightest sample 1; None where there is none."""
    try:
        curve = model.light(values)
    except (WavesimError, ValueError):
        return None
    return curve.rgb / curve.top
