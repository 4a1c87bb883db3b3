"""Gamut mapping: against a reference library, at constant hue, without corners.

`python -m tests.test_colour_gamut` prints the figures for 10,000 colours and for the locus.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from wavesim.colorimetry import Rendering, picture
from wavesim.colorimetry.gamut import HUES, largest_saturation, matrices, rounded_saturation
from wavesim.colorimetry.spaces import (
    D65_XY,
    ROOTS_TO_OKLAB,
    XYZ_TO_LMS,
    decode,
    rgb_space,
    xy_to_xyz,
    xyz_to_oklab,
)
from wavesim.light.observer import observer

Array = NDArray[np.float64]
D65 = xy_to_xyz(D65_XY)
STEP = 1 / 65535


def rendered(xyz: Array, gamut: str, *, space: str = "srgb") -> Array:
    """Linear XYZ (n, 3) that a 16-bit picture shows, without dither or balance."""
    style = Rendering(space=space, gamut=gamut, depth=16, dither=False)
    rgb = picture(xyz, white_xyz=D65, white_level=1.0, balance="none", rendering=style)
    chosen = rgb_space(space)
    return np.asarray(decode(rgb / 65535, chosen.curve) @ chosen.to_xyz().T)


def ciede2000(first: Array, second: Array) -> Array:
    """(n,) CIEDE2000 of XYZ (n, 3) relative to D65, by colour-science."""
    import colour

    labs = (colour.XYZ_to_Lab(xyz, D65_XY) for xyz in (first, second))
    return np.asarray(colour.difference.delta_E_CIE2000(*labs))


def oklab_to_xyz(oklab: Array) -> Array:
    """XYZ (n, 3) relative to D65: the inverse of CSS Color 4's two matrices and its cube root."""
    roots = oklab @ np.linalg.inv(ROOTS_TO_OKLAB).T
    return np.asarray(roots**3 @ np.linalg.inv(XYZ_TO_LMS).T)


def oklab_to_oklch(oklab: Array) -> Array:
    """L, chroma C and hue [degrees] (n, 3)."""
    hue = np.degrees(np.arctan2(oklab[..., 2], oklab[..., 1])) % 360
    return np.stack([oklab[..., 0], np.hypot(oklab[..., 1], oklab[..., 2]), hue], axis=-1)


def oklch_to_xyz(lightness: Array, chroma: Array, hue_deg: Array) -> Array:
    hue = np.radians(hue_deg)
    return oklab_to_xyz(np.stack([lightness, chroma * np.cos(hue), chroma * np.sin(hue)], axis=-1))


def random_colours(count: int) -> Array:
    """OKLCh spread over more than any display and the whole locus."""
    rng = np.random.default_rng(7)
    return np.stack(
        [rng.uniform(0, 1, count), rng.uniform(0, 0.45, count), rng.uniform(0, 360, count)], axis=-1
    )


def reference_css(oklch: Array) -> Array:
    """XYZ (n, 3) after coloraide's CSS Color 4 mapping into sRGB."""
    from coloraide import Color

    def mapped(colour: Array) -> list[float]:
        fitted = Color("oklch", list(colour)).fit("srgb", method="oklch-chroma")
        return list(fitted.convert("srgb").clip().convert("xyz-d65").coords())

    return np.array([mapped(colour) for colour in oklch])


def locus(lightness: float) -> Array:
    """XYZ (n, 3) of every spectral colour, 390 to 700 nm, at one OKLab lightness."""
    xyz = observer()[1][30:341]
    return np.asarray(xyz * (lightness / xyz_to_oklab(xyz)[:, :1]) ** 3)


def hue_error_deg(before: Array, after: Array) -> Array:
    """Change of OKLab hue (n,) [degrees], where the result has a hue."""
    old, new = oklab_to_oklch(xyz_to_oklab(before)), oklab_to_oklch(xyz_to_oklab(after))
    turn = (new[:, 2] - old[:, 2] + 180) % 360 - 180
    return np.asarray(np.abs(turn[new[:, 1] > 0.02]))


