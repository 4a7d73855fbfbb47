"""Other pictures inside a JPEG file: the Exif thumbnail, and those that follow the main one."""

from __future__ import annotations

import io
import struct

import numpy as np
from PIL import Image

from evenhand.colour.encoding import CodeValues
from evenhand.photo.jpeg.markers import APP2, Segment

_OFFSET_TAG, _LENGTH_TAG = 0x0201, 0x0202
"""Where the thumbnail lies in the Exif block, and its length (Exif 2.32, section 4.6.4)."""

_THUMBNAIL_QUALITIES = (90, 80, 65, 50, 35, 20)
"""JPEG qualities tried until the new thumbnail fits into the place of the old one."""

_SAMPLES_PER_PIXEL = 4
"""Pixels of the photograph looked at for each of the thumbnail's, in each direction."""

_MULTI_PICTURE_HEAD = b"MPF\x00"
_ENTRIES_TAG = 0xB002
"""Head and list of pictures of the multi-picture format (CIPA DC-007, sections 5.2 and 5.2.3)."""


def with_new_thumbnail(exif: bytes, pixels: CodeValues) -> bytes:
    """An Exif block whose thumbnail shows `pixels`; the same block where it has none that can be.

    Parameters
    ----------
    exif : bytes
        Exif block from its TIFF header on.
    pixels : ndarray of uint8, shape (height, width, 3)
        The picture in the file's own orientation.

    Returns
    -------
    bytes
        A block of the same length.
    """
    found = _thumbnail_place(exif)
    if found is None:
        return exif
    offset, length, length_place, order = found
    try:
        with Image.open(io.BytesIO(exif[offset : offset + length]), formats=["JPEG"]) as old:
            size = old.size
    except (OSError, ValueError, SyntaxError):
        return exif
    picture = _fitted(pixels, size)
    for quality in _THUMBNAIL_QUALITIES:
        buffer = io.BytesIO()
        picture.save(buffer, "JPEG", quality=quality)
        new = buffer.getvalue()
        if len(new) <= length:
            changed = bytearray(exif)
            changed[offset : offset + length] = new.ljust(length, b"\x00")
            struct.pack_into(f"{order}I", changed, length_place, len(new))
            return bytes(changed)
    return exif


def _thumbnail_place(exif: bytes) -> tuple[int, int, int, str] | None:
    """Offset and length of the thumbnail, where its length stands, and the byte order."""
    try:
        order = {b"II": "<", b"MM": ">"}[exif[:2]]
        (first,) = struct.unpack_from(f"{order}I", exif, 4)
        (count,) = struct.unpack_from(f"{order}H", exif, first)
        (second,) = struct.unpack_from(f"{order}I", exif, first + 2 + 12 * count)
        (count,) = struct.unpack_from(f"{order}H", exif, second) if second else (0,)
        places: dict[int, int] = {}
        for entry in range(second + 2, second + 2 + 12 * count, 12):
            (tag,) = struct.unpack_from(f"{order}H", exif, entry)
            places[tag] = entry + 8
        (offset,) = struct.unpack_from(f"{order}I", exif, places[_OFFSET_TAG])
        (length,) = struct.unpack_from(f"{order}I", exif, places[_LENGTH_TAG])
    except (KeyError, struct.error):
        return None
    if not length or offset + length > len(exif):
        return None
    return offset, length, places[_LENGTH_TAG], order


def _fitted(pixels: CodeValues, size: tuple[int, int]) -> Image.Image:
    """The picture made small, with black edges where its shape is another, as cameras do."""
    scale = max(pixels.shape[1] / size[0], pixels.shape[0] / size[1])
    step = max(1, int(scale / _SAMPLES_PER_PIXEL))
    sampled = Image.fromarray(np.ascontiguousarray(pixels[::step, ::step]))
    width = max(1, min(size[0], round(pixels.shape[1] / scale)))
    height = max(1, min(size[1], round(pixels.shape[0] / scale)))
    small = sampled.resize((width, height), Image.Resampling.BOX)
    canvas = Image.new("RGB", size)
    canvas.paste(small, ((size[0] - width) // 2, (size[1] - height) // 2))
    return canvas


def with_moved_pictures(
    segments: tuple[Segment, ...], before: tuple[Segment, ...], size: int, moved: int
) -> tuple[Segment, ...]:
    """Segments whose list of pictures fits a main picture of another size.

    Parameters
    ----------
    segments, before : tuple of Segment
        As they will be written, and as they were.
    size : int
        Bytes of the main picture.
    moved : int
        Bytes by which the pictures after it begin later than before.

    Returns
    -------
    tuple of Segment
        The same where there is no list.
    """
    place, place_before = _list_place(segments), _list_place(before)
    if place is None or place_before is None:
        return segments
    number, start = place
    later = moved - (start - place_before[1])
    segment = Segment(APP2, _moved(segments[number].payload, size, later))
    return (*segments[:number], segment, *segments[number + 1 :])


def _list_place(segments: tuple[Segment, ...]) -> tuple[int, int] | None:
    """Which segment lists further pictures, and where it begins."""
    start = 0
    for number, segment in enumerate(segments):
        if segment.marker == APP2 and segment.payload.startswith(_MULTI_PICTURE_HEAD):
            return number, start
        start += len(segment.whole)
    return None


def _moved(payload: bytes, size: int, moved: int) -> bytes:
    """The multi-picture segment with its offsets, which count from its own header, put right."""
    block = bytearray(payload)
    base = len(_MULTI_PICTURE_HEAD)
    try:
        order = {b"II": "<", b"MM": ">"}[bytes(block[base : base + 2])]
        (directory,) = struct.unpack_from(f"{order}I", block, base + 4)
        (count,) = struct.unpack_from(f"{order}H", block, base + directory)
        for entry in range(base + directory + 2, base + directory + 2 + 12 * count, 12):
            tag, _, length, place = struct.unpack_from(f"{order}HHII", block, entry)
            if tag != _ENTRIES_TAG:
                continue
            for number in range(length // 16):
                picture = base + place + 16 * number
                (offset,) = struct.unpack_from(f"{order}I", block, picture + 8)
                if number == 0:
                    struct.pack_into(f"{order}I", block, picture + 4, size)
                elif offset:
                    struct.pack_into(f"{order}I", block, picture + 8, offset + moved)
    except (KeyError, struct.error):
        return payload
    return bytes(block)
