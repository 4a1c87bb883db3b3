"""Stated uncertainties of lines on photographs by an independent renderer, against their misses.

"noise" counts the misses of lines that stand alone in the statistical part alone, which here is
all there is: the renderer's pixels are alike and nothing hides beside such lines, so that the whole
uncertainty, which allows for both, is too large for them. It is meant for close lines.

python -m benchmarks.photograph_coverage 60 [FIRST]      photographs of each kind, first seed

A line stands alone where no other of more than 2 % is within 3 widths; else it is close. A line's
true place is that of the strongest one within 0.75 of a width; of the nearest one where several
were told apart there.
"""

from __future__ import annotations

import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from benchmarks.photographs import Photograph, photograph
from wavesim.measuring import Instrument, Measurement, Scan, Task, measure

_TOLD = 1.5  # widths within which other lines found count as told apart


@dataclass(frozen=True)
class Judged:
    """Misses over stated uncertainties, of lines that stand alone and of those close to others.

    `noise` has those of lines alone over the statistical part of the uncertainty.
    """

    noise: np.ndarray
    alone: np.ndarray
    close: np.ndarray


def measured(picture: Photograph, folder: Path) -> Measurement:
    """The picture as a TIFF file, measured with the bench that is known and no line told."""
    import tifffile

    path = folder / "photograph.tif"
    tifffile.imwrite(path, picture.encoded)
    known = Instrument(picture.pitch_m, picture.focal_m, viewing_rad=picture.viewing_rad)
    return measure(path, Task(), instrument=known, scan=Scan(picture.pixel_m))


def compared(seeds: range, folder: Path, **options: float) -> Judged:
    """All lines of photographs of these seeds."""
    noise: list[float] = []
    alone: list[float] = []
    close: list[float] = []
    for seed in seeds:
        picture = photograph(seed, **options)  # type: ignore[arg-type]
        lines = measured(picture, folder).lines
        x = np.array([line.x_m for line in lines])
        for line in lines:
            apart = np.abs(picture.x_m - line.x_m)
            near = np.flatnonzero(apart < 0.75 * picture.width_m)
            if near.size == 0 or not (line.wavelength_m and line.uncertainty_m and line.u_noise_m):
                continue
            several = np.count_nonzero(np.abs(x - line.x_m) < _TOLD * picture.width_m) > 1
            weight = -apart[near] if several else picture.strength[near]
            k = int(near[np.argmax(weight)])
            beside = np.abs(picture.x_m - picture.x_m[k]) < 3 * picture.width_m
            beside &= picture.strength > 0.02 * picture.strength[k]
            miss = float(line.wavelength_m - picture.wavelength_m[k])
            (close if beside.sum() > 1 else alone).append(miss / line.uncertainty_m)
            if beside.sum() == 1:
                noise.append(miss / line.u_noise_m)
    return Judged(np.array(noise), np.array(alone), np.array(close))


def main(count: int, first: int) -> None:
    """One row for each kind of photograph and line."""
    kinds: dict[str, dict[str, float]] = {
        "no noise": {"noise": 0.0}, "grain": {}, "three times the grain": {"noise": 3.0},
        "close neighbours": {"neighbours": True}, "the same, no noise": {"neighbours": True,
                                                                        "noise": 0.0},
        "the same, strong grain": {"neighbours": True, "noise": 3.0},
    }  # fmt: skip
    with tempfile.TemporaryDirectory() as folder:
        for name, options in kinds.items():
            found = compared(range(first, first + count), Path(folder), **options)
            for which in ("noise", "alone", "close"):
                ratio = np.abs(getattr(found, which))
                if ratio.size:
                    print(
                        f"{name:22} {which:6} {ratio.size:5} lines  within 1: "
                        f"{np.mean(ratio < 1):.1%}  2: {np.mean(ratio < 2):.1%}  3: "
                        f"{np.mean(ratio < 3):.1%}  largest {ratio.max():.1f}"
                    )


if __name__ == "__main__":
    main(*(int(text) for text in (*sys.argv[1:], *("30", "0")[len(sys.argv) - 1 :])))