@pytest.mark.parametrize(
    ("oklch", "rgb"),
    [
        ((0.7, 0.3, 30), (1, 0.345135, 0.264575)),
        ((0.9, 0.4, 145), (0.325456, 1, 0.411666)),
        ((0.45, 0.4, 264), (0.019148, 0, 1)),
        ((0.5, 0.4, 330), (0.661035, 0, 0.642525)),
        ((0.8, 0.3, 90), (0.921779, 0.713410, 0)),
        ((0.6, 0.25, 200), (0, 0.583755, 0.614117)),
    ],
)
def test_css_mapping(oklch: tuple[float, ...], rgb: tuple[float, ...]) -> None:
    # CSS Color 4, binary search with local MINDE; two implementations agree to 1e-5
    shown = picture(
        oklch_to_xyz(*np.array(oklch)),
        white_xyz=D65,
        white_level=1.0,
        balance="none",
        rendering=Rendering(gamut="css", depth=16, dither=False),
    )
    # the search stops within 1e-4 of the end, the standard's own figure
    np.testing.assert_allclose(shown / 65535, rgb, rtol=0, atol=1e-4)


def css_against_coloraide(count: int) -> Array:
    oklch = random_colours(count)
    ours = rendered(oklch_to_xyz(*oklch.T), "css")
    return ciede2000(ours, reference_css(oklch))


def test_css_mapping_of_random_colours_against_coloraide() -> None:
    difference = css_against_coloraide(1000)
    # 16-bit rounding and the search's end of 1e-4; 1 is just visible
    assert np.median(difference) < 0.002
    assert difference.max() < 0.02


@pytest.mark.parametrize("space", ["srgb", "display-p3", "rec2020"])
def test_largest_saturation_is_on_the_edge(space: str) -> None:
    hue = np.linspace(0, 2 * np.pi, HUES + 1)
    to_roots, to_rgb = matrices(space)

    def channels(saturation: Array) -> Array:
        lab = np.stack(
            [np.ones_like(hue), saturation * np.cos(hue), saturation * np.sin(hue)], axis=-1
        )
        return np.asarray((lab @ to_roots.T) ** 3 @ to_rgb.T)

    exact = largest_saturation(space)
    np.testing.assert_allclose(channels(exact).min(axis=1), 0, rtol=0, atol=1e-9)  # bisected
    for fraction in (0.25, 0.5, 0.75, 0.99):  # nothing leaves on the way there
        assert channels(fraction * exact).min() > 0


@pytest.mark.parametrize("space", ["srgb", "display-p3", "rec2020"])
def test_rounded_saturation_stays_inside_and_near(space: str) -> None:
    exact = largest_saturation(space)
    rounded = rounded_saturation(space)
    angle = np.degrees(np.arctan2(*_directions()[::-1])) % 360
    limit = np.interp(angle, np.linspace(0, 360, HUES + 1), exact)
    assert np.all(rounded <= limit + 2e-4)  # reading between nodes
    # rounding costs most beside blue, little elsewhere
    assert np.median(rounded / limit) > 0.98
    assert (rounded / limit).min() > 0.6


def _directions() -> tuple[Array, Array]:
    from wavesim.colorimetry.gamut import direction

    return direction(np.linspace(0, 4, HUES + 1))


@pytest.mark.parametrize("space", ["srgb", "display-p3", "rec2020"])
def test_colours_that_the_display_has_come_back_as_they_are(space: str) -> None:
    """Also on the gamut's surface, its edges and corners: within half a step of 8 bits."""
    rng = np.random.default_rng(8)
    encoded = rng.uniform(0.0, 1.0, (60_000, 3))
    encoded[:20_000, 0] = np.round(encoded[:20_000, 0])
    encoded[:5_000] = np.round(encoded[:5_000])
    chosen = rgb_space(space)
    xyz = decode(encoded, chosen.curve) @ chosen.to_xyz().T
    shown = picture(
        xyz, white_xyz=D65, white_level=1.0, balance="none",
        rendering=Rendering(space=space, depth=16, dither=False),
    )  # fmt: skip
    assert np.abs(shown / 65535 - encoded).max() * 255 < 0.5


@pytest.mark.parametrize("space", ["srgb", "display-p3", "rec2020"])
def test_spectral_lights_keep_their_luminance(space: str) -> None:
    """Where no channel would overflow. 2 % is what was asked for; the rest is 16-bit rounding."""
    for luminance in (0.01, 0.03, 0.05):
        before = observer()[1][40:301]  # 400 to 660 nm
        before = before * luminance / before[:, 1:2]
        after = rendered(before, "smooth", space=space)
        full = (after @ rgb_space(space).from_xyz().T).max(axis=1) > 0.999
        assert full.mean() < 0.2
        np.testing.assert_allclose(after[~full, 1], luminance, rtol=4e-3, atol=0)


