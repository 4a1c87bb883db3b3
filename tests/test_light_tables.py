"""Measured tables: units, vacuum wavelengths, and messages for whatever may be wrong."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from wavesim.errors import TableError
from wavesim.light import air, tables


def _write(folder: Path, text: str | bytes) -> Path:
    path = folder / "measured.csv"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


@pytest.mark.parametrize(
    ("text", "wavelength_nm", "values", "quantity"),
    [
        ("wavelength_nm,relative\n400,1\n500,2\n", [400, 500], [1, 2], "relative"),
        ("# a note\n\nwavelength_um;relative\n0.4;1\n0.5;2\n", [400, 500], [1, 2], "relative"),
        ("wavelength_A\trelative\textra\n4000\t1\tx\n5000\t2\n", [400, 500], [1, 2], "relative"),
        ("\ufeffwavelength_air_m,relative\r\n4e-7,1\r\n5e-7,2\r\n", [400, 500], [1, 2], "relative"),
        ("wavelength_nm,radiance_W_m-2_sr-1_nm-1\n400,1\n500,2\n", [400, 500], [1e9, 2e9],
         "radiance"),
        ("wavelength_nm,irradiance_W_m-2_um-1\n400,1\n500,2\n", [400, 500], [1e6, 2e6],
         "irradiance"),
    ],
)  # fmt: skip
def test_units_of_sources(
    tmp_path: Path, text: str, wavelength_nm: list[float], values: list[float], quantity: str
) -> None:
    found = tables.source_table(_write(tmp_path, text))
    assert found.wavelength_m == pytest.approx(np.array(wavelength_nm) * 1e-9, rel=1e-15)
    assert found.value == pytest.approx(np.array(values), rel=1e-15)
    assert found.quantity == quantity


def test_vacuum_wavelengths_become_air(tmp_path: Path) -> None:
    path = _write(tmp_path, "wavelength_vacuum_nm,relative\n589.1583264,1\n644.024916,1\n")
    found = tables.source_table(path).wavelength_m
    assert found == pytest.approx(air.from_vacuum(np.array([589.1583264e-9, 644.024916e-9])))
    assert found[1] * 1e9 == pytest.approx(643.84696, abs=1e-6)  # the red line of cadmium


@pytest.mark.parametrize(
    ("text", "values"),
    [
        ("wavelength_nm,transmittance\n400,0.5\n500,1\n", [0.5, 1.0]),
        ("wavelength_nm,transmittance_percent\n400,50\n500,100\n", [0.5, 1.0]),
        ("wavelength_nm,density\n400,0.3010299956639812\n500,0\n", [0.5, 1.0]),
    ],
)
def test_measures_of_filters(tmp_path: Path, text: str, values: list[float]) -> None:
    found = tables.filter_table(_write(tmp_path, text))
    assert found.value == pytest.approx(values, rel=1e-14)


HEAD = "wavelength_nm,relative\n"


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", r"measured\.csv: is empty; expected a header such as"),
        ("400,1\n500,2\n", r"measured\.csv: line 1: has no header"),
        ("wavelength,relative\n400,1\n", r"line 1: has no header that names its columns and units"),
        ("wavelength_inch,relative\n1,1\n", r"has no header that names its columns and units"),
        ("wavelength_nm\n400\n", r"has no header that names its columns and units"),
        ("wavelength_nm,watts\n400,1\n500,1\n", r"line 1: unknown second column \(found 'watts'\)"),
        ("wavelength_nm,radiance_W_m-2_sr-1_ft-1\n400,1\n500,1\n", r"unknown second column"),
        (HEAD + "400,1\n450,abc\n", r"line 3: is not a row of numbers \(found '450,abc'\)"),
        (HEAD + "400,1\n450\n", r"line 3: is not a row of numbers"),
        (HEAD + "400,1\n450;2\n", r"line 3: is not a row of numbers.*two numbers"),
        (HEAD + "400,1\n450,-1\n", r"line 3: value is negative or not a number"),
        (HEAD + "400,nan\n450,1\n", r"line 2: value is negative or not a number"),
        (HEAD + "400,inf\n450,1\n", r"line 2: value is negative or not a number"),
        (HEAD + "-400,1\n450,1\n", r"line 2: wavelength is not a positive number"),
        (HEAD + "nan,1\n450,1\n", r"line 2: wavelength is not a positive number"),
        (HEAD + "450,1\n400,1\n", r"line 3: wavelength does not ascend \(found 400.0\).*450"),
        (HEAD + "400,1\n# note\n400,1\n", r"line 4: wavelength does not ascend"),
        (HEAD + "400,1\n", r"has fewer than two rows"),
        (HEAD, r"has fewer than two rows"),
        ("wavelength_m,relative\n400,1\n500,1\n", r"wavelengths are far from the visible"),
        (b"wavelength_nm,relative\n4\xff0,1\n", r"is not text in UTF-8"),
    ],
)
def test_wrong_tables_are_refused(tmp_path: Path, text: str | bytes, message: str) -> None:
    with pytest.raises(TableError, match=message) as caught:
        tables.source_table(_write(tmp_path, text))
    assert caught.value.file is not None
    assert caught.value.file.endswith("measured.csv")
    assert caught.value.exit_status == 2


def test_missing_table_and_folder(tmp_path: Path) -> None:
    with pytest.raises(TableError, match=r"none\.csv: there is no such file"):
        tables.source_table(tmp_path / "none.csv")
    with pytest.raises(TableError, match=r"cannot be read: Is a directory"):
        tables.filter_table(tmp_path)


def test_transmittance_above_one_is_refused(tmp_path: Path) -> None:
    path = _write(tmp_path, "wavelength_nm,transmittance\n400,50\n500,1\n")
    with pytest.raises(TableError, match=r"above 1 \(found 50.0\).*transmittance_percent"):
        tables.filter_table(path)


NUMBERS = st.text(alphabet="0123456789,;.-e\n #", max_size=60).map(HEAD.__add__)


@settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck))
@given(text=st.one_of(st.text(max_size=200), st.binary(max_size=200), NUMBERS))
def test_any_text_is_read_or_refused(tmp_path: Path, text: str | bytes) -> None:
    data = text if isinstance(text, bytes) else text.encode("utf-8", "surrogatepass")
    try:
        found = tables.source_table(_write(tmp_path, data))
    except TableError as error:
        found, message = None, str(error)
    if found is None:
        assert "measured.csv" in message
    else:
        assert (np.diff(found.wavelength_m) > 0.0).all()
        assert np.isfinite(found.value).all()
