"""Changing tags of a TIFF file: the directory is written again at the end, all else stays."""

from __future__ import annotations

import struct
from collections.abc import Mapping
from typing import BinaryIO

import tifffile

from evenhand.photo.tiff.segments import append

_BYTE = 1
"""Field type of a tag that holds bytes (TIFF 6.0, section 2)."""


def change_tags(file: BinaryIO, page_number: int, changes: Mapping[int, bytes | None]) -> None:
    """Add, replace or take out tags of a page's directory.

    Parameters
    ----------
    file : BinaryIO
        Open for reading and writing.
    page_number : int
        Which page.
    changes : mapping of int to bytes or None
        By the tag's number: its new value, more than 8 bytes, or None to take it out. What a tag
        held before is overwritten with zeros.
    """
    file.seek(0)
    with tifffile.TiffFile(file, name="result") as tiff:
        page = tiff.pages[page_number]
        order, is_big = tiff.byteorder, tiff.is_bigtiff
        directory = page.offset
        previous = tiff.pages[page_number - 1].offset if page_number else None
        old = [page.aspage().tags[code] for code in changes if code in page.aspage().tags]
        held = [(tag.valueoffset, tag.valuebytecount) for tag in old]
    entries, following = _entries(file, directory, order, is_big)
    end = file.seek(0, 2)
    for place, size in held:
        if size > (8 if is_big else 4) and place + size <= end:
            file.seek(place)
            file.write(bytes(size))
    layout = f"{order}HHQQ" if is_big else f"{order}HHII"
    for code, data in changes.items():
        if data is None:
            entries.pop(code, None)
        else:
            entries[code] = struct.pack(layout, code, _BYTE, len(data), append(file, data))
    written = b"".join(entries[key] for key in sorted(entries))
    count = struct.pack(f"{order}{'Q' if is_big else 'H'}", len(entries))
    place = append(file, count + written + following)
    pointer = 8 if is_big else 4
    if previous is not None:
        before, _ = _entries(file, previous, order, is_big)
        pointer = previous + (8 + 20 * len(before) if is_big else 2 + 12 * len(before))
    file.seek(pointer)
    file.write(struct.pack(f"{order}{'Q' if is_big else 'I'}", place))


def _entries(
    file: BinaryIO, directory: int, order: str, is_big: bool
) -> tuple[dict[int, bytes], bytes]:
    """Entries of a directory by tag, as they stand, and the pointer to the next directory."""
    size, width = (20, 8) if is_big else (12, 4)
    file.seek(directory)
    (count,) = struct.unpack(f"{order}{'Q' if is_big else 'H'}", file.read(8 if is_big else 2))
    entries = [file.read(size) for _ in range(count)]
    following = file.read(width)
    return {struct.unpack(f"{order}H", entry[:2])[0]: entry for entry in entries}, following
