"""Settings of a divided circle, invented from the grating equation."""

from __future__ import annotations

import math

import numpy as np
import pytest

from tests.narrowing import known
from wavesim.errors import InputError, TableError
from wavesim.measuring import ARCSEC_RAD, Circle, CircleSetting, dms, from_circle, read_settings

PITCH_M = 1e-3 / 600
LINES_M = {"Hg e": 546.0735e-9, "Hg g": 435.8335e-9, "D1": 589.5924e-9, "D2": 588.9951e-9}


ZERO_RAD = math.radians(359.9)


def readings(rng, *, alpha=0.0, zero=ZERO_RAD, orders=(1, -1, 2, -2), sigma=ARCSEC_RAD):
    """Settings with an error of `sigma` each; the zero lies near the circle's own zero."""
    out = [CircleSetting(0, (zero + rng.normal(0, sigma)) % (2 * math.pi))]
    for name, wavelength in LINES_M.items():
        for m in orders:
            beta = math.asin(m * wavelength / PITCH_M - math.sin(alpha))
            turn = beta + alpha + rng.normal(0, sigma)
            out.append(CircleSetting(m, (zero + turn) % (2 * math.pi), name=name))
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
    one_side = abs(table.rows[0].wavelength_m / LINES_M["Hg e"] - 1)
    mean = abs(table.means[0].wavelength_m / LINES_M["Hg e"] - 1)
    assert one_side > 5e-5
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
        CircleSetting(
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
    ("text", "message"),
    [
        ("order,degrees\n", "no rows"),
        ("order,angle\n1,2\n", "not a table of settings"),
        ("order,degrees,minutes,seconds\n0,10,61,0\n", "not from 0 to 60"),
        ("order,degrees\n0.5,10\n", "is not an order"),
        ("order,degrees\n1,ten\n", "line 2"),
    ],
)
def test_bad_tables(tmp_path, text, message):
    path = tmp_path / "settings.csv"
    path.write_text(text)
    with pytest.raises(TableError, match=message):
        read_settings(path)


def test_settings_that_make_no_sense():
    with pytest.raises(InputError, match="cannot be determined"):
        from_circle((CircleSetting(1, 0.1),), Circle(PITCH_M))
    with pytest.raises(InputError, match="opposite"):
        from_circle(
            (CircleSetting(0, 0.0), CircleSetting(1, 0.3), CircleSetting(-1, 0.2)), Circle(PITCH_M)
        )


A_LITTLE = math.radians(0.2)


def circle_of(
    rng, *, known=("Hg e",), orders=(1, -1, 2, -2), straight=False, wrong=(0.0, 0.0), **how
):
    """`readings` with known lines, perhaps without order 0, of a circle that is not centred."""
    out = []
    for s in readings(rng, orders=orders, **how):
        if s.order == 0 and not straight:
            continue
        angle = s.angle_rad + wrong[0] * math.sin(s.angle_rad) + wrong[1] * math.cos(s.angle_rad)
        wavelength = LINES_M[s.name] if s.name in known else None
        out.append(CircleSetting(s.order, angle % (2 * math.pi), name=s.name, known_m=wavelength))
    return tuple(out)


@pytest.mark.parametrize(
    "how",
    [
        {},
        {"alpha": A_LITTLE},
        {"orders": (1, 2), "straight": True},
        {"orders": (1, 2), "known": ("Hg e", "Hg g")},
        {"wrong": (2e-4, -1e-4), "straight": True},
    ],
    ids=["both sides", "incidence", "one side", "one side, two lines", "centring"],
)
def test_the_density_from_known_lines(how):
    """Exact readings of the grating equation give the pitch back; order 0 is not required."""
    circle = Circle(
        None,
        incidence_error_rad=math.inf if "alpha" in how else 0.0,
        centring="wrong" in how,
    )
    table = from_circle(circle_of(np.random.default_rng(5), sigma=0.0, **how), circle)
    # the circle's error is one of the angle read, here of the angle set: 2e-4 squared
    tolerance = 1e-6 if "wrong" in how else 1e-9
    assert known(table.settled).value["pitch"] == pytest.approx(PITCH_M, rel=tolerance)
    assert abs((table.zero_rad - ZERO_RAD + 1) % (2 * math.pi) - 1) < (
        3e-7 if "wrong" in how else 1e-9
    )
    for row in table.means:
        assert row.wavelength_m == pytest.approx(LINES_M[row.name], rel=tolerance)
    if "alpha" in how:
        assert known(table.settled).value["incidence"] == pytest.approx(A_LITTLE, rel=1e-6)
    if "wrong" in how:
        assert known(table.settled).centring_rad == pytest.approx(math.hypot(2e-4, 1e-4), rel=2e-3)


@pytest.mark.slow
def test_errors_of_the_fit_are_as_stated():
    """Deviations over stated errors of pitch and unknown lines, 40 sets of 5 arcsec."""
    ratios = []
    for seed in range(40):
        settings = circle_of(np.random.default_rng(seed), sigma=5 * ARCSEC_RAD)
        table = from_circle(settings, Circle(None, reading_rad=5 * ARCSEC_RAD))
        fit = known(table.settled)
        ratios.append((fit.value["pitch"] - PITCH_M) / fit.error["pitch"])
        ratios += [(r.wavelength_m - LINES_M[r.name]) / r.uncertainty_m for r in table.means[1:]]
    # the misfit enlarges errors and never shrinks them, so a little below one
    assert 0.75 < np.std(ratios) < 1.1
    assert np.mean(np.abs(ratios) < 2) > 0.93


def test_what_settings_cannot_tell():
    one_side = circle_of(np.random.default_rng(6), orders=(1,), known=())
    with pytest.raises(InputError, match="known wavelength"):
        from_circle(one_side, Circle(None))
    with pytest.raises(InputError, match="cannot be determined"):
        from_circle(one_side[:1], Circle(PITCH_M))


def test_the_command_finds_the_density():
    from click.testing import CliRunner

    from wavesim.cli.measure import command

    options = ["--circle", "--solve", "incidence", "--reading-error", "5 arcsec"]
    done = CliRunner().invoke(command, ["scenes/circle_known.csv", *options])
    assert done.exit_code == 0, done.output
    assert "600.4" in done.output  # made with 600.42 a millimetre, 7.2 arcmin of incidence
    assert "incidence 7." in done.output
