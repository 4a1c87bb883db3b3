"""How long a plate in two dimensions takes, told before it is begun.

Costs are nanoseconds of one core, as measured. Of eleven random patterns that took half a second or
more, eight took 0.4 to 2 times the sum; pictures and round sources were far off (7, 15 and 0.3
times as long estimated as used), and their terms were changed since.
"""

from __future__ import annotations

import math

from wavesim.aperture.plane import Group, PlaneAperture
from wavesim.aperture.plane import elements as el
from wavesim.diffraction.planar import SamplingPlan
from wavesim.plate.duration import require_time
from wavesim.plate.plane.frame import Frame
from wavesim.plate.plane.source import Extent

_ELEMENT_NS = 60.0  # of an element's amplitude at a sample, two of a ring
_CORNER_NS = 70.0  # of a polygon's, for each corner
_POSITION_NS = 1.5  # of a sample and a position where these are few: a product of thin matrices
_SPREAD_NS = 250.0  # of a position where they are many: a non-uniform FFT
_FEW = 100  # positions
_FFT_NS = 90.0  # of a sample of a transform in two dimensions, all that is done with it included
_SUM_NS = 15.0  # of a sample that is squared and summed up
_READ_NS = 6.0  # of a cell at a wavelength
_CELL_NS = 3.0  # of a cell at a wavelength for each channel, where wavelengths come one by one
_PUT_NS = 60.0  # of a cell that is put into pixels
_BLUR_NS = 100.0  # of a cell and a channel that are blurred by a source, its margin included
_STRIP_NS = 100.0  # of a cell of a strip of a round source
_CHANNELS = 4


def table_s(aperture: PlaneAperture, plan: SamplingPlan) -> float:
    """Time to sample an aperture's far field once and sum it up [s]."""
    if aperture.lattice is not None:
        high, wide = (plan.cells * n for n in aperture.lattice.amplitude.shape)
        u0, u1 = plan.reach[:2]
        read = min(wide, plan.cells * aperture.size_m[0] * (u1 - u0))  # columns of the transform
        return 1e-9 * float((high / plan.cells * wide + high * read) * _FFT_NS / 2
                       + plan.samples * _SUM_NS)  # fmt: skip
    return spectrum_s(aperture, plan.samples) + 1e-9 * plan.samples * _SUM_NS


def spectrum_s(aperture: PlaneAperture, samples: float) -> float:
    """Time to compute the amplitude of elements at so many frequencies [s]."""
    return 1e-9 * sum(_group_ns(group, samples) for group in aperture.groups)


def exact_s(aperture: PlaneAperture, directions: float, samples: float) -> float:
    """Time to propagate one wavelength, plane wave by plane wave [s]."""
    return spectrum_s(aperture, directions) + 1e-9 * samples * (_FFT_NS + _SUM_NS)


def frame_s(frame: Frame, wavelengths: int, *, one_by_one: bool, source: Extent) -> float:
    """Time to gather light in a frame's cells and to put it into pixels [s]."""
    cells = (frame.p.size - 1.0) * (frame.q.size - 1)
    each = _READ_NS + (_CHANNELS * _CELL_NS if one_by_one else 0.0)
    return 1e-9 * cells * (wavelengths * each + _PUT_NS) + _blur_s(frame, source)


def _blur_s(frame: Frame, source: Extent) -> float:
    """Time to blur a frame by a source [s]."""
    if not source.area:
        return 0.0
    a, b = (h / c for h, c in zip(source.half, frame.cell, strict=True))
    padded = (frame.p.size + 2 * a) * (frame.q.size + 2 * b)
    strips = 16 * b if source.round else 0.0
    return 1e-9 * (padded * _CHANNELS * _BLUR_NS + strips * 2 * a * _STRIP_NS)


def require_soon(seconds: float) -> None:
    """Refuse a plate that would take too long. Raises as `require_time`."""
    require_time(
        seconds,
        what="for this aperture",
        expected="a smaller aperture or fewer elements, a smaller plate, larger pixels, a narrower "
        "band, or a plate nearer to the focus",
    )


def _group_ns(group: Group, samples: float) -> float:
    element, count = group.element, group.x_m.size
    corners = len(element.corners_m) if isinstance(element, el.PolygonElement) else 0
    ring = isinstance(element, el.AnnulusElement)
    each = corners * _CORNER_NS or _ELEMENT_NS * (2 if ring else 1)
    if count <= _FEW:
        return samples * (each + count * _POSITION_NS)
    blocks = max(1, math.ceil(samples / (1 << 21)))
    return samples * (each + _FFT_NS) + count * blocks * _SPREAD_NS
