"""Quantities with units, against pint itself and by hand."""

from __future__ import annotations

import contextlib
import math
import random
from decimal import Decimal
from pathlib import Path

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from wavesim.scene import units
from wavesim.scene.units import FAST_UNITS, UnitError, measure

SI = {
    "length": "m",
    "time": "s",
    "angle": "rad",
    "pressure": "Pa",
    "power": "W",
    "temperature": "K",
    "lines per length": "1/m",
    "luminance": "cd/m^2",
    "illuminance": "lx",
    "fraction": "",
}


@pytest.fixture(scope="module")
def registry() -> pint.UnitRegistry:
    return pint.UnitRegistry(autoconvert_offset_to_baseunit=True)


@pytest.mark.parametrize("unit", FAST_UNITS)
def test_the_quick_table_agrees_with_pint(unit: str, registry: pint.UnitRegistry) -> None:
    found = measure(f"3.7 {unit}")
    expected = registry.Quantity(3.7, registry.parse_units(f"1{unit}" if unit[0] == "/" else unit))
    assert found.dimension == FAST_UNITS[unit][0]
    # two or three roundings on either side
    assert found.value == pytest.approx(expected.to(SI[found.dimension]).magnitude, rel=1e-15)


@pytest.mark.parametrize(
    ("given_text", "value", "dimension"),
    [
        ("20 um", 20e-6, "length"),
        ("20um", 20e-6, "length"),
        (" 20  µm ", 20e-6, "length"),  # micro sign
        ("20 μm", 20e-6, "length"),  # Greek mu
        ("-90 um", -90e-6, "length"),
        ("−90 um", -90e-6, "length"),  # typographic minus
        ("1e-3 mm", 1e-6, "length"),
        (".5 m", 0.5, "length"),
        ("2 inch", 0.0508, "length"),
        ("1/30 s", 1 / 30, "time"),
        ("30 deg", math.pi / 6, "angle"),
        ("30°", math.pi / 6, "angle"),
        ("12 arcsec", math.radians(12 / 3600), "angle"),
        ("600 / mm", 6e5, "lines per length"),
        ("600/mm", 6e5, "lines per length"),
        ("600 per mm", 6e5, "lines per length"),
        ("600 lines / mm", 6e5, "lines per length"),
        ("600 mm^-1", 6e5, "lines per length"),
        ("600 mm-1", 6e5, "lines per length"),
        ("600 l/mm", 6e5, "lines per length"),
        ("600 gr/mm", 6e5, "lines per length"),
        ("600 g / mm", 6e5, "lines per length"),
        ("15000 / inch", 15000 / 0.0254, "lines per length"),
        ("15 degC", 288.15, "temperature"),
        ("15 °C", 288.15, "temperature"),
        ("59 degF", 288.15, "temperature"),
        ("5772 K", 5772.0, "temperature"),
        ("760 torr", 101_325.0, "pressure"),
        ("50 %", 0.5, "fraction"),
        ("450 ppm", 450e-6, "fraction"),
        ("1.6e9 cd/m^2", 1.6e9, "luminance"),
        ("1.6e9 cd/m2", 1.6e9, "luminance"),
        ("1 furlong", 201.168, "length"),  # 660 ft of 0.3048 m; pint's US survey foot: 2e-6 more
        ("2 kg", 2.0, "mass"),
        ("3 m^2", 3.0, "area"),
        ("3 m/s", 3.0, "speed"),
        ("540 THz", 540e12, "frequency"),
    ],
)
def test_texts_by_hand(given_text: str, value: float, dimension: str) -> None:
    found = measure(given_text)
    assert found.dimension == dimension
    assert found.value == pytest.approx(value, rel=3e-6 if "furlong" in given_text else 1e-14)


@pytest.mark.parametrize(
    ("given_text", "problem"),
    [
        ("", "empty"),
        ("wide", "number"),
        ("nan um", "finite"),
        ("-inf um", "finite"),
        ("1e999 um", "large"),
        ("20", "no unit"),
        ("1,5 mm", "comma"),
        ("20 umm", r'"umm".*"um"'),
        ("60 MM", r'"MM".*"mm"'),  # molar
        ("3 S", r'"S".*"s"'),  # siemens
        ("20 grad", r'gon.*"grad"'),
        ("1/0 s", "zero"),
        ("20 m**9**9", "unit"),
        ("9**9**9**9 m", "unit"),
        ("1 m" + " " * 100 + "m", "long"),
        ("2 (m)", r'unit.*"m"'),
        ("2 __import__", "unit"),
    ],
)
def test_texts_that_are_no_quantity(given_text: str, problem: str) -> None:
    with pytest.raises(UnitError, match=problem):
        measure(given_text)


_PIECES = [
    *"190.-+e/*^ ²⁹°%(),µ\n", "**", "m", "um", "deg", "degC", "s", "inch", "line", "nan", "dB"
]  # fmt: skip


@given(st.one_of(st.text(max_size=30), st.lists(st.sampled_from(_PIECES), max_size=9).map("".join)))
def test_any_text_is_a_finite_quantity_or_refused(given_text: str) -> None:
    with contextlib.suppress(UnitError):
        found = measure(given_text)
        assert math.isfinite(found.value)
        assert found.dimension


@pytest.mark.parametrize("seed", [4])
def test_a_length_is_the_same_to_the_last_bit_in_any_unit(seed: int) -> None:
    """Against Python's own reader of decimal numbers, which rounds once."""
    drawn = random.Random(seed)
    for _ in range(2000):
        digits, power = drawn.randint(1, 999_999), drawn.randint(-12, -3)
        metres = float(f"{digits}e{power}")
        for unit, shift in (("m", 0), ("cm", 2), ("mm", 3), ("um", 6), ("nm", 9), ("pm", 12)):
            text = f"{Decimal(digits).scaleb(power + shift)} {unit}"
            assert measure(text).value.hex() == metres.hex(), text


@pytest.mark.parametrize("unit", ["millimeter", "micrometer", "decimeter"])  # read by pint
def test_rare_units_round_once_too(unit: str) -> None:
    scale = {"millimeter": -3, "micrometer": -6, "decimeter": -1}[unit]
    for digits in range(1, 200):
        assert measure(f"{digits / 10} {unit}").value == float(f"{digits}e{scale - 1}")


@pytest.mark.parametrize(
    ("text", "problem"),
    [("1e999999999 m", "is too large a number"), ("1/1e-999999999 s", "divides by zero")],
)
def test_powers_beyond_all_measure_cost_nothing(text: str, problem: str) -> None:
    with pytest.raises(UnitError) as refusal:
        measure(text)
    assert str(refusal.value) == problem


def test_rare_units_leave_nothing_on_the_disk(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A cache once cut short would have refused every later unit."""
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    units._registry.cache_clear()
    assert measure("3 millimeter").value == 3e-3
    assert list(tmp_path.rglob("*")) == []
