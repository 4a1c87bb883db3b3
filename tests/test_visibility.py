"""What an exposure shows and burns out, against the N-slit formula and the film standards."""

from __future__ import annotations

import math
from functools import cache

import numpy as np
import pytest

from tests.bench import scene
from wavesim.errors import InputError
from wavesim.lightpath import ExposedPlate, expose
from wavesim.study.brackets import bracket
from wavesim.study.formulas import interference_factor
from wavesim.study.visibility import Maximum, Visibility, visibility

GREEN = 'kind = "band"\ncentre = "550 nm"\nwidth = "0.1 nm"'  # a point, all of one wavelength
WHITE = 'kind = "blackbody"\ntemperature = "5800 K"'
SLITS = 'kind = "slits"\ncount = {}\nwidth = "{}"\npitch = "90 um"'
PLATE = 'width = "40 mm"\nheight = "20 um"\npixel = "20 um"'


@cache
def plate(
    count: int, width: str = "40 um", source: str = GREEN, exposure: str = ""
) -> ExposedPlate:
    return expose(
        scene(source=source, aperture=SLITS.format(count, width), plate=PLATE, exposure=exposure)
    )


def order(found: Visibility, number: int) -> Maximum:
    return next(maximum for maximum in found.orders if maximum.order == number)


def relative(found: Visibility, maximum: Maximum) -> float:
    """Height of a maximum over that of order 0."""
    return maximum.exposure_lx_s / order(found, 0).exposure_lx_s


# --- heights ------------------------------------------------------------------------------------


def pattern(count: int, width: float) -> tuple[np.ndarray, np.ndarray]:
    """mu and the textbook's pattern of N slits; Born & Wolf 8.6.1."""
    mu = np.linspace(0, 3.5, 350_001)
    return mu, np.sinc(width / 90 * mu) ** 2 * interference_factor(mu, count)


@pytest.mark.parametrize("count", [3, 5, 9])
def test_subsidiary_maxima_have_the_textbook_s_heights(count: int) -> None:
    found = visibility(plate(count))
    mu, level = pattern(count, 40)
    between = [maximum for maximum in found.subsidiary if maximum.order == 0]
    assert [maximum.number for maximum in between] == list(range(1, count - 1))  # N - 2 of them
    for maximum in between:
        cell = (mu >= maximum.number / count) & (mu <= (maximum.number + 1) / count)
        # 1 %: a pixel of 20 um averages over the top of a maximum 0.6 mm wide, which costs 3e-4,
        # and the two pixels at a cell's ends are dealt to one side whole
        assert relative(found, maximum) == pytest.approx(level[cell].max(), rel=0.01)


@pytest.mark.parametrize("width", [20.0, 40.0])
def test_orders_have_the_envelope_s_heights(width: float) -> None:
    found = visibility(plate(5, f"{width:g} um"))
    for m in (-3, -1, 1, 3):
        envelope = np.sinc(width / 90 * m) ** 2
        # a slope of the envelope moves the maximum: 2 %
        assert relative(found, order(found, m)) == pytest.approx(envelope, rel=0.02)


def test_a_missing_order_does_not_show() -> None:
    found = visibility(plate(25, "45 um"))  # w = d/2: every second order is missing
    assert relative(found, order(found, 2)) < 0.01
    assert relative(found, order(found, 1)) == pytest.approx(4 / math.pi**2, rel=0.01)


def test_one_slit_s_side_maxima() -> None:
    # Born & Wolf 8.5.1: 0.0472 and 0.0165 of the central maximum
    found = visibility(plate(1))
    sides = {maximum.number: relative(found, maximum) for maximum in found.subsidiary}
    for number, height in {1: 0.04719, -1: 0.04719}.items():
        assert sides[number] == pytest.approx(height, rel=0.002)  # to the digits given
    assert order(found, 0).stops == pytest.approx(0.0, abs=1e-9)  # time = "auto"
    assert "subsidiary maxim" in texts(found)


def test_light_is_dealt_out_whole() -> None:
    from wavesim.study.ruling import ruling
    from wavesim.study.visibility.cells import cells

    white = plate(5, source=WHITE)
    dealt = cells(white, ruling(white.scene)).exposure_lx_s.sum(axis=1)
    assert dealt == pytest.approx(white.xyz[0, :, 1], rel=1e-12)


def test_overlapping_orders_are_judged_by_their_own_light() -> None:
    found = visibility(plate(25, "30 um", WHITE))  # order 3 is missing, 2 and 4 overlap it
    both = min(order(found, 2).exposure_lx_s, order(found, 4).exposure_lx_s)
    assert order(found, 3).exposure_lx_s < 0.3 * both


def texts(found: Visibility) -> str:
    return " ".join(sentence.text for sentence in found.sentences)


# --- states -------------------------------------------------------------------------------------


