"""Blazed metal by the coordinate-transformation method and by finite elements: a table.

    python -m tests.groove_pairs [cases]

Random facets, backs, metals, wavelengths and angles from a fixed seed; for each polarisation the
largest difference of any order, as a fraction of the incident power.
"""

from __future__ import annotations

import math
import sys

import numpy as np

from tests.groove_elements import ORDERS, Echelette, reflected
from wavesim.grooves import Blazed, Surface, constant, efficiencies

SEED = 1980
_PITCH_M = 1e-6


def cases(count: int) -> list[Echelette]:
    """Blazed metal gratings at pitches of 0.8 to 2.5 wavelengths."""
    random = np.random.default_rng(SEED)
    return [
        Echelette(
            facet=math.radians(random.uniform(8, 35)),
            back=math.radians(random.uniform(45, 85)),
            index=complex(random.uniform(0.2, 2.5), random.uniform(3, 8)),
            wavelength=random.uniform(0.4, 1.25),
            sine=random.uniform(-0.6, 0.6),
        )
        for _ in range(count)
    ]


def apart(case: Echelette, *, tolerance: float, levels: int, degree: int) -> tuple[float, float]:
    """Largest difference of any order, E along and E across the grooves."""
    profile = Blazed(case.facet, case.back, _PITCH_M)
    surface = Surface(profile, _PITCH_M, constant(case.index))
    found = efficiencies(
        surface, np.array([case.wavelength * _PITCH_M]), case.sine, tolerance=tolerance
    )
    worst: list[float] = []
    for field in (0, 1):
        other = reflected(case, across=field == 1, levels=levels, degree=degree)
        worst.append(
            max(abs(found.reflected[field, 0, found.index(m)] - other[ORDERS - m])
                for m in found.order)
        )  # fmt: skip
    return worst[0], worst[1]


def main() -> None:
    """Print the table."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 20
    print("facet deg  back deg  index          wavelength/pitch  sin alpha    along   across")
    worst: list[float] = []
    for case in cases(count):
        both = apart(case, tolerance=1e-6, levels=6, degree=8)
        worst += both
        print(
            f"{math.degrees(case.facet):9.2f} {math.degrees(case.back):9.2f}  "
            f"{case.index:<13.3f} {case.wavelength:17.4f} {case.sine:10.4f} "
            f"{both[0]:8.1e} {both[1]:8.1e}",
            flush=True,
        )
    values = np.array(worst)
    print(
        f"{values.size} differences: largest {values.max():.1e}, median {np.median(values):.1e}, "
        f"{int(np.sum(values < 1e-6))} below 1e-6"
    )


if __name__ == "__main__":
    main()
