"""Colour spaces and observers against published numbers."""

from __future__ import annotations

import numpy as np
import pytest

from tests.generate_observer_tables import OBSERVERS as GENERATED
from tests.generate_observer_tables import dither_ranks, observer_table
from wavesim.colorimetry import linear_rgb, picture
from wavesim.colorimetry.rendering import _dither_mask
from wavesim.colorimetry.spaces import (
    D65_XY,
    adaptation,
    decode,
    encode,
    rgb_space,
    xy_to_xyz,
    xyz_to_oklab,
    xyz_to_xy,
)
from wavesim.errors import InputError
from wavesim.light.observer import OBSERVERS, observer

D65 = xy_to_xyz(D65_XY)


def test_srgb_matrix_is_that_of_css_color_4() -> None:
    # W3C css-color-4 conversions.js, ten digits
    expected = [
        [0.4123907993, 0.3575843394, 0.1804807884],
        [0.2126390059, 0.7151686788, 0.0721923154],
        [0.0193308187, 0.1191947798, 0.9505321522],
    ]
    # the digits are rounded to 5e-11
    np.testing.assert_allclose(rgb_space("srgb").to_xyz(), expected, rtol=0, atol=1e-10)


def test_srgb_matrix_agrees_with_the_standard_to_its_digits() -> None:
    # IEC 61966-2-1:1999 prints four digits (from memory)
    expected = [[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]]
    # four digits: half a unit of the last
    np.testing.assert_allclose(rgb_space("srgb").to_xyz(), expected, rtol=0, atol=5e-5)


@pytest.mark.parametrize(("name", "theirs"), [("display-p3", "display-p3"), ("rec2020", "rec2020")])
def test_other_spaces_against_coloraide(name: str, theirs: str) -> None:
    from coloraide import Color

    given = [0.2, 0.6, 0.9]
    xyz = Color(theirs, given).convert("xyz-d65").coords()
    ours = rgb_space(name).to_xyz() @ decode(given, rgb_space(name).curve)
    np.testing.assert_allclose(ours, xyz, rtol=0, atol=1e-12)  # both in double precision


@pytest.mark.parametrize(
    ("encoded", "linear"),
    [
        (0.04045, 0.00313080495),
        (0.1, 0.0100228255749),
        (0.2, 0.0331047665709),
        (0.5, 0.214041140482),
        (10 / 255, 0.00303526983549),
        (11 / 255, 0.0033465357639),
        (128 / 255, 0.215860500114),
    ],
)
def test_srgb_decoding(encoded: float, linear: float) -> None:
    # IEC 61966-2-1, evaluated independently to twelve digits; the last printed digit limits
    assert decode(encoded) == pytest.approx(linear, abs=6e-13 if encoded > 0.05 else 4e-12)


@pytest.mark.parametrize(
    ("linear", "encoded"), [(0.18, 0.4613561295), (0.5, 0.735356983052), (0.0031308, 0.040449936)]
)
def test_srgb_encoding(linear: float, encoded: float) -> None:
    assert encode(linear) == pytest.approx(encoded, abs=6e-11)  # printed to ten digits


@pytest.mark.parametrize("curve", ["srgb", "gamma24"])
def test_curve_and_inverse(curve: str) -> None:
    value = np.linspace(-1, 1, 10_001)
    # the standard's thresholds are rounded: a jump of 2.9e-8 (check of the two branches)
    np.testing.assert_allclose(decode(encode(value, curve), curve), value, rtol=0, atol=3e-8)


@pytest.mark.parametrize(
    ("rgb", "oklab"),
    [
        ((1, 1, 1), (1, 0, 0)),
        ((1, 0, 0), (0.627955, 0.224863, 0.125846)),
        ((0, 1, 0), (0.866440, -0.233888, 0.179498)),
        ((0, 128 / 255, 0), (0.519752, -0.140302, 0.107676)),
        ((0, 0, 1), (0.452014, -0.032457, -0.311528)),
        ((1, 1, 0), (0.967983, -0.071369, 0.198570)),
        ((0.5, 0.5, 0.5), (0.598181, 0, 0)),
    ],
)
def test_oklab_of_srgb_colours(rgb: tuple[float, ...], oklab: tuple[float, ...]) -> None:
    # W3C css-color-4 conversions.js; printed to six digits
    xyz = rgb_space("srgb").to_xyz() @ decode(rgb)
    np.testing.assert_allclose(xyz_to_oklab(xyz), oklab, rtol=0, atol=1e-6)


@pytest.mark.parametrize(
    ("xyz", "oklab"),
    [
        ((0.95, 1, 1.089), (1, 0, 0)),
        ((1, 0, 0), (0.450, 1.236, -0.019)),
        ((0, 1, 0), (0.922, -0.671, 0.263)),
        ((0, 0, 1), (0.153, -1.415, -0.449)),
    ],
)
def test_oklab_table_of_its_author(xyz: tuple[float, ...], oklab: tuple[float, ...]) -> None:
    # B. Ottosson (2020), from memory; three digits
    np.testing.assert_allclose(xyz_to_oklab(xyz), oklab, rtol=0, atol=1e-3)


