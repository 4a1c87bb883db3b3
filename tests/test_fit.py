"""From a photograph back to the bench, against photographs drawn by textbook formulas."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from PIL import Image

import wavesim
from tests.drawn_patterns import Camera, disc, powder, ruled, save, slits
from wavesim.cli import _wavesim
from wavesim.colorimetry import Film
from wavesim.fitting import PhotographReading, fit, read_photograph

ROOT = Path(__file__).resolve().parents[1]
SHIPPED = ROOT / "scenes" / "photographs"
PIXEL = 40e-6


def command(*args: object) -> tuple[int, str]:
    result = CliRunner().invoke(_wavesim, ["fit", *map(str, args)])
    if isinstance(result.exception, wavesim.WavesimError):
        return result.exception.exit_status, str(result.exception)
    return result.exit_code, result.output


def scene_of(**changes: float | str) -> wavesim.Scene:
    keys = {name.replace("__", "."): value for name, value in changes.items()}
    return wavesim.load(SHIPPED / "pair.toml").but(keys)


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
        record = json.loads(output)
        found = record["values"]["aperture.width"]
        assert found["value"] == pytest.approx(43e-6, rel=0.005)
        assert abs(found["value"] - 43e-6) < 3 * found["standard_error"]
        assert found["unit"] == "m"
        assert record["fits"] is True
        assert (tmp_path / "fit.png").stat().st_size > 10_000
        again = wavesim.load(tmp_path / "fitted.toml")
        assert again.aperture.width_m == pytest.approx(found["value"])  # type: ignore[union-attr]

    @pytest.mark.slow
    def test_width_and_pitch_of_a_pair(self) -> None:
        """41 um and 157 um: width to 1 %, pitch to 0.2 %."""
        scene = wavesim.load(SHIPPED / "pair.toml")
        free = ["aperture.width", "aperture.pitch"]
        found = wavesim.fit(scene, SHIPPED / "pair.png", free, pixel="40 um")
        values: dict[str, dict[str, float]] = found.record()["values"]  # type: ignore[assignment]
        assert values["aperture.width"]["value"] == pytest.approx(41e-6, rel=0.01)
        assert values["aperture.pitch"]["value"] == pytest.approx(157e-6, rel=0.002)

    @pytest.mark.parametrize(
        ("args", "facts"),
        [
            (["--free", "aperture.width"], ["--pixel", "10 um"]),
            (["--pixel", "40 um"], ["--free", "aperture.width"]),
            (["--free", "aperture.wdth", "--pixel", "40 um"], ["wdth"]),
            (["--free", "source.kind", "--pixel", "40 um"], ["source.kind", "laser"]),
            (["--free", "aperture.width=9 um..3 um", "--pixel", "40 um"], ["width", "increasing"]),
            (["--free", "aperture.width", "--free", "aperture.width", "--pixel", "40 um"],
             ["aperture.width", "once"]),
            (["--free", "aperture.width", "--pixel", "40 um", "--tone", "soft"],
             ["--tone", "soft", "2.2"]),
        ],
    )  # fmt: skip
    def test_what_cannot_be_fitted_is_refused(self, args: list[str], facts: list[str]) -> None:
        status, output = command(SHIPPED / "pair.toml", SHIPPED / "pair.png", *args)
        assert status == 2
        for word in facts:
            assert word in output

    def test_a_picture_without_a_pattern_is_refused(self, tmp_path: Path) -> None:
        even = save(np.full((40, 400, 3), 90, dtype=np.uint8), tmp_path / "even.png")
        args = ["--free", "aperture.width", "--pixel", "40 um"]
        status, output = command(SHIPPED / "pair.toml", even, *args)
        assert status == 2
        assert "no pattern" in output
        assert "even.png" in output


def photographed(
    folder: Path, name: str, exposure: float, *, count: int = 2, seconds: float = 0.0
) -> Path:
    """Slits of 41 and 157 um in a laser's light; its file says how long it was exposed."""
    x = (np.arange(1000) - 499.5) * PIXEL + 0.6e-3
    light = slits(x, width_m=41e-6, pitch_m=157e-6, count=count, wavelength_m=632.8e-9,
                  slit_image_m=33.3e-6)  # fmt: skip
    how = Camera(exposure=exposure, gamma=2.0, rows=40)
    picture = Image.fromarray(how.of_line(light, np.random.default_rng(int(10 * exposure))))
    notes = Image.Exif()
    notes[0x010F], notes[0x0110] = "Bench", "One"
    if seconds:
        notes.get_ifd(0x8769)[0x829A] = seconds  # exposure time
    picture.save(folder / name, quality=95, exif=notes)
    return folder / name


