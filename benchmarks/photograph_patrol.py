"""Rough photographs through the command `measure`: what it names wrongly, invents or misses.

python -m benchmarks.photograph_patrol 100 [FIRST]      photographs, first seed

Lamps, the Sun, lasers and fringes of a few slits, drawn by formulas of this file alone: tilted up
to 3 degrees, burnt out up to eight times, uneven, with noise and grain, as JPEG of quality 40 to 95
or TIFF, now and then lying on its side with the turn in its EXIF data, cut off within a line.
Wavelengths as in `benchmarks.photographs`; solar ones and equivalent widths from memory (Moore,
Minnaert and Houtgast 1966, to 1 pm and 10 %), with faint lines strewn among them. A third of the
lamps are measured against the list of another element, and a third against none.
"""

from __future__ import annotations

import json
import math
import sys
import tempfile
from collections import Counter
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from benchmarks.photographs import LAMPS

Floats = np.ndarray

SUN = {  # wavelength in air [nm]: equivalent width [nm]
    393.366: 2.0, 396.847: 1.5, 404.581: 0.117, 410.174: 0.31, 422.674: 0.15, 430.79: 0.2,
    434.047: 0.29, 438.355: 0.10, 440.476: 0.09, 466.81: 0.02, 486.134: 0.37, 495.76: 0.07,
    516.733: 0.10, 517.270: 0.126, 518.362: 0.158, 526.955: 0.05, 532.804: 0.04, 588.995: 0.075,
    589.592: 0.056, 612.222: 0.022, 616.217: 0.022, 656.281: 0.402,
}  # fmt: skip
COLUMNS, ROWS = 1600, 100
KINDS = ("lamp", "lamp", "lamp", "lamp", "sun", "laser", "fringes")


@dataclass(frozen=True)
class Rough:
    """A photograph on disk, how it is measured, and what is true of it.

    Attributes
    ----------
    options : of the command
    wavelength_m, strength : (n,) lines drawn; none for fringes
    within : (n,) whether the photograph holds the whole line
    named : whether the list asked for is that of the source
    width_m : [m] full width of a line, as a wavelength in the middle
    """

    kind: str
    path: Path
    options: tuple[str, ...]
    wavelength_m: Floats
    strength: Floats
    within: Floats
    named: bool
    width_m: float


def rough(seed: int, folder: Path) -> Rough:
    """The photograph of that seed."""
    rng = np.random.default_rng([7, seed])
    kind = KINDS[seed % len(KINDS)]
    if kind == "fringes":
        return _fringes(rng, seed, folder)
    density, focal = float(rng.choice([300e3, 600e3])), float(rng.choice([0.3, 0.6]))
    viewing = math.asin(550e-9 * density)
    wavelength, strength, element = _lines(rng, kind)
    ends = focal * np.tan(np.arcsin(np.array([385e-9, 715e-9]) * density) - viewing)
    pixel = float(np.ptp(ends)) / COLUMNS
    middle = float(ends.mean()) + float(rng.uniform(-0.1, 0.1)) * float(np.ptp(ends))
    x = focal * np.tan(np.arcsin(wavelength * density) - viewing) - middle
    width = float(rng.uniform(2.5, 8.0)) * pixel
    per_m = math.cos(math.asin(550e-9 * density)) / density / focal
    light = _spectrum(rng, x, strength, (pixel, width), per_m if kind == "sun" else 0.0)
    path = _photographed(
        rng,
        light,
        folder / str(seed),
        (0.9 if kind == "sun" else 8.0) * float(rng.uniform(0.1, 1.0)),
    )
    options = ("--pixel", f"{pixel!r} m", "--pitch", f"{1 / density!r} m", "--camera",
               f"{focal!r} m", "--viewing", f"{math.degrees(viewing)!r} deg", "--left",
               f"{middle - COLUMNS / 2 * pixel!r} m", "--distortion-error", "0")  # fmt: skip
    asked = element if kind != "lamp" else str(rng.choice([element, "none", _other(rng, element)]))
    within = np.abs(x) < (COLUMNS / 2 - 2) * pixel - 2 * width
    return Rough(kind, path, (*options, "--element", asked), wavelength, strength, within,
                 asked == element, width * per_m)  # fmt: skip


def _other(rng: np.random.Generator, element: str) -> str:
    return str(rng.choice([name for name in LAMPS if name != element]))


