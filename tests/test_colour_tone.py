"""Tone curves, film arithmetic, noise and halation."""

from __future__ import annotations

import numpy as np
import pytest

from wavesim.colorimetry import (
    Film,
    Linear,
    Logarithmic,
    Rendering,
    grain,
    halation,
    photon_noise,
    photons_at_white,
    picture,
)
from wavesim.colorimetry.spaces import D65_XY, decode, encode, xy_to_xyz
from wavesim.colorimetry.tone import ISO6_SPEED_POINT, speed_iso6
from wavesim.errors import InputError

D65 = xy_to_xyz(D65_XY)


def test_film_arithmetic() -> None:
    # ISO 6: 0.8 / Hm, the constant from memory
    assert speed_iso6(0.008) == pytest.approx(100, rel=1e-12)


def test_film_is_pinned_by_its_speed_point() -> None:
    # ISO 6: 0.10 above base + fog at the speed point; 0.8/78 of white on the ISO 12232 scale
    film = Film(gamma=0.65, base_fog=0.22)
    # the shoulder's tail reaches down here with 0.2 x 10^(-1.8 / 0.2)
    assert film.density(10**ISO6_SPEED_POINT) == pytest.approx(0.32, abs=1e-9)
    assert film.speed_point == pytest.approx(np.log10(0.8 / 78), abs=1e-12)
    assert film.density(0.0) == pytest.approx(0.22, abs=1e-12)
    assert film.density(np.inf) == pytest.approx(film.maximum_density, abs=1e-12)


def test_film_parts_are_where_hurter_and_driffield_put_them() -> None:
    film = Film(gamma=0.7, base_fog=0.1, toe=0.05, shoulder=0.05, latitude=2.0)
    middle = film.inertia_point + 1.0
    step = 1e-4
    slope = np.diff(film.density(10.0 ** np.array([middle - step, middle + step]))) / (2 * step)
    # 20 softness widths from both bends, the line is straight to 1e-16
    assert slope[0] == pytest.approx(0.7, abs=1e-8)
    straight = film.density(10.0**middle) - 0.7 * 1.0
    assert straight == pytest.approx(film.base_fog, abs=1e-12)


def iso6_contrast(film: Film) -> float:
    """Rise of density over 1.30 decades from the speed point (ISO 6)."""
    low, high = film.density(10 ** np.array([film.speed_point, film.speed_point + 1.30]))
    return float(high - low)


def test_contrast_that_iso_6_asks_for_is_a_mean_slope_of_0_615() -> None:
    low, high = Film(gamma=0.6), Film(gamma=0.8)
    assert iso6_contrast(low) < 0.80 < iso6_contrast(high)
    # 0.80 / 1.30
    sharp = Film(gamma=0.80 / 1.30, toe=1e-3, base_fog=0.0, latitude=3.0)
    # with no toe to speak of, the 0.10 of density is climbed before the speed point
    assert iso6_contrast(sharp) == pytest.approx(0.80, abs=1e-6)


@pytest.mark.parametrize("tone", [Linear(), Film(), Logarithmic(), Film(gamma=3, toe=0.02)])
def test_tones_rise_within_0_and_1(tone: Linear | Film | Logarithmic) -> None:
    shown = tone.shown(np.concatenate([[0.0], np.logspace(-9, 6, 4000)]))
    assert np.all(np.diff(shown) >= -1e-13)  # rounding in the flat ends
    assert shown[0] == pytest.approx(0, abs=1e-13)
    assert shown.min() >= 0
    assert shown.max() <= 1
    assert shown.max() > 0.99


def test_linear_tone_is_linear_on_the_picture() -> None:
    exposure = np.linspace(0, 1, 200)
    rgb = picture(
        exposure[:, None] * D65,
        white_xyz=D65,
        white_level=1.0,
        rendering=Rendering(depth=16, dither=False),
    )
    # half a step of 16 bits where the curve is steepest (12.92), and the table's 2e-7
    np.testing.assert_allclose(encode(exposure), rgb[:, 0] / 65535, rtol=0, atol=0.6 / 65535)


@pytest.mark.parametrize("tone", [Film(), Logarithmic(3.0)])
def test_tone_table_follows_the_curve(tone: Film | Logarithmic) -> None:
    exposure = np.logspace(-3.5, 1, 500)
    rgb = picture(
        exposure[:, None] * D65,
        white_xyz=D65,
        white_level=1.0,
        rendering=Rendering(depth=16, dither=False, tone=tone),
    )
    shown = decode(rgb[:, 1] / 65535)
    # 64 nodes a stop, read linearly: 1e-4 of white at the end of the logarithm's range
    np.testing.assert_allclose(shown, tone.shown(exposure), rtol=0, atol=1.5e-4)