def test_oklab_is_homogeneous() -> None:
    xyz = np.random.default_rng(1).uniform(0, 1, (1000, 3))
    np.testing.assert_allclose(xyz_to_oklab(8 * xyz), 2 * xyz_to_oklab(xyz), rtol=0, atol=1e-13)


@pytest.mark.parametrize(("ours", "theirs"), [("cat16", "CAT16"), ("bradford", "Bradford")])
def test_adaptation_against_colour_science(ours: str, theirs: str) -> None:
    import colour

    white = xy_to_xyz((0.44758, 0.40745))
    expected = colour.adaptation.matrix_chromatic_adaptation_VonKries(white, D65, theirs)
    matrix = adaptation(white, D65, transform=ours)
    np.testing.assert_allclose(matrix, expected, rtol=0, atol=1e-12)  # same arithmetic
    np.testing.assert_allclose(matrix @ white, D65, rtol=0, atol=1e-12)
    np.testing.assert_allclose(adaptation(white, D65, degree=0.0), np.eye(3), atol=1e-12)


@pytest.mark.parametrize(
    ("nm", "x", "y"),
    [
        (450, 0.15664, 0.01770),
        (500, 0.00817, 0.53842),
        (520, 0.07430, 0.83380),
        (550, 0.30160, 0.69231),
        (600, 0.62704, 0.37249),
        (650, 0.72599, 0.27401),
        (700, 0.73469, 0.26531),
    ],
)
def test_spectral_locus(nm: int, x: float, y: float) -> None:
    # CIE 1931 table, printed to five decimals
    _, cmf = observer()
    np.testing.assert_allclose(xyz_to_xy(cmf[nm - 360]), (x, y), rtol=0, atol=1e-5)


def test_standard_lights_have_their_chromaticities() -> None:
    # CIE 15: A and D65 to five decimals by 1 nm sums; E is 1/3 but for the table's rounding
    import colour

    wavelength_m, cmf = observer()
    for name, expected, slack in [
        ("A", (0.44758, 0.40745), 2e-5),
        ("D65", (0.31272, 0.32903), 2e-5),
        ("E", (1 / 3, 1 / 3), 5e-5),
    ]:
        spectrum = colour.SDS_ILLUMINANTS[name]
        power = np.interp(wavelength_m * 1e9, spectrum.wavelengths, spectrum.values)
        np.testing.assert_allclose(xyz_to_xy(power @ cmf), expected, rtol=0, atol=slack)


@pytest.mark.parametrize("name", sorted(GENERATED))
def test_observer_tables_still_agree_with_their_source(name: str) -> None:
    wavelength_m, cmf = observer(name)
    expected = observer_table(name)
    np.testing.assert_allclose(wavelength_m, expected[:, 0] * 1e-9, rtol=1e-12)
    np.testing.assert_allclose(cmf, expected[:, 1:], rtol=1e-9)  # ten digits are stored


def test_dither_pattern_is_what_the_generator_makes() -> None:
    ranks = dither_ranks()
    assert sorted(ranks.ravel()) == list(range(64 * 64))
    np.testing.assert_array_equal(_dither_mask(), (ranks + 0.5) / 4096)


def test_observers_are_equal_energy_white() -> None:
    # each set is normalised so that equal energy is x = y = 1/3 but for the tables' rounding
    for name in OBSERVERS:
        _, cmf = observer(name)
        np.testing.assert_allclose(xyz_to_xy(cmf.sum(axis=0)), (1 / 3, 1 / 3), rtol=0, atol=1e-4)


def test_unknown_names_are_refused() -> None:
    with pytest.raises(InputError, match="cie1964_10deg"):
        observer("cie1932")
    with pytest.raises(InputError, match="display-p3"):
        rgb_space("adobe")
    with pytest.raises(InputError, match="bradford"):
        adaptation(D65, D65, transform="vonkries")


def test_public_names_are_those_listed() -> None:
    import types

    import wavesim.colorimetry as package

    public = {
        name
        for name, value in vars(package).items()
        if not name.startswith("_") and not isinstance(value, types.ModuleType)
    }
    assert public == set(package.__all__)


def test_linear_rgb_is_the_matrix_alone() -> None:
    xyz = np.random.default_rng(3).uniform(0, 5, (7, 3))
    ours = linear_rgb(xyz, white_xyz=D65, white_level=2.0, over_stops=1.0)
    np.testing.assert_allclose(ours, xyz @ rgb_space("srgb").from_xyz().T, atol=1e-10)
    assert picture(xyz, white_xyz=D65, white_level=2.0).shape == (7, 3)