def _lines(rng: np.random.Generator, kind: str) -> tuple[Floats, Floats, str]:
    if kind == "laser":
        return np.array([float(rng.uniform(420e-9, 690e-9))]), np.ones(1), "none"
    if kind == "sun":
        strewn = rng.uniform(385, 700, 300)
        faint = np.exp(rng.uniform(math.log(1e-3), math.log(1e-2), 300))
        return (1e-9 * np.append(list(SUN), strewn), 1e-9 * np.append(list(SUN.values()), faint),
                "sun")  # fmt: skip
    element = str(rng.choice(list(LAMPS)))
    lamp = LAMPS[element]
    strength = np.array(list(lamp.values()), dtype=np.float64)
    return 1e-9 * np.array(list(lamp)), strength / strength.max(), element


def _tilted(rng: np.random.Generator) -> Floats:
    """(ROWS, COLUMNS) place across the lines [pixels from the middle]."""
    tilt = math.radians(float(rng.uniform(-3.0, 3.0)))
    row, column = np.arange(ROWS) - (ROWS - 1) / 2, np.arange(COLUMNS) - (COLUMNS - 1) / 2
    return column[None, :] * math.cos(tilt) + row[:, None] * math.sin(tilt)


def _spectrum(
    rng: np.random.Generator, x: Floats, strength: Floats, scale: tuple[float, float], per_m: float
) -> Floats:
    """Linear light: bright lines; dark ones of their equivalent widths where `per_m` is given."""
    pixel, width = scale
    off = _tilted(rng) * pixel
    sigma = width / 2.355
    light = np.full(off.shape, 1.0 if per_m else 0.004)
    depth = np.zeros(off.shape)
    for position, size in zip(x, strength, strict=True):
        near = np.abs(off - position) < 12 * sigma
        broad = math.hypot(sigma, 0.3 * size / per_m) if per_m else sigma
        height = size / per_m / (math.sqrt(2 * math.pi) * broad) if per_m else size
        depth[near] += height * np.exp(-(((off[near] - position) / broad) ** 2) / 2)
    return np.asarray(light * np.exp(-depth) if per_m else light + depth)


def _fringes(rng: np.random.Generator, seed: int, folder: Path) -> Rough:
    """Two to six slits in white light or a laser's: nothing on it is a line."""
    count, width = int(rng.integers(2, 7)), float(rng.uniform(20e-6, 50e-6))
    pitch, white = width * float(rng.uniform(1.8, 3.5)), bool(rng.integers(0, 2))
    sine = _tilted(rng) * 20e-6
    wavelengths = np.linspace(430e-9, 650e-9, 60) if white else [float(rng.uniform(450e-9, 650e-9))]
    light = np.zeros(sine.shape)
    for wave in wavelengths:
        phase = np.pi * pitch * sine / wave
        within = np.where(np.abs(np.sin(phase)) < 1e-9, 1.0, np.sin(phase))
        comb = np.where(within == 1.0, count, np.sin(count * phase) / within)
        light += (np.sinc(width * sine / wave) * comb / count) ** 2 / len(wavelengths)
    path = _photographed(rng, light + 0.004, folder / str(seed), float(rng.uniform(0.7, 3.0)))
    asked = str(rng.choice(["none", "Hg", "Ne"]))
    options = ("--pixel", "20 um", "--pitch", f"{pitch!r} m", "--camera", "1 m", "--element", asked)
    return Rough(
        "fringes", path, options, np.zeros(0), np.zeros(0), np.zeros(0, dtype=bool), False, 0.0
    )


def _photographed(rng: np.random.Generator, light: Floats, stem: Path, exposure: float) -> Path:
    """Uneven light, shot noise, grain, clipping, the sRGB curve, JPEG or TIFF, perhaps turned."""
    from PIL import Image
    from scipy.ndimage import gaussian_filter

    noise = float(np.exp(rng.uniform(math.log(0.2), math.log(3.0))))
    row = np.linspace(-1, 1, light.shape[0])[:, None]
    value = light * exposure * (1 + 0.15 * np.cos(1.5 * row + rng.uniform(-1, 1)))
    value += noise * 0.01 * np.sqrt(value) * rng.normal(size=value.shape)
    grain = gaussian_filter(rng.normal(size=value.shape), float(rng.uniform(0.4, 1.2)))
    value *= 1 + noise * 0.03 * grain / grain.std()
    value = np.clip(value + noise * 1e-3 * rng.normal(size=value.shape), 0, 1)
    curve = np.where(value <= 0.0031308, 12.92 * value, 1.055 * value ** (1 / 2.4) - 0.055)
    if rng.random() < 0.3:
        import tifffile

        tifffile.imwrite(stem.with_suffix(".tif"), np.round(curve * 65535).astype(np.uint16))
        return stem.with_suffix(".tif")
    image, exif = Image.fromarray(np.round(curve * 255).astype(np.uint8)), Image.Exif()
    if rng.random() < 0.2:
        image, exif[0x0112] = image.transpose(Image.Transpose.ROTATE_90), 6
    image.convert("RGB").save(
        stem.with_suffix(".jpg"), quality=int(rng.integers(40, 96)), exif=exif
    )
    return stem.with_suffix(".jpg")


