"""Random photographs by textbook formulas, fitted: truth within stated errors, and how often.

    python -m tests.fit_coverage 60

Slits (1 to 12) in white light and in a laser's, wires, holes, powders: random sizes, tone curves of
exponent 1.6 to 2.6, noise, film's grain, turns up to a degree, a slant camera that changes the
scale by up to 2 %, cameras whose channels lie some 2 nm apart from sRGB's; each search begins up
to a factor of two off. Beside it the same photographs fitted by the textbook formula (one
wavelength, no source slit, an even scale) with scipy, begun at the truth. Where a picture cannot
tell two widths apart and the program names both, the nearer one counts, and the table says how
often.
"""

from __future__ import annotations

import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

import wavesim
from tests.drawn_patterns import Camera, disc, powder, save, slits
from wavesim.fitting import FittedValue, PhotographReading, fit

Floats = NDArray[np.float64]

PIXEL = 40e-6
SLIT_IMAGE = 20e-6 / 0.6
KINDS = ("slit, white", "slits, white", "slits, laser", "wires, laser", "hole, laser", "powder")
LEAN = 3e-3  # standard deviation of a camera's channels from sRGB's, relative: a few nanometres
NEAR = 0.05  # of a value: beyond, it is not in the right valley


@dataclass(frozen=True)
class Case:
    """A photograph, the scene to begin with, what is free and what is true."""

    kind: str
    scene: wavesim.Scene
    path: Path
    truth: dict[str, float]
    wavelength_m: float
    count: int
    pixel_m: float = PIXEL


@dataclass
class Tally:
    """What came of one kind of photograph."""

    pulls: list[float] = field(default_factory=list)
    misses: list[float] = field(default_factory=list)
    formula: list[float] = field(default_factory=list)
    correct: int = 0
    photographs: int = 0
    named: int = 0  # where the program named two values and the other one was true


def scene_text(source: str, aperture: str, height: str = "2 mm") -> str:
    return (
        f'schema = 1\n[source]\n{source}\n[bench]\ncollimator = "600 mm"\ncamera = "1 m"\n'
        f'[aperture]\n{aperture}\n[plate]\nwidth = "56 mm"\nheight = "{height}"\n'
        f'pixel = "40 um"\n'
    )