class TestFiles:
    """What a file says of itself (Exif 2.32: 274 orientation, 33434 exposure time)."""

    @pytest.mark.slow
    def test_a_picture_is_turned_as_its_file_says(self, tmp_path: Path) -> None:
        picture = Image.open(SHIPPED / "pair.png")
        notes = Image.Exif()
        notes[274] = 6  # to be shown turned clockwise by 90 degrees
        picture.transpose(Image.Transpose.ROTATE_90).save(tmp_path / "t.png", exif=notes)
        scene = wavesim.load(SHIPPED / "pair.toml").but({"aperture.pitch": "157 um"})
        found = wavesim.fit(scene, tmp_path / "t.png", "aperture.width", pixel="40 um")
        assert found.values[0].value == pytest.approx(41e-6, rel=0.002)

    def test_the_pitch_of_a_sensor_is_proposed_but_not_taken(self, tmp_path: Path) -> None:
        notes = Image.Exif()
        notes[0x010F] = "Bench"
        inner = notes.get_ifd(0x8769)
        inner[0xA20E], inner[0xA210] = 250.0, 4  # pixels per mm
        Image.open(SHIPPED / "pair.png").save(tmp_path / "s.png", exif=notes)
        args = [SHIPPED / "pair.toml", tmp_path / "s.png", "--free", "aperture.width"]
        status, output = command(*args)
        assert status == 2
        assert "4 um" in output
        assert "--pixel" in output

    @pytest.mark.slow
    @pytest.mark.parametrize("seconds", [0.4, 0.04])
    def test_a_bracket_of_one_camera_is_fitted_together(
        self, tmp_path: Path, seconds: float
    ) -> None:
        """0.1 and 0.4 s share keys and tone curve; a file that says 0.04 s is not believed."""
        scene = scene_of(aperture__pitch="157 um")
        files = [photographed(tmp_path, "a.jpg", 1.0, seconds=0.1),
                 photographed(tmp_path, "b.jpg", 4.0, seconds=seconds)]  # fmt: skip
        found = wavesim.fit(scene, files, "aperture.width", pixel="40 um")
        assert len(found.compared) == 2
        assert found.fits
        assert found.values[0].value == pytest.approx(41e-6, rel=0.002)


class TestScale:
    @pytest.mark.slow
    def test_two_marks_a_known_distance_apart(self) -> None:
        scene = scene_of(aperture__pitch="157 um")
        found = wavesim.fit(scene, SHIPPED / "pair.png", "aperture.width",
                            scale="200..1200 = 40 mm")  # fmt: skip
        assert found.values[0].value == pytest.approx(41e-6, rel=0.002)

    @pytest.mark.slow
    def test_lines_of_known_wavelength(self) -> None:
        """First orders stand at f tan(asin(lambda / d)); x = 0 is in column 667.5."""
        columns = [667.5 + np.tan(np.arcsin(w / 157e-6)) / PIXEL for w in (450e-9, 632.8e-9)]
        marks = f"{columns[0]:.3f} = 450 nm, {columns[1]:.3f} = 632.8 nm"
        args = [SHIPPED / "pair.toml", SHIPPED / "pair.png", "--free", "aperture.width"]
        scene = scene_of(aperture__pitch="157 um")
        found = wavesim.fit(scene, SHIPPED / "pair.png", "aperture.width", scale=marks)
        assert found.values[0].value == pytest.approx(41e-6, rel=0.002)
        assert found.compared[0].x_m[0] == pytest.approx(-667.5 * PIXEL, abs=0.3e-3)
        status, output = command(*args, "--free", "aperture.pitch", "--scale", marks)
        assert status == 2
        assert "aperture.pitch" in output

    @pytest.mark.parametrize(
        "marks", ["40 mm", "5..5 = 1 mm", "1..9 = 3 kg", "1 = 2 nm", "1..2=-1 m"]
    )
    def test_other_marks_are_refused(self, marks: str) -> None:
        status, output = command(SHIPPED / "pair.toml", SHIPPED / "pair.png", "--free",
                                 "aperture.width", "--scale", marks)  # fmt: skip
        assert status == 2
        assert "212..1180 = 50 mm" in output


