"""Replacing the strips or tiles of a TIFF file in place, everything else kept byte for byte."""

from __future__ import annotations

import struct
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any, BinaryIO

import imagecodecs
import numpy as np
import numpy.typing as npt
import tifffile

from evenhand.errors import NotWrittenError
from evenhand.photo.source import Stored

LOSSLESS = {1, 5, 8, 32946, 32773, 34925, 50000}
"""Compressions read and written: none, LZW, deflate (two numbers), PackBits, LZMA, Zstandard."""

_LARGEST_CLASSIC_OFFSET = 2**32 - 1
"""A classic TIFF cannot point beyond this byte (TIFF 6.0, section 2)."""

_FLOAT_STEPS = np.float32(65535)
"""Codes from 0 to 1 of a floating-point file."""

_OFFSET_TAGS = {False: (273, 279), True: (324, 325)}
"""Tags of offsets and byte counts, of strips and (True) of tiles."""

_LONG, _LONG8 = 4, 16
"""Field types of 32-bit and 64-bit numbers."""


@dataclass(frozen=True)
class Segment:
    """One strip or tile: its number, which part of the picture it holds, and its sample planes.

    `shape` is its own height and width, which may reach over the picture's edge.
    """

    number: int
    rows: slice
    columns: slice
    samples: slice
    shape: tuple[int, int]


def replace_changed_segments(
    file: BinaryIO, page_number: int, result: Stored, original: Stored
) -> bool:
    """Replace every strip or tile whose pixels differ from the original's.

    Parameters
    ----------
    file : BinaryIO
        A copy of the original file, open for reading and writing.
    page_number : int
        Page that holds the photograph.
    result, original : Stored
        New pixels, and those the file holds.

    Returns
    -------
    bool
        Whether there was any.

    Raises
    ------
    NotWrittenError
        The result does not fit into a classic TIFF of 4 GiB.
    """
    file.seek(0)
    with tifffile.TiffFile(file) as tiff:
        page = tiff.pages[page_number]
        assert isinstance(page, tifffile.TiffPage)
        offsets, counts = list(page.dataoffsets), list(page.databytecounts)
        room = _Room(offsets, counts)
        floats = page.asarray() if page.dtype.kind == "f" else None
        encoded: list[tuple[int, bytes]] = []
        was_changed = False
        for segment in segments_of(page):
            if not _differs(segment, result, original):
                continue
            was_changed, number = True, segment.number
            data = _encoded(page, _values(page, segment, result, original, floats))
            if len(data) == counts[number] and room.owns(number):
                file.seek(offsets[number])
                file.write(data)
            else:
                encoded.append((number, data))
        if encoded:
            room.free([number for number, _ in encoded])
            for number, data in encoded:
                offsets[number] = room.place(file, data)
                counts[number] = len(data)
            room.clear(file)
            _point_to(file, tiff, page, offsets, counts)
        return was_changed


class _Room:
    """Bytes of the file that replaced segments leave free, and where new ones go."""

    def __init__(self, offsets: Sequence[int], counts: Sequence[int]) -> None:
        self._spans = [(o, o + c) for o, c in zip(offsets, counts, strict=True)]
        self._shared = self._overlapping()
        self._extents: list[tuple[int, int]] = []

    def owns(self, number: int) -> bool:
        """Whether a segment's bytes belong to it alone."""
        return number not in self._shared

    def free(self, numbers: Sequence[int]) -> None:
        """Give up the bytes of segments, neighbouring ones joined."""
        for start, stop in sorted(self._spans[n] for n in numbers if self.owns(n)):
            if self._extents and self._extents[-1][1] == start:
                self._extents[-1] = (self._extents[-1][0], stop)
            else:
                self._extents.append((start, stop))

    def place(self, file: BinaryIO, data: bytes) -> int:
        """Write data into the first room that is large enough, else at the end."""
        for i, (start, stop) in enumerate(self._extents):
            if stop - start >= len(data):
                self._extents[i] = (start + len(data), stop)
                file.seek(start)
                file.write(data)
                return start
        return append(file, data)

    def clear(self, file: BinaryIO) -> None:
        """Overwrite what is left of the freed bytes, so that no old picture stays behind."""
        for start, stop in self._extents:
            file.seek(start)
            file.write(bytes(stop - start))

    def _overlapping(self) -> set[int]:
        order = sorted(range(len(self._spans)), key=self._spans.__getitem__)
        shared: set[int] = set()
        furthest, holder = 0, -1
        for number in order:
            start, stop = self._spans[number]
            if start < furthest:
                shared |= {number, holder}
            if stop > furthest:
                furthest, holder = stop, number
        return shared


def append(file: BinaryIO, data: bytes) -> int:
    """Write data at the end, on an even byte as TIFF asks for.

    Parameters
    ----------
    file : binary file
        Left at its new end.
    data : bytes

    Returns
    -------
    int
        Byte where the data begin.
    """
    end = file.seek(0, 2)
    if end % 2:
        file.write(b"\x00")
    file.write(data)
    return end + end % 2


