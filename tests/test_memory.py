"""What a plate holds in memory, against what it was judged to need before."""

from __future__ import annotations

import tracemalloc

import pytest

from tests.bench import scene
from tests.parameters import slow_but
from wavesim.errors import LimitError
from wavesim.lightpath import expose
from wavesim.plate import memory
from wavesim.scene import Scene

LASER = 'kind = "laser"\nwavelength = "546 nm"'
SUN = 'kind = "blackbody"\ntemperature = "5800 K"\nslit = { width = "20 um", height = "40 um" }'
DOTS = (
    'kind = "dots"\ncount = 20\ndiameter = "30 um"\nstop = { diameter = "1 mm" }\n'
    'min_distance = "30 um"\nseed = 1'
)
SLITS = 'kind = "slits"\ncount = 3\nwidth = "40 um"\npitch = "90 um"'
BLAZED = (
    'kind = "grating"\ncount = 100\ndensity = "600 / mm"\n'
    'groove = { profile = "blazed", facet_angle = "10 deg" }'
)
BENCH = 'collimator = "1 m"\ncamera = "1 m"'
NEAR = 'source_distance = "2 m"\nplate_distance = "2 m"'
TALL = 'width = "24 mm"\nheight = "120 m"\npixel = "0.5 mm"'  # most rows lie along the horizon
SQUARE = 'width = "60 mm"\nheight = "60 mm"\npixel = "50 um"'
WIDE = 'width = "300 mm"\nheight = "40 um"\npixel = "20 um"'

SCENES = {
    "tall plate of the plane": scene(source=LASER, bench=BENCH, aperture=DOTS, plate=TALL),
    "plate of the plane": scene(source=LASER, bench=BENCH, aperture=DOTS, plate=SQUARE),
    "near field": scene(source=LASER, bench=NEAR, aperture=SLITS, plate=SQUARE),
    "wide plate": scene(source=SUN, bench=BENCH, aperture=SLITS, plate=WIDE),
    "wide plate of grooves": scene(source=SUN, bench=BENCH, aperture=BLAZED, plate=WIDE),
    "plate of slits": scene(source=LASER, bench=BENCH, aperture=SLITS, plate=SQUARE),
}
# lists, the spectrum and small tables are not judged; nothing else may be held unasked
UNJUDGED_BYTES = 20_000_000


@pytest.fixture
def needs_bytes(monkeypatch: pytest.MonkeyPatch) -> list[float]:
    """Every amount of memory that was asked for."""
    found: list[float] = []
    real = memory.require_memory

    def noting(need: float, **details: object) -> None:
        found.append(need)
        real(need, **details)  # type: ignore[arg-type]

    for module in ("memory", "near", "plane.expose"):
        monkeypatch.setattr(f"wavesim.plate.{module}.require_memory", noting)
    return found


@pytest.mark.parametrize("name", slow_but(["plate of slits"], SCENES))
def test_no_more_is_held_than_was_judged(name: str, needs_bytes: list[float]) -> None:
    held = _held(SCENES[name])
    assert held < max(needs_bytes) + UNJUDGED_BYTES


def _held(scene: Scene) -> int:
    """Bytes of arrays at the peak of a second exposure: the first fills what is kept for good."""
    small = scene.model_copy(update={"plate": scene.plate.model_copy(update={"height_m": 1e-3})})
    expose(small)
    tracemalloc.start()
    try:
        expose(scene)
        return tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()


@pytest.mark.parametrize("name", ["tall plate of the plane", "near field"])
def test_pixels_that_do_not_fit_are_refused(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("wavesim.memory.available_bytes", lambda: 10**8)
    with pytest.raises(LimitError, match=r"would need about .* GB of memory and 0.1 GB are free"):
        expose(SCENES[name])
