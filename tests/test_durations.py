"""How long a scene takes is said before it is computed: refused, announced, or neither.

Seconds are the machine's own, so none is compared here.
"""

from __future__ import annotations

import logging
from collections.abc import Iterator

import pytest

from tests.bench import scene
from tests.parameters import slow_but
from wavesim.errors import LimitError
from wavesim.lightpath import expose
from wavesim.live.session import Session
from wavesim.plate import duration

SUN = 'kind = "sun"'
SLIT = 'kind = "sun"\nslit = { width = "20 um", height = "1 mm" }'
LENSES = 'collimator = "1 m"\ncamera = "1 m"'
SMALL = 'width = "4 mm"\nheight = "1 mm"\npixel = "100 um"'
SQUARE = 'width = "10 mm"\nheight = "10 mm"\npixel = "20 um"'
HOLES = (
    'kind = "mesh"\nhole = { kind = "disc", diameter = "20 um" }\ncount_x = 9\ncount_y = 9\n'
    'pitch_x = "45 um"\npitch_y = "45 um"'
)
SLITS = 'kind = "slits"\ncount = 3\nwidth = "40 um"\npitch = "90 um"'
ROUND = 'kind = "polygon"\nsides = 1000\nradius = "4 mm"'
TOO_LONG = {
    "plane wave by plane wave": scene(
        source=SUN,
        bench='collimator = "1 m"\nplate_distance = "1 m"',
        aperture=ROUND,
        plate=SQUARE,
    ),
    "in the far field": scene(
        source=SUN, bench=LENSES, aperture=ROUND.replace("4 mm", "300 mm"), plate=SQUARE
    ),
}
SHORT = {
    "rulings": scene(source=SLIT, bench=LENSES, aperture=SLITS, plate=SMALL),
    "rulings near": scene(
        source=SUN, bench=f'{LENSES}\ndefocus = "5 mm"', aperture=SLITS, plate=SMALL
    ),
    "rulings exactly": scene(
        source=SUN, bench='collimator = "1 m"\nplate_distance = "1 m"', aperture=SLITS, plate=SMALL
    ),
    "resolved rulings": scene(
        source=SUN, bench=LENSES, aperture=f'{SLITS}\noutline = "ellipse"', plate=SMALL
    ),
    "holes": scene(source=SUN, bench=LENSES, aperture=HOLES, plate=SMALL),
    "holes near": scene(
        source=SUN, bench=f'{LENSES}\ndefocus = "5 mm"', aperture=HOLES, plate=SMALL
    ),
    "holes exactly": scene(
        source=SUN, bench='collimator = "1 m"\nplate_distance = "1 m"', aperture=HOLES, plate=SMALL
    ),
}


@pytest.fixture(autouse=True)
def nothing_said_yet() -> Iterator[None]:
    duration._announced.clear()
    yield
    duration._announced.clear()


@pytest.mark.parametrize("name", TOO_LONG)
def test_holes_that_take_too_long_are_refused(name: str) -> None:
    with pytest.raises(
        LimitError, match=r"plate: would take about \d+ (minutes|hours) .*expected a small"
    ):
        expose(TOO_LONG[name])


@pytest.mark.parametrize("name", slow_but(set(SHORT) - {"rulings near", "rulings exactly"}, SHORT))
def test_every_path_judges_its_time(
    name: str, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    expose(SHORT[name])
    assert not caplog.records
    monkeypatch.setattr(duration, "ANNOUNCED_S", 0.0)
    with caplog.at_level(logging.WARNING):
        expose(SHORT[name])
        expose(SHORT[name])
    (said,) = {record.getMessage() for record in caplog.records}
    assert said.startswith("wavesim: takes about 0 seconds for")
    assert "; shorter with" in said
    with pytest.raises(LimitError, match="would take about 0 seconds"), duration.at_most(0.0):
        expose(SHORT[name])


def test_a_live_bench_stops_at_a_minute(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("wavesim.live.session.MOST_SECONDS", 0.0)
    bench = Session(SHORT["holes near"])
    with pytest.raises(LimitError, match="would take about"):
        bench.preview(columns=100)
    with pytest.raises(LimitError, match="would take about"):
        bench.expose()


def test_a_series_announces_itself_at_its_third_item(
    monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    monkeypatch.setattr(duration, "ANNOUNCED_S", -1.0)
    items = duration.announced(range(5), "for 5 frames", "fewer frames")
    with caplog.at_level(logging.WARNING):
        assert [next(items), next(items)] == [0, 1]
        assert not caplog.records
        assert list(items) == [2, 3, 4]
    assert [record.getMessage() for record in caplog.records] == [
        "wavesim: takes about 0 seconds for 5 frames; shorter with fewer frames"
    ]
