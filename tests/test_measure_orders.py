"""Orders: overlapping ones flagged, two of them used, the zero order as origin, lone lines."""

from __future__ import annotations

import math

import numpy as np
import pytest
from click.testing import CliRunner

from tests import bench
from tests.narrowing import known
from tests.test_measure_ghosts import PLATE, screwed
from wavesim.cli.measure import command
from wavesim.errors import InputError, WavesimError
from wavesim.lightpath import expose
from wavesim.measuring import (
    Instrument,
    Task,
    Uncertainties,
    from_plate,
    line_list,
    measure,
    measure_profile,
    of_scene,
    profile,
)
from wavesim.measuring.profile import Profile
from wavesim.scene import parse

BENCH = Instrument(1e-3 / 300, 0.5)


def laser(**how: object) -> str:
    """A laser line through a grating with one period of 40 rulings."""
    source = 'kind = "laser"\nwavelength = "543.5 nm"'
    return screwed((20, 40, 0), source=source, **how)  # type: ignore[arg-type]


def lines_at(positions, heights) -> Profile:
    """A noiseless profile with Gaussian lines of 40 um."""
    x = np.arange(-0.01, 0.30, 1e-5)
    light = sum(
        h * np.exp(-4 * math.log(2) * ((x - p) / 4e-5) ** 2)
        for p, h in zip(positions, heights, strict=True)
    )
    return profile(x, light + 1e-9)


def test_one_order_alone_is_taken_as_the_lowest_and_others_are_named():
    """0.8 um = 1 x 800 nm = 2 x 400 nm: nothing on the plate decides."""
    position = float(BENCH.position_m(800e-9, 1))
    table = measure_profile(lines_at([position], [1.0]), BENCH, Task())
    row = table.lines[0]
    assert row.order == 1
    assert row.other_orders == (2,)


def test_a_partner_in_another_order_decides():
    """404.656 nm in orders 1 and 2: the second could be 809.3 nm, but the first is there too."""
    positions = [float(BENCH.position_m(404.656e-9, m)) for m in (1, 2)]
    table = measure_profile(lines_at(positions, [1.0, 0.5]), BENCH, Task())
    assert [r.order for r in table.lines] == [1, 2]
    assert all(r.confirmed and r.other_orders == () for r in table.lines)


def test_the_list_decides_where_no_partner_is():
    """Cadmium's 467.815 nm in order 3 might be 701.7 nm in order 2, which cadmium has not."""
    position = float(BENCH.position_m(467.815e-9, 3))
    table = measure_profile(lines_at([position], [1.0]), BENCH, Task(element="Cd"))
    assert table.lines[0].order == 3
    assert table.lines[0].name.startswith("Cd 467.8")


def test_the_order_may_be_given():
    position = float(BENCH.position_m(800e-9, 1))
    row = measure_profile(lines_at([position], [1.0]), BENCH, Task(order=2)).lines[0]
    assert (row.order, row.other_orders) == (2, ())
    with pytest.raises(InputError, match="order"):
        Task(order=0)


def test_the_zero_order_sets_the_origin():
    """A plate put 0.3 mm to the side: its own zero order says so."""
    shift = 3e-4
    positions = [shift + float(BENCH.position_m(w, 1)) for w in (0.0, 435.833e-9, 546.075e-9)]
    table = measure_profile(lines_at(positions, [3.0, 1.0, 0.8]), BENCH, Task())
    assert table.instrument.origin_m == pytest.approx(shift, abs=2e-7)  # 0.02 sample
    found = [known(r.wavelength_m) * 1e9 for r in table.lines]
    np.testing.assert_allclose(found, [435.833, 546.075], atol=0.002)  # 0.02 sample = 0.0013 nm
    assert [r.kind for r in table.rows] == ["zero order", "line", "line"]
    without = measure_profile(lines_at(positions, [3.0, 1.0, 0.8]), BENCH, Task(zero_order=False))
    assert abs(known(without.lines[-1].wavelength_m) * 1e9 - 546.075) > 1.0


