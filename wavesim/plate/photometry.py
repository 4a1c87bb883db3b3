"""From light at wavelength nodes to irradiance, XYZ and the time of exposure."""

from __future__ import annotations

import numpy as np

from wavesim.arrays import Floats
from wavesim.constants import LUMINOUS_EFFICACY_LM_W, SATURATION_EXPOSURE_LX_S
from wavesim.errors import LimitError
from wavesim.light import Recorder
from wavesim.light.observer import colour_matching
from wavesim.scene import Exposure


def sensitivities(node_m: Floats, recorder: Recorder | None = None) -> Floats:
    """(k, 4) at each node: X, Y, Z [lm/W] and 1 for the irradiance; (k, 7) with a recorder's three.

    The 1 nm table of CIE 1931 is read as straight between its wavelengths, so light shared
    between the two nearest whole nanometres is weighted exactly.
    """
    observer = LUMINOUS_EFFICACY_LM_W * colour_matching(node_m)
    unity = np.ones_like(node_m)
    if recorder is None:
        return np.column_stack([observer, unity])
    return np.column_stack([observer, unity, LUMINOUS_EFFICACY_LM_W * recorder.at(node_m)])


def exposure_time(exposure: Exposure, brightest_lx: float) -> float:
    """Time [s]: as given, or such that the brightest pixel is white, `over` stops beyond.

    t = 2^over (78 / speed) / E  with E the brightest pixel's illuminance (ISO 12232 saturation).

    Raises
    ------
    LimitError
        No visible light reaches the plate, so no time would expose it.
    """
    if exposure.time_s is not None:
        return exposure.time_s
    if not brightest_lx > 0:
        raise LimitError(
            "no visible light reaches the plate, so no exposure time can be found",
            key="exposure.time",
            expected='a time such as "1/30 s", or a plate where the light arrives',
        )
    white = SATURATION_EXPOSURE_LX_S / exposure.speed
    return float(2.0**exposure.over * white / brightest_lx)
