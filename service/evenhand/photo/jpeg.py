"""JPEG files (ITU-T T.81): pixels and metadata in, results with untouched blocks out."""

from __future__ import annotations

from collections.abc import Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any, BinaryIO

import imagecodecs
import numpy as np
import numpy.typing as npt

from evenhand.errors import UnreadablePhotographError, UnsupportedPhotographError
from evenhand.photo.jpeg_markers import (
    APP0,
    APP1,
    APP2,
    APP13,
    DAMAGED,
    DHT,
    EXIF_HEAD,
    ICC_HEAD,
    IPTC_HEAD,
    READ_FRAMES,
    START,
    XMP_HEAD,
    Layout,
    Segment,
    layout_of,
    quantisation,
)
from evenhand.photo.limits import check_size
from evenhand.photo.orientation import orientation_of
from evenhand.photo.photograph import CodeValues, FileKind
from evenhand.photo.source import Decoded, Stored

__all__ = ["START", "JpegSource", "decode"]

_END = b"\xff\xd9"
"""EOI, the marker every picture ends with."""

_LARGEST_PAYLOAD = 65533
"""Bytes that a segment holds besides its length (T.81, B.1.1.4)."""


@dataclass(frozen=True)
class JpegSource:
    """A JPEG file as it was read.

    Attributes
    ----------
    layout : Layout
        The file taken apart.
    scan : SequentialScan or None
        Where each block lies; None for progressive and other unusual files.
    new_xmp : bytes or None
        Packet that results get instead of the file's.
    """

    layout: Layout
    scan: Any
    new_xmp: bytes | None = None

    kind = FileKind.JPEG

    def with_xmp(self, packet: bytes) -> JpegSource:
        """The same source, whose results carry another XMP packet.

        A packet that does not fit into a segment (64 KiB) is left out, and the old one stays.
        """
        fits = len(packet) + len(XMP_HEAD) <= _LARGEST_PAYLOAD
        return replace(self, new_xmp=packet if fits else None)

    @cached_property
    def orientation(self) -> int:
        """EXIF orientation, 1 to 8."""
        return orientation_of(self.metadata.get("exif"))

    @cached_property
    def metadata(self) -> Mapping[str, bytes]:
        """Exif, XMP and IPTC blocks, without their heads."""
        blocks = {
            "exif": self.layout.payloads(APP1, EXIF_HEAD),
            "xmp": self.layout.payloads(APP1, XMP_HEAD),
            "iptc": self.layout.payloads(APP13, IPTC_HEAD),
        }
        return {name: found[0] for name, found in blocks.items() if found}

    @cached_property
    def profile(self) -> bytes | None:
        """ICC profile, put together from its numbered parts (ICC.1:2022, annex B.4)."""
        parts = sorted(self.layout.payloads(APP2, ICC_HEAD))
        return b"".join(part[2:] for part in parts) or None

    def write(self, result: Stored, original: Stored, file: BinaryIO) -> None:
        """Write the file again; only blocks with changed pixels get other coefficients."""
        layout = self.layout
        file.write(START)
        if self.scan is not None:
            self._write_changed_scan(result.pixels, original.pixels, file)
        else:
            self._write_through_coefficients(result.pixels, original.pixels, file)
        file.write(_END)
        file.write(memoryview(layout.content)[layout.end :])

    @property
    def _segments(self) -> list[Segment]:
        """The file's segments, a new XMP packet in the place of the old one or after Exif."""
        segments = list(self.layout.segments)
        if self.new_xmp is None:
            return segments
        packet = Segment(APP1, XMP_HEAD + self.new_xmp)
        olds = [i for i, s in enumerate(segments) if s.is_xmp]
        heads = [i for i, s in enumerate(segments) if s.marker in (APP0, APP1)]
        place = olds[0] if olds else max(heads, default=-1) + 1
        kept = [s for s in segments[place:] if not s.is_xmp]
        return [*segments[:place], packet, *kept]

    def _write_changed_scan(self, result: CodeValues, original: CodeValues, file: BinaryIO) -> None:
        from evenhand.photo.jpeg_blocks import changed_scan

        data, new_tables = changed_scan(self.scan, result, original)
        for segment in self._segments:
            if segment.marker != DHT or not new_tables:
                file.write(segment.whole)
        for segment in new_tables:
            file.write(segment.whole)
        file.write(memoryview(self.layout.content)[self.layout.scan : self.layout.scan_data])
        file.write(data)

    def _write_through_coefficients(
        self, result: CodeValues, original: CodeValues, file: BinaryIO
    ) -> None:
        from evenhand.photo.jpeg_coefficients import rewritten

        if self.new_xmp is None and np.array_equal(result, original):
            file.write(memoryview(self.layout.content)[len(START) : self.layout.end - len(_END)])
            return
        encoded = rewritten(self.layout, result, original)
        for segment in self._segments:
            if segment.is_metadata:
                file.write(segment.whole)
        for segment in encoded.segments:
            if not segment.is_metadata:
                file.write(segment.whole)
        file.write(memoryview(encoded.content)[encoded.scan : encoded.end - 2])