def test_ghosts_of_a_lone_line_in_one_order():
    plate = expose(parse(laser(viewing_deg=19, plate=PLATE.replace("170", "30"))))
    table = measure(plate, Task(least=1e-4))
    kinds = {round(known(r.wavelength_m) * 1e9, 1): r.kind for r in table.rows}
    assert kinds[543.5] == "line"
    assert [r.kind for r in table.rows].count("line") == 1
    assert len(table.ghosts) >= 2
    assert table.periods[0].rulings == pytest.approx(40, rel=1e-3)
    assert table.periods[0].amplitude_m == pytest.approx(20e-9, rel=0.02)


def test_negative_orders_and_oblique_light():
    """At 20 degrees of incidence, the order -1 beside the order +1: one wavelength."""
    bench = Instrument(1e-3 / 300, 0.5, math.radians(20), math.radians(-20))
    positions = [float(bench.position_m(546.075e-9, m)) for m in (-1, 1)]
    x = np.arange(min(positions) - 0.01, max(positions) + 0.01, 1e-5)
    light = sum(np.exp(-(((x - p) / 2e-5) ** 2)) for p in positions) + 1e-9
    table = measure_profile(profile(x, light), bench, Task(element="Hg"))  # type: ignore[arg-type]
    assert [r.order for r in table.lines] == [-1, 1]
    for row in table.lines:
        assert known(row.wavelength_m) * 1e9 == pytest.approx(546.075, abs=0.002)
        assert row.confirmed


def test_lists_merge_what_a_plate_cannot_separate():
    """H alpha's seven components: 656.2795 nm, mean by strength of those published."""
    fine, coarse = line_list("H", 1e-13), line_list("H", 1e-10)
    assert len(fine) > 3 * len(coarse)
    alpha = min(coarse, key=lambda e: abs(e.wavelength_m - 656.28e-9))
    assert alpha.wavelength_m * 1e9 == pytest.approx(656.2795, abs=0.001)
    with pytest.raises(InputError, match="no line list"):
        line_list("Xx", 1e-10)


def test_a_plate_without_a_pitch():
    scene = bench.scene(aperture='kind = "disc"\ndiameter = "0.5 mm"')
    with pytest.raises(InputError, match="no pitch"):
        of_scene(scene)


def test_rows_are_averaged_only_where_lines_are_straight():
    """Far off the axis lines are bowed: the middle row alone counts, and the place is unmoved."""
    wanted = 'width = "4 mm"\nheight = "8 mm"\npixel = "10 um"\ncentre = "86 mm"'
    plate = expose(parse(laser(viewing_deg=0, plate=wanted)))
    found = measure(plate, Task(least=0.5)).lines[0]
    assert known(found.wavelength_m) * 1e9 == pytest.approx(
        543.5, abs=0.002
    )  # 0.1 pixel = 0.006 nm
    assert from_plate(plate).value.shape == plate.x_m.shape


@pytest.mark.parametrize(
    "arguments",
    [
        ["absent.h5"],
        ["absent.png", "--pixel", "10 um", "--density", "600 / mm", "--camera", "1 m"],
        ["absent.csv", "--circle", "--density", "600 / mm"],
        ["absent.csv", "--circle"],
        ["absent.h5", "--csv", "lines.txt"],
    ],
)
def test_commands_that_cannot_be_done(arguments, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    result = CliRunner().invoke(command, arguments)
    assert isinstance(result.exception, WavesimError)
    assert result.exception.exit_status == 2


def test_commands_with_bad_quantities():
    result = CliRunner().invoke(command, ["a.h5", "--camera", "1"])
    assert result.exit_code == 2
    assert "has no unit" in result.output
    result = CliRunner().invoke(command, ["a.h5", "--camera", "3 s"])
    assert "not a length" in result.output


def test_doubt_is_carried():
    position = float(BENCH.position_m(546.075e-9, 1))
    bench = Instrument(1e-3 / 300, 0.5, uncertainties=Uncertainties(pitch=1e-4, origin_m=1e-6))
    row = measure_profile(lines_at([position], [1.0]), bench, Task()).lines[0]
    assert known(row.uncertainty_m) > 1e-4 * 546e-9
    assert known(row.uncertainty_m) < 1.2e-4 * 546e-9