def case(number: int, folder: Path) -> Case:
    """The photograph of that number, repeatable."""
    random = np.random.default_rng([20261127, number])
    kind = KINDS[number % len(KINDS)]
    wave = float(random.uniform(450e-9, 660e-9))
    camera = Camera(
        exposure=float(random.uniform(1.0, 5.0)), gamma=float(random.uniform(1.6, 2.6)),
        noise=float(random.uniform(0.003, 0.02)), turn_deg=float(random.uniform(-1, 1)),
        slant=float(random.uniform(-0.02, 0.02)), spread=float(random.uniform(-0.02, 0.02)),
        grain=float(random.choice([0.0, 0.02])),
    )  # fmt: skip
    off = [float(f) for f in 2.0 ** random.uniform(-1, 1, 2)]
    path = folder / f"{number}.{'jpg' if number % 2 else 'png'}"
    laser = f'kind = "laser"\nwavelength = "{wave!r} m"\npower = "1 mW"'
    if kind == "powder":
        return _powder(random, camera, path, off[0])
    if kind == "hole, laser":
        size = float(random.uniform(0.25e-3, 0.8e-3))
        save(camera.of_plane(disc((200, 220), PIXEL, size, wave), random), path)
        text = scene_text(laser, f'kind = "disc"\ndiameter = "{size * off[0]!r} m"', "8 mm")
        return Case(kind, wavesim.parse(text), path, {"aperture.diameter": size}, wave, 1)
    slit = '\nslit = { width = "20 um", height = "4 mm" }'
    white = "white" in kind
    count = 1 if kind == "slit, white" else int(random.integers(2, 13))
    width = float(random.uniform(25e-6, 60e-6))
    pitch = width * float(random.uniform(1.6, 3.5))
    x = (np.arange(1400) - 699.5) * PIXEL + float(random.uniform(-2e-3, 2e-3))
    lean = float(random.normal(0, LEAN))
    light = slits(x, width_m=width, pitch_m=pitch, count=count, slit_image_m=SLIT_IMAGE,
                  wavelength_m=None if white else wave, lean=lean)  # fmt: skip
    save(camera.of_line(light, random), path)
    if white:
        source = 'kind = "blackbody"\ntemperature = "5772 K"\nluminance = "1e6 cd/m^2"' + slit
    else:
        source = laser + slit
    begin = max(pitch * float(off[1]), 1.05 * width * float(off[0]))
    if kind == "wires, laser":
        wire = pitch - width
        begin = max(pitch * float(off[1]), 1.05 * wire * float(off[0]))
        aperture = (f'kind = "wires"\ncount = {count + 1}\nwidth = "{wire * off[0]!r} m"\n'
                    f'pitch = "{begin!r} m"\nheight = "10 mm"')  # fmt: skip
        truth = {"aperture.width": wire, "aperture.pitch": pitch}
    else:
        pitched = f'\npitch = "{begin!r} m"' if count > 1 else ""
        aperture = (f'kind = "slits"\ncount = {count}\nwidth = "{width * off[0]!r} m"'
                    f'{pitched}\nheight = "10 mm"')  # fmt: skip
        truth = {"aperture.width": width, **({"aperture.pitch": pitch} if count > 1 else {})}
    return Case(kind, wavesim.parse(scene_text(source, aperture)), path, truth, wave, count)


def _powder(random: np.random.Generator, camera: Camera, path: Path, off: float) -> Case:
    """Grains behind a lens of 300 mm, in white light or a laser's."""
    size, wave = float(random.uniform(20e-6, 60e-6)), float(random.uniform(500e-9, 660e-9))
    white = bool(random.integers(0, 2))
    light = powder((200, 220), 100e-6, size, count=int(random.integers(800, 3000)), stop_m=6e-3,
                   random=random, wavelength_m=None if white else wave, focal_m=0.3)  # fmt: skip
    exposure = float(light.max() / np.quantile(light.max(axis=2), random.uniform(0.9, 0.99)))
    how = Camera(exposure=exposure, gamma=camera.gamma, noise=camera.noise, grain=camera.grain)
    save(how.of_plane(light, random), path)
    source = (
        'kind = "blackbody"\ntemperature = "5772 K"\ndisc = "1 arcmin"\nluminance = "1e6 cd/m^2"'
        if white
        else f'kind = "laser"\nwavelength = "{wave!r} m"'
    )
    text = (
        f'schema = 1\n[source]\n{source}\n[bench]\ncamera = "300 mm"\n[aperture]\nkind = "dots"\n'
        f'count = 1000\ndiameter = "{size * off!r} m"\nstop = {{ diameter = "6 mm" }}\n'
        '[plate]\nwidth = "22 mm"\nheight = "20 mm"\npixel = "100 um"\n'
    )
    return Case("powder", wavesim.parse(text), path, {"aperture.diameter": size}, wave, 1, 100e-6)


