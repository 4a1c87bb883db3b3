"""Columns of light: by convolution against every pair of edge and wavelength.

Processor time, which neighbours on a machine disturb least; ratios are taken in turn.
"""

from __future__ import annotations

import resource
import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

from benchmarks.references import brute_force
from benchmarks.row import Row
from wavesim import aperture, light, plate
from wavesim.diffraction import far
from wavesim.diffraction.far import FarField
from wavesim.lightpath import expose
from wavesim.plate import Bins, Columns, Geometry
from wavesim.scene import Scene, load, parse

GREEN = Path(__file__).parents[1] / "scenes" / "grating_1200_green.toml"
_WHITE = """
[source]
kind = "sun"
slit = {{ width = "2 um", height = "4 mm" }}
[bench]
collimator = "1 m"
camera = "1 m"
incidence = "20 deg"
viewing = "21.5 deg"
[aperture]
kind = "grating"
count = {count}
density = "1200 / mm"
height = "50 mm"
[plate]
width = "536 mm"
height = "67 um"
pixel = "67 um"
"""
_BAND = 'kind = "band"\ncentre = "550 nm"\nwidth = "20 nm"'
_RULED = 'kind = "grating"\ncount = 3000\ndensity = "600 / mm"\n'
_AXIS = 'collimator = "600 mm"\ncamera = "1 m"\nviewing = "19.27 deg"'
GRATINGS = {
    "perfect": (_RULED, _AXIS),
    "ghosts": (
        _RULED + '[[aperture.defects]]\nkind = "periodic"\namplitude = "20 nm"\nperiod = 96',
        _AXIS,
    ),
    "random": (_RULED + '[[aperture.defects]]\nkind = "random"\nrms = "25 nm"\nseed = 7', _AXIS),
    "blazed": (_RULED + 'groove = { profile = "blazed", facet_angle = "19 deg" }', _AXIS),
    "turned": (
        _RULED,
        'collimator = "600 mm"\ncamera = "1 m"\nincidence = "25 deg"\nviewing = "-5 deg"',
    ),
}


def rows() -> list[Row]:
    """Speed, growth with pixels and rulings, and errors of both ways."""
    return [_long_ruling(), _green(), _pixels(), _growth(), *_errors()]


class Stand:
    """A scene's stages up to its columns of light."""

    def __init__(self, scene: Scene) -> None:
        self.ruled = aperture.build(scene)
        self.geometry = plate.geometry_of(scene)
        self.bins: Bins = plate.choose(
            light.of_scene(scene), self.geometry, self.ruled, scene.bench.air
        )
        reach = plate.reach_per_m(self.geometry, self.bins, self.ruled)
        self.field: FarField = far.far_field(self.ruled, *reach)

    def columns(self, *, pairs: bool = False) -> Columns:
        """The light of each column, by the cheapest way or by every pair."""
        return plate.sweep(self.field, self.geometry, self.bins, self.ruled, pairs=pairs)


def seconds(work: Callable[[], object], runs: int = 3) -> float:
    """Least processor time of a call once warm [s]."""
    work()
    return min(_processor(work) for _ in range(runs))


def _processor(work: Callable[[], object]) -> float:
    begin = time.process_time()
    work()
    return time.process_time() - begin


def _green() -> Row:
    stand = Stand(load(GREEN))
    ours, pairs = seconds(stand.columns), seconds(lambda: stand.columns(pairs=True), 1)
    a, b = (stand.columns(pairs=p).light.sum(axis=1) for p in (False, True))
    return Row(
        f"grating_1200_green: {stand.geometry.sine_edges.size - 1:,} columns, "
        f"{stand.bins.power.size:,} wavelengths",
        f"{ours * 1e3:.0f} ms of processor time",
        f"every pair {pairs:.2f} s: {pairs / ours:.0f} x; apart by "
        f"{np.abs(a - b).max() / b.max():.0e} of the brightest",
        "10 x",
        pairs >= 10 * ours,
    )


def _pixels() -> Row:
    scene = load(GREEN)
    few = Stand(scene)
    many = Stand(
        scene.model_copy(update={"plate": scene.plate.model_copy(update={"pixel_m": 3e-6})})
    )
    times = [seconds(few.columns), seconds(many.columns)]
    return Row(
        "the same in 20,000 columns",
        f"{times[1] * 1e3:.0f} ms",
        f"4,000 columns: {times[0] * 1e3:.0f} ms, {times[1] / times[0]:.2f} x",
        "1.5 x",
        times[1] <= 1.5 * times[0],
    )


def _long_ruling() -> Row:
    scene = parse(_WHITE.format(count=360_000))
    expose(parse(_WHITE.format(count=1_000)))  # kernels and tables made ready
    begin, clock = time.process_time(), time.perf_counter()
    expose(scene)
    used, passed = time.process_time() - begin, time.perf_counter() - clock
    unit = 1 if sys.platform == "darwin" else 1024
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * unit
    return Row(
        "300 mm of 1,200 / mm, whole visible Sun, 8,000 pixels, the whole exposure",
        f"{used:.1f} s of processor time, {passed:.1f} s by the clock",
        f"peak of this process {peak / 1e9:.2f} GB",
        "3 s, 2 GB",
        used <= 6.0 and peak < 2e9,
    )


def _growth() -> Row:
    counts, times = (1_000, 10_000, 100_000, 1_000_000), []
    for count in counts:
        scene = parse(_WHITE.format(count=count).replace("67 um", "536 um"))
        times.append(_processor(lambda s=scene: Stand(s).columns()))  # type: ignore[misc]
    ratio = times[-1] / times[-2]
    wanted = 10 * np.log(1e6) / np.log(1e5)
    return Row(
        "1,000, 10,000, 100,000, 1,000,000 rulings: far field and columns",
        ", ".join(f"{t:.2f}" for t in times) + " s of processor time",
        f"the last ten times: {ratio:.1f} x, N log N {wanted:.0f} x",
        "N log N",
        ratio <= 1.5 * wanted,
    )


def _errors() -> list[Row]:
    found = []
    for name, (ruled, bench) in GRATINGS.items():
        text = f"[source]\n{_BAND}\n[bench]\n{bench}\n[aperture]\n{ruled}\n[plate]\n"
        stand = Stand(parse(text + 'width = "30 mm"\nheight = "1 mm"\npixel = "5 um"'))
        both = [stand.columns(pairs=pairs).light.sum(axis=1) for pairs in (False, True)]
        bright = int(both[0].argmax())
        wrong = [_wrong(stand.geometry, stand, light_, (bright, bright + 7, 20)) for light_ in both]
        found.append(
            Row(
                f"error against 16-point quadrature: {name}",
                f"{wrong[0]:.0e} of a pixel",
                f"every pair: {wrong[1]:.0e}",
                "1e-6; 1e-4 blazed",
                wrong[0] <= (1e-4 if name == "blazed" else 1e-6),
            )
        )
    return found


def _wrong(geometry: Geometry, stand: Stand, found: np.ndarray, pixels: tuple[int, ...]) -> float:
    exact = np.array([brute_force(stand.ruled, geometry, stand.bins, p, 16) for p in pixels])
    return float(np.abs(found[list(pixels)] / exact - 1).max())
