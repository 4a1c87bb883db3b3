"""The picture as a whole: white, exposure, noise, dithering, and bad input."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from numpy.typing import NDArray

from wavesim.colorimetry import Film, Logarithmic, Rendering, picture
from wavesim.colorimetry.spaces import D65_XY, encode, rgb_space, xy_to_xyz
from wavesim.errors import InputError
from wavesim.light.observer import observer

Array = NDArray[np.float64]
D65 = xy_to_xyz(D65_XY)
A = xy_to_xyz((0.44758, 0.40745))
SUN = xy_to_xyz((0.32338, 0.33266))

STYLES = [
    Rendering(),
    Rendering(gamut="css"),
    Rendering(gamut="clip"),
    Rendering(space="display-p3", depth=16, tone=Film()),
    Rendering(space="rec2020", tone=Logarithmic(5), knee=1.0),
    Rendering(adaptation="bradford", dither=False, tone=Film(gamma=2.0)),
]


@pytest.mark.parametrize("style", STYLES, ids=range(len(STYLES)))
@pytest.mark.parametrize("white", [D65, A, SUN], ids=["D65", "A", "sun"])
def test_grey_light_of_the_source_is_grey(style: Rendering, white: Array) -> None:
    exposure = np.linspace(0, 3, 301)
    rgb = picture(exposure[:, None] * white, white_xyz=white, white_level=0.78, rendering=style)
    # channels differ by matrices rounded to 1e-15: at most one step, where a value sits on it
    assert np.ptp(rgb.astype(int), axis=1).max() <= 1
    assert np.all(rgb[0] == 0)


@pytest.mark.parametrize("white", [D65, A, SUN], ids=["D65", "A", "sun"])
def test_white_is_white_at_its_level_and_after(white: Array) -> None:
    level = 0.78
    rgb = picture([white * level, white * level * 100], white_xyz=white * 5, white_level=level)
    np.testing.assert_array_equal(rgb, 255)


def test_balance_none_leaves_lamplight_yellow() -> None:
    red, green, blue = picture(A * 0.5, white_xyz=A, white_level=1.0, balance="none").tolist()
    assert red > green > blue
    linear = rgb_space("srgb").from_xyz() @ (A * 0.5)
    plain = picture(
        A * 0.5,
        white_xyz=A,
        white_level=1.0,
        balance="none",
        rendering=Rendering(knee=1.0, dither=False),
    )
    # lamplight at half of white lies in the gamut: nothing but matrix and curve
    np.testing.assert_allclose(plain, np.clip(encode(linear), 0, 1) * 255, rtol=0, atol=1.01)


@pytest.mark.parametrize("nm", [460, 532, 589, 633])
def test_a_laser_keeps_its_colour(nm: int) -> None:
    light = observer()[1][nm - 360]
    light = light / light[1]
    rgb = picture(light * 0.1, white_xyz=light, white_level=1.0).astype(int)
    assert np.ptp(rgb) > 80  # not grey, although it is its own white


def test_stops_are_factors_of_two() -> None:
    xyz = np.random.default_rng(1).uniform(0, 1, (50, 60, 3))
    one = picture(xyz, white_xyz=SUN, white_level=0.78, over_stops=2.0)
    two = picture(xyz * 4, white_xyz=SUN, white_level=0.78)
    np.testing.assert_array_equal(one, two)


def test_screen_colours_come_back() -> None:
    given_rgb = np.random.default_rng(2).uniform(0.25, 0.75, (2000, 3))
    style = Rendering(depth=16, dither=False)
    xyz = given_rgb @ rgb_space("srgb").to_xyz().T
    shown = picture(xyz, white_xyz=D65, white_level=1.0, rendering=style) / 65535
    # 16-bit rounding and the encoding table
    np.testing.assert_allclose(shown, encode(given_rgb), rtol=0, atol=1.2 / 65535)


def test_blocks_of_threads_do_not_show() -> None:
    xyz = np.random.default_rng(3).uniform(0, 1, (300, 500, 3))
    whole = picture(xyz, white_xyz=SUN, white_level=1.0)
    np.testing.assert_array_equal(whole, picture(xyz, white_xyz=SUN, white_level=1.0))
    rows = [picture(xyz[:64], white_xyz=SUN, white_level=1.0)]
    rows.append(picture(xyz[64:128], white_xyz=SUN, white_level=1.0))
    np.testing.assert_array_equal(whole[:128], np.concatenate(rows))  # the pattern is 64 tall


def test_dither_keeps_flat_black_and_white_clean() -> None:
    for value, expected in ((0.0, 0), (1.0, 255), (5.0, 255)):
        rgb = picture(np.full((128, 128, 1), value) * D65, white_xyz=D65, white_level=1.0)
        np.testing.assert_array_equal(rgb, expected)


def test_dithered_dark_ramp_has_no_bands() -> None:
    # a ramp over three steps of 8 bits across 2,048 pixels: without dither, bands of 680 pixels
    value = np.linspace(8 / 255, 11 / 255, 2048)
    from wavesim.colorimetry.spaces import decode

    xyz = np.broadcast_to(decode(value)[None, :, None] * D65, (64, 2048, 3))

    def smooth(dither: bool) -> Array:
        rgb = picture(xyz, white_xyz=D65, white_level=1.0, rendering=Rendering(dither=dither))
        box = rgb[..., 1].astype(float).reshape(64, 128, 16).mean(axis=(0, 2))
        return np.asarray(box - value.reshape(128, 16).mean(axis=1) * 255)

    # mean of 64 x 16 pixels of the pattern against the ramp, in steps of 8 bits
    assert np.abs(smooth(True)).max() < 0.03
    assert np.abs(smooth(False)).max() > 0.4


def test_undithered_ramp_is_monotonic() -> None:
    value = np.linspace(0, 1, 100_000)
    rgb = picture(
        value[:, None] * D65,
        white_xyz=D65,
        white_level=1.0,
        rendering=Rendering(dither=False, depth=16),
    )
    assert np.diff(rgb.astype(int), axis=0).min() >= 0
    assert np.unique(rgb[:, 1]).size > 40_000  # steps of the curve finer than 1e-5 of white
    eight = picture(
        value[:, None] * D65, white_xyz=D65, white_level=1.0, rendering=Rendering(dither=False)
    )
    assert set(np.unique(eight[:, 1])) == set(range(256))  # none is left out


anything = st.floats(allow_nan=False, allow_infinity=False)
plausible = st.floats(-0.1, 50.0)


@pytest.mark.slow
@settings(max_examples=60, deadline=None)
@given(
    arrays(np.float64, st.tuples(st.integers(1, 6), st.integers(1, 5), st.just(3)),
           elements=st.one_of(anything, plausible, st.just(0.0))),
    st.sampled_from(STYLES),
    st.sampled_from([D65, A, SUN]),
    st.floats(-90, 90),
)  # fmt: skip
def test_any_finite_exposure_gives_a_picture(
    xyz: Array, style: Rendering, white: Array, stops: float
) -> None:
    rgb = picture(xyz, white_xyz=white, white_level=0.78, over_stops=stops, rendering=style)
    assert rgb.shape == xyz.shape
    assert rgb.dtype == (np.uint16 if style.depth == 16 else np.uint8)
    # integers cannot show a wrapped value: what has no light must be black, never white
    dark = np.all(xyz <= 0, axis=-1)
    assert np.all(rgb[dark & np.all(xyz == 0, axis=-1)] == 0)


@pytest.mark.slow
@settings(max_examples=60, deadline=None)
@given(
    arrays(np.float64, (40, 3), elements=st.one_of(anything, plausible)),
    st.sampled_from(["srgb", "display-p3", "rec2020"]),
)
def test_pixels_before_rounding_are_in_range(xyz: Array, space: str) -> None:
    from wavesim.colorimetry import kernels
    from wavesim.colorimetry.gamut import edges, matrices
    from wavesim.colorimetry.spaces import ROOTS_TO_OKLAB, rgb_space, xyz_to_oklab

    to_roots, to_rgb = matrices(space)
    to_lms = np.ascontiguousarray(np.linalg.inv(to_rgb))
    table, weight = edges(space), np.ascontiguousarray(rgb_space(space).to_xyz()[1])
    with np.errstate(over="ignore"):
        lab = xyz_to_oklab(np.clip(xyz, -1e30, 1e30))
    for light, a, b in lab:
        for keep in (kernels.COLOUR, kernels.LUMINANCE):
            rgb = kernels.smooth_pixel(
                light, a, b, table, to_roots, to_rgb, to_lms, ROOTS_TO_OKLAB, weight,
                kernels.LINEAR, np.zeros(2), 0.9, 0.08, keep,
            )  # fmt: skip
            assert all(np.isfinite(rgb))
            # the largest channel is 1 at most by construction; rounding
            assert min(rgb) >= 0
            assert max(rgb) <= 1 + 1e-12


@pytest.mark.parametrize("bad", [np.nan, np.inf, -np.inf])
def test_values_that_are_not_finite_are_refused(bad: float) -> None:
    xyz = np.ones((400, 400, 3))
    xyz[321, 123, 2] = bad
    with pytest.raises(InputError, match=rf"value number {321 * 400 + 123} is not finite"):
        picture(xyz, white_xyz=D65, white_level=1.0)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"white_level": 0.0}, "white_level"),
        ({"white_level": np.nan}, "white_level"),
        ({"over_stops": np.inf}, "over_stops"),
        ({"balance": "camera"}, "source or none"),
        ({"white_xyz": (1, 0, 1)}, "white_xyz"),
        ({"white_xyz": (1, 1)}, "white_xyz"),
    ],
)
def test_bad_arguments_are_refused(change: dict[str, object], message: str) -> None:
    given_arguments: dict[str, object] = {"white_xyz": D65, "white_level": 1.0} | change
    with pytest.raises(InputError, match=message):
        picture(np.ones((2, 3)), **given_arguments)  # type: ignore[arg-type]
    with pytest.raises(InputError, match=r"shape"):
        picture(np.ones((2, 4)), white_xyz=D65, white_level=1.0)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"space": "adobe"}, "display-p3"),
        ({"depth": 12}, "8 or 16"),
        ({"gamut": "none"}, "smooth or css"),
        ({"knee": 0.0}, "knee"),
        ({"crosstalk": 0.0}, "crosstalk"),
        ({"adaptation": "xyz"}, "cat16"),
    ],
)
def test_bad_renderings_are_refused(change: dict[str, object], message: str) -> None:
    with pytest.raises(InputError, match=message):
        Rendering(**change)  # type: ignore[arg-type]


def test_the_largest_numbers_are_white_and_the_smallest_black() -> None:
    huge = np.finfo(float).max
    xyz = np.array([[huge, huge, huge], [5e-324, 5e-324, 5e-324], [-huge, -huge, -huge]])
    rgb = picture(xyz, white_xyz=D65, white_level=1e-3, over_stops=90)
    np.testing.assert_array_equal(rgb[0], 255)
    np.testing.assert_array_equal(rgb[1:], 0)


def test_empty_pictures_stay_empty() -> None:
    assert picture(np.zeros((0, 3)), white_xyz=D65, white_level=1.0).shape == (0, 3)
    assert picture(np.zeros((4, 0, 3)), white_xyz=D65, white_level=1.0).shape == (4, 0, 3)
