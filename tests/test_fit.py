"""From a photograph back to the bench, against photographs drawn by textbook formulas."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

import wavesim
from tests.drawn_patterns import Camera, disc, powder, ruled, save, slits
from wavesim.cli import _wavesim
from wavesim.fitting import PhotographReading, fit

ROOT = Path(__file__).resolve().parents[1]
SHIPPED = ROOT / "scenes" / "photographs"
PIXEL = 40e-6


def command(*args: object) -> tuple[int, str]:
    result = CliRunner().invoke(_wavesim, ["fit", *map(str, args)])
    if isinstance(result.exception, wavesim.WavesimError):
        return result.exception.exit_status, str(result.exception)
    return result.exit_code, result.output


def scene_of(**changes: object) -> wavesim.Scene:
    return wavesim.load(SHIPPED / "pair.toml").but({k.replace("__", "."): v for k, v in
                                                    changes.items()})  # type: ignore[misc]  # fmt: skip


class TestCommand:
    @pytest.mark.slow
    def test_the_width_of_a_slit_from_a_jpeg_of_unknown_tone(self, tmp_path: Path) -> None:
        """43 um (scenes/photographs/slit.toml says how it was made); to 0.5 %."""
        status, output = command(
            SHIPPED / "slit.toml", SHIPPED / "slit.jpg", "--free", "aperture.width",
            "--pixel", "40 um", "--json", "-o", tmp_path / "fitted.toml",
            "--figure", tmp_path / "fit.png",
        )  # fmt: skip
        assert status == 0, output
        told = json.loads(output)
        found = told["values"]["aperture.width"]
        assert found["value"] == pytest.approx(43e-6, rel=0.005)
        assert abs(found["value"] - 43e-6) < 3 * found["standard_error"]
        assert found["unit"] == "m"
        assert told["fits"] is True
        assert (tmp_path / "fit.png").stat().st_size > 10_000
        again = wavesim.load(tmp_path / "fitted.toml")
        assert again.aperture.width_m == pytest.approx(found["value"])  # type: ignore[union-attr]

    def test_width_and_pitch_of_a_pair(self) -> None:
        """41 um and 157 um: width to 1 %, pitch to 0.2 %."""
        scene = wavesim.load(SHIPPED / "pair.toml")
        free = ["aperture.width", "aperture.pitch"]
        found = wavesim.fit(scene, SHIPPED / "pair.png", free, pixel="40 um")
        values: dict[str, dict[str, float]] = found.record()["values"]  # type: ignore[assignment]
        assert values["aperture.width"]["value"] == pytest.approx(41e-6, rel=0.01)
        assert values["aperture.pitch"]["value"] == pytest.approx(157e-6, rel=0.002)

    @pytest.mark.parametrize(
        ("args", "told"),
        [
            (["--free", "aperture.width"], ["--pixel", "10 um"]),
            (["--pixel", "40 um"], ["--free", "aperture.width"]),
            (["--free", "aperture.wdth", "--pixel", "40 um"], ["wdth"]),
            (["--free", "source.kind", "--pixel", "40 um"], ["source.kind", "laser"]),
            (["--free", "aperture.width=9 um..3 um", "--pixel", "40 um"], ["width", "rising"]),
            (["--free", "aperture.width", "--free", "aperture.width", "--pixel", "40 um"],
             ["aperture.width", "once"]),
            (["--free", "aperture.width", "--pixel", "40 um", "--tone", "soft"],
             ["--tone", "soft", "2.2"]),
        ],
    )  # fmt: skip
    def test_what_cannot_be_fitted_is_refused(self, args: list[str], told: list[str]) -> None:
        status, output = command(SHIPPED / "pair.toml", SHIPPED / "pair.png", *args)
        assert status == 2
        for word in told:
            assert word in output

    def test_a_picture_without_a_pattern_is_refused(self, tmp_path: Path) -> None:
        even = save(np.full((40, 400, 3), 90, dtype=np.uint8), tmp_path / "even.png")
        args = ["--free", "aperture.width", "--pixel", "40 um"]
        status, output = command(SHIPPED / "pair.toml", even, *args)
        assert status == 2
        assert "no pattern" in output
        assert "even.png" in output


class TestBenches:
    @pytest.mark.slow
    def test_slits_by_count_width_and_pitch_from_afar(self, tmp_path: Path) -> None:
        """Four slits of 37 and 90 um in a laser's light, begun at 3, 60 and 150."""
        x = (np.arange(1200) - 599.5) * PIXEL - 0.9e-3
        light = slits(x, width_m=37e-6, pitch_m=90e-6, count=4, wavelength_m=632.8e-9,
                      slit_image_m=33.3e-6)  # fmt: skip
        picture = Camera(gamma=1.7).of_line(light, np.random.default_rng(5))
        photograph = save(picture, tmp_path / "four.png")
        scene = scene_of(aperture__count=3, aperture__width="60 um", aperture__pitch="150 um")
        free = ["aperture.width", "aperture.pitch", "aperture.count"]
        found = fit(scene, [photograph], free, reading=PhotographReading(PIXEL))
        values = {v.key: v for v in found.values}
        assert values["aperture.count"].value == 4
        assert values["aperture.width"].value == pytest.approx(37e-6, rel=0.01)
        assert values["aperture.pitch"].value == pytest.approx(90e-6, rel=0.002)

    def test_the_diameter_of_a_hole(self, tmp_path: Path) -> None:
        light = disc((200, 220), PIXEL, 0.4e-3, 632.8e-9)
        picture = Camera(gamma=2.0, exposure=8.0).of_plane(light, np.random.default_rng(1))
        text = (SHIPPED / "pair.toml").read_text()
        begin, end = text.index("[aperture]"), text.index("[plate]")
        hole = '[aperture]\nkind = "disc"\ndiameter = "0.7 mm"\n'
        scene = wavesim.parse(text[:begin] + hole + text[end:]).but(
            {"plate.height": "8 mm", "source.slit": {"width": "1 um", "height": "1 um"}}  # type: ignore[dict-item]
        )
        photograph = save(picture, tmp_path / "hole.png")
        found = fit(scene, [photograph], ["aperture.diameter"], reading=PhotographReading(PIXEL))
        assert found.values[0].value == pytest.approx(0.4e-3, rel=0.005)
        assert found.compared[0].pattern.radial

    @pytest.mark.slow
    def test_width_and_focal_length_cannot_be_told_apart(self, tmp_path: Path) -> None:
        """A single slit's pattern has one scale, f lambda / width (Born & Wolf 8.5.1)."""
        scene = scene_of(aperture__count=1)
        x = (np.arange(1200) - 599.5) * PIXEL
        light = slits(x, width_m=50e-6, pitch_m=90e-6, count=1, wavelength_m=632.8e-9,
                      slit_image_m=33.3e-6)  # fmt: skip
        photograph = save(Camera().of_line(light, np.random.default_rng(2)), tmp_path / "one.png")
        free = ["aperture.width", "bench.camera=0.7 m..1.4 m"]
        found = fit(scene, [photograph], free, reading=PhotographReading(PIXEL))
        assert any("told apart" in remark for remark in found.remarks)

    def test_another_kind_of_scene_is_said_not_to_make_the_picture(self, tmp_path: Path) -> None:
        x = (np.arange(1000) - 499.5) * PIXEL
        light = slits(x, width_m=40e-6, pitch_m=200e-6, count=2, wavelength_m=632.8e-9)
        photograph = save(Camera().of_line(light, np.random.default_rng(2)), tmp_path / "two.png")
        found = fit(scene_of(aperture__count=1), [photograph], ["aperture.width"],
                    reading=PhotographReading(PIXEL))  # fmt: skip
        assert not found.fits
        assert any("does not make" in s.text for s in found.sentences)

    @pytest.mark.slow
    def test_a_plate_file_gives_its_own_scene_back(self, tmp_path: Path) -> None:
        truth = scene_of(aperture__width="33 um", aperture__pitch="140 um", plate__width="30 mm")
        wavesim.expose(truth).save(tmp_path / "p.h5")
        free = ["aperture.width", "aperture.pitch"]
        found = fit(scene_of(), [tmp_path / "p.h5"], free, reading=PhotographReading(1.0))
        width, pitch = (v.value for v in found.values)
        assert width == pytest.approx(33e-6, rel=1e-3)  # interpolated between pixels of 40 um
        assert pitch == pytest.approx(140e-6, rel=1e-3)


