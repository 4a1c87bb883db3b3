"""PNG and TIFF say which colours they hold, and arrive whole or not at all."""

from __future__ import annotations

import io
import struct
import zlib
from pathlib import Path

import numpy as np
import pytest

from wavesim.colorimetry import save_png, save_tiff
from wavesim.colorimetry.icc import profile
from wavesim.colorimetry.spaces import decode, encode, rgb_space
from wavesim.errors import OutputError

NOISE = np.random.default_rng(5)
EIGHT = NOISE.integers(0, 256, (13, 17, 3), dtype=np.uint8)
SIXTEEN = NOISE.integers(0, 65536, (13, 17, 3), dtype=np.uint16)


def chunks(path: Path) -> list[tuple[str, bytes]]:
    data = path.read_bytes()
    assert data[:8] == b"\x89PNG\r\n\x1a\n"
    found, start = [], 8
    while start < len(data):
        (size,) = struct.unpack_from(">I", data, start)
        name, body = data[start + 4 : start + 8], data[start + 8 : start + 8 + size]
        assert struct.unpack_from(">I", data, start + 8 + size)[0] == zlib.crc32(name + body)
        found.append((name.decode(), body))
        start += 12 + size
    return found


def test_srgb_png_has_the_chunks_of_the_specification(tmp_path: Path) -> None:
    # PNG third edition (W3C 2025), sections 11.3.2.1, .2 and .5
    save_png(tmp_path / "a.png", EIGHT, title="Six slits")
    listed = dict(chunks(tmp_path / "a.png"))
    assert listed["sRGB"] == b"\0"
    assert struct.unpack(">I", listed["gAMA"]) == (45455,)
    primaries = (31270, 32900, 64000, 33000, 30000, 60000, 15000, 6000)
    assert struct.unpack(">8I", listed["cHRM"]) == primaries
    assert listed["iTXt"] == b"Title\0\0\0\0\0Six slits"
    order = [name for name, _ in chunks(tmp_path / "a.png")]
    assert order[0] == "IHDR"
    assert order[-1] == "IEND"
    assert max(order.index(name) for name in ("sRGB", "gAMA", "cHRM")) < order.index("IDAT")
    assert "iCCP" not in order


def test_p3_and_rec2020_png(tmp_path: Path) -> None:
    # H.273: primaries 12 are SMPTE EG 432-1, transfer 13 is IEC 61966-2-1, matrix 0 is RGB
    save_png(tmp_path / "p.png", EIGHT, space="display-p3")
    save_png(tmp_path / "r.png", EIGHT, space="rec2020")
    p3, rec = dict(chunks(tmp_path / "p.png")), dict(chunks(tmp_path / "r.png"))
    assert p3["cICP"] == bytes([12, 13, 0, 1])
    assert "cICP" not in rec
    for space, listed in (("display-p3", p3), ("rec2020", rec)):
        assert "sRGB" not in listed
        name, packed = listed["iCCP"].split(b"\0", 1)
        assert name.decode() == space
        assert zlib.decompress(packed[1:]) == profile(space)


@pytest.mark.parametrize("space", ["srgb", "display-p3", "rec2020"])
def test_pillow_reads_8_bit_back(tmp_path: Path, space: str) -> None:
    from PIL import Image

    save_png(tmp_path / "a.png", EIGHT, space=space)
    with Image.open(tmp_path / "a.png") as image:
        np.testing.assert_array_equal(np.asarray(image), EIGHT)
        assert (image.info.get("icc_profile") is None) == (space == "srgb")
        assert image.info.get("srgb") == (0 if space == "srgb" else None)


def test_16_bits_are_read_back(tmp_path: Path) -> None:
    from PIL import Image

    save_png(tmp_path / "a.png", SIXTEEN)
    header = dict(chunks(tmp_path / "a.png"))["IHDR"]
    assert header == struct.pack(">IIBBBBB", 17, 13, 16, 2, 0, 0, 0)
    with Image.open(tmp_path / "a.png") as image:  # Pillow keeps the upper byte only
        np.testing.assert_array_equal(np.asarray(image.convert("RGB")), SIXTEEN >> 8)
    # and its full 16 bits by undoing the filter by hand
    raw = zlib.decompress(dict(chunks(tmp_path / "a.png"))["IDAT"])
    lines = np.frombuffer(raw, np.uint8).reshape(13, 1 + 17 * 6)
    assert set(lines[:, 0]) == {1}
    sub = np.cumsum(lines[:, 1:].reshape(13, 17, 6), axis=1, dtype=np.uint8)
    np.testing.assert_array_equal(np.ascontiguousarray(sub).view(">u2"), SIXTEEN)


