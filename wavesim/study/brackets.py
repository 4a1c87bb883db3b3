"""Brackets of an exposure, in stops.

frames = bracket(plate, stops=(-2, 0, 2))
print(frames[0].brief)
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from wavesim.errors import within
from wavesim.plate import Plate
from wavesim.study.visibility import Criterion, Visibility, visibility
from wavesim.study.visibility.result import brief

BRACKET_STOPS = (-2.0, -1.0, 0.0, 1.0, 2.0)


@dataclass(frozen=True)
class BracketFrame:
    """One frame of a bracket.

    Attributes
    ----------
    stops : from the plate's own time
    time_s : its time
    visibility : what it shows and burns out
    """

    stops: float
    time_s: float
    visibility: Visibility

    @property
    def brief(self) -> str:
        """What it shows, in one line."""
        return brief(self.visibility)


def bracket(
    plate: Plate,
    stops: Sequence[float] = BRACKET_STOPS,
    *,
    speed: float | None = None,
    criterion: Criterion = "picture",
) -> tuple[BracketFrame, ...]:
    """The plate's exposure and others `stops` away from it: time 2^stops, and what each shows.

    Raises
    ------
    InputError
        A stop that is not finite, a speed that is not positive.
    """
    frames = []
    for stop in stops:
        time = plate.exposure_s * 2.0 ** within("stops", stop, -60.0, 60.0)
        shown = visibility(plate, time_s=time, speed=speed, criterion=criterion)
        frames.append(BracketFrame(stop, time, shown))
    return tuple(frames)
