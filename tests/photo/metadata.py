"""Whether other libraries find the same metadata in a result as in the original."""

from __future__ import annotations

from pathlib import Path

import pyvips
from PIL import Image

from tests.photo.exiftool import tags_of


def assert_metadata_kept(original: Path, result: Path) -> None:
    """Pillow and libvips must find the same metadata in both files."""
    first = pyvips.Image.new_from_file(str(original))
    second = pyvips.Image.new_from_file(str(result))
    for name in first.get_fields():
        if name.startswith(("exif-", "xmp", "iptc", "icc", "orientation", "resolution")):
            assert second.get(name) == first.get(name), name
    try:
        opened = Image.open(original)
    except Image.UnidentifiedImageError:  # Pillow reads no planes of 16 bits or floating point
        return
    with opened as before, Image.open(result) as after:
        places = {273, 279, 324, 325}
        tags, tags_after = (
            {tag: value for tag, value in o.getexif().items() if tag not in places}
            for o in (before, after)
        )
        assert tags_after == tags
        assert after.getexif().get_ifd(0x8769) == before.getexif().get_ifd(0x8769)
        assert after.info.get("dpi") == before.info.get("dpi")
        assert after.info.get("icc_profile") == before.info.get("icc_profile")


def assert_metadata_carried_over(result: Path) -> None:
    """What a file of another format said must stand in the TIFF that it became."""
    found = tags_of(result)
    assert found["IFD0:Make"] == "Invented"
    assert found["IFD0:Artist"] == "A. Rower"
    assert found["ExifIFD:DateTimeOriginal"] == "2026:07:18 10:11:12"
    assert found["XMP-dc:Creator"] == ["A. Rower"]
    assert found.get("IFD0:Orientation", 1) == 1
