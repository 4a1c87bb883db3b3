"""Wavelengths, temperatures and names of colours."""

from __future__ import annotations

import numpy as np
import pytest

from wavesim.colorimetry import (
    balance_degree,
    cct,
    colour_name,
    complementary_wavelength,
    dominant_wavelength,
    excitation_purity,
    planckian_xy,
)
from wavesim.colorimetry.spaces import D65_XY, xy_to_xyz, xyz_to_xy
from wavesim.errors import InputError
from wavesim.light.observer import observer

RED, GREEN, BLUE = (0.64, 0.33), (0.30, 0.60), (0.15, 0.06)  # sRGB primaries
D65 = xy_to_xyz(D65_XY)
INTERPOLATION_NM = 0.2  # linear or spline interpolation of the table differ by so much


@pytest.mark.parametrize(
    ("xy", "dominant", "complementary"),
    [
        (RED, 611.28, 491.49),
        (GREEN, 549.13, None),
        (BLUE, 464.31, 570.45),
        ((0.30, 0.15), None, 554.83),
    ],
)
def test_dominant_wavelengths(
    xy: tuple[float, float], dominant: float | None, complementary: float | None
) -> None:
    # CIE 15's construction at 0.01 nm, computed independently
    for found, expected in [
        (dominant_wavelength(xy, D65_XY), dominant),
        (complementary_wavelength(xy, D65_XY), complementary),
    ]:
        if expected is None:
            assert np.isnan(found)
        else:
            assert float(found) * 1e9 == pytest.approx(expected, abs=INTERPOLATION_NM)


def test_dominant_wavelength_of_the_locus_is_itself() -> None:
    wavelength_m, cmf = observer()
    rows = slice(30, 331)  # 390 to 690 nm
    xy = xyz_to_xy(cmf[rows])
    halfway = (xy + np.array(D65_XY)) / 2
    # the chord is straight: exact but for rounding, which the crowded ends of the locus magnify
    found = dominant_wavelength(halfway, D65_XY)
    np.testing.assert_allclose(found, wavelength_m[rows], rtol=0, atol=1e-12)
    np.testing.assert_allclose(excitation_purity(halfway, D65_XY), 0.5, rtol=0, atol=1e-9)


def test_purity_of_white_and_of_purples() -> None:
    assert excitation_purity(D65_XY, D65_XY) == 0
    _, cmf = observer()
    ends = xyz_to_xy(cmf[[20, 340]])  # 380 and 700 nm: the purple line
    assert excitation_purity(ends.mean(axis=0), D65_XY) == pytest.approx(1, abs=1e-9)


@pytest.mark.parametrize(
    ("xy", "kelvin", "slack"),
    [
        ((0.3127, 0.3290), 6504.24, 0.5),
        ((0.31272, 0.32903), 6502.9, 0.5),
        ((0.44758, 0.40745), 2855.48, 0.5),
        ((1 / 3, 1 / 3), 5455.40, 1.0),
    ],
)
def test_correlated_colour_temperature(
    xy: tuple[float, float], kelvin: float, slack: float
) -> None:
    # minimum distance in CIE 1960 uv, computed independently; the last digit of xy is worth 0.5 K
    assert cct(xy)[0] == pytest.approx(kelvin, abs=slack)


def test_distance_from_the_black_body() -> None:
    assert cct((0.3127, 0.3290))[1] == pytest.approx(0.003207, abs=2e-6)
    assert cct((1 / 3, 1 / 3))[1] == pytest.approx(-0.0044, abs=5e-5)


@pytest.mark.parametrize(
    ("kelvin", "xy"),
    [
        (5772, (0.32655303, 0.33583366)),
        (6500, (0.31352588, 0.32362830)),
        (2856, (0.44753514, 0.40742829)),
    ],
)
def test_black_body_colours(kelvin: float, xy: tuple[float, float]) -> None:
    # Planck's law and the CIE table, computed independently; eight digits, c2 to ten
    np.testing.assert_allclose(planckian_xy(kelvin), xy, rtol=0, atol=1e-6)