def test_logarithm_gives_each_decade_an_equal_step_and_says_so() -> None:
    assert Logarithmic(4).label == "logarithmic, 4 decades"
    assert Linear().label == ""
    rgb = picture(
        np.array([1e-3, 1e-2, 1e-1, 1.0])[:, None] * D65,
        white_xyz=D65,
        white_level=1.0,
        rendering=Rendering(tone=Logarithmic(4), dither=False),
    )
    np.testing.assert_array_equal(rgb[:, 1], [64, 128, 191, 255])  # quarters of 255, rounded


@pytest.mark.parametrize("bad", [{"gamma": 0}, {"toe": -1}, {"latitude": np.nan}, {"base_fog": -1}])
def test_bad_films_are_refused(bad: dict[str, float]) -> None:
    with pytest.raises(InputError, match=f"tone.{next(iter(bad))}"):
        Film(**bad)  # type: ignore[arg-type]


def test_photons_of_a_pixel() -> None:
    # 0.78 lx s on (10 um)^2 at 683 lm/W, and 3.57918172e-19 J a photon of 555 nm (SI)
    expected = 0.78 * 1e-10 / 683 / 3.57918172e-19
    assert photons_at_white(0.78, 10e-6, efficiency=1.0) == pytest.approx(expected, rel=1e-8)


def test_photon_noise_has_poisson_mean_and_spread() -> None:
    level, photons = 0.78, 400.0
    xyz = np.broadcast_to(D65 * level * 0.5, (200, 200, 3))
    noisy = photon_noise(xyz, white_xyz=D65 * 3, white_level=level, photons=photons, seed=3)
    counts = noisy[..., 1] / level * photons
    np.testing.assert_allclose(counts, np.round(counts), atol=1e-9)  # whole photons
    # 40,000 pixels of 200 counts: mean and variance to 4 standard errors
    assert counts.mean() == pytest.approx(200, abs=4 * 200**0.5 / 200)
    assert counts.var() == pytest.approx(200, rel=4 * (2 / 40_000) ** 0.5)
    again = photon_noise(xyz, white_xyz=D65, white_level=level, photons=photons, seed=3)
    np.testing.assert_allclose(noisy, again, rtol=1e-12)  # the seed decides, not white's scale
    other = photon_noise(xyz, white_xyz=D65, white_level=level, photons=photons, seed=4)
    assert np.any(noisy != other)
    assert np.all(photon_noise(xyz * 0, white_xyz=D65, white_level=1, photons=9, seed=1) == 0)


def test_grain_has_the_stated_granularity() -> None:
    disc_side_m, rms = 48e-6 * (np.pi / 4) ** 0.5, 0.02  # a square of the 48 um disc's area
    for pixel_m, expected in ((disc_side_m, rms), (disc_side_m / 2, 2 * rms)):
        xyz = np.broadcast_to(D65, (200, 200, 3))
        light = grain(xyz, rms_granularity=rms, pixel_m=pixel_m, seed=4)[..., 1]
        # 40,000 draws: 4 standard errors of the spread, then of the mean
        assert np.log10(light).std() == pytest.approx(expected, rel=4 / (2 * 40_000) ** 0.5)
        assert light.mean() == pytest.approx(1, abs=4 * np.log(10) * expected / 200)


def test_halation_keeps_the_light_and_has_its_shape() -> None:
    pixel_m, radius_m = 5e-6, 40e-6
    xyz = np.zeros((257, 301, 3))
    xyz[128, 150] = (2.0, 1.0, 0.5)
    out = halation(xyz, fraction=0.2, radius_m=radius_m, pixel_m=pixel_m)
    # what lies beyond 128 pixels = 16 radii: 17 exp(-16) = 2e-6 of the halo
    np.testing.assert_allclose(out.sum(axis=(0, 1)), (2.0, 1.0, 0.5), rtol=2e-6)
    distance = 20
    expected = 0.2 * np.exp(-distance * pixel_m / radius_m) / (2 * np.pi * radius_m**2) * pixel_m**2
    # the closed form at the pixel's middle against its band-limited sampling
    assert out[128, 150 + distance, 1] == pytest.approx(expected, rel=2e-2)
    np.testing.assert_allclose(
        halation(xyz, fraction=0.0, radius_m=1e-5, pixel_m=pixel_m), xyz, rtol=0, atol=1e-14
    )


def test_bad_noise_is_refused() -> None:
    with pytest.raises(InputError, match="photons"):
        photon_noise(D65, white_xyz=D65, white_level=1.0, photons=0, seed=1)
    with pytest.raises(InputError, match="fraction"):
        halation(np.zeros((3, 3, 3)), fraction=1.5, radius_m=1e-5, pixel_m=1e-6)
    with pytest.raises(InputError, match="finite"):
        grain([np.nan, 1, 1], rms_granularity=0.01, pixel_m=1e-5, seed=1)
