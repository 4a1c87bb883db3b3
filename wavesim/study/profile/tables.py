"""Writing a line profile, and the ghosts found in it, as CSV."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from wavesim.files import replacing
from wavesim.scene import Scene
from wavesim.study.profile import LineProfile
from wavesim.study.ruling import ruling

GHOST_COLUMNS = ("order", "offset [orders]", "offset error [orders]", "strength", "strength error")


def write_profile(scene: Scene, found: LineProfile, path: Path) -> None:
    """Order, apparent wavelength [nm], position [mm] and strength over the peak."""
    ruled = ruling(scene)
    x = ruled.x_m(ruled.sine_out(found.mu, found.wavelength_m))
    wavelength = found.wavelength_m * found.mu / (found.order or np.nan)
    columns = np.column_stack([found.mu, wavelength * 1e9, x * 1e3, found.level])
    header = "order, wavelength [nm], x [mm], level"
    with replacing(path) as temporary:
        np.savetxt(temporary, columns, "%.12g", ", ", header=header, comments="")


def write_ghosts(found: LineProfile, path: Path) -> None:
    """The ghosts found, one a line, as the diagnosis reads them."""
    rows = [", ".join(GHOST_COLUMNS)]
    for pair in found.ghosts:
        ghost = pair.found
        rows.append(
            f"{found.order}, {ghost.mu - found.order:.10g}, {ghost.mu_error:.3g}, "
            f"{ghost.strength:.8g}, {ghost.strength_error:.3g}"
        )
    with replacing(path) as temporary:
        temporary.write_text("\n".join(rows) + "\n", encoding="utf-8")
