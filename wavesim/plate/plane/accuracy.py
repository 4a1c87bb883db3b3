"""How well a plate in two dimensions is known: parts of it computed again, more finely.

Small windows of pixels (the brightest, the steepest, the most curved, some spread over the plate)
are computed once more with twice the wavelengths and with cells so fine that all fringes are
resolved. What they miss the plate by, with a margin for the pixels that were not looked at, is
the error that the plate states.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from wavesim.aperture.elements import Floats
from wavesim.plate.geometry import Geometry
from wavesim.plate.plane.frame import Fineness, Frame, frame, to_pixels, wanted_fineness
from wavesim.plate.plane.source import Extent, blurred

_SIDE = 2  # pixels of a window
_MARGIN = 3.0  # over what was found
FLOOR = 3e-5  # measured: random plates against quadrature (tests/test_plane_accuracy.py)
UNKNOWN = 0.05  # where even one window would take too long
_READINGS = 1e8  # cells times wavelengths of all windows: a third of a second
_LEAST = 5e7  # of a single one, up to which all its fringes are resolved

Swept = Callable[[Frame], Floats]  # cells (nq, np, 4) of a frame, with twice the wavelengths


def measured_error(
    seen: Floats,
    place: Geometry,
    source: Extent,
    size_m: tuple[float, float],
    shortest_m: float,
    swept: Swept,
    waves: int,
    used: Fineness,
) -> float:
    """Error of a pixel by bins, cells, blur and frame, of the brightest pixel.

    Parameters
    ----------
    seen : (ny, nx, 4) light of the plate's pixels
    swept : what makes a frame's cells
    waves : wavelengths that it takes
    used : cells to a pixel of the plate; where windows cannot be much finer, they are half as
        fine instead, which errs by more than the plate does
    """
    brightest = seen.max(axis=(0, 1))
    brightest[:3] = brightest[:3].max()
    brightest[brightest <= 0] = np.inf
    worst, spent, looked = 0.0, 0.0, 0
    for rows, columns in windows(seen[:, :, 3]):
        y = place.y_edges_m[rows.start : rows.stop + 1]
        x = place.x_edges_m[columns.start : columns.stop + 1]
        part = replace(place, x_edges_m=x, y_edges_m=y)
        wanted = wanted_fineness(place, size_m, shortest_m)
        fine = _affordable(part, source, wanted, waves)
        if fine and any(f < min(w, 2 * u) for f, w, u in zip(fine, wanted, used, strict=True)):
            fine = (used[0] // 2, used[1] // 2) if min(used) >= 4 else None
        if fine is None:
            return max(UNKNOWN, _MARGIN * worst)
        on = frame(part, source.reach, fine)
        spent += (on.p.size - 1.0) * (on.q.size - 1) * waves
        if looked and spent > _READINGS:
            break
        light = to_pixels(blurred(swept(on), on, source), on, part)
        wrong = np.abs(light - seen[rows, columns]) / brightest
        worst, looked = max(worst, float(wrong.max())), looked + 1
    return max(FLOOR, _MARGIN * worst)


def _affordable(place: Geometry, source: Extent, wanted: Fineness, waves: int) -> Fineness | None:
    """Even numbers of cells to a pixel, of one window; None where two are too many already."""
    fine = [2 * -(-k // 2) for k in wanted]
    while True:
        on = frame(place, source.reach, (fine[0], fine[1]))
        if (on.p.size - 1.0) * (on.q.size - 1) * waves <= _LEAST:
            return fine[0], fine[1]
        if max(fine) <= 2:
            return None
        longer = 0 if fine[0] >= fine[1] else 1
        fine[longer] = max(2, 2 * (fine[longer] // 3))


def windows(light: Floats) -> list[tuple[slice, slice]]:
    """Rows and columns of the windows, the most telling first."""
    ny, nx = light.shape
    found = [int(light.argmax())]
    for axis, size in ((1, nx), (0, ny)):
        for order in (1, 2):
            if size > order:
                bend = np.abs(np.diff(light, order, axis=axis))
                j, i = np.unravel_index(int(bend.argmax()), bend.shape)
                found.append(int(j) * nx + int(i))
    found += [0, nx - 1, (ny // 3) * nx + nx // 3, (ny // 2) * nx + (2 * nx) // 3]
    out = []
    for k in dict.fromkeys(found):
        j, i = divmod(k, nx)
        high, wide = min(_SIDE, ny), min(_SIDE, nx)
        j, i = min(j, ny - high), min(i, nx - wide)
        out.append((slice(j, j + high), slice(i, i + wide)))
    return out
