"""How well a plate in two dimensions is known: parts of it computed again, more finely.

Small windows of pixels (the brightest, the steepest, the most curved, some spread over the plate)
are computed once more with twice the wavelengths and with cells so fine that all fringes are
resolved. What they miss the plate by, with a margin for the pixels that were not looked at, is
the error that the plate states.
"""

from __future__ import annotations

import numpy as np

from wavesim.arrays import Floats
from wavesim.plate.geometry import Geometry
from wavesim.plate.plane.direct import Direct, window_of
from wavesim.plate.plane.frame import Fineness, frame_of, to_pixels, wanted_fineness
from wavesim.plate.plane.gathering import Gathering
from wavesim.plate.plane.source import Extent, blurred
from wavesim.plate.plane.wavelengths import Wavelengths

_SIDE = 2  # pixels of a window
_MARGIN = 3.0  # over what was found
FLOOR = 3e-5  # measured: random plates against quadrature (tests/test_plane_accuracy.py)
UNKNOWN = 0.05  # where even one window would take too long
_READINGS = 1e8  # cells times wavelengths of all windows: a third of a second
_LEAST = 5e7  # of a single one, up to which all its fringes are resolved


def measured_error(
    light: Floats,
    geometry: Geometry,
    source: Extent,
    size_m: tuple[float, float],
    shortest_m: float,
    gathering: Gathering,
    wavelengths: Wavelengths,
    used: Fineness,
    direct: Direct | None,
) -> float:
    """Error of a pixel by bins, cells, blur and frame, of the brightest pixel.

    Parameters
    ----------
    light : (ny, nx, c) of the plate's pixels
    wavelengths : twice as many as the plate was computed with
    used : cells to a pixel of the plate; where windows cannot be much finer, they are half as
        fine instead, which errs by more than the plate does
    direct : pixels that were computed with more cells
    """
    brightest = light.max(axis=(0, 1))
    brightest[:3] = brightest[:3].max()
    brightest[4:] = brightest[4:].max(initial=0.0)
    brightest[brightest <= 0] = np.inf
    wanted = wanted_fineness(geometry, size_m, shortest_m)
    worst, weight = 0.0, wavelengths.weights()
    for group in _told_apart(light[:, :, 3], direct):
        spent, looked = 0.0, 0
        for rows, columns in group:
            part = window_of(geometry, rows, columns)
            inside = direct is not None and direct.holds(rows, columns)
            plate_fineness = direct.fine if direct is not None and inside else used
            fine = _fineness(part, source, wanted, wavelengths.power.size, plate_fineness)
            if fine is None:
                return max(UNKNOWN, _MARGIN * worst)
            frame = frame_of(part, source.reach, fine)
            spent += (frame.p.size - 1.0) * (frame.q.size - 1) * wavelengths.power.size
            if looked and spent > _READINGS:
                break
            again = to_pixels(
                blurred(gathering.cells(frame, wavelengths.bench_m, weight), frame, source),
                frame,
                part,
            )
            wrong = np.abs(again - light[rows, columns]) / brightest
            worst, looked = max(worst, float(wrong.max())), looked + 1
    return max(FLOOR, _MARGIN * worst)


def _told_apart(light: Floats, direct: Direct | None) -> list[list[tuple[slice, slice]]]:
    """Windows of the plate; of its direct image (its steepest first) and of the rest, if any."""
    if direct is None:
        return [windows(light)]
    rest = light.copy()
    rest[direct.rows, direct.columns] = 0.0
    outside = [w for w in windows(rest) if not direct.meets(*w)]
    brightest, *others = windows(light)
    within = [w for w in (*others, brightest) if direct.holds(*w)]
    return [within, outside]


def _fineness(
    geometry: Geometry, source: Extent, wanted: Fineness, wavelengths: int, used: Fineness
) -> Fineness | None:
    """Cells to a pixel for a window: finer than the plate's, or half as fine; None: neither."""
    fine = _affordable(geometry, source, wanted, wavelengths)
    if fine and any(f < min(w, 2 * u) for f, w, u in zip(fine, wanted, used, strict=True)):
        return (used[0] // 2, used[1] // 2) if min(used) >= 4 else None
    return fine


def _affordable(
    geometry: Geometry, source: Extent, wanted: Fineness, wavelengths: int
) -> Fineness | None:
    """Even numbers of cells to a pixel, of one window; None where two are too many already."""
    fine = [2 * -(-k // 2) for k in wanted]
    while True:
        frame = frame_of(geometry, source.reach, (fine[0], fine[1]))
        if (frame.p.size - 1.0) * (frame.q.size - 1) * wavelengths <= _LEAST:
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