def by_formula(made: Case) -> dict[str, float]:
    """Width and pitch by one wavelength's formula, begun at the truth; nothing for other kinds."""
    if made.kind not in ("slit, white", "slits, white", "slits, laser"):
        return {}
    from PIL import Image
    from scipy.optimize import curve_fit

    encoded = np.asarray(Image.open(made.path), dtype=np.float64)[20:40] / 255
    value = (encoded**2.2).mean(axis=(0, 2))
    wave = made.wavelength_m if "laser" in made.kind else 550e-9
    x = (np.arange(value.size) - value.size / 2 + 0.5) * PIXEL
    used = value < 0.9
    start = [made.truth["aperture.width"], made.truth.get("aperture.pitch", 0.0), 0.0, 1.0, 0.0]

    def curve(x: Floats, width: float, pitch: float, middle: float, top: float, low: float
              ) -> Floats:  # fmt: skip
        light = slits(x - middle, width_m=width, pitch_m=pitch or 1e-4, count=made.count,
                      wavelength_m=wave)[:, 0]  # fmt: skip
        return np.asarray(low + top * light / made.count**2 / 9 * 3)

    try:
        found, _ = curve_fit(curve, x[used], value[used], start, maxfev=400,
                             x_scale=[1e-6, 1e-6, 1e-4, 1, 0.01], method="trf")  # fmt: skip
    except RuntimeError:
        return {}
    return dict(zip(made.truth, found, strict=False))


def fitted(made: Case) -> tuple[dict[str, FittedValue], bool]:
    """The free keys' values; whether the fit follows the pattern."""
    found = fit(made.scene, [made.path], list(made.truth), reading=PhotographReading(made.pixel_m))
    return {v.key: v for v in found.values}, found.fits


def counted(tally: Tally, made: Case, values: dict[str, FittedValue], follows: bool) -> list[str]:
    """Add a photograph to its kind's; what is to be said of it."""
    lines, correct, other = [], follows, by_formula(made)
    named = False
    for key, truth in made.truth.items():
        value = values[key]
        nearest = min((value.value, *value.alternatives), key=lambda v: abs(v - truth))
        named |= nearest != value.value
        tally.pulls.append((nearest - truth) / value.standard_error)
        tally.misses.append(abs(nearest / truth - 1))
        correct &= tally.misses[-1] < NEAR
        if key in other:
            tally.formula.append(abs(other[key] / truth - 1))
        if abs(tally.pulls[-1]) > 3 or tally.misses[-1] > NEAR or named:
            lines.append(f"{made.path.name} {made.kind} {made.count}: {key} {truth:.5g} is "
                         f"{value.text} {value.alternatives}")  # fmt: skip
    tally.correct += correct
    tally.photographs += 1
    tally.named += named
    return lines


def main(count: int, first: int = 0, tell: Callable[[str], None] = print) -> None:
    """Fit that many photographs and print the table."""
    tallies = {kind: Tally() for kind in KINDS}
    begin = time.process_time()
    with tempfile.TemporaryDirectory() as name:
        for number in range(first, first + count):
            made = case(number, Path(name))
            for lines in counted(tallies[made.kind], made, *fitted(made)):
                tell(lines)
    tell(f"{count} photographs, {sum(t.correct for t in tallies.values())} with every value within "
         f"5 %, {(time.process_time() - begin) / count:.1f} s of processor time each")  # fmt: skip
    tell(f"{'kind':14} right  two named  values  within 1, 2 stated  median miss  largest  "
         "by formula: median, largest")  # fmt: skip
    for kind, t in tallies.items():
        if not t.photographs:
            continue
        p, m = np.abs(t.pulls), np.array(t.misses)
        formula = f"{np.median(t.formula):.1e}  {max(t.formula):.1e}" if t.formula else "-"
        tell(f"{kind:14} {t.correct:2d}/{t.photographs:2d}  {t.named:9d}  {p.size:6d}  "
             f"{np.mean(p < 1):6.0%} {np.mean(p < 2):6.0%}       {np.median(m):.1e}     "
             f"{m.max():.1e}  {formula}")  # fmt: skip
    every = np.abs(np.concatenate([np.array(t.pulls) for t in tallies.values()]))
    tell(f"all {every.size}: within one stated error {np.mean(every < 1):.0%}, two "
         f"{np.mean(every < 2):.0%}")  # fmt: skip


if __name__ == "__main__":
    given = [int(word) for word in sys.argv[1:3]]
    main(*(given or [60]))  # type: ignore[arg-type]
