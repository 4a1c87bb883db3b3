"""The errors of every ruling, by kind of defect."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import singledispatch
from pathlib import Path

import numpy as np

from wavesim.aperture.defects.random_errors import draw
from wavesim.aperture.measured import dataset, two_columns
from wavesim.arrays import Floats
from wavesim.errors import LimitError, TableError
from wavesim.random_streams import ruling_stream
from wavesim.scene.defect import (
    BowDefect,
    DepthDefect,
    DriftDefect,
    FanDefect,
    MissingDefect,
    PeriodicDefect,
    RandomDefect,
    StepDefect,
    TableDefect,
    WidthDefect,
)


@dataclass(frozen=True, eq=False)
class IdealRuling:
    """The rulings as meant.

    Attributes
    ----------
    position_m : (n,) [m] ideal positions about the middle of the ruled width
    pitch_m : [m]
    folder : where measured tables lie
    """

    position_m: Floats
    pitch_m: float
    folder: Path = Path()

    @property
    def along(self) -> Floats:
        """(n,) from 0 at the first ruling to 1 at the last."""
        n = self.position_m.size
        return np.arange(n) / max(n - 1, 1)


@dataclass(frozen=True, eq=False)
class RulingErrors:
    """What is wrong with each ruling; an array (n,) or one number for all.

    Attributes
    ----------
    displacement_m : [m] added to the position
    weight : factor on the amplitude
    width_m : [m] added to the width
    depth : factor on the heights of the groove
    """

    displacement_m: Floats | float = 0.0
    weight: Floats | float = 1.0
    width_m: Floats | float = 0.0
    depth: Floats | float = 1.0


def combined(defects: Iterable[object], ruling: IdealRuling) -> RulingErrors:
    """All defects together."""
    total = RulingErrors()
    for defect in defects:
        error = errors(defect, ruling)
        total = RulingErrors(
            total.displacement_m + error.displacement_m,
            total.weight * error.weight,
            total.width_m + error.width_m,
            total.depth * error.depth,
        )
    return total


@singledispatch
def errors(defect: object, ruling: IdealRuling) -> RulingErrors:  # noqa: ARG001
    """Errors of every ruling by one defect (dispatched on its kind)."""
    raise TypeError(f"no rule for {type(defect).__name__}; register one with errors.register")


@errors.register
def _(defect: PeriodicDefect, ruling: IdealRuling) -> RulingErrors:
    turns = ruling.position_m / defect.period.in_metres(ruling.pitch_m)
    return RulingErrors(defect.amplitude_m * np.sin(2 * np.pi * turns + defect.phase_rad))


@errors.register
def _(defect: RandomDefect, ruling: IdealRuling) -> RulingErrors:
    return RulingErrors(defect.rms_m * _drawn(defect, ruling))


def _drawn(defect: RandomDefect | DepthDefect | WidthDefect, ruling: IdealRuling) -> Floats:
    """(n,) numbers of unit variance for a defect's own seed and correlation."""
    return draw(defect.correlation, defect.seed, ruling.position_m.size, ruling.pitch_m)


@errors.register
def _(defect: DriftDefect, ruling: IdealRuling) -> RulingErrors:
    """Displacement = integral of the relative change of pitch over the ideal position."""
    width = ruling.position_m.size * ruling.pitch_m
    return RulingErrors(width * defect.displacement(ruling.position_m / width))


@errors.register
def _(defect: StepDefect, ruling: IdealRuling) -> RulingErrors:
    n = ruling.position_m.size
    after = np.arange(n) >= defect.rulings_before(n)
    return RulingErrors(np.where(after, defect.size_m, 0.0))


@errors.register
def _(defect: MissingDefect, ruling: IdealRuling) -> RulingErrors:
    n = ruling.position_m.size
    weight = np.ones(n)
    if defect.fraction is not None:
        weight[ruling_stream(defect.seed).random_sample(n) < defect.fraction] = 0.0
        return RulingErrors(weight=weight)
    beyond = [i for i in defect.indices if i >= n]
    if beyond:
        raise LimitError(
            f"names ruling {beyond[0] + 1} of {n}",
            key="aperture.defects.rulings",
            expected=f"numbers from 1 to {n}",
        )
    weight[list(defect.indices)] = 0.0
    return RulingErrors(weight=weight)


@errors.register
def _(defect: DepthDefect, ruling: IdealRuling) -> RulingErrors:
    depth = 1.0 - defect.wear * ruling.along
    if defect.rms:
        depth = depth + defect.rms * _drawn(defect, ruling)
    return RulingErrors(depth=depth)


@errors.register
def _(defect: WidthDefect, ruling: IdealRuling) -> RulingErrors:
    width = defect.growth_m * (ruling.along - 0.5)
    if defect.rms_m:
        width = width + defect.rms_m * _drawn(defect, ruling)
    return RulingErrors(width_m=width)


@errors.register
def _(defect: TableDefect, ruling: IdealRuling) -> RulingErrors:
    """Displacements, or a wavefront phi of order m turned into e = phi d / (2 pi m)."""
    path = ruling.folder / defect.file
    scale = 1.0
    if defect.quantity == "wavefront":
        scale = ruling.pitch_m / (2 * np.pi * defect.order)
    if defect.dataset is not None:
        values = dataset(path, defect.dataset)
        if values.size != ruling.position_m.size:
            raise TableError(
                f"holds {values.size} values for {ruling.position_m.size} rulings",
                file=path,
                key=defect.dataset,
                expected="one value for each ruling",
            )
        return RulingErrors(scale * values)
    second = ("displacement_nm",) if defect.quantity == "displacement" else ("wavefront_rad",)
    name, position, values = two_columns(path, ("x_mm", "ruling"), second)
    read_at = np.arange(1, ruling.position_m.size + 1) if name == "ruling" else ruling.position_m
    return RulingErrors(scale * np.interp(read_at, position, values))


@errors.register(FanDefect)
@errors.register(BowDefect)
def _(defect: FanDefect | BowDefect, ruling: IdealRuling) -> RulingErrors:  # noqa: ARG001
    if (defect.angle_rad if isinstance(defect, FanDefect) else defect.sag_m) == 0:
        return RulingErrors()
    raise LimitError(
        "fanned or bowed rulings cannot be combined with this aperture or plate",
        key="aperture.defects",
        expected="straight and parallel rulings",
    )
