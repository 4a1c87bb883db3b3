"""How many dark lines of the Sun a grating shows, and when it parts the sodium pair.

    python -m benchmarks.lines [--quick]

Resolving power m N says both. Each plate is exposed by the engine, in the Sun between 480 and
600 nm, three pixels to a resolution element; lines are counted by `wavesim.measuring` and by
a plain count of dips of 2 % or more. "Expected" is that plain count on the Sun's own spectrum
smoothed with the textbook profile sinc^2(m N ln lambda), which no plate had a part in.
"""

from __future__ import annotations

import argparse
import math
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from benchmarks.row import Row
from wavesim import light
from wavesim.lightpath import expose
from wavesim.measuring.maxima import maxima
from wavesim.measuring.peaks import find_lines
from wavesim.measuring.profile import from_plate
from wavesim.plate import Plate
from wavesim.scene import Scene, parse

Array = NDArray[np.float64]

BAND_NM = (480.0, 600.0)  # less than 4/3 apart, so that three orders stay clear of each other
LEAST = 0.02  # of the light: the shallowest dip that counts
PIXELS = 3.0  # to a resolution element
GRATINGS = (
    (250, 1),
    (250, 2),
    (250, 3),
    (1000, 1),
    (1000, 3),
    (5000, 1),
    (5000, 3),
    (15000, 1),
    (15000, 2),
)
QUICK = ((250, 1), (250, 2), (250, 3), (1000, 1), (1000, 2))
SODIUM = ((500, 1), (987, 1), (2000, 1), (494, 2))
D_LINES_NM = (588.9950867, 589.5924150)  # D2, D1 in air: Steck, Sodium D Line Data, by Ciddor
RAYLEIGH_BRIDGE = 8 / math.pi**2  # middle of two sinc^2 that stand peak on first zero

_TEXT = """
schema = 1
[source]
{source}
[bench]
collimator = "600 mm"
camera = "1 m"
viewing = "{viewing_deg!r} deg"
[aperture]
kind = "slits"
count = {count}
width = "{width_m!r} m"
pitch = "{pitch_m!r} m"
[plate]
width = "{plate_m!r} m"
height = "{pixel_m!r} m"
pixel = "{pixel_m!r} m"
centre = "{centre_m!r} m"
"""
_SUN = """kind = "sun"
filters = [{{ kind = "longpass", edge = "{0} nm" }}, {{ kind = "shortpass", edge = "{1} nm" }}]
"""


@dataclass(frozen=True)
class Found:
    """Dark lines in one order of one grating."""

    count: int
    order: int
    dips: int
    measured: int
    expected: int
    seconds: float