@pytest.mark.parametrize("space", ["srgb", "display-p3", "rec2020"])
def test_luminance_is_kept_up_to_white_where_it_is_asked_for(space: str) -> None:
    style = Rendering(space=space, keep="luminance", depth=16, dither=False)
    chosen = rgb_space(space)
    for luminance in (0.05, 0.3, 0.9, 1.0, 5.0):
        before = observer()[1][30:341]
        before = before * luminance / before[:, 1:2]
        shown = picture(before, white_xyz=D65, white_level=1.0, balance="none", rendering=style)
        after = decode(shown / 65535, chosen.curve) @ chosen.to_xyz().T
        np.testing.assert_allclose(after[:, 1], min(luminance, 1.0), rtol=2e-3, atol=0)
        assert (
            hue_error_deg(before, after).max(initial=0.0) < 0.1
        )  # 16-bit rounding of pale colours


@pytest.mark.parametrize("lightness", [0.2, 0.4, 0.6, 0.8, 0.95])
def test_hue_of_the_locus_is_kept(lightness: float) -> None:
    before = locus(lightness)
    smooth = hue_error_deg(before, rendered(before, "smooth"))
    clipped = hue_error_deg(before, rendered(before, "clip"))
    # 16-bit rounding of nearly empty channels: 0.01 degrees
    assert smooth.max() < 0.03
    assert clipped.max() > 10  # what clipping each channel does


def test_spectral_colours_are_linear_in_exposure() -> None:
    before = locus(0.1)
    faint = rendered(before, "smooth")
    bright = rendered(8 * before, "smooth")
    # light eightfold is light eightfold, to 16-bit rounding of the weaker
    np.testing.assert_allclose(bright, 8 * faint, rtol=0, atol=8 * STEP / 12.92)


def test_what_is_given_up_is_said() -> None:
    """Half of the pixels a spectral green, a quarter a red four times too strong, the rest grey."""
    from wavesim.colorimetry.loss import loss

    green = observer()[1][520 - 360] * 0.1 / observer()[1][520 - 360, 1]
    red = np.array([1.0, 0.0, 0.0]) @ rgb_space("srgb").to_xyz().T * 4
    xyz = np.array([green, green, red, 0.5 * D65])
    found = loss(
        xyz, white_xyz=D65, white_level=1.0, balance="none", rendering=Rendering(keep="colour")
    )
    assert (found.colour, found.luminance) == (0.5, 0.25)
    assert found.sentence.startswith("50 %")
    given_up = loss(
        xyz, white_xyz=D65, white_level=1.0, balance="none", rendering=Rendering(keep="luminance")
    )
    assert (given_up.colour, given_up.luminance) == (0.5, 0.0)


def test_the_colour_difference_of_what_is_given_up() -> None:
    """Of each light the CIEDE2000 to its own picture, by colour-science; greys do not count."""
    from wavesim.colorimetry.loss import loss

    nm, level = [450, 490, 520, 560, 630], np.array([0.02, 0.1, 0.2, 0.4, 0.1])
    cmf = observer()[1][[n - 360 for n in nm]]
    light = cmf / cmf[:, 1:2] * level[:, None]
    xyz = np.concatenate([light, np.outer([0.1, 0.4, 0.9], D65), [100 * light[2]]])
    style = Rendering(depth=16, dither=False)
    white: dict[str, Any] = {"white_xyz": D65, "white_level": 1.0, "balance": "none"}
    found = loss(xyz, rendering=style, **white)
    rgb = np.asarray(picture(light, rendering=style, **white), dtype=float) / 65535
    shown = decode(rgb, "srgb") @ rgb_space("srgb").to_xyz().T
    apart = ciede2000(light, shown)
    assert found.difference == pytest.approx((np.median(apart), apart.max()), rel=1e-6)
    assert apart.min() > 3  # the test would notice: every one of these is shown wrongly
    assert f"at most {apart.max():.2g} (CIEDE2000)" in found.sentence
    greys = loss(np.outer([0.1, 0.4, 0.9], D65), rendering=style, **white)
    assert greys.difference == (0.0, 0.0)
    assert greys.sentence == ""


def corner_size(gamut: str) -> float:
    """Largest change of slope [OKLab units per nm per nm] along a bright spectrum."""
    wavelength_m, cmf = observer()
    fine = np.arange(420.0, 660.0, 0.25)
    xyz = np.stack([np.interp(fine, wavelength_m * 1e9, curve) for curve in cmf.T], axis=-1)
    # a smooth curve through the table, or its own 1 nm corners would be found
    width = np.exp(-((np.arange(-12, 13) / 4.0) ** 2))
    xyz = np.stack([np.convolve(c, width / width.sum(), mode="same") for c in xyz.T], axis=-1)[
        20:-20
    ]
    xyz = xyz * (0.45 / xyz_to_oklab(xyz)[:, :1]) ** 3
    lab = xyz_to_oklab(rendered(xyz, gamut))
    bend = lab[16:] - 2 * lab[8:-8] + lab[:-16]
    return float(np.linalg.norm(bend, axis=-1).max() / 4.0)


