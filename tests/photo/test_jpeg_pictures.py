"""Other pictures inside a JPEG file keep their places, and the thumbnail shows the result.

Files with several pictures are written and read by Pillow (CIPA DC-007), thumbnails read by Exiv2.
"""

from __future__ import annotations

import io
import struct
from datetime import UTC, datetime
from pathlib import Path

import exiv2
import numpy as np
import pytest
from PIL import Image

from evenhand import photo
from tests.photo.pictures import scene

EDIT = photo.Edit(datetime(2026, 7, 19, tzinfo=UTC), "Evenhand", "redness 1")


@pytest.mark.parametrize("edit", [None, EDIT])
@pytest.mark.parametrize("progressive", [False, True])
def test_further_pictures_are_found_again(
    progressive: bool, edit: photo.Edit | None, tmp_path: Path
) -> None:
    first, *others = (Image.fromarray(scene(8, seed=seed)) for seed in (1, 2, 3))
    path = tmp_path / "portrait.jpg"
    exif = Image.Exif()
    exif[0x010F] = "Invented camera"
    first.save(path, "MPO", save_all=True, append_images=others, exif=exif, progressive=progressive)
    photograph = photo.read(path)
    result = photograph.pixels.copy()
    result[10:40, 10:60] = scene(8, seed=5)[10:40, 10:60]
    written = photo.write(result, photograph, tmp_path / "result.jpg", edit=edit)
    assert written.stat().st_size != path.stat().st_size
    with Image.open(path) as before, Image.open(written) as after:
        assert (before.n_frames, after.n_frames) == (3, 3)
        assert after.mpinfo[0xB002][0]["Size"] > 0
        for number in (1, 2):
            before.seek(number)
            after.seek(number)
            assert np.array_equal(np.asarray(before), np.asarray(after))


def with_thumbnail(path: Path, orientation: int, order: str = "<") -> None:
    """A JPEG file with an Exif thumbnail; the block is laid out by hand after Exif 2.32, 4.5."""
    picture = Image.fromarray(scene(8, (160, 240)))
    buffer = io.BytesIO()
    picture.resize((120, 80)).save(buffer, "JPEG", quality=85)
    thumbnail = buffer.getvalue()
    main = struct.pack(f"{order}HHHIHHI", 1, 0x0112, 3, 1, orientation, 0, 26)
    second = struct.pack(f"{order}H", 3)
    second += struct.pack(f"{order}HHIHH", 0x0103, 3, 1, 6, 0)
    second += struct.pack(f"{order}HHII", 0x0201, 4, 1, 68)
    second += struct.pack(f"{order}HHII", 0x0202, 4, 1, len(thumbnail))
    second += bytes(4)
    head = (b"II*\x00" if order == "<" else b"MM\x00*") + struct.pack(f"{order}I", 8)
    block = head + main + second
    assert len(block) == 68
    picture.save(path, exif=b"Exif\x00\x00" + block + thumbnail, quality=90)


def thumbnail_of(path: Path) -> np.ndarray:
    """The Exif thumbnail as Exiv2 finds it."""
    image = exiv2.ImageFactory.open(str(path))
    image.readMetadata()
    content = bytes(exiv2.ExifThumb(image.exifData()).copy().data())
    return np.asarray(Image.open(io.BytesIO(content)).convert("RGB")).astype(int)


@pytest.mark.parametrize("order", ["<", ">"])
@pytest.mark.parametrize("orientation", [1, 6])
def test_the_thumbnail_shows_the_result(orientation: int, order: str, tmp_path: Path) -> None:
    path = tmp_path / "portrait.jpg"
    with_thumbnail(path, orientation, order)
    before = thumbnail_of(path)
    photograph = photo.read(path)
    result = photograph.pixels.copy()
    height, width = photograph.shape
    result[height // 4 : height // 2, width // 4 : width // 2] //= 3
    written = photo.write(result, photograph, tmp_path / "result.jpg")
    after = thumbnail_of(written)
    assert after.shape == before.shape
    with Image.open(written) as opened:
        expected = np.asarray(opened.resize((120, 80), Image.Resampling.BOX)).astype(int)
    assert np.abs(after - expected).mean() < 6
    assert np.abs(after - before).max() > 60
    with Image.open(path) as first, Image.open(written) as second:
        assert dict(first.getexif()) == dict(second.getexif())


def test_a_thumbnail_of_an_unchanged_photograph_stays(tmp_path: Path) -> None:
    path = tmp_path / "portrait.jpg"
    with_thumbnail(path, 1)
    photograph = photo.read(path)
    written = photo.write(photograph.pixels, photograph, tmp_path / "result.jpg")
    assert written.read_bytes() == path.read_bytes()
