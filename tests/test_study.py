"""Studies of many scenes: the members, what they record, and the file that holds them all.

Sources: Debye-Waller form of random displacements and exponential statistics of speckle, Goodman,
Statistical Optics (1985), sections 2.9 and 7 (from memory); the ghost's (pi m A / d)^2, Rowland
1893 as quoted by Palmer, Diffraction Grating Handbook (from memory); variance shares of the
Ishigami function, Ishigami & Homma 1990, closed form.
"""

from __future__ import annotations

import json
import math
import os
import random
import subprocess
import sys
from pathlib import Path

import h5py
import numpy as np
import pytest
from click.testing import CliRunner

import wavesim
from tests.study_kills import Bench, members_on_disk, random_ruling
from wavesim.cli import _wavesim
from wavesim.ensemble import engine, load_plan, open_study, run_study, summarise
from wavesim.ensemble.members import Design
from wavesim.ensemble.plan import Limit, ReportTable
from wavesim.ensemble.recorded import Members, profile_spread, read_members
from wavesim.ensemble.summary import variance_fraction
from wavesim.errors import InputError, PlateFileError, SceneError

ROOT = Path(__file__).resolve().parents[1]
STUDIES = ROOT / "scenes" / "studies"

SCENE = random_ruling(
    "A laser and a small grating", count=1000, density=600, width="0.6 um", rms="41.667 nm"
)
RANDOM = """
scene = "base.toml"
seed = 11
draws = {draws}
[[draw]]
key = "aperture.defects.0.seed"
law = "seed"
[record]
line = {{ wavelength = "546.1 nm", order = 2 }}
profile = {{ half_width = 0.01, points = 41 }}
"""


@pytest.fixture
def desk(tmp_path: Path) -> Path:
    (tmp_path / "base.toml").write_text(SCENE)
    return tmp_path


def write(desk: Path, text: str, name: str = "study.toml") -> Path:
    path = desk / name
    path.write_text(text)
    return path


def command(*args: object) -> tuple[int, str]:
    result = CliRunner().invoke(_wavesim, ["study", *map(str, args)], catch_exceptions=True)
    if isinstance(result.exception, wavesim.WavesimError):
        return result.exception.exit_status, str(result.exception)
    return result.exit_code, result.output


