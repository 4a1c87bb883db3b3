"""From a photograph back to the bench, against photographs drawn by textbook formulas."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

import wavesim
from tests.drawn_patterns import Camera, disc, save, slits
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