def test_the_smooth_mapping_has_smaller_corners_than_the_standard_one() -> None:
    # the corner beside blue is what shows as a line in a spectrum; sixteen times smaller when
    # it was measured, and no reader would see a quarter
    assert corner_size("smooth") < 0.25 * corner_size("css")


@pytest.mark.parametrize("space", ["srgb", "display-p3", "rec2020"])
def test_over_exposed_colours_bleach_to_white(space: str) -> None:
    stops = np.linspace(-4, 14, 400)
    for nm in range(400, 700, 10):
        light = observer()[1][nm - 360]
        xyz = np.exp2(stops)[:, None] * light / light[1]
        lab = xyz_to_oklab(rendered(xyz, "smooth", space=space))
        assert lab[-1, 0] == pytest.approx(1, abs=1e-4)  # white in the end
        # lightness only rises, but for 16-bit rounding and that of the ridge at yellow
        assert np.diff(lab[:, 0]).min() > -1e-4
        saturation = np.hypot(lab[:, 1], lab[:, 2]) / lab[:, 0]
        assert np.diff(saturation).max() < 0.02  # and saturation falls but for rounding in the dark
        # no jump: 0.045 stops move the picture by little
        assert np.abs(np.diff(lab, axis=0)).max() < 0.03


def figures(count: int = 10_000) -> dict[str, float]:
    """CIEDE2000 against coloraide, and hue errors of the locus [degrees]."""
    difference = css_against_coloraide(count)
    lightnesses = (0.2, 0.4, 0.6, 0.8, 0.95)
    result = {"colours": float(count), "css: largest CIEDE2000": float(difference.max())}
    result["css: median CIEDE2000"] = float(np.median(difference))
    oklch = random_colours(count)
    original = oklch_to_xyz(*oklch.T)
    for gamut in ("smooth", "css", "clip"):
        shown = rendered(oklch_to_xyz(*oklch.T), gamut)
        result[f"{gamut}: median CIEDE2000 to the original"] = float(
            np.median(ciede2000(original, shown))
        )
        errors = [hue_error_deg(locus(v), rendered(locus(v), gamut)) for v in lightnesses]
        result[f"{gamut}: largest hue error of the locus [deg]"] = max(e.max() for e in errors)
        result[f"{gamut}: mean hue error of the locus [deg]"] = float(
            np.mean(np.concatenate(errors))
        )
        result[f"{gamut}: corner [OKLab / nm^2]"] = corner_size(gamut)
    return result


if __name__ == "__main__":
    for label, value in figures().items():
        print(f"{label:45} {value:.6g}")


def test_blue_has_no_seam() -> None:
    """D65 behind a slit of 40 um, 1 m away: sinc^2(w x / lambda f), from violet to blue-green.

    Neighbours 5 um apart differ by less than a quarter of CIEDE2000 (just noticeable: about 1;
    colour-science), hue by at most 6 degrees, and luminance is kept. Kept in its hue, the light
    lost its colour at 14.6 mm in steps of 0.37.
    """
    import colour

    wavelength_m, cmf = observer()
    daylight = colour.SDS_ILLUMINANTS["D65"]
    power = np.interp(wavelength_m * 1e9, daylight.wavelengths, daylight.values)
    x = np.arange(13.5e-3, 17e-3, 5e-6)[:, None]
    before = (np.sinc(40e-6 * x / wavelength_m) ** 2 * power) @ cmf
    before *= 0.15 / before[:, 1].max()
    style = Rendering(depth=16, dither=False)
    shown = picture(before, white_xyz=D65, white_level=1.0, balance="none", rendering=style)
    after = decode(shown / 65535) @ rgb_space("srgb").to_xyz().T
    lab = colour.XYZ_to_Lab(after, (0.3127, 0.3290))
    assert colour.delta_E(lab[1:], lab[:-1], method="CIE 2000").max() < 0.25
    assert hue_error_deg(before, after).max() < 6
    np.testing.assert_allclose(after[:, 1], before[:, 1], rtol=2e-3)
