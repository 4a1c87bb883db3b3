"""Rigorous efficiencies through the doors a user has: scenes, exposures, the command."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import get_args

import numpy as np
import pytest
from click.testing import CliRunner

import wavesim
from tests.shipped import scene
from wavesim.cli.efficiency import command
from wavesim.grooves import SHIPPED, shipped
from wavesim.scene.groove import MaterialName

LASER = {"kind": "laser", "wavelength": "550 nm"}
GROOVE = {"profile": "sinusoidal", "depth": "180 nm", "theory": "rigorous"}
METAL = {"kind": "grating", "density": "1200 / mm", "count": 200, "height": "5 mm",
         "mounting": "reflection", "material": "aluminium", "groove": GROOVE}  # fmt: skip


def made(source: dict[str, object] | None = None, aperture: dict[str, object] | None = None,
         incidence: str = "10 deg") -> wavesim.Scene:  # fmt: skip
    return wavesim.Scene(
        source=source or LASER,
        bench={"collimator": "300 mm", "camera": "150 mm", "incidence": incidence,
               "viewing": "29 deg"},
        aperture={**METAL, **(aperture or {})},
        plate={"width": "60 mm", "height": "1 mm", "pixel": "100 um"},
    )  # fmt: skip


def test_the_dark_band_is_there_across_the_grooves_alone() -> None:
    """anomalies_across: order 1 loses its light beyond the passing off of order 2."""
    found = {name: wavesim.efficiency(scene(f"anomalies_{name}"), order=1, from_="480 nm",
                                      to="510 nm", points=31)
             for name in ("across", "along")}  # fmt: skip
    first = found["across"].orders[0]
    assert first.across[9] == pytest.approx(0.34, abs=0.005)  # 489 nm
    assert first.across[20] == pytest.approx(0.012, abs=0.002)  # 500 nm
    assert found["along"].orders[0].along.min() > 0.48
    passing = [a for a in found["across"].anomalies if a.kind == "passing off"]
    # Rayleigh 1907: m lambda / d - sin alpha = 1
    pitch = 1e-3 / 1200
    expected = (1 + math.sin(math.radians(10))) * pitch / 2
    assert passing[0].orders == (2,)
    assert passing[0].predicted == pytest.approx(expected, rel=1e-9)
    plasmon = next(a for a in found["across"].anomalies if a.kind == "surface plasmon")
    assert plasmon.found is not None
    assert expected < plasmon.predicted < plasmon.found  # a deep groove moves it to the red


def test_a_plate_shows_the_efficiencies() -> None:
    """Same grating, same light: irradiance across over along is the ratio of efficiencies."""
    light = {"kind": "band", "centre": "500 nm", "width": "120 nm",
             "slit": {"width": "30 um", "height": "1 mm"}}  # fmt: skip
    plates = {p: wavesim.expose(made({**light, "polarisation": p}))
              for p in ("along", "across", "none")}  # fmt: skip
    curve = wavesim.efficiency(made(), order=1, from_="450 nm", to="550 nm", points=101)
    pitch, x = 1e-3 / 1200, plates["along"].x_m
    sine = np.sin(math.radians(29) + np.arctan(x / 0.15)) + math.sin(math.radians(10))
    wavelength = sine * pitch
    inside = (wavelength > 455e-9) & (wavelength < 545e-9)
    profiles = {name: plate.profile_irradiance[inside] for name, plate in plates.items()}
    order = curve.orders[0]
    expected = np.interp(wavelength[inside], curve.x, order.across / order.along)
    ratio = profiles["across"] / profiles["along"]
    smooth = np.abs(wavelength[inside] - 489e-9) > 2e-9  # at the cusp a pixel blurs it
    assert ratio[smooth] == pytest.approx(expected[smooth], abs=0.02)
    assert profiles["none"] == pytest.approx((profiles["across"] + profiles["along"]) / 2, rel=1e-6)
    assert any("rigorous" in note for note in plates["none"].report.notes)


def test_a_polariser_passes_by_malus_and_turns_the_light() -> None:
    def power(source: dict[str, object]) -> float:
        return float(wavesim.expose(made({**LASER, **source})).irradiance.sum())

    along, across = power({"polarisation": "along"}), power({"polarisation": "across"})
    axis = [{"kind": "polariser", "axis": "30 deg"}]
    tilted = (0.75 * along + 0.25 * across) / 2
    assert power({"filters": axis}) == pytest.approx(tilted, rel=1e-6)
    twice = [{"kind": "polariser", "axis": "along"}, *axis]
    assert power({"filters": twice}) == pytest.approx(0.75 * tilted, rel=1e-6)


def test_ghosts_keep_their_ratio_to_the_line() -> None:
    """Periodic error of 4 nm: (pi m a / d)^2 of the line (Rowland 1893), whatever the theory."""
    defect = {"kind": "periodic", "amplitude": "4 nm", "period": 20}
    pitch = 1e-3 / 1200
    for theory in ("scalar", "rigorous"):
        ruled = made(aperture={"defects": [defect], "count": 2000,
                             "groove": {**GROOVE, "theory": theory}})  # fmt: skip
        orders = np.array([1.0, 1 + 1 / 20])
        sines = orders * 550e-9 / pitch - math.sin(math.radians(10))
        line, ghost = np.abs(wavesim.amplitude(ruled, sines, 550e-9)) ** 2
        rowland = (math.pi * 1.05 * 4e-9 / pitch) ** 2
        assert ghost / line == pytest.approx(rowland, rel=0.08 if theory == "scalar" else 0.03)


@pytest.mark.slow
def test_scalar_and_rigorous_agree_on_coarse_gratings() -> None:
    """Blazed perfect conductor, 20 wavelengths wide: row E8 of the table, 2 % (E) and exact (H)."""
    angle = math.degrees(math.asin(0.025))
    coarse = made(
        aperture={"density": "90.90909090909091 / mm", "material": None,
                  "groove": {"profile": "blazed", "facet_angle": f"{angle!r} deg",
                             "theory": "rigorous"}},
        incidence=f"{angle!r} deg",
    )  # fmt: skip
    found = wavesim.efficiency(coarse, order=1, from_="549.9 nm", to="550.1 nm", points=3)
    order = found.orders[0]
    assert order.scalar[1] == pytest.approx(1.0, abs=1e-3)
    assert order.across[1] == pytest.approx(1.0, abs=2e-3)
    assert order.along[1] == pytest.approx(0.97865, abs=2e-3)


def test_conical_light_on_a_conductor_is_light_of_a_longer_wavelength() -> None:
    """Invariance theorem (Maystre & Petit 1974): lambda becomes lambda / cos(conical angle)."""
    bare = made(aperture={"material": None})
    cosine = math.cos(math.radians(30))
    conical = wavesim.efficiency(bare, order=1, from_="480 nm", to="484 nm", conical="30 deg",
                                 points=3)  # fmt: skip
    low, high = (f"{x / cosine!r} nm" for x in (480, 484))
    classical = wavesim.efficiency(bare, order=1, from_=low, to=high, points=3)
    for name in ("along", "across", "scalar"):
        inclined, longer = (getattr(found.orders[0], name) for found in (conical, classical))
        assert inclined == pytest.approx(longer, abs=2e-3), name
    metal = wavesim.efficiency(made(), order=1, from_="480 nm", to="481 nm", conical="30 deg",
                               points=2)  # fmt: skip
    assert 0.01 < metal.absorbed.min() < 0.3
    assert metal.balance < max(metal.error)
    with pytest.raises(wavesim.LimitError, match="transmission"):
        wavesim.efficiency(scene("replica"), conical="5 deg")


def test_the_command_says_the_caution_of_its_source() -> None:
    done = CliRunner().invoke(
        command, ["scenes/anomalies_across.toml", "--order", "1", "--points", "5", "--from",
                  "500 nm", "--to", "505 nm"], catch_exceptions=False)  # fmt: skip
    assert "never look at the Sun" in " ".join(done.output.split())


@pytest.mark.slow
def test_the_blaze_lies_where_the_facet_mirrors() -> None:
    """Transmission: n sin(facet) = sin(facet + beta); the peak of order 1 against order -1."""
    found = wavesim.efficiency(scene("replica"), order=(1, -1), from_="400 nm", to="700 nm",
                               points=31)  # fmt: skip
    by = {row.order: row.unpolarised for row in found.orders}
    assert by[1].max() > 0.45
    assert by[-1].max() < 0.13
    assert all(row.side == "transmitted" for row in found.orders)


def test_the_command_prints_the_agreed_keys(tmp_path: Path) -> None:
    table, curve = tmp_path / "curve.h5", tmp_path / "curve.csv"
    run = CliRunner()
    arguments = ["scenes/anomalies_across.toml", "--order", "1", "--points", "5",
                 "--from", "500 nm", "--to", "540 nm"]  # fmt: skip
    done = run.invoke(command, [*arguments, "--json", "-o", str(table)], catch_exceptions=False)
    record = json.loads(done.output)
    assert record["wavelength_m"] == pytest.approx(np.linspace(500e-9, 540e-9, 5))
    assert {"order", "side", "along", "across", "scalar"} <= set(record["orders"][0])
    assert (record["orders"][0]["order"], record["orders"][0]["side"]) == (1, "reflected")
    import h5py

    with h5py.File(table) as file:
        stored = file["entry/reflected_1/across"][:]
    assert stored == pytest.approx(record["orders"][0]["across"])
    run.invoke(command, [*arguments, "-o", str(curve)], catch_exceptions=False)
    assert curve.read_text().startswith("wavelength_nm,order_1_along,order_1_across")


@pytest.mark.slow
def test_over_the_turn_of_the_grating() -> None:
    """Littrow by turning: reciprocity makes order 1 even in the turn about it, to first order."""
    found = wavesim.efficiency(made(), order=1, wavelength="550 nm",
                               turn=("15 deg", "25 deg"), points=11)  # fmt: skip
    assert found.over == "turn"
    assert found.x[0] == pytest.approx(math.radians(15))
    pitch = 1e-3 / 1200
    for alpha in (15.0, 24.0):  # light sent back along the order has the same efficiency
        back = math.degrees(math.asin(550e-9 / pitch - math.sin(math.radians(alpha))))
        forward, returned = (
            wavesim.efficiency(made(), order=1, wavelength="550 nm", points=2,
                               turn=(f"{turn!r} deg", f"{turn + 0.01!r} deg"))
            for turn in (alpha, back)
        )  # fmt: skip
        for name in ("along", "across"):
            ahead, behind = (getattr(o.orders[0], name)[0] for o in (forward, returned))
            assert ahead == pytest.approx(behind, abs=2e-3)


def test_materials_are_named_alike_and_have_sources() -> None:
    assert set(get_args(MaterialName)) == set(SHIPPED)
    for name in SHIPPED:
        assert shipped(name).source not in ("", "given")


@pytest.mark.parametrize(
    ("aperture", "source", "facts"),
    [
        ({"mounting": "transmission", "material": "acrylic"},
         {"kind": "led", "wavelength": "400 nm", "width": "20 nm"}, ("acrylic", "419.9", "nm")),
        ({"groove": {**GROOVE, "depth": "2 um"}}, LASER, ("aperture.groove", "too deep", "2000")),
        ({"groove": {**GROOVE, "profile": "blazed", "depth": None}}, LASER, ("groove",)),
        ({"defects": [{"kind": "depth", "rms": 0.1, "seed": 1}]}, LASER, ("depth", "scalar")),
        ({"mounting": "transmission"}, LASER, ("aluminium", "transmission")),
    ],
    ids=["table too short", "too deep", "no facet angle", "depth errors", "opaque"],
)  # fmt: skip
def test_refusals(
    aperture: dict[str, object], source: dict[str, object], facts: tuple[str, ...]
) -> None:
    with pytest.raises(wavesim.InputError) as refused:
        wavesim.expose(made(source, aperture))
    for fact in facts:
        assert fact in str(refused.value)


def test_a_walled_profile_that_overhangs_is_refused(tmp_path: Path) -> None:
    """Parallel inclined walls: no direction crosses both once."""
    from wavesim.grooves.profiles import polygon

    leaning = np.array([[0.0, 0.0], [0.3, 0.2], [0.6, 0.2], [0.3, 0.0], [1.0, 0.0]])
    with pytest.raises(wavesim.LimitError, match="overhang"):
        polygon(leaning)
    (tmp_path / "metal.csv").write_text("wavelength_nm,n,k\n500,1.0,5.0\n540,1.0,5.4\n")
    bad = made(aperture={"material": None, "material_file": "metal.csv"}).beside(tmp_path)
    with pytest.raises(wavesim.LimitError, match=r"499\.9 to 539\.8"):
        wavesim.expose(bad)


def test_curves_are_kept_between_runs(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The second run reads the file; another depth or material makes another."""
    monkeypatch.setenv("WAVESIM_CACHE", str(tmp_path))
    first = wavesim.efficiency(made(), order=1, from_="500 nm", to="510 nm", points=3)
    cached = sorted(tmp_path.glob("grooves-*"))
    assert len(cached) == 1
    again = wavesim.efficiency(made(), order=1, from_="500 nm", to="510 nm", points=3)
    assert np.array_equal(first.orders[0].along, again.orders[0].along)
    wavesim.efficiency(made(aperture={"material": "silver"}), order=1, from_="500 nm",
                       to="510 nm", points=3)  # fmt: skip
    assert len(sorted(tmp_path.glob("grooves-*"))) == 2


