"""Random photographs by textbook formulas, fitted: truth within stated errors, and how often.

    python -m tests.fit_coverage 60

Slits (1 to 8) in white light and in a laser's, wires, holes: random sizes, tone curves of exponent
1.6 to 2.6, noise, turns up to a degree; each search begins up to a factor of two off. Beside it the
same photographs fitted by the textbook formula (one wavelength, no source slit) with scipy, begun
at the truth.
"""

from __future__ import annotations

import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

import wavesim
from tests.drawn_patterns import Camera, disc, save, slits
from wavesim.fitting import PhotographReading, fit

Floats = NDArray[np.float64]

PIXEL = 40e-6
SLIT_IMAGE = 20e-6 / 0.6
KINDS = ("slit, white", "slits, white", "slits, laser", "wires, laser", "hole, laser")


@dataclass(frozen=True)
class Case:
    """A photograph, the scene to begin with, what is free and what is true."""

    kind: str
    scene: wavesim.Scene
    path: Path
    truth: dict[str, float]
    wavelength_m: float
    count: int


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
    )  # fmt: skip
    off = [float(f) for f in 2.0 ** random.uniform(-1, 1, 2)]
    path = folder / f"{number}.{'jpg' if number % 2 else 'png'}"
    laser = f'kind = "laser"\nwavelength = "{wave!r} m"\npower = "1 mW"'
    slit = '\nslit = { width = "20 um", height = "4 mm" }'
    if kind == "hole, laser":
        size = float(random.uniform(0.25e-3, 0.8e-3))
        save(camera.of_plane(disc((200, 220), PIXEL, size, wave), random), path)
        text = scene_text(laser, f'kind = "disc"\ndiameter = "{size * off[0]!r} m"', "8 mm")
        return Case(kind, wavesim.parse(text), path, {"aperture.diameter": size}, wave, 1)
    white = "white" in kind
    count = 1 if kind == "slit, white" else int(random.integers(2, 9))
    width = float(random.uniform(25e-6, 60e-6))
    pitch = width * float(random.uniform(1.6, 3.5))
    x = (np.arange(1400) - 699.5) * PIXEL + float(random.uniform(-2e-3, 2e-3))
    light = slits(x, width_m=width, pitch_m=pitch, count=count, slit_image_m=SLIT_IMAGE,
                  wavelength_m=None if white else wave)  # fmt: skip
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

    def curve(at: Floats, width: float, pitch: float, middle: float, top: float, low: float
              ) -> Floats:  # fmt: skip
        light = slits(at - middle, width_m=width, pitch_m=pitch or 1e-4, count=made.count,
                      wavelength_m=wave)[:, 0]  # fmt: skip
        return np.asarray(low + top * light / made.count**2 / 9 * 3)

    try:
        found, _ = curve_fit(curve, x[used], value[used], start, maxfev=400,
                             x_scale=[1e-6, 1e-6, 1e-4, 1, 0.01], method="trf")  # fmt: skip
    except RuntimeError:
        return {}
    return dict(zip(made.truth, found, strict=False))


def fitted(made: Case) -> dict[str, tuple[float, float]]:
    """Value and standard error of each free key."""
    found = fit(made.scene, [made.path], list(made.truth), reading=PhotographReading(PIXEL))
    return {v.key: (v.value, v.standard_error) for v in found.values}


def main(count: int, tell: Callable[[str], None] = print) -> None:
    """Fit that many photographs and print the table."""
    pulls: dict[str, list[float]] = {kind: [] for kind in KINDS}
    misses: dict[str, list[float]] = {kind: [] for kind in KINDS}
    plain: dict[str, list[float]] = {kind: [] for kind in KINDS}
    failed, begin = 0, time.process_time()
    with tempfile.TemporaryDirectory() as name:
        for number in range(count):
            made = case(number, Path(name))
            values, other = fitted(made), by_formula(made)
            for key, truth in made.truth.items():
                value, error = values[key]
                pulls[made.kind].append((value - truth) / error)
                misses[made.kind].append(abs(value / truth - 1))
                failed += abs(value / truth - 1) > 0.05
                if key in other:
                    plain[made.kind].append(abs(other[key] / truth - 1))
    tell(f"{count} photographs, {failed} values more than 5 % off, "
         f"{(time.process_time() - begin) / count:.1f} s of processor time each")  # fmt: skip
    tell(f"{'kind':14} values  within 1, 2 stated  median miss  largest  by formula: median")
    for kind in KINDS:
        p, m = np.abs(pulls[kind]), np.array(misses[kind])
        formula = f"{np.median(plain[kind]):.2e}" if plain[kind] else "-"
        tell(f"{kind:14} {p.size:6d}  {np.mean(p < 1):6.0%} {np.mean(p < 2):6.0%}       "
             f"{np.median(m):.1e}     {m.max():.1e}  {formula}")  # fmt: skip
    every = np.abs(np.concatenate([np.array(v) for v in pulls.values()]))
    tell(f"all {every.size}: within one stated error {np.mean(every < 1):.0%}, two "
         f"{np.mean(every < 2):.0%}")  # fmt: skip


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 60)
