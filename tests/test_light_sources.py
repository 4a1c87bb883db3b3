"""Levels, filters and cautions of every source of a scene."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from scipy import integrate

from wavesim import light
from wavesim.constants import SUN_SOLID_ANGLE_SR
from wavesim.errors import SceneError, TableError
from wavesim.light import air, photometry, smooth, sun
from wavesim.scene import (
    Band,
    BandpassFilter,
    BlackBody,
    Filter,
    Illuminant,
    Lamp,
    Laser,
    Led,
    LongpassFilter,
    NeutralFilter,
    ShortpassFilter,
    Source,
    SourceSlit,
    Sun,
    TableFilter,
    TableSource,
)

SLIT = SourceSlit(width_m=20e-6, height_m=4e-3)
RELATIVE = [
    Illuminant(name="D65"),
    Lamp(element="H"),
    Led(wavelength_m=525e-9, width_m=30e-9),
    Band(centre_m=550e-9, width_m=100e-9),
]


@pytest.mark.parametrize("source", RELATIVE, ids=lambda source: source.kind)
def test_default_levels_of_relative_sources(source: Source) -> None:
    beam = light.spectrum(source)
    assert beam.kind_of_level == "irradiance"
    assert photometry.luminous(beam) == pytest.approx(1000.0, rel=1e-12)  # lx, the default
    slit = light.spectrum(source.model_copy(update={"slit": SLIT}))
    assert slit.kind_of_level == "radiance"
    assert photometry.luminous(slit) == pytest.approx(1e4, rel=1e-12)  # cd/m2, the default


@pytest.mark.parametrize(
    "source", [*RELATIVE, Sun(), BlackBody(temperature_K=3000.0)], ids=lambda source: source.kind
)
def test_given_levels(source: Source) -> None:
    beam = light.spectrum(source.model_copy(update={"illuminance_lx": 50.0}))
    assert photometry.luminous(beam) == pytest.approx(50.0, rel=1e-12)
    bright = source.model_copy(update={"slit": SLIT, "luminance_cd_m2": 2e5})
    assert photometry.luminous(light.spectrum(bright)) == pytest.approx(2e5, rel=1e-12)


def test_true_levels() -> None:
    beam = light.spectrum(Sun())
    disc = light.spectrum(Sun(slit=SLIT))
    assert beam.kind_of_level == "irradiance"
    assert disc.total() == pytest.approx(beam.total() / SUN_SOLID_ANGLE_SR, rel=1e-12)
    # the disc's mean luminance above the air: 133.1 klx (G173) over its solid angle
    assert photometry.luminous(disc) == pytest.approx(133.1e3 / SUN_SOLID_ANGLE_SR, rel=2e-3)
    hot = light.spectrum(BlackBody(temperature_K=2856.0, slit=SLIT))
    ends = air.to_vacuum([5e-7, 6e-7])
    expected, _ = integrate.quad(lambda w: float(smooth.planck(np.array(w), 2856.0)), *ends)
    power, _ = hot.integrate([5e-7], [6e-7])
    assert power[0] == pytest.approx(expected, rel=1e-9)  # quadrature


def test_laser_power_over_the_beam() -> None:
    laser = Laser(wavelength_m=632.8e-9, power_W=2e-3, slit=SLIT)
    found = light.spectrum(laser, beam_diameter_m=4e-3)
    assert found.kind_of_level == "irradiance"
    assert found.total() == pytest.approx(2e-3 / (np.pi * 4e-6), rel=1e-8)


def _filtered(*filters: Filter, source: Source | None = None) -> light.Spectrum:
    base = source or Band(centre_m=550e-9, width_m=200e-9, illuminance_lx=1000.0)
    return light.spectrum(base.model_copy(update={"filters": filters}))


@pytest.mark.parametrize("source", [None, Sun()], ids=["flat", "sun"])
def test_bandpass_has_its_width(source: Source | None) -> None:
    item = BandpassFilter(centre_m=550e-9, width_m=10e-9, transmittance=0.8)
    bare, behind = _filtered(source=source), _filtered(item, source=source)
    x = np.array([550e-9, 545e-9, 555e-9, 550e-9 + 7.21e-9, 560e-9, 590e-9])
    # 1 / (1 + u^6): half at the flanks, 10 % at 1.442 widths
    expected = 0.8 / (1.0 + (2.0 * (x - 550e-9) / 10e-9) ** 6)
    expected[-1] = 0.0  # blocked
    assert behind.density(x) / bare.density(x) == pytest.approx(expected, rel=1e-4, abs=1e-9)
    assert expected[1:4] == pytest.approx([0.4, 0.4, 0.08], rel=1e-2)


@pytest.mark.parametrize(("item", "passes"), [(LongpassFilter, 1.0), (ShortpassFilter, 0.0)])
def test_edges(item: type[LongpassFilter] | type[ShortpassFilter], passes: float) -> None:
    bare = _filtered()
    soft = _filtered(item(edge_m=550e-9, width_m=10e-9))
    x = np.array([500e-9, 545e-9, 550e-9, 555e-9, 600e-9])
    ratio = soft.density(x) / bare.density(x)
    rising = ratio if passes else ratio[::-1]
    assert rising == pytest.approx([0.0, 0.1, 0.5, 0.9, 1.0], abs=1e-6)
    hard = _filtered(item(edge_m=550e-9))
    power, _ = hard.integrate([450e-9, 550e-9], [550e-9, 650e-9])
    assert power[int(passes)] == pytest.approx(bare.total() / 2.0, rel=1e-12)
    assert power[1 - int(passes)] == 0.0


def test_neutral_filters() -> None:
    bare = _filtered().total()
    assert _filtered(NeutralFilter(density=0.6)).total() == pytest.approx(bare * 10**-0.6)
    assert _filtered(NeutralFilter(transmittance=0.25)).total() == pytest.approx(bare * 0.25)


def test_filter_table(tmp_path: Path) -> None:
    (tmp_path / "red.csv").write_text("wavelength_nm,transmittance\n600,0\n700,1\n")
    source = Band(centre_m=600e-9, width_m=400e-9, filters=(TableFilter(file="red.csv"),))
    behind = light.spectrum(source, folder=tmp_path)
    bare = light.spectrum(source.model_copy(update={"filters": ()}))
    assert behind.total() == pytest.approx(bare.density(6e-7) * 50e-9, rel=1e-12)
    assert behind.support_m[0] == pytest.approx((6e-7, 7e-7))


def test_filters_multiply_in_any_order() -> None:
    items = (
        BandpassFilter(centre_m=550e-9, width_m=10e-9),
        LongpassFilter(edge_m=550e-9, width_m=3e-9),
        NeutralFilter(density=1.0),
    )
    for source in (None, Sun(slit=SLIT)):
        forwards, backwards = (
            _filtered(*items, source=source),
            _filtered(*items[::-1], source=source),
        )
        # built to 1e-9 each; the Sun's fine pieces are not checked: 1e-5
        assert forwards.total() == pytest.approx(
            backwards.total(), rel=1e-8 if source is None else 1e-6
        )


def test_filtered_sunlight_equals_the_product_in_every_bin() -> None:
    item = BandpassFilter(centre_m=517e-9, width_m=4e-9)
    behind = light.spectrum(Sun(filters=(item,)))
    bare = sun.irradiance()
    edges = np.linspace(514e-9, 520e-9, 301)
    power, _ = behind.integrate(edges[:-1], edges[1:])
    t, w = np.polynomial.legendre.leggauss(5)
    fine = np.linspace(514e-9, 520e-9, 30_001)
    x = (fine[:-1] + fine[1:])[:, None] / 2 + np.diff(fine)[:, None] / 2 * t
    density = bare.density(x) / (1.0 + (2.0 * (x - 517e-9) / 4e-9) ** 6)
    expected = (density @ w * np.diff(fine) / 2).reshape(300, 100).sum(axis=1)
    assert power == pytest.approx(expected, rel=1e-5)  # as stated in wavesim.light.filters


def test_a_filtered_narrow_line_keeps_its_power() -> None:
    laser = Laser(wavelength_m=550e-9, linewidth_m=0.3e-12)
    item = BandpassFilter(centre_m=551e-9, width_m=4e-9)
    bare, behind = light.spectrum(laser).total(), _filtered(item, source=laser).total()
    assert behind / bare == pytest.approx(1.0 / (1.0 + 0.5**6), rel=1e-7)  # slope over the line


def test_filters_that_pass_nothing_are_refused() -> None:
    crossed = (LongpassFilter(edge_m=600e-9), ShortpassFilter(edge_m=500e-9))
    for source in (None, Sun()):
        with pytest.raises(SceneError, match=r"source\.filters\[1\]: passes nothing"):
            _filtered(*crossed, source=source)
    with pytest.raises(SceneError, match=r"source\.filters\[0\]: passes nothing"):
        _filtered(BandpassFilter(centre_m=500e-9, width_m=1e-9),
                  source=Laser(wavelength_m=632.8e-9))  # fmt: skip


def test_measured_sources(tmp_path: Path) -> None:
    rows = "400,1\n700,1\n"
    for name, head in (("relative", "relative"), ("radiance", "radiance_W_m-2_sr-1_nm-1"),
                       ("irradiance", "irradiance_W_m-2_nm-1")):  # fmt: skip
        (tmp_path / f"{name}.csv").write_text(f"wavelength_nm,{head}\n{rows}")
    relative = light.spectrum(TableSource(file="relative.csv"), folder=tmp_path)
    assert photometry.luminous(relative) == pytest.approx(1000.0)
    radiance = light.spectrum(TableSource(file="radiance.csv", slit=SLIT), folder=tmp_path)
    assert radiance.kind_of_level == "radiance"
    assert radiance.total() == pytest.approx(300.0, rel=1e-12)
    irradiance = light.spectrum(TableSource(file="irradiance.csv"), folder=tmp_path)
    assert irradiance.kind_of_level == "irradiance"
    assert irradiance.total() == pytest.approx(300.0, rel=1e-12)
    for wrong in (TableSource(file="irradiance.csv", slit=SLIT), TableSource(file="radiance.csv")):
        with pytest.raises(SceneError, match=r"source\.file: is a table of .*luminance in the|"
                           r"source\.file: is a table of .*illuminance in the"):  # fmt: skip
            light.spectrum(wrong, folder=tmp_path)
    given = TableSource(file="irradiance.csv", slit=SLIT, luminance_cd_m2=7.0)
    assert photometry.luminous(light.spectrum(given, folder=tmp_path)) == pytest.approx(7.0)


def test_measured_source_without_visible_light(tmp_path: Path) -> None:
    (tmp_path / "heat.csv").write_text("wavelength_um,relative\n1,1\n2,1\n")
    with pytest.raises(TableError, match=r"heat\.csv: holds no visible light"):
        light.spectrum(TableSource(file="heat.csv"), folder=tmp_path)


def test_a_source_too_cold_to_see() -> None:
    for kelvin in (1.0, 30.0):
        with pytest.raises(SceneError, match="no visible light"):
            light.spectrum(BlackBody(temperature_K=kelvin))


@pytest.mark.parametrize(
    ("source", "facts"),
    [
        (Sun(), ["Sun", "ISO 12312-2"]),
        (Laser(wavelength_m=632.8e-9, power_W=1e-4), ["class 1 or 2"]),
        (Laser(wavelength_m=632.8e-9, power_W=1e-3), ["class 2 ", "never stare"]),
        (Laser(wavelength_m=632.8e-9, power_W=4e-3), ["class 3R"]),
        (Laser(wavelength_m=632.8e-9, power_W=0.1), ["class 3B"]),
        (Laser(wavelength_m=632.8e-9, power_W=2.0), ["class 4"]),
        (Lamp(element="Hg"), ["ultraviolet", "IEC 62471"]),
    ],
)
def test_cautions(source: Source, facts: list[str]) -> None:
    (text,) = light.cautions(source)
    assert all(word in text for word in facts)
    assert "Local rules and a qualified supervisor" in text


def test_no_caution_for_a_candle() -> None:
    assert light.cautions(BlackBody(temperature_K=1900.0)) == ()
    assert light.cautions(Illuminant(name="A")) == ()


def test_public_names() -> None:
    assert light.__all__ == sorted(light.__all__)
    assert all(hasattr(light, name) for name in light.__all__)
