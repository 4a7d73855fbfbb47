"""HEIF and AVIF at full depth, with results as TIFF; files written by libheif and libavif."""

from __future__ import annotations

import sys
from pathlib import Path

import imagecodecs
import numpy as np
import pytest
from PIL import Image

from evenhand import photo
from evenhand.errors import UnreadablePhotographError, UnsupportedPhotographError
from tests.photo.pictures import PROFILES, read_with_vips, scene

pillow_heif = pytest.importorskip("pillow_heif")

LOSSLESS = {"quality": -1, "chroma": 444, "matrix_coefficients": 0}
"""What libheif needs to keep every bit."""


def write_heif(path: Path, depth: int, **options: object) -> np.ndarray:
    """A lossless file; gives back its code values as the reader should see them."""
    pixels = scene(8)
    mode = "RGB"
    if depth > 8:
        pixels = (scene(16) >> (16 - depth)) << (16 - depth)
        mode = "RGB;16"
    opened = pillow_heif.from_bytes(mode, pixels.shape[1::-1], pixels.tobytes())
    exif = Image.Exif()
    exif[0x010F] = "Invented camera"
    exif.get_ifd(0x8769)[0x9003] = "2026:07:18 10:11:12"
    opened.save(path, exif=exif.tobytes(), **(LOSSLESS | options))
    if depth > 8:
        codes = (pixels >> (16 - depth)).astype(np.uint32)
        pixels = ((codes << (16 - depth)) | (codes >> (2 * depth - 16))).astype(np.uint16)
    return pixels


@pytest.mark.parametrize("profile", ["no profile", "Adobe RGB primaries"])
@pytest.mark.parametrize("depth", [8, 10])
def test_heif(depth: int, profile: str, tmp_path: Path) -> None:
    path = tmp_path / "portrait.heic"
    icc = {"icc_profile": PROFILES[profile]} if PROFILES[profile] else {}
    pixels = write_heif(path, depth, **icc)
    photograph = photo.read(path)
    assert np.array_equal(photograph.pixels, pixels)
    assert photograph.profile == PROFILES[profile]
    assert photograph.result_suffix == ".tif"

    result = pixels.copy()
    result[20:40, 30:50] += 3
    written = photo.write(result, photograph, tmp_path / "result.tif")
    assert np.array_equal(read_with_vips(written), result)
    with Image.open(written) as opened:
        assert opened.getexif()[0x010F] == "Invented camera"
        assert opened.getexif().get_ifd(0x8769)[0x9003] == "2026:07:18 10:11:12"
        assert opened.info.get("icc_profile") == PROFILES[profile]


def test_ten_bit_white_is_white(tmp_path: Path) -> None:
    pixels = np.full((16, 16, 3), 1023 << 6, np.uint16)
    opened = pillow_heif.from_bytes("RGB;16", (16, 16), pixels.tobytes())
    opened.save(tmp_path / "white.heic", **LOSSLESS)
    assert (photo.read(tmp_path / "white.heic").pixels == 65535).all()


@pytest.mark.parametrize("orientation", [1, 6])
def test_avif_of_8_bits(orientation: int, tmp_path: Path) -> None:
    path = tmp_path / "portrait.avif"
    exif = Image.Exif()
    exif[0x0112], exif[0x010F] = orientation, "Invented camera"
    Image.fromarray(scene(8)).save(path, exif=exif, icc_profile=PROFILES["sRGB"], quality=95)
    photograph = photo.read(path)
    upright = scene(8) if orientation == 1 else np.rot90(scene(8), -1)
    assert photograph.pixels.shape == upright.shape
    assert np.abs(photograph.pixels.astype(int) - upright).mean() < 3
    assert photograph.profile == PROFILES["sRGB"]
    written = photo.write(photograph.pixels, photograph, tmp_path / "result.tif")
    assert np.array_equal(read_with_vips(written), photograph.pixels)


@pytest.mark.parametrize("depth", [10, 12])
def test_avif_of_more_bits(depth: int, tmp_path: Path) -> None:
    codes = scene(16) >> (16 - depth)
    path = tmp_path / "portrait.avif"
    path.write_bytes(
        imagecodecs.avif_encode(codes, level=100, bitspersample=depth, pixelformat="444", speed=9)
    )
    photograph = photo.read(path)
    expected = codes.astype(float) * 65535 / (2**depth - 1)
    assert np.abs(photograph.pixels - expected).max() <= 4 * 65535 / (2**depth - 1)


def test_high_dynamic_range_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "portrait.heic"
    write_heif(path, 10, color_primaries=9, transfer_characteristics=16)
    with pytest.raises(UnsupportedPhotographError, match="PQ"):
        photo.read(path)


def test_coded_display_p3_gets_its_profile(tmp_path: Path) -> None:
    path = tmp_path / "portrait.heic"
    write_heif(path, 8, color_primaries=12, transfer_characteristics=13)
    photograph = photo.read(path)
    assert photograph.profile is not None
    assert not any("sRGB is assumed" in note for note in photograph.notes)


@pytest.mark.parametrize("suffix", [".heic", ".avif"])
@pytest.mark.parametrize("share", [0.1, 0.5, 0.9])
def test_truncated(share: float, suffix: str, tmp_path: Path) -> None:
    path = tmp_path / f"portrait{suffix}"
    if suffix == ".heic":
        write_heif(path, 8)
    else:
        Image.fromarray(scene(8)).save(path)
    content = path.read_bytes()
    path.write_bytes(content[: int(share * len(content))])
    with pytest.raises(UnreadablePhotographError, match=f"portrait{suffix}"):
        photo.read(path)


def test_a_missing_reader_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "portrait.heic"
    write_heif(path, 8)
    monkeypatch.setitem(sys.modules, "pillow_heif", None)
    with pytest.raises(UnsupportedPhotographError, match=r"evenhand\[heif\]"):
        photo.read(path)