class TestTones:
    @pytest.mark.slow
    def test_a_picture_on_film_is_read_back(self, tmp_path: Path) -> None:
        """A grey print through the curve of `develop --tone film`: the width to 0.2 %."""
        x = (np.arange(1000) - 499.5) * PIXEL + 0.6e-3
        light = slits(x, width_m=41e-6, pitch_m=157e-6, count=2, wavelength_m=632.8e-9,
                      slit_image_m=33.3e-6)[:, 0]  # fmt: skip
        shown = Film().shown(0.9 * light / light.max())
        encoded = np.where(shown < 0.0031308, 12.92 * shown, 1.055 * shown ** (1 / 2.4) - 0.055)
        photograph = save(np.tile(np.uint8(np.round(255 * encoded)), (20, 1)), tmp_path / "p.png")
        scene = scene_of(aperture__pitch="157 um")
        found = wavesim.fit(scene, photograph, "aperture.width", pixel="40 um", tone="film")
        assert found.fits
        assert found.values[0].value == pytest.approx(41e-6, rel=0.002)


class TestRefusals:
    def test_a_key_that_does_not_show_is_refused(self) -> None:
        args = [SHIPPED / "pair.toml", SHIPPED / "pair.png", "--pixel", "40 um"]
        status, output = command(*args, "--free", "source.power")
        assert status == 2
        assert "source.power" in output
        assert "does not change the pattern" in output

    def test_more_keys_than_a_picture_carries_are_refused(self, tmp_path: Path) -> None:
        """Two dark places tell no five lengths."""
        x = (np.arange(600) - 299.5) * PIXEL
        light = slits(x, width_m=60e-6, pitch_m=1e-4, count=1, wavelength_m=632.8e-9)
        photograph = save(Camera().of_line(light, np.random.default_rng(1)), tmp_path / "s.png")
        keys = ["aperture.width", "bench.camera", "bench.collimator", "source.wavelength",
                "source.slit.width", "aperture.pitch"]  # fmt: skip
        args = [part for key in keys for part in ("--free", key)]
        status, output = command(SHIPPED / "pair.toml", photograph, *args, "--pixel", "40 um")
        assert status == 2
        assert "frees more keys than the photographs can determine" in output

    @pytest.mark.slow
    def test_the_caution_for_the_eyes_is_printed(self) -> None:
        status, output = command(SHIPPED / "pair.toml", SHIPPED / "pair.png", "--free",
                                 "aperture.width=35 um..50 um", "--pixel", "40 um")  # fmt: skip
        assert status == 0, output
        assert "caution" in output
        assert "IEC 60825-1" in " ".join(output.split())


class TestTwins:
    @pytest.mark.slow
    def test_wires_and_gaps_that_change_places_are_both_named(self, tmp_path: Path) -> None:
        """Two hundred wires without their zero order: all others are alike (Babinet)."""
        x = (np.arange(800) + 0.5) * PIXEL + 3e-3
        fine = (np.arange(800 * 6) + 0.5) * PIXEL / 6 + 3e-3
        light = slits(fine, width_m=38e-6, pitch_m=90e-6, count=200, slit_image_m=33.3e-6,
                      wavelength_m=632.8e-9)  # fmt: skip
        light = light.reshape(x.size, 6, 3).mean(axis=1)
        camera = Camera(exposure=3.0, noise=0.03, turn_deg=0.0)
        photograph = save(camera.of_line(light, np.random.default_rng(2)), tmp_path / "w.png")
        scene = scene_of(
            aperture__kind="wires", aperture__count=201, aperture__width="60 um",
            aperture__pitch="90 um",
        )  # fmt: skip
        reading = PhotographReading(PIXEL, left_m=3e-3)
        found = fit(scene, [photograph], ["aperture.width"], reading=reading)
        both = sorted((found.values[0].value, *found.values[0].alternatives))
        assert both == pytest.approx([38e-6, 52e-6], rel=0.03)  # lines are a pixel wide
        assert any("Babinet" in remark for remark in found.remarks)

    @pytest.mark.slow
    def test_few_wires_are_told_from_their_gaps(self, tmp_path: Path) -> None:
        x = (np.arange(1000) - 499.5) * PIXEL + 0.7e-3
        light = slits(x, width_m=38e-6, pitch_m=90e-6, count=4, slit_image_m=33.3e-6,
                      wavelength_m=632.8e-9)  # fmt: skip
        photograph = save(Camera().of_line(light, np.random.default_rng(2)), tmp_path / "w.png")
        scene = scene_of(
            aperture__kind="wires", aperture__count=5, aperture__width="38 um",
            aperture__pitch="90 um",
        )  # fmt: skip
        found = fit(scene, [photograph], ["aperture.width"], reading=PhotographReading(PIXEL))
        assert found.values[0].value == pytest.approx(52e-6, rel=0.002)
        assert not found.values[0].alternatives


