"""Contact sheets at every size: no picture on another, on the heading, on the caution or beyond."""

from __future__ import annotations

import itertools
from pathlib import Path

import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg

from tests.parameters import slow_but
from wavesim.cli import main
from wavesim.figures import size_for
from wavesim.figures.ensembles import study_figure

SCENE = """
schema = 1
[source]
kind = "sun"
[bench]
camera = "1 m"
[aperture]
kind = "slits"
count = 2
width = "40 um"
pitch = "90 um"
[plate]
width = "20 mm"
height = "0.8 mm"
pixel = "200 um"
"""
STUDY = """
schema = 1
title = "Pitches"
scene = "scene.toml"
[[vary]]
key = "aperture.pitch"
from = "60 um"
to = "180 um"
steps = 40
[record]
picture = { columns = 100, rows = 4 }
"""


@pytest.fixture(scope="module")
def study(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("contact")
    (folder / "scene.toml").write_text(SCENE)
    (folder / "study.toml").write_text(STUDY)
    with pytest.raises(SystemExit) as end:
        main(["study", str(folder / "study.toml"), "-o", str(folder / "s.h5"), "--workers", "1"])
    assert end.value.code == 0
    return folder / "s.h5"


@pytest.mark.parametrize(
    "size", slow_but(["page", "slide"], ["page", "a4", "letter", "slide", "web"])
)
@pytest.mark.parametrize("bar", [False, True])
def test_pictures_and_words_stand_apart(study: Path, size: str, bar: bool) -> None:
    if bar and size in ("slide", "web"):
        pytest.skip("a bar of 100 mm stands on paper only")
    figure = study_figure(study, "contact", size=size_for(size, bar=bar))
    drawn = FigureCanvasAgg(figure).get_renderer()  # type: ignore[no-untyped-call]
    texts = {text.get_text(): text.get_window_extent(drawn) for text in figure.texts}
    heading = next(box for text, box in texts.items() if text.startswith("aperture pitch"))
    caution = next(box for text, box in texts.items() if text.startswith("Sunlight"))
    pictures = [axes.get_window_extent(drawn) for axes in figure.axes]
    for upper, lower in itertools.pairwise(pictures):
        assert lower.y1 < upper.y0
    assert pictures[0].y1 < heading.y0
    assert pictures[-1].y0 > caution.y1
    assert caution.y0 > 0
    (subtitle,) = (text for text in texts if text.startswith("aperture pitch"))
    count_shown = subtitle.partition("; the first ")[2]
    assert count_shown == ("" if len(pictures) == 40 else f"{len(pictures)} of 40")
    if size == "slide":
        assert 5 < len(pictures) < 40