def test_states_are_those_of_the_stops() -> None:
    found = visibility(plate(5, exposure="over = 2.0"))
    assert order(found, 0).stops == pytest.approx(2.0, abs=1e-3)  # cells meet in the middle
    for maximum in (*found.orders, *found.subsidiary):
        state = (
            "burnt out"
            if maximum.stops > 0.05
            else "visible"
            if maximum.stops >= -7
            else "too faint"
        )
        assert maximum.state == state
    assert {maximum.state for maximum in found.subsidiary} >= {"visible", "too faint"}


def test_time_and_speed_trade() -> None:
    # ISO 12232: white is 78 / S lx s, so twice the speed does what twice the time does
    white = plate(5, source=WHITE)
    longer = visibility(white, time_s=4 * white.exposure_s)
    faster = visibility(white, speed=400)
    assert [maximum.stops for maximum in longer.orders] == pytest.approx(
        [maximum.stops for maximum in faster.orders]
    )
    assert longer.burnt_area == faster.burnt_area > 0
    assert texts(longer) == texts(faster)


def test_the_threshold_of_a_picture_and_of_film() -> None:
    white = plate(5, source=WHITE)
    shown, film = visibility(white), visibility(white, criterion="film")
    assert shown.threshold_lx_s == pytest.approx(0.78 / 128)
    assert film.threshold_lx_s == pytest.approx(0.008)  # ISO 6: 0.8 / S
    assert math.log2(film.white_lx_s / film.threshold_lx_s) == pytest.approx(6.607, abs=1e-3)
    assert "ISO 6" in film.sentences[-1].text
    with pytest.raises(InputError, match="criterion: is not a criterion"):
        visibility(white, criterion="eye")  # type: ignore[arg-type]


def test_areas_are_those_of_the_plate() -> None:
    white = plate(5, source=WHITE, exposure="over = 3.0")
    found = visibility(white)
    level = white.xyz[..., 1] / 0.78
    assert found.burnt_area == pytest.approx(np.mean(level > 2**0.05))
    assert found.visible_area == pytest.approx(np.mean(level >= 2.0**-7))


@pytest.mark.parametrize("name", ["time_s", "speed"])
def test_no_time_and_no_speed_are_refused(name: str) -> None:
    with pytest.raises(InputError, match=f"{name}: must be positive"):
        visibility(plate(5), **{name: 0.0})  # type: ignore[arg-type]


# --- words --------------------------------------------------------------------------------------


def test_fringes_of_their_own_are_counted() -> None:
    # green light keeps the three subsidiary maxima of five slits apart; in white light the
    # outermost runs into its order's violet
    assert dict(visibility(plate(5, exposure="over = 3.0")).apart)[0] == 3
    assert dict(visibility(plate(5, source=WHITE, exposure="over = 3.0")).apart)[0] < 3


def test_an_exposure_in_words() -> None:
    texts = [
        sentence.text
        for sentence in visibility(plate(5, source=WHITE, exposure="over = 3.3")).sentences
    ]
    assert "burnt out" in texts[0]
    assert "orders -1 to 1" in texts[0]
    assert any("visible" in text and "orders -" in text for text in texts)
    between = next(text for text in texts if "between orders 0 and 1" in text)
    assert "3 subsidiary maxima" in between
    assert "other side" in between
    assert "7 stops below white" in texts[-1]


def test_fine_maxima_are_said_to_run_together() -> None:
    text = texts(visibility(plate(250, "10 um")))
    assert "248 subsidiary maxima" in text
    assert "merge" in text


def test_an_aperture_without_orders_has_its_areas_told() -> None:
    disc = scene(
        source=GREEN, aperture='kind = "disc"\ndiameter = "0.2 mm"',
        plate='width = "4 mm"\nheight = "4 mm"\npixel = "50 um"',
    )  # fmt: skip
    found = visibility(expose(disc))
    assert found.orders == ()
    assert len(found.sentences) == 1
    assert "burnt out" in found.sentences[0].text


# --- brackets and film --------------------------------------------------------------------------


def test_a_bracket_in_stops() -> None:
    white = plate(5, source=WHITE)
    frames = bracket(white, (-2, 0, 2, 4))
    assert [f.time_s / white.exposure_s for f in frames] == pytest.approx([0.25, 1, 4, 16])
    stops = [order(f.visibility, 0).stops for f in frames]
    assert np.diff(stops) == pytest.approx([2, 2, 2])
    shown = [f.visibility.visible_area for f in frames]
    assert shown == sorted(shown)
    assert shown[0] < shown[-1]
    assert texts(frames[1].visibility) == texts(visibility(white))
    assert frames[0].brief.startswith("visible: orders -1 to 1; ")
    assert frames[3].brief.startswith("burnt out: orders -1 to 1; visible: orders ")
    with pytest.raises(InputError, match="stops: out of range"):
        bracket(white, (math.nan,))
