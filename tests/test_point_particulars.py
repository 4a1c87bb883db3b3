"""What the first sentence of `wavesim point` says of ghosts, broken lines, dark lines and rims.

Positions are the grating equation's, d (sin alpha + sin beta) = m lambda with x = f tan(beta -
axis); a ghost of a small error holds (pi m A / d)^2 of its line (Rowland 1893), the hydrogen line
C is 656.28 nm (Fraunhofer's list, CRC Handbook), a lens of radius R lets rulings within R pass.
"""

from __future__ import annotations

import math

import pytest

import wavesim
from tests.shipped import plate
from wavesim.study.point import explain

PITCH = 1e-3 / 600


def first_sentence(scene: wavesim.Scene | str, x_m: float) -> str:
    exposed = plate(scene) if isinstance(scene, str) else wavesim.expose(scene)
    return explain(exposed, x_m).sentences[0].text


def x_of(sine: float, axis_deg: float, focal_m: float = 1.0) -> float:
    return focal_m * math.tan(math.asin(sine) - math.radians(axis_deg))


def laser(aperture: dict[str, object], nm: float, **bench: object) -> wavesim.Scene:
    """A laser on a small plate about the first order of 600 / mm."""
    axis = math.degrees(math.asin(nm * 1e-9 / PITCH))
    grating = {"kind": "grating", "density": "600 / mm", "count": 6000, "height": "5 mm"}
    return wavesim.Scene(
        source={"kind": "laser", "wavelength": f"{nm} nm",
                "slit": {"width": "10 um", "height": "1 mm"}},
        bench={"collimator": "1 m", "camera": "1 m", "viewing": f"{axis!r} deg", **bench},
        aperture={**grating, "groove": {"profile": "slit"}, **aperture},
        plate={"width": "8 mm", "height": "0.1 mm", "pixel": "10 um"},
        exposure={"over": 8.0},
    )  # fmt: skip


@pytest.mark.parametrize("harmonic", [-1, 1])
def test_a_ghost_is_named_with_its_strength(harmonic: int) -> None:
    error = {"kind": "periodic", "amplitude": "4 nm", "period": 300}
    scene = laser({"defects": [error]}, 546.0)
    axis = math.degrees(math.asin(546e-9 / PITCH))
    text = first_sentence(scene, x_of((1 + harmonic / 300) * 546e-9 / PITCH, axis))
    strength = (math.pi * 4e-9 / PITCH) ** 2  # 5.7e-5
    assert "a ghost of 546.0 nm in order 1 lies here" in text
    stated = float(text.split(f"harmonic {harmonic:+d}; ")[1].split(" of the line")[0])
    assert stated == pytest.approx(strength, rel=0.1)  # two digits; the groove's envelope tilts it
    beside = first_sentence(scene, x_of((1 + harmonic / 200) * 546e-9 / PITCH, axis))
    assert "ghost" not in beside


def test_a_line_that_a_step_breaks_is_told_where_it_belongs() -> None:
    """Half a pitch off, the two halves are opposite in the first order: nothing in its middle."""
    text = first_sentence("grating_step", 0.0)
    assert "order 1 of 532.0 nm would lie here, but errors of the ruling extinguish it" in text


@pytest.mark.slow
def test_a_dark_line_of_the_sun_is_named() -> None:
    found = first_sentence("grating_600", x_of(656.28e-9 / PITCH, 19.3))
    nm = float(found.split("dark line of the Sun at ")[1].split(" nm")[0])
    assert nm == pytest.approx(656.28, abs=0.05)  # the spectrum's step there
    beside = first_sentence("grating_600", x_of(653.2e-9 / PITCH, 19.3))
    assert "dark line" not in beside


def test_the_rim_of_a_lens_is_named_with_what_passes() -> None:
    """A ruling 10 mm wide, a lens of radius 6 mm at 200 mm, light 10 mm aside: 1 mm of it passes.

    The window is the lens's, seen along the light: (-10 +- 6) mm, of +-5 mm; 0.5 m off axis.
    """
    rim = {"camera_lens": {"diameter": "12 mm", "distance": "200 mm"}}
    axis = math.degrees(math.asin(546e-9 / PITCH))
    aside = math.atan(10 / 200)
    scene = laser({}, 546.0, viewing=f"{axis - math.degrees(aside)!r} deg", **rim)
    scene = scene.but(plate__centre="50 mm", exposure__over=0)
    text = first_sentence(scene, math.tan(aside))
    magnification = math.cos(aside) / math.cos(math.radians(axis))
    passing = (5 - 4 * magnification) / 10
    assert (
        f"rim of the camera lens passes the light of {100 * passing:.0f} % of the rulings" in text
    )


@pytest.mark.slow
def test_grooves_that_send_little_are_named() -> None:
    """502 nm in order 1 at an incidence of 10 deg: a surface plasmon takes it (Fano 1941)."""
    sine = 502e-9 * 1200e3 - math.sin(math.radians(10))
    x_m = 0.15 * math.tan(math.asin(sine) - math.radians(29))
    assert "the single groove sends little light there" in first_sentence("anomalies_across", x_m)
    elsewhere = 0.15 * math.tan(math.asin(sine + 60e-9 * 1200e3) - math.radians(29))
    assert "sends little light" not in first_sentence("anomalies_across", elsewhere)


def test_light_between_the_orders_is_not_left_out() -> None:
    """At 9 mm of five slits: order 2 is a quarter of the colour, the rest lies between orders."""
    text = first_sentence("slits_005", 9e-3)
    assert "order 2" in text
    assert "subsidiary maxima between the orders" in text
    assert "alone remains" not in text
