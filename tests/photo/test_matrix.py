"""Every format, depth, profile and orientation: read, written, kept, told by other libraries.

Files are written as `forms` says; results are read by libvips, OpenImageIO and tifffile, whichever
the reader and the writer of the format are not, and their metadata by Pillow, libvips and ExifTool.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from evenhand import photo
from tests.photo.exiftool import exiftool, tags_of
from tests.photo.forms import FORMS, Form, Pixels
from tests.photo.metadata import assert_metadata_carried_over, assert_metadata_kept
from tests.photo.pictures import PROFILES, read_with_vips
from tests.photo.turning import ORIENTATIONS, turned

pytestmark = pytest.mark.slow

CHANGED = slice(12, 28), slice(15, 33)
"""Rows and columns of the upright photograph that the tests change."""

BLOCK = 17
"""Pixels to which a changed one reaches in a JPEG: a unit of 16 and one that is smoothed over."""

PLACES = {
    "StripOffsets",
    "StripByteCounts",
    "TileOffsets",
    "TileByteCounts",
    "RowsPerStrip",
    "ThumbnailOffset",
}
"""Tags that say where picture data lie, which may move (TIFF 6.0)."""


@pytest.mark.parametrize("orientation", ORIENTATIONS)
@pytest.mark.parametrize("profile", PROFILES)
@pytest.mark.parametrize("name", FORMS)
def test_matrix(name: str, profile: str, orientation: int, tmp_path: Path) -> None:
    form = FORMS[name]
    path = tmp_path / f"portrait{form.suffix}"
    stored = form.stored()
    form.write(path, stored, PROFILES[profile], orientation)
    content = path.read_bytes()

    photograph = photo.read(path)
    assert_read(form, photograph, path, turned(stored, orientation))
    assert photograph.profile == PROFILES[profile]
    assert any("sRGB is assumed" in note for note in photograph.notes) == (profile == "no profile")

    result = photograph.pixels.copy()
    result[CHANGED] -= 3 if photograph.white == 255 else 655
    written = photo.write(result, photograph, tmp_path / f"result{photograph.result_suffix}")
    assert path.read_bytes() == content
    if form.exact:
        assert_written(form, written, result, photograph, turned(stored, orientation))
    else:
        assert_blocks_kept(path, written, result)
    assert photo.read(written).profile == PROFILES[profile]
    if form.suffix == form.result_suffix:
        assert_metadata_kept(path, written)
    else:
        assert_metadata_carried_over(written)


def assert_read(form: Form, photograph: photo.Photograph, path: Path, expected: Pixels) -> None:
    """What is read must be what was written, turned upright; of a JPEG what libvips sees in it."""
    assert photograph.pixels.dtype == (np.uint8 if form.bits == 8 else np.uint16)
    assert not photograph.pixels.flags.writeable
    if not form.exact:
        assert np.array_equal(photograph.pixels, read_with_vips(path))
        return
    codes = form.codes(expected)
    assert photograph.pixels.shape == codes[..., :3].shape
    assert np.abs(photograph.pixels - codes[..., :3]).max() <= (0.51 if form.is_float else 0.99)
    if form.channels == 4:
        assert photograph.alpha is not None
        assert np.array_equal(photograph.alpha, codes[..., 3])


def assert_written(
    form: Form, written: Path, result: Pixels, photograph: photo.Photograph, expected: Pixels
) -> None:
    """Other libraries must see the result, and outside the change the very values of before."""
    seen = form.read(written)
    if form.is_float:
        changed = (result != photograph.pixels).any(-1)
        assert np.array_equal(seen[~changed], expected[~changed], equal_nan=True)
        moved = expected[changed] - 655 / 65535
        assert np.abs(seen[changed] - moved)[expected[changed] > 0.02].max() < 1e-3
        return
    assert np.array_equal(seen[..., :3], result)
    if form.channels == 4:
        assert np.array_equal(seen[..., 3], expected[..., 3])


def assert_blocks_kept(path: Path, written: Path, result: Pixels) -> None:
    """Of a JPEG libvips must see the change, and the same pixels where no block of it reaches."""
    before, seen = read_with_vips(path), read_with_vips(written)
    assert np.abs(seen.astype(int) - result).mean() < 1.0
    rows, columns = (slice(max(0, s.start - BLOCK), s.stop + BLOCK) for s in CHANGED)
    reached = np.zeros(before.shape[:2], bool)
    reached[rows, columns] = True
    assert 0.1 < reached.mean() < 0.9
    assert np.array_equal(seen[~reached], before[~reached])


DECORATION = {
    "IFD0:Make": "Invented",
    "IFD0:Artist": "A. Rower",
    "IFD0:Copyright": "Rowing club",
    "ExifIFD:DateTimeOriginal": "2026:07:18 10:11:12",
    "ExifIFD:LensModel": "Invented lens",
    "GPS:GPSLatitude": 54.5,
    "GPS:GPSLatitudeRef": "N",
    "GPS:GPSLongitude": 9.25,
    "GPS:GPSLongitudeRef": "E",
    "XMP-dc:Title": "Summer regatta",
    "XMP-photoshop:Headline": "Eights",
    "IPTC:By-line": "A. Rower",
    "IPTC:Keywords": "regatta",
}
"""What ExifTool writes into files; made up. PNG, HEIF and AVIF have no place for IPTC blocks."""


@pytest.mark.parametrize("orientation", ORIENTATIONS)
@pytest.mark.parametrize("name", [name for name in FORMS if "BigTIFF" not in name])
def test_metadata_told_by_exiftool(name: str, orientation: int, tmp_path: Path) -> None:
    """ExifTool writes places, names and texts; it must find them all in the result."""
    form = FORMS[name]
    path = tmp_path / f"portrait{form.suffix}"
    profile = list(PROFILES.values())[orientation % len(PROFILES)]
    form.write(path, form.stored(), profile, orientation)
    wanted = {
        key: value
        for key, value in DECORATION.items()
        if form.suffix in (".jpg", ".tif") or not key.startswith("IPTC")
    }
    exiftool("-overwrite_original", *(f"-{key}={value}" for key, value in wanted.items()), path)
    photograph = photo.read(path)
    result = photograph.pixels.copy()
    result[CHANGED] -= 3
    written = photo.write(result, photograph, tmp_path / f"result{photograph.result_suffix}")
    before, after = tags_of(path), tags_of(written)
    if form.suffix == form.result_suffix:
        kept = {key: value for key, value in before.items() if not _is_place(key)}
        assert {key: value for key, value in after.items() if not _is_place(key)} == kept
    else:
        for key in wanted:
            assert after[key] == before[key], key


def _is_place(key: str) -> bool:
    """Whether a tag says where or how the picture is coded, not what it is."""
    return key.split(":")[1] in PLACES | {"EncodingProcess"}