class TestSlant:
    @pytest.mark.slow
    def test_turn_and_a_scale_that_changes_by_two_per_cent(self, tmp_path: Path) -> None:
        """Both are said and taken out; the pitch stays right to 0.1 %."""
        x = (np.arange(1200) - 599.5) * PIXEL + 0.6e-3
        light = slits(x, width_m=41e-6, pitch_m=157e-6, count=3, wavelength_m=632.8e-9,
                      slit_image_m=33.3e-6)  # fmt: skip
        camera = Camera(turn_deg=0.8, slant=0.02, spread=0.02)
        photograph = save(camera.of_line(light, np.random.default_rng(2)), tmp_path / "s.png")
        scene = scene_of(aperture__count=3, aperture__width="41 um")
        found = fit(scene, [photograph], ["aperture.pitch"], reading=PhotographReading(PIXEL))
        assert found.values[0].value == pytest.approx(157e-6, rel=0.001)
        assert found.compared[0].slant == pytest.approx(0.02, abs=0.002)
        assert np.degrees(found.compared[0].pattern.turned_rad) == pytest.approx(0.8, abs=0.05)

    def test_the_turn_of_a_broad_pattern(self, tmp_path: Path) -> None:
        """0.4 deg over 60 rows, whose bands are a hundred pixels wide."""
        x = (np.arange(1400) - 699.5) * PIXEL + 1.3e-3
        light = slits(x, width_m=43e-6, pitch_m=90e-6, count=1, wavelength_m=600e-9)
        photograph = save(Camera().of_line(light, np.random.default_rng(3)), tmp_path / "b.png")
        pattern = read_photograph(photograph, PhotographReading(PIXEL), radial=False)
        assert np.degrees(pattern.turned_rad) == pytest.approx(0.4, abs=0.03)


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
        assert any("distinguished" in remark for remark in found.remarks)

    @pytest.mark.slow
    def test_another_kind_of_scene_is_said_not_to_make_the_picture(self, tmp_path: Path) -> None:
        x = (np.arange(1000) - 499.5) * PIXEL
        light = slits(x, width_m=40e-6, pitch_m=200e-6, count=2, wavelength_m=632.8e-9)
        photograph = save(Camera().of_line(light, np.random.default_rng(2)), tmp_path / "two.png")
        found = fit(scene_of(aperture__count=1), [photograph], ["aperture.width"],
                    reading=PhotographReading(PIXEL))  # fmt: skip
        assert not found.fits
        assert any("does not reproduce" in s.text for s in found.sentences)

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

    @pytest.mark.slow
    def test_the_size_of_grains_from_rings_full_of_speckle(self, tmp_path: Path) -> None:
        """30 um, begun at 50: 1,200 grains at random, each adding its wave, to 0.5 %."""
        found = fit(wavesim.parse(POWDER), [self.photograph(tmp_path)], ["aperture.diameter"],
                    reading=PhotographReading(100e-6))  # fmt: skip
        assert found.fits
        assert found.values[0].value == pytest.approx(30e-6, rel=0.005)

    @pytest.mark.slow
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
        dot = rings.but({"aperture": {"kind": "disc", "diameter": "50 um"}})  # type: ignore[dict-item]
        row = wavesim.preview(dot, 240, 240).irradiance[120]
        from wavesim.fitting.powder import powder_rings
        from wavesim.light import of_scene

        edge = np.linspace(0, 12e-3, 121)
        light = powder_rings(rings, of_scene(rings), edge)[:, 1]
        assert light / light[0] == pytest.approx(row[120:] / row[120], abs=2e-3)