@pytest.mark.parametrize("space", ["srgb", "display-p3", "rec2020"])
def test_profiles_through_littlecms(space: str) -> None:
    # LittleCMS, as Pillow carries it, turns our space into sRGB; we do the same by matrix
    from PIL import Image, ImageCms

    theirs = ImageCms.ImageCmsProfile(io.BytesIO(profile(space)))
    image = Image.fromarray(EIGHT)
    shown = ImageCms.profileToProfile(image, theirs, ImageCms.createProfile("sRGB"))
    chosen = rgb_space(space)
    linear = decode(EIGHT / 255, chosen.curve) @ chosen.to_xyz().T @ rgb_space("srgb").from_xyz().T
    ours = np.clip(encode(np.clip(linear, 0, 1)) * 255, 0, 255)
    # 8-bit tables of LittleCMS: within one step, two where a dark colour is steep
    assert np.abs(np.asarray(shown, dtype=float) - ours).max() <= 2.0
    assert np.abs(np.asarray(shown, dtype=float) - ours).mean() <= 0.4


def test_profile_colorants_are_those_of_littlecms() -> None:
    from PIL import ImageCms

    data = profile("srgb")
    assert len(data) == struct.unpack_from(">I", data)[0]
    ours = ImageCms.ImageCmsProfile(io.BytesIO(data)).profile
    theirs = ImageCms.createProfile("sRGB")
    for name in ("red", "green", "blue"):
        # fixed-point numbers of 1.5e-5, and D65 rounded otherwise
        np.testing.assert_allclose(
            getattr(ours, f"{name}_colorant")[0],
            getattr(theirs, f"{name}_colorant")[0],
            rtol=0,
            atol=1e-4,
        )
    assert ours.profile_description == "sRGB"
    assert ours.version == pytest.approx(4.4)


@pytest.mark.parametrize("kind", ["uint8", "uint16", "float32"])
def test_tiff_is_read_back(tmp_path: Path, kind: str) -> None:
    import tifffile

    given = (SIXTEEN / 65535 * (255 if kind == "uint8" else 65535)).astype(kind)
    save_tiff(tmp_path / "a.tif", given, space="rec2020")
    with tifffile.TiffFile(tmp_path / "a.tif") as file:
        np.testing.assert_array_equal(file.asarray(), given)
        assert file.asarray().dtype == given.dtype
        tag = file.pages[0].tags.get(34675)
        assert (tag is None) == (kind == "float32")
        if tag is not None:
            assert bytes(tag.value) == profile("rec2020")


def test_an_interrupted_run_leaves_the_old_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    target = tmp_path / "a.png"
    save_png(target, EIGHT)
    before = target.read_bytes()

    def interrupted(self: Path, data: bytes) -> int:
        with self.open("wb") as stream:
            stream.write(data[: len(data) // 2])
        raise KeyboardInterrupt

    monkeypatch.setattr(Path, "write_bytes", interrupted)
    with pytest.raises(KeyboardInterrupt):
        save_png(target, EIGHT[::-1])
    assert target.read_bytes() == before
    assert list(tmp_path.iterdir()) == [target]


@pytest.mark.parametrize(
    "wrong",
    [EIGHT[..., 0], EIGHT.astype(float), EIGHT[:, :, :2], EIGHT[:0]],
    ids=["grey", "float", "two channels", "empty"],
)
def test_what_is_no_picture_is_refused(tmp_path: Path, wrong: np.ndarray) -> None:
    with pytest.raises(OutputError, match="not a picture"):
        save_png(tmp_path / "a.png", wrong)
    assert list(tmp_path.iterdir()) == []


def test_a_missing_folder_is_named(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match="missing"):
        save_png(tmp_path / "missing" / "a.png", EIGHT)