def measured(picture: Rough) -> tuple[dict[str, Any] | None, str]:
    """What the command prints as JSON, and its message where it refuses."""
    from click.testing import CliRunner

    from wavesim.cli.measure import command

    done = CliRunner().invoke(command, [str(picture.path), *picture.options, "--json"])
    if done.exit_code:
        return None, str(done.exception or done.output)
    return json.loads(done.stdout), ""


def faults(picture: Rough, found: dict[str, Any]) -> list[tuple[str, str]]:
    """What is wrong with a measurement: (which, in words)."""
    lines = [row for row in found["lines"] if row["kind"] == "line" and row["wavelength_m"]]
    if picture.kind == "fringes":
        return [("named where no line is", row["name"]) for row in found["lines"] if row["name"]]
    out = []
    for row in lines:
        wave, width = row["wavelength_m"], picture.width_m
        text = f"{wave * 1e9:.4f} +- {row['uncertainty_m'] * 1e9:.4f} {row['name']}"
        text += f" height {row['height']:.3g}{' clipped' * row['saturated']}"
        near = np.flatnonzero(np.abs(picture.wavelength_m - wave) < 0.9 * width)
        if near.size == 0:
            out += [("invented", text)] if picture.kind != "sun" else []
            continue
        k = int(near[np.argmax(picture.strength[near])])
        true, text = picture.wavelength_m[k], f"{text}: true {picture.wavelength_m[k] * 1e9:.4f}"
        if row["name"] and not _named_correctly(picture, row, near):
            out.append(("wrongly named", text))
        beside = picture.strength[np.abs(picture.wavelength_m - true) < 4 * width]
        alone = (beside > 0.05 * picture.strength[k]).sum() == 1
        if alone and abs(wave - true) > 3 * row["uncertainty_m"]:
            out.append(("beyond 3 stated", text))
    return out + _missed(picture, [row["wavelength_m"] for row in lines])


def _named_correctly(picture: Rough, row: dict[str, Any], near: Floats) -> bool:
    """Whether a name is that of a strong line there, or lies where no measurement excludes it."""
    number = float(row["name"].rstrip(")").split()[-1]) * 1e-9
    strong = near[picture.strength[near] > 0.3 * picture.strength[near].max()]
    listed = picture.named and bool((np.abs(picture.wavelength_m[strong] - number) < 0.2e-9).any())
    return listed or abs(row["listed_m"] - row["wavelength_m"]) < 2 * row["uncertainty_m"]


def _missed(picture: Rough, found: list[float]) -> list[tuple[str, str]]:
    """Lines of a twentieth of the strongest and more that stand alone and were not found."""
    out = []
    least = 0.05 if picture.kind != "sun" else 0.05e-9 / max(float(picture.strength.max()), 1e-300)
    lines = zip(picture.wavelength_m, picture.strength, picture.within, strict=True)
    for wave, size, whole in lines:
        beside = np.abs(picture.wavelength_m - wave) < 4 * picture.width_m
        crowded = (picture.strength[beside] > 0.1 * size).sum() > 1
        if crowded or not whole or size < least * picture.strength.max():
            continue
        if not found or np.abs(np.array(found) - wave).min() > picture.width_m:
            out.append(("missed", f"{wave * 1e9:.4f} of {size:.3g}"))
    return out


def main(count: int, first: int) -> None:
    """Every fault, then how many of which kind."""
    tally: Counter[tuple[str, str]] = Counter()
    lines: Counter[str] = Counter()
    with tempfile.TemporaryDirectory() as folder:
        for seed in range(first, first + count):
            picture = rough(seed, Path(folder))
            found, refused = measured(picture)
            found_faults = [("refused", refused)] if found is None else faults(picture, found)
            lines[picture.kind] += picture.wavelength_m.size
            for which, text in found_faults:
                tally[picture.kind, which] += 1
                print(f"{seed} {picture.kind} {picture.path.suffix} {which}: {text}")
            picture.path.unlink()
    print(f"{count} photographs, seeds {first} on; lines drawn: {dict(lines)}")
    for (kind, which), number in sorted(tally.items()):
        print(f"{kind:8} {which:22} {number}")


if __name__ == "__main__":
    main(*(int(text) for text in (*sys.argv[1:], *("70", "0")[len(sys.argv) - 1 :])))