@pytest.mark.parametrize("kelvin", [1000.0, 2000.0, 5000.0, 12_000.0, 100_000.0])
def test_temperature_is_undone(kelvin: float) -> None:
    temperature_K, duv = cct(planckian_xy(kelvin))
    # uv moves by 1e-8 or less per K at the hot end, where rounding of 1e-16 shows
    assert temperature_K == pytest.approx(kelvin, rel=1e-4)
    assert duv == pytest.approx(0, abs=1e-8)


@pytest.mark.parametrize(
    ("xy", "low", "high"),
    [
        (D65_XY, 1, 1),
        ((0.44758, 0.40745), 1, 1),  # illuminant A
        ((1 / 3, 1 / 3), 1, 1),
        ((0.5696, 0.4300), 0, 0),  # sodium D, 589.3 nm
        ((0.7079, 0.2920), 0, 0),  # 633 nm
        ((0.1702, 0.7965), 0, 0),  # 532 nm
        ((0.1355, 0.0399), 0, 0),  # 460 nm
    ],
)
def test_what_passes_for_white(xy: tuple[float, float], low: float, high: float) -> None:
    assert low <= balance_degree(xy_to_xyz(xy)) <= high


@pytest.mark.parametrize(
    ("css", "name"),
    [
        ("white", "white"),
        ("black", "black"),
        ("gray", "grey"),
        ("red", "red"),
        ("crimson", "red"),
        ("orangered", "orange-red"),
        ("orange", "orange"),
        ("darkorange", "orange"),
        ("yellow", "yellow"),
        ("gold", "yellow"),
        ("yellowgreen", "yellow-green"),
        ("greenyellow", "yellow-green"),
        ("lime", "green"),
        ("green", "green"),
        ("springgreen", "green"),
        ("teal", "blue-green"),
        ("turquoise", "blue-green"),
        ("blue", "blue"),
        ("dodgerblue", "blue"),
        ("blueviolet", "violet"),
        ("darkviolet", "violet"),
        ("purple", "purple"),
        ("mediumvioletred", "purplish red"),
        ("pink", "pink"),
        ("lightgreen", "pale green"),
        ("lightsteelblue", "pale blue"),
    ],
)
def test_names_against_those_of_css(css: str, name: str) -> None:
    # CSS Color 4 section 6.1, as coloraide reads it
    from coloraide import Color

    found = colour_name(Color(css).convert("xyz-d65").coords(), D65)
    assert found.replace("dark ", "") == name


@pytest.mark.parametrize(
    ("nm", "name"),
    [
        (425, "violet"),
        (470, "blue"),
        (530, "green"),
        (575, "yellow"),
        (590, "orange"),
        (605, "orange-red"),
        (660, "red"),
    ],
)
def test_names_of_pure_colours(nm: int, name: str) -> None:
    # the bands every textbook prints: violet to 450, blue to 490, green to 560, yellow to 585,
    # orange to 610, red (common practice, no source)
    _, cmf = observer()
    light = cmf[nm - 360]
    assert colour_name(light / light[1] * 0.2, D65) == name
    assert colour_name(light / light[1] * 0.01, D65) == f"dark {name}"


def test_darkness_has_no_wavelength() -> None:
    nothing = xyz_to_xy(np.zeros((2, 3)))
    assert np.all(np.isnan(dominant_wavelength(nothing, D65_XY)))
    assert np.all(np.isnan(excitation_purity(nothing, D65_XY)))
    assert np.isnan(dominant_wavelength(D65_XY, D65_XY))


def test_bad_colours_are_refused() -> None:
    with pytest.raises(InputError, match="finite"):
        colour_name([1, np.nan, 1], D65)
    with pytest.raises(InputError, match="finite"):
        cct([np.inf, 0.3])
    with pytest.raises(InputError, match="white"):
        dominant_wavelength(RED, (0.3, np.nan))
