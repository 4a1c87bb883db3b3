"""Angles that follow from a wavelength in an order: a centred line, a blaze.

    d (sin alpha + sin beta) = m lambda;   with included angle 2 K:  m lambda = 2 d sin(turn) cos K

Reflection meets the blaze at alpha + beta = 2 facet angle, transmission where a ray refracted at
the facet leaves along beta: tan(facet angle) = (sin alpha + sin beta) / (n cos alpha' - cos beta).
Wavelengths are those in the bench's own air.
"""

from __future__ import annotations

import math

from wavesim import glass
from wavesim.grating_equation import sine_of_order
from wavesim.scene.aperture import Aperture, Grating, Ruled
from wavesim.scene.bench import Bench, Centre
from wavesim.scene.groove import BlazedGroove
from wavesim.scene.quantities import GRAZING_RAD, show, validation_error

_SAME_RAD = 1e-9  # an angle given beside the wavelength that it follows from


def settled(bench: Bench, aperture: Aperture) -> tuple[Bench, Aperture]:
    """The same with the angles that a centred line and a blaze ask for.

    Raises
    ------
    PydanticCustomError
        There is no such order, or another angle is given besides.
    """
    if bench.centre is not None:
        bench = _centred(bench, bench.centre, aperture)
    if isinstance(aperture, Grating) and isinstance(aperture.groove, BlazedGroove):
        groove = _blazed(aperture, aperture.groove, bench)
        if groove is not aperture.groove:
            aperture = aperture.model_copy(update={"groove": groove})
    return bench, aperture


def _centred(bench: Bench, centre: Centre, aperture: Aperture) -> Bench:
    pitch_m = aperture.mean_pitch_m if isinstance(aperture, Ruled) else None
    if pitch_m is None:
        raise validation_error(
            "needs rulings of one pitch", key="bench.centre", expected="slits, wires or a grating"
        )
    if bench.included_angle_rad is None:
        sine_in = math.sin(bench.incidence_rad)
        angle = _arcsine(
            sine_of_order(centre.order, centre.wavelength_m, pitch_m=pitch_m, sine_in=sine_in),
            centre,
        )
        _agree("bench.viewing", bench.viewing_rad, angle)
        return bench.model_copy(update={"viewing_rad": angle})
    sines = sine_of_order(centre.order, centre.wavelength_m, pitch_m=pitch_m, sine_in=0.0)
    angle = _arcsine(sines / (2 * math.cos(bench.included_angle_rad / 2)), centre)
    _agree("bench.turn", bench.turn_rad, angle)
    turned = bench.model_copy(update={"turn_rad": angle})
    if max(abs(turned.alpha_rad), abs(turned.camera_axis_rad)) >= GRAZING_RAD:
        raise _no_order(centre)
    return turned


def _arcsine(sine: float, centre: Centre) -> float:
    if abs(sine) >= math.sin(GRAZING_RAD):
        raise _no_order(centre)
    return math.asin(sine)


def _no_order(centre: Centre) -> Exception:
    where = f"order {centre.order} of {show(centre.wavelength_m, 'length')}"
    expected = "a lower order, a shorter wavelength or coarser rulings"
    return validation_error(
        f"asks for {where}, which does not propagate", key="bench.centre", expected=expected
    )


def _agree(key: str, given: float | None, follows: float) -> None:
    if given is not None and abs(given - follows) > _SAME_RAD:
        raise validation_error(
            "cannot be combined with centre, from which it follows",
            key=key,
            expected=f"centre, or {key}",
        )


def _blazed(grating: Grating, groove: BlazedGroove, bench: Bench) -> BlazedGroove:
    if groove.blaze_m is None:
        return groove
    alpha = bench.alpha_rad
    sine_out = sine_of_order(
        groove.blaze_order, groove.blaze_m, pitch_m=grating.mean_pitch_m, sine_in=math.sin(alpha)
    )
    if abs(sine_out) >= 1:
        raise validation_error(
            f"asks for order {groove.blaze_order}, which does not propagate in this mounting",
            key="aperture.groove.blaze",
            expected="a shorter wavelength, another incidence, or facet_angle instead",
        )
    beta = math.asin(sine_out)
    if grating.mounting == "reflection":
        angle = (alpha + beta) / 2
    else:
        index = groove.index
        if grating.material in glass.NAMES:
            index = float(glass.index(str(grating.material), groove.blaze_m))
        inside = math.sqrt(index**2 - math.sin(alpha) ** 2)
        angle = math.atan2(math.sin(alpha) + sine_out, inside - math.cos(beta))
    if "facet_angle_rad" in groove.model_fields_set:
        _agree_blaze(groove.facet_angle_rad, angle)
    return groove.model_copy(update={"facet_angle_rad": angle})


def _agree_blaze(given: float, follows: float) -> None:
    if abs(given - follows) > _SAME_RAD:
        raise validation_error(
            "cannot be combined with blaze, from which it follows",
            key="aperture.groove.facet_angle",
            expected="blaze or facet_angle",
        )