@pytest.mark.slow
def test_efficiencies_are_the_same_on_every_machine(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """However many processors share the work, and whatever the cache holds, empty or warm."""
    coarse = made(aperture={"density": "600 / mm"})
    printed = []
    for processors in (1, 3, 3):
        monkeypatch.setenv("WAVESIM_CACHE", str(tmp_path / str(processors)))
        monkeypatch.setattr("os.cpu_count", lambda n=processors: n)
        found = wavesim.efficiency(coarse, order=2, from_="400 nm", to="404 nm", points=11)
        printed.append((found.text(), found.orders[0].across))
        wavesim.efficiency(coarse, order=2, from_="401 nm", to="402 nm", points=5)
    assert printed[0][0] == printed[1][0] == printed[2][0]
    assert np.array_equal(printed[1][1], printed[2][1])
    assert printed[1][1] == pytest.approx(printed[0][1], abs=1e-9)  # rounding alone


def test_a_flat_peak_says_how_far_its_place_is_known() -> None:
    """A parabola 1 - (x / w)^2 is within its error e of the top over 2 w sqrt(e)."""
    from wavesim.study.efficiency.peaks import peak_of

    x = np.linspace(-1.0, 2.0, 4001)
    peak = peak_of(1, x, 0.8 * (1 - (x / 2.0) ** 2), 0.8e-4)
    assert (peak.position, peak.efficiency) == pytest.approx((0.0, 0.8), abs=1e-3)
    assert peak.uncertainty == pytest.approx(2.0 * 1e-2, rel=1e-3)
    assert (peak.low, peak.high) == pytest.approx((-1.0, math.sqrt(2)), abs=1e-3)
    assert not peak.at_end
    assert peak_of(1, x, x + 2, 1e-3).at_end


@pytest.mark.slow
def test_scalar_theory_is_approached_as_the_wavelength_over_the_pitch() -> None:
    """An edge takes light from a strip of a wavelength, whatever the facet: half the pitch, twice
    the error. The constant 0.427 follows from row E8 (two methods, 1e-5): (1 - 0.97865) x 20."""
    from wavesim.study.compare.efficiencies import SCALAR_ALONG

    groove = {"profile": "blazed", "facet_angle": "5 deg"}
    ruled = made(aperture={"material": None, "groove": groove})
    five, ten = (1 - SCALAR_ALONG.check(ruled, pitches).engine for pitches in (5.0, 10.0))
    assert five / ten == pytest.approx(2.0, rel=0.03)
    assert ten * 10.0 == pytest.approx(0.427, rel=0.02)


def test_compare_says_where_scalar_efficiencies_fail() -> None:
    """Perfect conductor at its blaze: row E2 along the grooves; Marechal & Stroke 1959 across."""
    from wavesim.study.compare.efficiencies import SCALAR_ACROSS, SCALAR_ALONG

    groove = {"profile": "blazed", "facet_angle": f"{math.asin(0.3)!r} rad"}
    ruled = made(aperture={"material": None, "groove": groove})
    assert SCALAR_ALONG.own(ruled) == pytest.approx(1 / 0.6, rel=1e-9)
    assert SCALAR_ALONG.check(ruled, None).engine == pytest.approx(0.7444918599, abs=3e-4)
    assert SCALAR_ACROSS.check(ruled, None).engine == pytest.approx(1.0, abs=1e-6)
    assert SCALAR_ALONG.check(ruled, 20.0).error == pytest.approx(1 / 0.97865 - 1, abs=1e-3)


def test_bowed_rulings_and_notes_say_the_theory() -> None:
    """A bow bends the lines and keeps their light; plate and prediction name the theory."""
    straight = wavesim.expose(made())
    bowed = wavesim.expose(made(aperture={"defects": [{"kind": "bow", "sag": "2 um"}]}))
    assert bowed.irradiance.sum() == pytest.approx(straight.irradiance.sum(), rel=0.01)
    for plate in (straight, bowed):
        assert any("rigorous" in note for note in plate.report.notes)
    assert any("rigorous" in sentence.text for sentence in wavesim.predict(made()).sentences)


def test_a_wrong_material_is_answered_with_the_right_ones() -> None:
    with pytest.raises(wavesim.SceneError, match=r"alu.*aluminium.*silver"):
        made(aperture={"material": "alu"})
