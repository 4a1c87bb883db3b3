"""Settings of a divided circle, invented from the grating equation."""

from __future__ import annotations

import math

import numpy as np
import pytest

from wavesim.errors import InputError, TableError
from wavesim.measuring import ARCSEC_RAD, Circle, Setting, dms, from_circle, read_settings

PITCH_M = 1e-3 / 600
LINES_M = {"Hg e": 546.0735e-9, "Hg g": 435.8335e-9, "D1": 589.5924e-9, "D2": 588.9951e-9}


ZERO_RAD = math.radians(359.9)


def readings(rng, *, alpha=0.0, zero=ZERO_RAD, orders=(1, -1, 2, -2), sigma=ARCSEC_RAD):
    """Settings with an error of `sigma` each; the zero lies near the circle's own zero."""
    out = [Setting(0, (zero + rng.normal(0, sigma)) % (2 * math.pi))]
    for name, wavelength in LINES_M.items():
        for m in orders:
            beta = math.asin(m * wavelength / PITCH_M - math.sin(alpha))
            turn = beta + alpha + rng.normal(0, sigma)
            out.append(Setting(m, (zero + turn) % (2 * math.pi), name=name))
    return tuple(out)


def test_exact_settings_give_exact_wavelengths():
    settings = readings(np.random.default_rng(0), sigma=0.0)
    table = from_circle(settings, Circle(PITCH_M))
    for row in (*table.rows, *table.means):
        assert row.wavelength_m == pytest.approx(LINES_M[row.name], rel=1e-12)


def test_errors_are_as_propagated():
    """300 sets of readings with one second of arc: deviations over stated uncertainties have
    unit variance, for single settings and for means with their common zero (300 x 4 lines know
    it to 2 to 5 %, correlated through the zero)."""
    rng = np.random.default_rng(1)
    single, means = [], []
    for _ in range(300):
        table = from_circle(readings(rng), Circle(PITCH_M))
        single += [(r.wavelength_m - LINES_M[r.name]) / r.uncertainty_m for r in table.rows]
        means += [(r.wavelength_m - LINES_M[r.name]) / r.uncertainty_m for r in table.means]
    assert np.std(single) == pytest.approx(1, abs=0.06)
    assert np.std(means) == pytest.approx(1, abs=0.1)


def test_one_second_of_arc_by_hand():
    """u = d cos(beta) / m x sqrt(2) x 1 arcsec: setting and zero, first order of 546 nm."""
    table = from_circle(readings(np.random.default_rng(2), orders=(1,)), Circle(PITCH_M))
    row = table.rows[0]
    beta = math.asin(546.0735e-9 / PITCH_M)
    assert row.uncertainty_m == pytest.approx(
        PITCH_M * math.cos(beta) * math.sqrt(2) * ARCSEC_RAD, rel=1e-4
    )


def test_both_sides_cancel_a_wrong_incidence():
    """Light at 2 arcmin to the normal, taken as normal: one side is off, the mean is not."""
    alpha = math.radians(2 / 60)
    settings = readings(np.random.default_rng(3), alpha=alpha, orders=(1, -1), sigma=0.0)
    circle = Circle(PITCH_M, incidence_error_rad=alpha)
    table = from_circle(settings, circle)
    one = abs(table.rows[0].wavelength_m / LINES_M["Hg e"] - 1)
    mean = abs(table.means[0].wavelength_m / LINES_M["Hg e"] - 1)
    assert one > 5e-5
    assert mean < 1e-6
    assert table.rows[0].u_incidence_m > 10 * table.means[0].u_incidence_m


def test_pitch_does_not_average_out():
    circle = Circle(PITCH_M, pitch_error=1e-4)
    table = from_circle(readings(np.random.default_rng(4)), circle)
    for row in table.means:
        assert row.u_pitch_m == pytest.approx(1e-4 * row.wavelength_m, rel=1e-6)


def test_second_vernier_takes_out_eccentricity():
    """An axis off centre by e reads + e on one vernier and - e on the opposite one."""
    off = 40 * ARCSEC_RAD
    exact = readings(np.random.default_rng(5), sigma=0.0)
    settings = tuple(
        Setting(
            s.order,
            s.angle_rad + off * math.sin(s.angle_rad),
            (s.angle_rad + math.pi - off * math.sin(s.angle_rad)) % (2 * math.pi),
            s.name,
        )
        for s in exact
    )
    table = from_circle(settings, Circle(PITCH_M))
    for row in table.rows:
        assert row.wavelength_m == pytest.approx(LINES_M[row.name], rel=1e-9)


def test_table_of_a_file(tmp_path):
    path = tmp_path / "settings.csv"
    path.write_text(
        "# invented readings, one second of arc\n"
        "order,degrees,minutes,seconds,name\n"
        "0,100,7,22.8,\n"
        "1,119,14,56.1,Hg e\n"
        "-1,80,59,48.9,Hg e\n"
    )
    settings = read_settings(path)
    assert settings[1].angle_rad == pytest.approx(dms(119, 14, 56.1))
    table = from_circle(settings, Circle(PITCH_M))
    mean = table.means[0]
    assert abs(mean.wavelength_m - 546.0735e-9) < 3 * mean.uncertainty_m
    assert table.to_pandas().shape == (2, 9)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("order,degrees\n", "no rows"),
        ("order,angle\n1,2\n", "not a table of settings"),
        ("order,degrees,minutes,seconds\n0,10,61,0\n", "run from 0 to 60"),
        ("order,degrees\n0.5,10\n", "is not an order"),
        ("order,degrees\n1,ten\n", "line 2"),
    ],
)
def test_bad_tables(tmp_path, text, words):
    path = tmp_path / "settings.csv"
    path.write_text(text)
    with pytest.raises(TableError, match=words):
        read_settings(path)


def test_settings_that_make_no_sense():
    with pytest.raises(InputError, match="order 0"):
        from_circle((Setting(1, 0.1),), Circle(PITCH_M))
    with pytest.raises(InputError, match="opposite"):
        from_circle((Setting(0, 0.0), Setting(1, 0.3), Setting(-1, 0.2)), Circle(PITCH_M))
