"""Writes the tables of observers (wavesim/light/data) and the dither pattern (colorimetry/data).

Run `python -m tests.generate_observer_tables`. The observers come from colour-science (CIE
tables at 1 nm); the pattern is the void-and-cluster method of R. Ulichney, Proc. SPIE 1913,
332 (1993), with a Gaussian of 1.5 pixels on a torus.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
from numpy.typing import NDArray

PACKAGE = Path(__file__).resolve().parents[1] / "wavesim"
OBSERVERS = {
    "cie1964_10deg": "CIE 1964 10 Degree Standard Observer",
    "cie2015_2deg": "CIE 2015 2 Degree Standard Observer",
    "cie2015_10deg": "CIE 2015 10 Degree Standard Observer",
}
SIZE = 64
SPREAD_PIXELS = 1.5


def observer_table(name: str) -> NDArray[np.float64]:
    """Wavelength [nm] and three functions (471, 4), zero where the CIE gives none."""
    import colour

    curves = colour.MSDS_CMFS[OBSERVERS[name]]
    wavelength = np.arange(360.0, 831.0)
    table = np.zeros((wavelength.size, 4))
    table[:, 0] = wavelength
    rows = np.searchsorted(wavelength, curves.wavelengths)
    inside = (curves.wavelengths >= 360) & (curves.wavelengths <= 830)
    table[rows[inside], 1:] = curves.values[inside]
    return table


def dither_ranks() -> NDArray[np.uint16]:
    """Order 0..4095 in which the pixels of a 64 x 64 tile switch on, evenly spread."""
    offset = np.minimum(np.arange(SIZE), SIZE - np.arange(SIZE))
    near = np.exp(-(offset[:, None] ** 2 + offset**2) / (2 * SPREAD_PIXELS**2))
    count = SIZE * SIZE // 10
    chosen = np.zeros(SIZE * SIZE, dtype=bool)
    chosen[np.random.default_rng(1).permutation(SIZE * SIZE)[:count]] = True
    energy = np.sum([_kernel(near, int(i)) for i in np.flatnonzero(chosen)], axis=0)
    while True:  # even out the first tenth: move the tightest point to the largest void
        tight = _pick(energy, chosen, largest=True)
        chosen[tight], energy = False, energy - _kernel(near, tight)
        void = _pick(energy, ~chosen, largest=False)
        chosen[void], energy = True, energy + _kernel(near, void)
        if void == tight:
            break
    return _ranks(near, chosen, energy, count)


def _ranks(
    near: NDArray[np.float64], chosen: NDArray[np.bool_], energy: NDArray[np.float64], count: int
) -> NDArray[np.uint16]:
    rank = np.zeros(SIZE * SIZE, dtype=np.uint16)
    left, field = chosen.copy(), energy.copy()
    for value in range(count - 1, -1, -1):
        tight = _pick(field, left, largest=True)
        rank[tight], left[tight] = value, False
        field = field - _kernel(near, tight)
    for value in range(count, SIZE * SIZE):
        void = _pick(energy, ~chosen, largest=False)
        rank[void], chosen[void] = value, True
        energy = energy + _kernel(near, void)
    return rank.reshape(SIZE, SIZE)


def _kernel(near: NDArray[np.float64], index: int) -> NDArray[np.float64]:
    return np.roll(near, divmod(int(index), SIZE), axis=(0, 1)).ravel()


def _pick(energy: NDArray[np.float64], among: NDArray[np.bool_], *, largest: bool) -> int:
    masked = np.where(among, np.round(energy, 9), -np.inf if largest else np.inf)
    return int(np.argmax(masked) if largest else np.argmin(masked))


def main() -> None:
    """Write every table."""
    for name in OBSERVERS:
        np.savetxt(
            PACKAGE / "light" / "data" / f"{name}.csv", observer_table(name), fmt="%.10g",
            delimiter=",", header="wavelength_nm,x,y,z", comments="",
        )  # fmt: skip
    np.save(PACKAGE / "colorimetry" / "data" / "dither.npy", dither_ranks())


if __name__ == "__main__":
    main()