def segments_of(page: tifffile.TiffPage) -> Iterator[Segment]:
    """Strips or tiles in the order of the offsets (TIFF 6.0, sections 3 and 15).

    Parameters
    ----------
    page : TiffPage

    Yields
    ------
    Segment
    """
    height, width, samples = page.imagelength, page.imagewidth, page.samplesperpixel
    separate = page.planarconfig == tifffile.PLANARCONFIG.SEPARATE and samples > 1
    if page.is_tiled:
        rows, columns = page.tilelength, page.tilewidth
    else:
        rows, columns = min(page.rowsperstrip, height), width
    planes = [slice(s, s + 1) for s in range(samples)] if separate else [slice(0, samples)]
    number = 0
    for plane in planes:
        for top in range(0, height, rows):
            for left in range(0, width, columns):
                yield Segment(
                    number,
                    slice(top, min(top + rows, height)),
                    slice(left, min(left + columns, width)),
                    plane,
                    (rows if page.is_tiled else min(rows, height - top), columns),
                )
                number += 1


def _differs(segment: Segment, result: Stored, original: Stored) -> bool:
    cut = (
        segment.rows,
        segment.columns,
        slice(segment.samples.start, min(segment.samples.stop, 3)),
    )
    return not np.array_equal(result.pixels[cut], original.pixels[cut])


def _values(
    page: tifffile.TiffPage,
    segment: Segment,
    result: Stored,
    original: Stored,
    floats: npt.NDArray[Any] | None,
) -> npt.NDArray[Any]:
    """Samples of a strip or tile, filled up with zeros where it reaches over the edge."""
    samples = range(segment.samples.start, segment.samples.stop)
    values = np.zeros((*segment.shape, len(samples)), page.dtype)
    inside = values[: segment.rows.stop - segment.rows.start]
    inside = inside[:, : segment.columns.stop - segment.columns.start]
    for place, sample in enumerate(samples):
        plane = _plane(result, sample)[segment.rows, segment.columns]
        if floats is None:
            inside[..., place] = plane
        else:
            before = _plane(original, sample)[segment.rows, segment.columns]
            is_planar = page.planarconfig == tifffile.PLANARCONFIG.SEPARATE
            held = floats[sample] if is_planar else floats[..., sample]
            change = (plane.astype(np.float32) - before) / _FLOAT_STEPS
            inside[..., place] = held[segment.rows, segment.columns] + change.astype(page.dtype)
    return values


def _plane(stored: Stored, sample: int) -> npt.NDArray[Any]:
    plane = stored.pixels[..., sample] if sample < 3 else stored.alpha
    assert plane is not None
    return plane


def codes_of(floats: npt.NDArray[Any]) -> npt.NDArray[np.uint16]:
    """16-bit codes of floating-point values, 0 to 1 as 0 to 65535; what lies outside is cut.

    Parameters
    ----------
    floats : ndarray of floats
        What is no number becomes 0.

    Returns
    -------
    ndarray of uint16, same shape
    """
    scaled = np.nan_to_num(floats.astype(np.float32), nan=0.0)
    np.clip(scaled, 0, 1, out=scaled)
    scaled *= _FLOAT_STEPS
    return np.rint(scaled, out=scaled).astype(np.uint16)


def _encoded(page: tifffile.TiffPage, values: npt.NDArray[Any]) -> bytes:
    ordered = values.astype(values.dtype.newbyteorder(page.parent.byteorder))
    match page.predictor:
        case tifffile.PREDICTOR.HORIZONTAL:
            ordered = np.asarray(imagecodecs.delta_encode(ordered, axis=-2))
        case tifffile.PREDICTOR.FLOATINGPOINT:
            ordered = np.asarray(imagecodecs.floatpred_encode(ordered, axis=-2))
    return _compressed(ordered, page.compression)


def _compressed(values: npt.NDArray[Any], compression: int) -> bytes:
    data = values.tobytes()
    match compression:
        case tifffile.COMPRESSION.NONE:
            return data
        case tifffile.COMPRESSION.LZW:
            return bytes(imagecodecs.lzw_encode(data))
        case tifffile.COMPRESSION.PACKBITS:
            rows = (row.tobytes() for row in values)  # each by itself (TIFF 6.0, section 9)
            return b"".join(bytes(imagecodecs.packbits_encode(row)) for row in rows)
        case tifffile.COMPRESSION.LZMA:
            return bytes(imagecodecs.lzma_encode(data))
        case tifffile.COMPRESSION.ZSTD:
            return bytes(imagecodecs.zstd_encode(data))
        case _:
            return bytes(imagecodecs.deflate_encode(data))


def _point_to(
    file: BinaryIO,
    tiff: tifffile.TiffFile,
    page: tifffile.TiffPage,
    offsets: Sequence[int],
    counts: Sequence[int],
) -> None:
    """Write new arrays of offsets and byte counts at the end and let the tags point to them."""
    number = "Q" if tiff.is_bigtiff else "I"
    for code, values in zip(_OFFSET_TAGS[page.is_tiled], (offsets, counts), strict=True):
        packed = (
            struct.pack(f"{tiff.byteorder}{len(values)}{number}", *values)
            if max(values) <= _LARGEST_CLASSIC_OFFSET or tiff.is_bigtiff
            else b""
        )
        place = append(file, packed) if len(values) > 1 else 0
        if not packed or (place + len(packed) > _LARGEST_CLASSIC_OFFSET and not tiff.is_bigtiff):
            raise NotWrittenError(
                "The result is larger than 4 GiB, which a classic TIFF file cannot be.",
                "Save the photograph as BigTIFF first.",
            )
        kind = _LONG8 if tiff.is_bigtiff else _LONG
        entry = struct.pack(f"{tiff.byteorder}HH{number}", code, kind, len(values))
        entry += packed if len(values) == 1 else struct.pack(f"{tiff.byteorder}{number}", place)
        file.seek(page.tags[code].offset)
        file.write(entry)
