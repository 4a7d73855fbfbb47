"""Files that are broken, of another kind, too small or too large: a clear error for each."""

from __future__ import annotations

import os
import struct
import zlib
from contextlib import suppress
from pathlib import Path

import numpy as np
import pytest
import tifffile
from PIL import Image

from evenhand import photo
from evenhand.errors import (
    EvenhandError,
    PhotographTooLargeError,
    UnreadablePhotographError,
    UnsupportedPhotographError,
)
from tests.photo.pictures import scene, write_with_pillow, write_with_vips

SUFFIXES = (".jpg", ".png", ".tif")


def refused(path: Path, kind: type[EvenhandError], words: str) -> None:
    """The error must be of `kind`, name the file, say `words`, and give advice."""
    with pytest.raises(kind) as caught:
        photo.read(path)
    assert path.name in str(caught.value)
    assert words in str(caught.value)
    assert caught.value.advice


def test_missing(tmp_path: Path) -> None:
    refused(tmp_path / "portrait.jpg", UnreadablePhotographError, "does not exist")


def test_folder(tmp_path: Path) -> None:
    refused(tmp_path, UnreadablePhotographError, "")


def test_pipe(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe.jpg")
    refused(tmp_path / "pipe.jpg", UnreadablePhotographError, "not a file")


@pytest.mark.skipif(os.geteuid() == 0, reason="the superuser may read everything")
def test_unreadable(tmp_path: Path) -> None:
    path = tmp_path / "portrait.jpg"
    write_with_pillow(path, scene(8), None, 1)
    path.chmod(0)
    refused(path, UnreadablePhotographError, "may not be read")


@pytest.mark.parametrize("suffix", SUFFIXES)
def test_empty(suffix: str, tmp_path: Path) -> None:
    path = tmp_path / f"portrait{suffix}"
    path.touch()
    refused(path, UnreadablePhotographError, "empty")


@pytest.mark.parametrize("suffix", SUFFIXES)
@pytest.mark.parametrize("share", [0.02, 0.3, 0.6, 0.95])
def test_truncated(share: float, suffix: str, tmp_path: Path) -> None:
    path = tmp_path / f"portrait{suffix}"
    write_with_pillow(path, scene(8), None, 1)
    content = path.read_bytes()
    path.write_bytes(content[: int(len(content) * share)])
    refused(path, UnreadablePhotographError, "JPEG" if suffix == ".jpg" else suffix[1:].upper())


@pytest.mark.parametrize("content", [b"hello", b"%PDF-1.7\n", b"GIF89a", b"\x00" * 100])
def test_no_photograph(content: bytes, tmp_path: Path) -> None:
    path = tmp_path / "portrait.jpg"
    path.write_bytes(content)
    with pytest.raises((UnreadablePhotographError, UnsupportedPhotographError)):
        photo.read(path)


def test_the_content_decides_not_the_name(tmp_path: Path) -> None:
    write_with_pillow(tmp_path / "portrait.png", scene(8), None, 1)
    path = (tmp_path / "portrait.png").rename(tmp_path / "portrait.jpg")
    photograph = photo.read(path)
    assert np.array_equal(photograph.pixels, scene(8))
    assert any("PNG" in note for note in photograph.notes)
    assert photograph.result_suffix == ".png"


@pytest.mark.parametrize("suffix", [".jpg", ".tif"])
def test_cmyk(suffix: str, tmp_path: Path) -> None:
    path = tmp_path / f"portrait{suffix}"
    Image.fromarray(scene(8)).convert("CMYK").save(path)
    refused(path, UnsupportedPhotographError, "CMYK")


@pytest.mark.parametrize("suffix", SUFFIXES)
def test_greyscale(suffix: str, tmp_path: Path) -> None:
    path = tmp_path / f"portrait{suffix}"
    Image.fromarray(scene(8)[..., 0]).save(path)
    refused(path, UnsupportedPhotographError, "greyscale")


def test_indexed(tmp_path: Path) -> None:
    path = tmp_path / "portrait.png"
    Image.fromarray(scene(8)).quantize(64).save(path)
    refused(path, UnsupportedPhotographError, "indexed")


@pytest.mark.parametrize("suffix", SUFFIXES)
def test_one_pixel(suffix: str, tmp_path: Path) -> None:
    path = tmp_path / f"portrait{suffix}"
    Image.fromarray(scene(8)[:1, :1]).save(path)
    refused(path, UnsupportedPhotographError, "1 x 1")


def test_animated_png(tmp_path: Path) -> None:
    path = tmp_path / "portrait.png"
    frames = [Image.fromarray(scene(8, seed=s)) for s in (1, 2)]
    frames[0].save(path, save_all=True, append_images=frames[1:])
    refused(path, UnsupportedPhotographError, "animated")


def test_animated_gif(tmp_path: Path) -> None:
    path = tmp_path / "portrait.gif"
    frames = [Image.fromarray(scene(8, seed=s)) for s in (1, 2)]
    frames[0].save(path, save_all=True, append_images=frames[1:])
    refused(path, UnsupportedPhotographError, "GIF")


def test_tiff_of_two_pictures(tmp_path: Path) -> None:
    path = tmp_path / "portrait.tif"
    frames = [Image.fromarray(scene(8, seed=s)) for s in (1, 2)]
    frames[0].save(path, save_all=True, append_images=frames[1:])
    refused(path, UnsupportedPhotographError, "several pictures")


def test_tiff_with_a_smaller_version_is_read(tmp_path: Path) -> None:
    path = tmp_path / "portrait.tif"
    write_with_vips(path, scene(8), None, 1, tile=True, tile_width=16, tile_height=16, pyramid=True)
    assert np.array_equal(photo.read(path).pixels, scene(8))


def test_500_megapixels_are_refused_before_decoding(tmp_path: Path) -> None:
    header = struct.pack(">IIBBBBB", 25000, 20000, 8, 2, 0, 0, 0)
    chunks = [(b"IHDR", header), (b"IDAT", zlib.compress(bytes(1000))), (b"IEND", b"")]
    content = b"\x89PNG\r\n\x1a\n"
    for name, data in chunks:
        content += struct.pack(">I", len(data)) + name + data
        content += struct.pack(">I", zlib.crc32(name + data))
    path = tmp_path / "portrait.png"
    path.write_bytes(content)
    refused(path, PhotographTooLargeError, "500 megapixels")


def test_500_megapixel_tiff(tmp_path: Path) -> None:
    path = tmp_path / "portrait.tif"
    write_with_pillow(path, scene(8), None, 1)
    with tifffile.TiffFile(path, mode="r+b") as tiff:
        tags = tiff.pages[0].tags
        tags["ImageWidth"].overwrite(25000)
        tags["ImageLength"].overwrite(20000)
    refused(path, PhotographTooLargeError, "500 megapixels")


@pytest.mark.parametrize("start", [b"\xff\xd8\xff\xe0", b"\x89PNG\r\n\x1a\n"])
def test_files_too_large_to_be_photographs_are_not_read(start: bytes, tmp_path: Path) -> None:
    path = tmp_path / "portrait.bin"
    with open(path, "wb") as file:
        file.write(start)
        file.truncate(3 << 30)  # a hole, which takes no room on the disk
    refused(path, PhotographTooLargeError, "3.0 GiB")


def test_the_limit_is_an_argument(tmp_path: Path) -> None:
    path = tmp_path / "portrait.jpg"
    write_with_pillow(path, scene(8), None, 1)
    height, width = scene(8).shape[:2]
    photo.read(path, pixel_limit=height * width)
    with pytest.raises(PhotographTooLargeError):
        photo.read(path, pixel_limit=height * width - 1)


@pytest.mark.parametrize("suffix", SUFFIXES)
def test_broken_profile_is_kept_as_it_is(suffix: str, tmp_path: Path) -> None:
    path = tmp_path / f"portrait{suffix}"
    write_with_pillow(path, scene(8), b"no profile at all" * 20, 1)
    photograph = photo.read(path)
    assert photograph.profile == b"no profile at all" * 20
    written = photo.write(photograph.pixels, photograph, tmp_path / f"result{suffix}")
    assert photo.read(written).profile == photograph.profile


def test_damaged_orientation_counts_as_upright(tmp_path: Path) -> None:
    path = tmp_path / "portrait.jpg"
    write_with_pillow(path, scene(8), None, 99)
    assert photo.read(path).pixels.shape == scene(8).shape


def test_damaged_lzw_data_are_told(tmp_path: Path) -> None:
    """Random bytes in an LZW strip; given its size, the decoder would end the process on some."""
    path = tmp_path / "portrait.tif"
    write_with_vips(path, scene(8), None, 1, compression="lzw")
    content = bytearray(path.read_bytes())
    with tifffile.TiffFile(path) as tiff:
        page = tiff.pages[0].aspage()
        start, count = page.dataoffsets[0], page.databytecounts[0]
    for seed in range(100):
        damaged = bytearray(content)
        # A clear code (TIFF 6.0, section 13) and then anything.
        damaged[start : start + count] = b"\x80" + np.random.default_rng(seed).bytes(count - 1)
        path.write_bytes(damaged)
        with suppress(UnreadablePhotographError):  # some damage cannot be told from a picture
            photo.read(path)