def decode(content: bytes, name: str, pixel_limit: int) -> Decoded:
    """Read a JPEG file.

    Parameters
    ----------
    content : bytes
        The whole file.
    name : str
        The file's name for messages.
    pixel_limit : int
        Largest number of pixels to decode.

    Raises
    ------
    UnreadablePhotographError
        The file is truncated or damaged.
    UnsupportedPhotographError
        CMYK, greyscale, or a coding other than 8-bit DCT.
    PhotographTooLargeError
        More than `pixel_limit` pixels.
    """
    layout = layout_of(content, name)
    _check_frame(layout, name, pixel_limit)
    with ThreadPoolExecutor(1) as beside:
        indexing = beside.submit(_scan, layout, name)
        pixels = _pixels(content, name)
        scan = indexing.result()
    source = JpegSource(layout, scan)
    return Decoded(Stored(pixels), source.profile, source)


def _pixels(content: bytes, name: str) -> npt.NDArray[np.uint8]:
    try:
        return np.asarray(imagecodecs.jpeg8_decode(content, outcolorspace="RGB"))
    except (imagecodecs.Jpeg8Error, ValueError, RuntimeError, MemoryError) as error:
        raise UnreadablePhotographError(
            f"{name} is a damaged JPEG file ({error}).", DAMAGED
        ) from error


def _scan(layout: Layout, name: str) -> Any:
    """Find every block, which also tells whether the data are whole: the decoder would not."""
    from evenhand.photo.jpeg_blocks import sequential_scan

    try:
        quantisation(layout)
        scan = sequential_scan(layout)
    except (ValueError, IndexError, KeyError) as error:
        raise UnreadablePhotographError(
            f"{name} is a damaged JPEG file (tables).", DAMAGED
        ) from error
    if scan is not None and scan.trouble:
        raise UnreadablePhotographError(
            f"{name} is a damaged or truncated JPEG file: part of the picture cannot be decoded.",
            DAMAGED,
        )
    return scan


def _check_frame(layout: Layout, name: str, pixel_limit: int) -> None:
    try:
        frame = layout.frame
    except (StopIteration, IndexError) as error:
        raise UnreadablePhotographError(
            f"{name} is a damaged JPEG file (no whole frame header).", DAMAGED
        ) from error
    if frame.marker not in READ_FRAMES or frame.precision != 8:
        raise UnsupportedPhotographError(
            f"{name} is a JPEG of {frame.precision} bits, coding {frame.marker - 0xC0}.",
            "Save it as an ordinary 8-bit JPEG, or as TIFF.",
        )
    if len(frame.identifiers) == 1:
        raise UnsupportedPhotographError(
            f"{name} is a greyscale picture; skin colour cannot be told from it.",
            "Give the colour photograph.",
        )
    if len(frame.identifiers) == 4:
        raise UnsupportedPhotographError(
            f"{name} is a CMYK picture, made for a printing press.", "Give the RGB photograph."
        )
    if len(frame.identifiers) != 3:
        raise UnsupportedPhotographError(
            f"{name} has {len(frame.identifiers)} colour components.", "Give an RGB photograph."
        )
    check_size(frame.height, frame.width, name, pixel_limit)