class TestLaws:
    @pytest.mark.slow
    def test_random_errors_leave_the_debye_waller_fraction(self, desk: Path) -> None:
        """Mean over rulings of I(m) / I_perfect(m) is E + (1 - E) / N, E = exp(-(2 pi m s / d)^2);
        beside the line the light is speckle of mean (1 - E) / N and contrast 1."""
        draws = 400
        run = run_study(
            load_plan(write(desk, RANDOM.format(draws=draws))), desk / "s.h5", workers=1
        )
        with h5py.File(run.file) as file:
            profiles, order = file["profile"][()], file["order"][()]
        remaining = math.exp(-((2 * math.pi * 2 * 41.667e-9 * 600e3) ** 2))
        peak = profiles[:, order.size // 2]
        error = float(peak.std()) / math.sqrt(draws)
        assert float(peak.mean()) == pytest.approx(
            remaining + (1 - remaining) / 1000, abs=4 * error
        )
        zeros = np.abs((order - 2) * 1000 - np.round((order - 2) * 1000)) < 1e-9
        beside = profiles[:, zeros & (np.abs(order - 2) > 0.0005)]  # zeros of the perfect ruling
        assert beside.size > 1000
        assert float(beside.mean()) == pytest.approx((1 - remaining) / 1000, rel=0.1)
        assert float(beside.std() / beside.mean()) == pytest.approx(1.0, abs=0.1)

    def test_the_summary_gives_what_the_closed_forms_say(self, desk: Path) -> None:
        run_study(load_plan(write(desk, RANDOM.format(draws=200))), desk / "s.h5", workers=1)
        found = profile_spread(desk / "s.h5")
        assert found is not None
        remaining = math.exp(-((2 * math.pi * 2 * 41.667e-9 * 600e3) ** 2))
        assert found.peak == pytest.approx(remaining + (1 - remaining) / 1000, abs=4 * found.error)
        assert found.speckle == pytest.approx((1 - remaining) / 1000, rel=0.15)

    def test_efficiency_by_scalar_and_by_rigorous_theory(self, desk: Path) -> None:
        """Opening b in d: (b / d)^2 sinc^2(m b / d); rigorous as `wavesim efficiency` says."""
        line = 'numbers = ["efficiency"]\nline = { wavelength = "546.1 nm", order = 1 }\n'
        study = write(desk, 'scene = "base.toml"\n[record]\n' + line)
        run_study(load_plan(study), desk / "e.h5", workers=1)
        opened = 0.6e-6 * 600e3
        expected = (opened * np.sinc(opened)) ** 2
        assert read_members(desk / "e.h5").numbers["efficiency"][0] == pytest.approx(expected)
        groove = '{ profile = "sinusoidal", depth = "0.2 um", theory = "rigorous" }'
        text = SCENE[: SCENE.index("[[aperture.defects]]")] + SCENE[SCENE.index("[plate]") :]
        text = text.replace('{ profile = "slit", width = "0.6 um" }', groove)
        (desk / "base.toml").write_text(text)
        run_study(load_plan(study), desk / "r.h5", workers=1)
        rigorous = wavesim.efficiency(
            wavesim.parse(text), order=1, from_=546e-9, to=546.2e-9, points=3
        )
        assert read_members(desk / "r.h5").numbers["efficiency"][0] == pytest.approx(
            rigorous.orders[0].unpolarised[1], rel=1e-3
        )

    def test_ghosts_grow_with_the_square_of_the_amplitude(self, desk: Path) -> None:
        text = """
scene = "ghosts.toml"
[[vary]]
key = "aperture.defects.0.amplitude"
from = "1 nm"
to = "8 nm"
steps = 4
spacing = "logarithmic"
[record]
numbers = ["strongest_ghost"]
line = { wavelength = "546.1 nm", order = 1 }
"""
        scene = SCENE.replace(
            '"random"\nrms = "41.667 nm"\nseed = 1', '"periodic"\namplitude = "1 nm"\nperiod = 50'
        )
        (desk / "ghosts.toml").write_text(
            scene.replace('"20 mm"', '{ diameter = "1.5 mm", profile = "gaussian" }')
        )
        run_study(load_plan(write(desk, text)), desk / "g.h5", workers=1)
        members = read_members(desk / "g.h5")
        amplitude = members.keys["aperture.defects.0.amplitude"]
        expected = (np.pi * amplitude.astype(float) * 600e3) ** 2
        # the ghosts at either side differ by the groove's envelope, 2 k / (m P) of them at the most
        assert members.numbers["strongest_ghost"] == pytest.approx(expected, rel=0.06)

    @pytest.mark.slow
    def test_shares_of_the_ishigami_function(self, tmp_path: Path) -> None:
        """sin x1 + 7 sin^2 x2 + 0.1 x3^4 sin x1 over (-pi, pi): S = 0.3139, 0.4424, 0; total
        0.5576, 0.4424, 0.2437."""
        a, b = 7.0, 0.1
        variance = a**2 / 8 + b * np.pi**4 / 5 + b**2 * np.pi**8 / 18 + 0.5
        first = [0.5 * (1 + b * np.pi**4 / 5) ** 2, a**2 / 8, 0.0]
        total = [first[0] + 8 * b**2 * np.pi**8 / 225, a**2 / 8, 8 * b**2 * np.pi**8 / 225]
        design = sobol_members(tmp_path, 4096)
        x = np.stack([design.keys[f"k{n}"] for n in range(3)]).astype(float)
        values = np.sin(x[0]) + a * np.sin(x[1]) ** 2 + b * x[2] ** 4 * np.sin(x[0])
        members = Members(**{**design.__dict__, "numbers": {"strehl": values}})
        found = {s.key: s for s in summarise(members).sensitivities}
        for n in range(3):
            assert found[f"k{n}"].first_order == pytest.approx(first[n] / variance, abs=0.02)
            assert found[f"k{n}"].total == pytest.approx(total[n] / variance, abs=0.02)
            held = values[:4096]
            assert variance_fraction(x[n][:4096], held) == pytest.approx(
                first[n] / variance, abs=0.05
            )


def sobol_members(folder: Path, n: int) -> Members:
    """A Sobol design of three uniform keys over (-pi, pi), made by the study's own members."""
    draws = "".join(
        f'[[draw]]\nkey = "k{k}"\nlaw = "uniform"\nfrom = -3.141592653589793\n'
        f"to = 3.141592653589793\n"
        for k in range(3)
    )
    (folder / "base.toml").write_text(SCENE)
    text = f'scene = "base.toml"\ndesign = "sobol"\ndraws = {n}\n{draws}[record]\nplate = true\n'
    (folder / "s.toml").write_text(text)
    design = Design(load_plan(folder / "s.toml"))
    keys = [[float(v) for v in design.values(i).values()] for i in range(design.count)]
    columns = {f"k{k}": np.array(keys)[:, k] for k in range(3)}
    return Members(
        title="",
        design="sobol",
        draws=n,
        keys=columns,
        units={"strehl": ""},
        drawn=tuple(columns),
        numbers={},
        failures=("",) * design.count,
    )


class TestMembers:
    def test_grid_pairs_and_draws(self, desk: Path) -> None:
        text = """
scene = "base.toml"
draws = 3
[[vary]]
key = "aperture.count"
values = [500, 1000]
[[vary]]
key = "aperture.height"
values = ["4 mm", "5 mm"]
along = "aperture.count"
[[vary]]
key = "source.power"
from = "1 mW"
to = "3 mW"
steps = 3
[[draw]]
key = "aperture.defects.0.rms"
law = "normal"
mean = "30 nm"
deviation = "3 nm"
[record]
numbers = ["power"]
"""
        design = Design(load_plan(write(desk, text)))
        assert design.count == 2 * 3 * 3
        rows = [design.numbers(k) for k in range(design.count)]
        assert {(row["aperture.count"], row["aperture.height"]) for row in rows} == {
            (500.0, 0.004),
            (1000.0, 0.005),
        }
        assert {row["source.power"] for row in rows} == {1e-3, 2e-3, 3e-3}
        drawn = [row["aperture.defects.0.rms"] for row in rows]
        assert len(set(drawn)) == design.count
        assert all(isinstance(value, float) and 10e-9 < value < 50e-9 for value in drawn)
        again = Design(load_plan(desk / "study.toml"))
        assert [again.numbers(k) for k in range(design.count)] == rows

    def test_draws_have_their_distribution(self, desk: Path) -> None:
        (desk / "law.csv").write_text("value, weight\n2e-8, 1\n4e-8, 3\n")
        text = """
scene = "base.toml"
draws = 4000
[[draw]]
key = "aperture.height"
law = "uniform"
from = "4 mm"
to = "6 mm"
[[draw]]
key = "source.power"
law = "normal"
mean = "1 mW"
deviation = "0.1 mW"
[[draw]]
key = "aperture.defects.0.rms"
law = "table"
file = "law.csv"
[record]
numbers = ["power"]
"""
        from scipy.stats import kstest

        design = Design(load_plan(write(desk, text)))
        rows = [list(design.numbers(k).values()) for k in range(design.count)]
        height, power, rms = np.array(rows, dtype=float).T
        assert kstest(height, "uniform", args=(4e-3, 2e-3)).pvalue > 1e-3
        assert kstest((power - 1e-3) / 1e-4, "norm").pvalue > 1e-3
        assert np.mean(rms == 4e-8) == pytest.approx(0.75, abs=4 * math.sqrt(0.75 * 0.25 / 4000))
        assert abs(np.corrcoef(height, power)[0, 1]) < 4 / math.sqrt(4000)

    @pytest.mark.parametrize(
        ("old", "new", "facts"),
        [
            ('law = "seed"', 'law = "dice"', ["draw", "dice", "normal"]),
            ('law = "seed"', 'law = "normal"', ["mean", "missing"]),
            ('scene = "base.toml"', 'scene = "nowhere.toml"', ["nowhere.toml"]),
            ("draws = 4", "draws = 0", ["draws", "0", "from 1"]),
            ("profile", "profil", ["profil", "profile"]),
            ("half_width = 0.01", "half_width = 3", ["half_width", "3", "0.5"]),
            ("[record]", '[record]\nnumbers = ["finesse"]', ["numbers", "finesse", "strehl"]),
            ("[record]", '[record]\nnumbers = ["resolved"]', ["line", "pair"]),
            ("[record]", '[[vary]]\nkey = "aperture.count"\n[record]', ["values", "steps"]),
            ("[record]", '[[report.limits]]\nnumber = "strehl"\n[record]', ["limits", "at_most"]),
        ],
    )
    def test_wrong_studies_are_refused(
        self, desk: Path, old: str, new: str, facts: list[str]
    ) -> None:
        text = RANDOM.format(draws=4)
        assert old in text
        status, output = command(write(desk, text.replace(old, new, 1)), "-o", desk / "s.h5")
        assert status == 2
        assert "study.toml" in output or "nowhere" in output
        for word in facts:
            assert word in output
        assert not list(desk.glob("*.h5*"))

    def test_a_key_that_leads_nowhere_fails_every_member_with_its_message(self, desk: Path) -> None:
        text = RANDOM.format(draws=2).replace("defects.0.seed", "defects.0.sede")
        status, output = command(write(desk, text), "-o", desk / "s.h5", "--json")
        assert status == 0
        record = json.loads(output)
        assert (record["members"], record["done"], record["failed"]) == (2, 0, 2)
        assert "sede" in read_members(desk / "s.h5").failures[0]


class TestFiles:
    def test_a_study_opens_as_a_labelled_data_set(self, desk: Path) -> None:
        text = RANDOM.format(draws=3).replace(
            "[record]",
            '[record]\nnumbers = ["strehl", "power"]\nplate = true\n'
            "picture = {{ columns = 20, rows = 4 }}".replace("{{", "{").replace("}}", "}"),
        )
        run_study(load_plan(write(desk, text)), desk / "s.h5", workers=1)
        found = open_study(desk / "s.h5")
        assert found.sizes["member"] == 3
        assert found["strehl"].dims == ("member",)
        assert found["profile"].dims == ("member", "order")
        assert found["picture"].dims == ("member", "picture_y", "picture_x", "channel")
        assert found["irradiance"].dims == ("member", "y", "x")
        assert found["power"].attrs["units"] == "W"
        assert "aperture.defects.0.seed" in found.coords
        assert found.attrs["study"] == text
        assert found.attrs["wavesim_version"] == wavesim.__version__
        design = Design(load_plan(desk / "study.toml"))
        plate = wavesim.expose(design.scene(2))
        assert np.array_equal(found["irradiance"][2], plate.irradiance.astype(np.float32))

    def test_a_member_is_exposed_again_from_the_file_alone(self, desk: Path) -> None:
        text = RANDOM.format(draws=2).replace("[record]", "[record]\nplate = true")
        run_study(load_plan(write(desk, text)), desk / "s.h5", workers=1)
        (desk / "study.toml").unlink()
        (desk / "base.toml").unlink()
        again = wavesim.expose(wavesim.member_scene(desk / "s.h5", 1))
        with open_study(desk / "s.h5") as found:
            assert np.array_equal(found["irradiance"][1], again.irradiance.astype(np.float32))
        status, output = command(desk / "s.h5", "--member", 1)
        assert (status, output) == (0, again.scene.text)
        status, output = command(desk / "s.h5", "--json")
        assert json.loads(output)["summary"]["members"] == 2

    def test_a_member_can_be_exposed_again(self, desk: Path) -> None:
        study = write(desk, RANDOM.format(draws=3))
        status, text = command(study, "--member", 1)
        assert status == 0
        again = wavesim.parse(text)
        assert again.aperture == Design(load_plan(study)).scene(1).aperture
        status, output = command(study, "--member", 3)
        assert status == 2
        assert "0 to 2" in output

    @pytest.mark.parametrize("made", [None, b"", b"no HDF5", "plate"])
    def test_what_is_no_study_is_refused(self, tmp_path: Path, made: bytes | str | None) -> None:
        path = tmp_path / "x.h5"
        if isinstance(made, bytes):
            path.write_bytes(made)
        elif made:
            wavesim.expose(wavesim.parse(SCENE)).save(path)
        with pytest.raises(PlateFileError, match=r"x\.h5"):
            open_study(path)


class TestGoingOn:
    def test_a_run_goes_on_from_its_parts_with_the_same_bytes(self, desk: Path) -> None:
        plan = load_plan(write(desk, RANDOM.format(draws=30)))
        whole = run_study(plan, desk / "whole.h5", workers=1)
        assert (whole.members, whole.computed, whole.failed) == (30, 30, 0)

        def stop(progress: object) -> None:
            if getattr(progress, "done", 0) > 2:
                raise KeyboardInterrupt

        with pytest.raises(KeyboardInterrupt):
            run_study(plan, desk / "cut.h5", workers=1, progress=stop)
        assert not (desk / "cut.h5").exists()
        (parts,) = desk.glob("cut.h5.*.parts")
        damaged = parts / "members-00000020-00000029-00010.h5"
        damaged.write_bytes(b"half a file")
        rest = run_study(plan, desk / "cut.h5", workers=1)
        assert 0 < rest.computed < 30
        assert (desk / "cut.h5").read_bytes() == (desk / "whole.h5").read_bytes()
        assert not list(desk.glob("*.parts"))

    def test_another_seed_is_another_study(self, desk: Path) -> None:
        plan = load_plan(write(desk, RANDOM.format(draws=3)))
        other = load_plan(write(desk, RANDOM.format(draws=3).replace("seed = 11", "seed = 12")))
        said = load_plan(write(desk, 'title = "Said otherwise"\n' + RANDOM.format(draws=3)))
        assert plan.identity != other.identity
        assert plan.identity == said.identity

    @pytest.mark.slow
    @pytest.mark.parametrize(
        "victim",
        ["command", pytest.param("worker", marks=pytest.mark.exhaustive),
         pytest.param("scheduler", marks=pytest.mark.exhaustive),
         pytest.param("ctrl-c", marks=pytest.mark.exhaustive)],
    )  # fmt: skip
    def test_a_kill_loses_and_doubles_nothing(self, tmp_path: Path, victim: str) -> None:
        pytest.importorskip("distributed")
        assert Bench(tmp_path, 160).strike(victim, random.Random(5)) == ""

    def test_what_is_done_is_not_done_again(self, desk: Path) -> None:
        study = write(desk, RANDOM.format(draws=4))
        assert run_study(load_plan(study), desk / "s.h5", workers=1).computed == 4
        before = (desk / "s.h5").stat()
        assert run_study(load_plan(study), desk / "s.h5", workers=1).computed == 0
        assert (desk / "s.h5").stat().st_mtime_ns == before.st_mtime_ns
        (desk / "base.toml").write_text(SCENE.replace("41.667 nm", "40 nm"))
        assert run_study(load_plan(study), desk / "s.h5", workers=1).computed == 4

    @pytest.mark.slow
    def test_a_full_disk_keeps_what_is_done(self, desk: Path) -> None:
        disk = desk / "disk"
        disk.mkdir()
        mount = ["mount", "-t", "tmpfs", "-o", "size=256k", "tmpfs", str(disk)]
        if subprocess.run(mount, check=False, capture_output=True).returncode:
            pytest.skip("a small file system cannot be mounted here")
        try:
            profile = "half_width = 0.3, points = 4001"
            text = RANDOM.format(draws=24).replace("half_width = 0.01, points = 41", profile)
            study = write(desk, text)
            run_study(load_plan(study), desk / "whole.h5", workers=1)
            status, output = command(study, "-o", disk / "s.h5", "--workers", "1")
            assert status == 2
            assert "No space left" in output
            assert f"on the disk at {disk}" in output
            held = sum(members_on_disk(disk / "s.h5").values())
            assert 0 < held < 24
            more = ["mount", "-o", "remount,size=8m", str(disk)]
            subprocess.run(more, check=True)
            status, output = command(study, "-o", disk / "s.h5", "--workers", "1", "--json")
            assert json.loads(output)["computed"] == 24 - held
            assert (disk / "s.h5").read_bytes() == (desk / "whole.h5").read_bytes()
        finally:
            subprocess.run(["umount", str(disk)], check=False)

    def test_without_dask_the_message_says_what_to_install(
        self, desk: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.setattr(engine, "has_distributed", lambda: False)
        plan = load_plan(write(desk, RANDOM.format(draws=4)))
        assert run_study(plan, desk / "s.h5").computed == 4  # in this process
        with pytest.raises(InputError, match=r"wavesim\[studies\]"):
            run_study(plan, desk / "t.h5", workers=2)
        with pytest.raises(InputError, match=r"--cluster: .*wavesim\[studies\]"):
            run_study(plan, desk / "u.h5", cluster="tcp://127.0.0.1:8786")

    @pytest.mark.slow
    def test_a_script_that_each_process_would_run_again_is_told_so(self, desk: Path) -> None:
        write(desk, RANDOM.format(draws=4))
        calls = "wavesim.run_study(wavesim.load_study('study.toml'), 's.h5', workers=2)"
        (desk / "script.py").write_text(f"import wavesim\n{calls}\n")
        done = subprocess.run(
            [sys.executable, "script.py"],
            cwd=desk,
            env={**os.environ, "PYTHONPATH": str(ROOT)},
            capture_output=True,
            text=True,
            timeout=300,
            check=False,
        )
        assert done.returncode == 1
        assert "if __name__ ==" in done.stderr.splitlines()[-1]


@pytest.mark.slow
@pytest.mark.parametrize(
    "line",
    [
        ["compare", "{base}", "--only", "order-places", "--only", "n-slits", "--json"],
        ["tolerance", "{base}", "--ghost", "1e-3", "--diffuse", "1e-2", "--json"],
        ["animate", "{base}", "--vary", "aperture.count=400,500", "-o", "{out}"],
    ],
)
def test_more_processes_give_the_same_bytes(desk: Path, line: list[str]) -> None:
    pytest.importorskip("distributed")
    found = []
    for workers in (1, 2):
        out = desk / f"{workers}.gif"
        args = [w.format(base=desk / "base.toml", out=out) for w in line]
        result = CliRunner().invoke(_wavesim, [*args, "--workers", str(workers)])
        assert result.exit_code == 0, result.output
        found.append(out.read_bytes() if out.exists() else result.stdout)
    assert found[0] == found[1]


class TestReports:
    def test_quantiles_yield_and_the_worst(self) -> None:
        values = np.arange(1.0, 102.0)
        members = Members(
            title="",
            design="random",
            draws=101,
            keys={},
            units={"line_width": "m"},
            drawn=(),
            numbers={"line_width": values},
            failures=("",) * 101,
        )
        limit = Limit(number="line_width", at_most=20.0)
        found = summarise(members, ReportTable(quantiles=(0.0, 0.5, 0.9), limits=(limit,), worst=2))
        assert [v for _, v in found.numbers[0].quantiles] == [1.0, 51.0, 91.0]
        assert found.numbers[0].worst == ((100, 101.0), (99, 100.0))
        assert found.yields[0].fraction == pytest.approx(20 / 101)

    @pytest.mark.parametrize("name", ["slit_chart", "screw", "random_errors", "passing"])
    def test_shipped_studies_are_read(self, name: str) -> None:
        design = Design(load_plan(STUDIES / f"{name}.toml"))
        assert design.scene(0).title
        assert design.scene(design.count - 1).title

    @pytest.mark.slow
    def test_the_shipped_chart_and_its_figures(self, tmp_path: Path) -> None:
        """The first zero of each envelope lies at f lambda / width (Born & Wolf 8.5.1): brighter
        there than the maximum nowhere, and the wider slit's plate is brighter by width squared."""
        target = tmp_path / "chart.h5"
        status, output = command(STUDIES / "slit_chart.toml", "-o", target, "--figures")
        assert status == 0, output
        made = sorted(path.name for path in tmp_path.glob("*.png"))
        assert "chart_contact.png" in made
        again = ["figure", str(target), "-o", str(tmp_path / "map.png")]
        drawn = CliRunner().invoke(_wavesim, [*again, "--draw", "map", "--number", "brightest"])
        assert drawn.exit_code == 0, drawn.output
        assert (tmp_path / "map.png").stat().st_size > 5_000
        refused = CliRunner().invoke(_wavesim, [*again, "--draw", "band"])
        assert "band" in str(refused.exception)
        assert "contact" in str(refused.exception)
        members = read_members(target)
        width, count = (members.keys[f"aperture.{k}"] for k in ("width", "count"))
        bright = members.numbers["brightest"]
        single = bright[count == 1] / np.asarray(width[count == 1], dtype=float) ** 2
        assert single == pytest.approx(single[0], rel=0.02)  # the source slit's blur is the rest
        found = {s.key: s for s in summarise(members).sensitivities if s.number == "exposure_time"}
        # t goes as 1 / (number x width)^2: analysis of variance of a product over the whole grid
        by_count, by_width = (np.array(v) ** -2.0 for v in ([1, 2, 3, 6], [1, 2, 3]))
        square = np.mean(by_count**2) * np.mean(by_width**2)
        variance = square - (np.mean(by_count) * np.mean(by_width)) ** 2
        of_count = np.var(by_count) * np.mean(by_width) ** 2 / variance
        of_width = np.var(by_width) * np.mean(by_count) ** 2 / variance
        assert found["aperture.count"].first_order == pytest.approx(of_count, abs=2e-3)
        assert found["aperture.width"].first_order == pytest.approx(of_width, abs=2e-3)

    def test_the_file_of_an_earlier_version_is_made_again(self, desk: Path) -> None:
        """Such a file names no folders."""
        study, target = write(desk, RANDOM.format(draws=2)), desk / "s.h5"
        assert command(study, "-o", target, "--workers", "1")[0] == 0
        with h5py.File(target, "r+") as file:
            del file.attrs["scene_folder"]
        status, output = command(target)
        assert status == 2
        assert "run the study again" in output
        assert command(study, "-o", target, "--workers", "1")[0] == 0
        assert command(target)[0] == 0

    def test_dry_run_writes_nothing(self, desk: Path) -> None:
        study = write(desk, RANDOM.format(draws=50))
        before = sorted(desk.iterdir())
        status, output = command(study, "-o", desk / "s.h5", "--dry-run", "--json")
        assert status == 0
        record = json.loads(output)
        assert record["members"] == 50
        assert record["bytes"] >= 50 * 41 * 8
        assert sorted(desk.iterdir()) == before


def test_a_study_refuses_a_scene_in_its_place(desk: Path) -> None:
    with pytest.raises(SceneError, match=r"base\.toml"):
        load_plan(desk / "base.toml")
