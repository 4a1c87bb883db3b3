"""Mutated files of studies: cut, forged, foreign; opened, reported again, drawn, exposed again."""

from __future__ import annotations

import random
from collections.abc import Callable
from pathlib import Path

from tests.mutated_files import damage
from tests.mutated_scenes import commanded

Work = Callable[[int], str]

_STUDY = """
scene = "base.toml"
seed = 3
draws = 2
[[vary]]
key = "aperture.count"
values = [2, 3, 4]
[[vary]]
key = "aperture.width"
values = ["30 um", "40 um"]
[[draw]]
key = "aperture.pitch"
law = "normal"
mean = "90 um"
deviation = "1 um"
[record]
numbers = ["line_width", "brightest"]
line = { wavelength = "546.1 nm", order = 1 }
profile = { half_width = 0.4, points = 21 }
picture = { columns = 20, rows = 3 }
plate = true
[[report.limits]]
number = "line_width"
at_most = 1e-7
"""
_KINDS = ("distribution", "map", "band", "contact", "sensitivity")


def study_results(folder: Path) -> Work:
    """Files that a study wrote."""
    from tests.bench import SMALL_SCENE
    from wavesim.ensemble import load_plan, run_study
    from wavesim.lightpath import expose
    from wavesim.scene import parse

    (folder / "base.toml").write_text(SMALL_SCENE)
    (folder / "study.toml").write_text(_STUDY)
    good, path = folder / "good.h5", folder / "mutant.h5"
    run_study(load_plan(folder / "study.toml"), good, workers=1)
    expose(parse(SMALL_SCENE)).save(folder / "plate.h5")
    contents = [good.read_bytes()] * 19 + [(folder / "plate.h5").read_bytes()]

    def work(seed: int) -> str:
        dice = random.Random(seed)
        content = dice.choice(contents)
        damage(path, content, dice, raw=0.3)
        return dice.choice(_USES)(path, dice)

    return work


def _opened(path: Path, _: random.Random) -> str:
    from wavesim.ensemble import open_study

    with open_study(path) as found:
        try:
            return f"opened {sum(found[name].load().nbytes for name in found.variables)} bytes"
        except OSError as error:  # read lazily: a damaged chunk is found when it is asked for
            return f"opened, and {error}"


def _exposed_again(path: Path, dice: random.Random) -> str:
    from wavesim.ensemble import member_scene

    return f"member {member_scene(path, dice.randrange(13)).title}"


def _reported(path: Path, dice: random.Random) -> str:
    return commanded("study", str(path), *dice.choice(((), ("--json",), ("--member", "2"))))


def _drawn(path: Path, dice: random.Random) -> str:
    more = dice.choice(((), ("--draw", dice.choice(_KINDS))))
    return commanded("figure", str(path), "-o", str(path.with_suffix(".png")), *more)


def _run_over(path: Path, _: random.Random) -> str:
    """The same study onto the file: it is done, or is done again."""
    study = str(path.with_name("study.toml"))
    return commanded("study", study, "-o", str(path), "--workers", "1", "--json")


_USES = (*[_opened] * 5, *[_reported] * 5, *[_exposed_again] * 4, _drawn, _run_over)

WORKSHOPS = {"study_results": study_results}