GRATING = """schema = 1
title = "A grating with a screw error"
[source]
kind = "laser"
wavelength = "632.8 nm"
slit = {{ width = "30 um", height = "2 mm" }}
[bench]
collimator = "1 m"
camera = "1 m"
viewing = "{axis!r} rad"
[aperture]
kind = "grating"
pitch = "10 um"
count = 800
height = "10 mm"
groove = {{ profile = "slit", width = "3.5 um" }}
[[aperture.defects]]
kind = "periodic"
amplitude = "30 nm"
period = 75
[plate]
width = "24 mm"
height = "0.6 mm"
pixel = "20 um"
"""

POWDER = """schema = 1
[source]
kind = "laser"
wavelength = "632.8 nm"
[bench]
camera = "300 mm"
[aperture]
kind = "dots"
count = 1200
diameter = "50 um"
stop = { diameter = "6 mm" }
[plate]
width = "24 mm"
height = "24 mm"
pixel = "100 um"
"""


class TestRulingErrors:
    @pytest.mark.slow
    def test_a_screw_error_from_ghosts_beside_a_line_burnt_out(self, tmp_path: Path) -> None:
        """55 nm in 44 rulings: the period to a ruling, the amplitude to 5 %.

        Drawn by adding the waves of all rulings (Rowland's ghosts, 1893, follow by themselves); the
        line is a thousand times over white, the tone is unknown, the start is 1.7 times off.
        """
        axis = float(np.arcsin(2 * 632.8e-9 / 10e-6))
        x = (np.arange(1300) - 649.5) * 20e-6 + 0.4e-3
        light = ruled(
            x, pitch_m=10e-6, count=800, width_m=3.5e-6, wavelength_m=632.8e-9, period=44,
            amplitude_m=55e-9, pixel_m=20e-6, axis_rad=axis, slit_image_m=30e-6,
        )  # fmt: skip
        colours = light[:, None] * np.array([1.0, 0.06, 0.03])
        picture = Camera(exposure=1000, gamma=2.0).of_line(colours, np.random.default_rng(4))
        photograph = save(picture, tmp_path / "ghosts.png")
        free = ["aperture.defects.0.amplitude", "aperture.defects.0.period"]
        found = fit(wavesim.parse(GRATING.format(axis=axis)), [photograph], free,
                    reading=PhotographReading(20e-6))  # fmt: skip
        amplitude, period = found.values
        assert found.fits
        assert found.compared[0].pattern.burnt.mean() > 0.01
        assert abs(period.value - 44) < 0.5
        assert amplitude.value == pytest.approx(55e-9, rel=0.05)
        assert period.text.endswith("rulings")