def scene(
    source: str, count: int, order: int, band_nm: tuple[float, float], pixels: float = PIXELS
) -> Scene:
    """A grating of `count` slits looked at in one order, between two wavelengths."""
    pitch = 90e-6 if count < 1000 else 1e-3 / 300
    lo, hi = (value * 1e-9 for value in band_nm)
    viewing = math.asin(order * (lo + hi) / 2 / pitch)
    left, right = (math.tan(math.asin(order * w / pitch) - viewing) for w in (lo, hi))
    pixel = (right - left) / (hi - lo) * (lo + hi) / 2 / (order * count) / pixels
    width = pixel * (1 + (right - left) // pixel)
    return parse(
        _TEXT.format(
            source=source, viewing_deg=math.degrees(viewing), count=count, width_m=pitch / 9,
            pitch_m=pitch, plate_m=width, pixel_m=pixel, centre_m=(left + right) / 2,
        )
    )  # fmt: skip


def sun_plate(count: int, order: int, band_nm: tuple[float, float] = BAND_NM) -> Plate:
    """The Sun above the air in one order, as a point: the grating alone blurs it."""
    return expose(scene(_SUN.format(*band_nm), count, order, band_nm))


def dips(level: Array, least: float = LEAST) -> int:
    """Minima that lie by `least` of the light below both sides."""
    inner = level[level > 0.3 * np.median(level)]
    return int(maxima(-np.log(inner), -math.log1p(-least)).index.size)


def expected(resolving_power: float, band_nm: tuple[float, float] = BAND_NM) -> int:
    """Dips in the Sun's spectrum, smoothed with sinc^2(R ln lambda), in pixels like the plate's."""
    source = scene(_SUN.format(*band_nm), 250, 1, band_nm).source
    spectrum = light.spectrum(source, folder=Path())
    step = min(1 / (PIXELS * resolving_power), 4e-6)
    edges = np.exp(np.arange(math.log(band_nm[0] * 1e-9), math.log(band_nm[1] * 1e-9), step))
    power = spectrum.integrate(edges[:-1], edges[1:])[0] / np.diff(edges)
    reach = min(power.size, round(400 / (resolving_power * step)))
    kernel = np.sinc(resolving_power * step * np.arange(-reach, reach + 1)) ** 2
    size = power.size + kernel.size
    smooth = np.fft.irfft(np.fft.rfft(power, size) * np.fft.rfft(kernel / kernel.sum(), size), size)
    inside = smooth[reach : reach + power.size]
    block = max(1, round(1 / (PIXELS * resolving_power * step)))
    return dips(inside[: inside.size // block * block].reshape(-1, block).mean(axis=1))


def dark_lines(count: int, order: int) -> Found:
    """Expose, count and compare."""
    begin = time.perf_counter()
    plate = sun_plate(count, order)
    seconds = time.perf_counter() - begin
    measured = len(find_lines(from_plate(plate), "dark", least=LEAST))
    power = float(count * order)
    return Found(count, order, dips(plate.profile_irradiance), measured, expected(power), seconds)


def pair(count: int, order: int, *, pixels: float = 40.0) -> tuple[Array, Array]:
    """Profiles of D2 and D1, equally strong, over one plate (n,), (n,)."""
    middle = sum(D_LINES_NM) / 2
    band = (middle - 2.0, middle + 2.0)
    both = []
    for line in D_LINES_NM:
        source = f'kind = "laser"\nwavelength = "{line!r} nm"\nlinewidth = "0.01 pm"'
        profile = expose(scene(source, count, order, band, pixels)).profile_irradiance
        both.append(profile / profile.max())
    return both[0], both[1]


def bridge(first: Array, second: Array) -> float:
    """Lowest light between the two peaks over the lower peak; 1 where they are one."""
    both = first + second
    lo, hi = sorted((int(np.argmax(first)), int(np.argmax(second))))
    wide = (hi - lo) // 2
    left = int(np.argmax(both[max(lo - wide, 0) : (lo + hi) // 2])) + max(lo - wide, 0)
    right = int(np.argmax(both[(lo + hi) // 2 : hi + wide])) + (lo + hi) // 2
    return float(both[left : right + 1].min() / min(both[left], both[right]))


def rows() -> Iterator[Row]:
    """The lines of the table of all benchmarks."""
    for count, order in QUICK:
        found = dark_lines(count, order)
        yield Row(
            f"dark lines, 480 to 600 nm, {count} slits, order {order}",
            f"{found.dips} dips",
            f"{found.expected} in the spectrum at m N = {count * order}",
            "within 10 % or 2",
            abs(found.dips - found.expected) <= max(2, 0.1 * found.expected),
        )
    for count, order in SODIUM:
        left = bridge(*pair(count, order))
        want = {500: "one line", 2000: "below 0.05"}.get(count, "0.811")
        met = {500: left > 0.99, 2000: left < 0.05}.get(count, abs(left - RAYLEIGH_BRIDGE) < 0.01)
        yield Row(
            f"sodium pair, {count} rulings, order {order}", f"bridge {left:.3f}",
            "8 / pi^2 at m N = 987 (Rayleigh)", want, met,
        )  # fmt: skip


def main() -> None:
    """Print both tables."""
    reader = argparse.ArgumentParser(description=__doc__)
    reader.add_argument("--quick", action="store_true", help="leave the long plates out")
    gratings = QUICK if reader.parse_args().quick else GRATINGS
    print("rulings order    m N  expected  dips  measured  exposed in")
    for count, order in gratings:
        f = dark_lines(count, order)
        print(
            f"{count:7} {order:5} {count * order:6} {f.expected:9} {f.dips:5} {f.measured:9} "
            f"{f.seconds:8.2f} s",
            flush=True,
        )
    print("\nsodium pair, both lines alike: light between them over the fainter")
    for count, order in SODIUM:
        print(f"{count:7} {order:5} {count * order:6} {bridge(*pair(count, order)):9.4f}")
    print(f"Rayleigh {RAYLEIGH_BRIDGE:22.4f}")


if __name__ == "__main__":
    main()