class TestPowders:
    def photograph(self, folder: Path, *, stretched: bool = False) -> Path:
        random = np.random.default_rng(8)
        light = powder((200, 220), 100e-6, 30e-6, count=1200, stop_m=6e-3, random=random,
                       wavelength_m=632.8e-9, focal_m=0.3)  # fmt: skip
        if stretched:  # 2 % wider than high, as a camera at a slant makes it
            columns = np.arange(220) - 109.5
            light = np.stack([[np.interp(columns / 1.02, columns, c) for c in row.T]
                              for row in light]).transpose(0, 2, 1)  # fmt: skip
        exposure = float(light.max() / np.quantile(light, 0.985))
        return save(Camera(exposure=exposure, gamma=2.1).of_plane(light, random),
                    folder / "powder.png")  # fmt: skip

    def test_the_size_of_grains_from_rings_full_of_speckle(self, tmp_path: Path) -> None:
        """30 um, begun at 50: 1,200 grains at random, each adding its wave, to 0.5 %."""
        found = fit(wavesim.parse(POWDER), [self.photograph(tmp_path)], ["aperture.diameter"],
                    reading=PhotographReading(100e-6))  # fmt: skip
        assert found.fits
        assert found.values[0].value == pytest.approx(30e-6, rel=0.005)

    def test_rings_that_a_slant_camera_made_ellipses_of(self, tmp_path: Path) -> None:
        """The scale is the mean of both axes, 1.01 times the pixel's own."""
        path = self.photograph(tmp_path, stretched=True)
        found = fit(wavesim.parse(POWDER), [path], ["aperture.diameter"],
                    reading=PhotographReading(100e-6))  # fmt: skip
        assert found.compared[0].pattern.ellipse == pytest.approx(0.02, abs=0.004)
        assert found.values[0].value == pytest.approx(30e-6 / 1.01, rel=0.005)

    def test_the_mean_over_draws_is_one_dot(self) -> None:
        """Rings of random dots are those of one (van de Hulst 8.3), as the engine exposes it."""
        rings = wavesim.parse(POWDER)
        one = rings.but({"aperture": {"kind": "disc", "diameter": "50 um"}})  # type: ignore[dict-item]
        row = wavesim.preview(one, 240, 240).irradiance[120]
        from wavesim.fitting.powder import powder_rings
        from wavesim.light import of_scene

        edge = np.linspace(0, 12e-3, 121)
        light = powder_rings(rings, of_scene(rings), edge)[:, 1]
        assert light / light[0] == pytest.approx(row[120:] / row[120], abs=2e-3)
