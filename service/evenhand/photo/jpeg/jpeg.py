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

from evenhand.colour.encoding import CodeValues
from evenhand.errors import UnsupportedPhotographError
from evenhand.photo import manifests
from evenhand.photo.coded_colour import adobe_rgb_profile
from evenhand.photo.damage import damaged
from evenhand.photo.exif import interoperability_of, orientation_of
from evenhand.photo.jpeg.markers import (
    APP1,
    APP2,
    APP13,
    DHT,
    EXIF_HEAD,
    ICC_HEAD,
    IPTC_HEAD,
    READ_FRAMES,
    START,
    Layout,
    Segment,
    layout_of,
    quantisation,
)
from evenhand.photo.jpeg.pictures import with_moved_pictures, with_new_thumbnail
from evenhand.photo.jpeg.xmp import packet_in, with_packet
from evenhand.photo.kinds import FileKind
from evenhand.photo.limits import check_size
from evenhand.photo.manifests import without_manifest
from evenhand.photo.source import Decoded, Stored

__all__ = ["START", "JpegSource", "decode"]

_END = b"\xff\xd9"
"""EOI, the marker every picture ends with."""


_ADOBE_RGB_MARK = "R03"
"""Interoperability index of DCF's optional colour space, Adobe RGB (Exif 2.32, 4.6.7)."""

_ADOBE_RGB_NOTE = "The file has no colour profile, but Exif marks it as Adobe RGB."

_SEQUENTIAL_NOTE = (
    "The JPEG is progressive or otherwise unusual; a result is an ordinary sequential one with the "
    "same coefficients in every block that no layer touches."
)

_Coded = tuple[tuple[Segment, ...], tuple[bytes | memoryview, ...]]
"""Segments (the source's own tuple where nothing changed), and what follows up to the end."""


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

        Parameters
        ----------
        packet : bytes

        Returns
        -------
        JpegSource
        """
        return replace(self, new_xmp=packet)

    @cached_property
    def orientation(self) -> int:
        """EXIF orientation, 1 to 8."""
        return orientation_of(self.metadata.get("exif"))

    @cached_property
    def metadata(self) -> Mapping[str, bytes]:
        """Exif, XMP and IPTC blocks, without their heads."""
        blocks = {
            "exif": self.layout.payloads(APP1, EXIF_HEAD),
            "iptc": self.layout.payloads(APP13, IPTC_HEAD),
        }
        found = {name: parts[0] for name, parts in blocks.items() if parts}
        packet = packet_in(self.layout.segments)
        return found if packet is None else {**found, "xmp": packet}

    @cached_property
    def profile(self) -> bytes | None:
        """ICC profile, put together from its numbered parts (ICC.1:2022, annex B.4)."""
        parts = sorted(self.layout.payloads(APP2, ICC_HEAD))
        return b"".join(part[2:] for part in parts) or None

    @property
    def is_adobe_rgb(self) -> bool:
        """Whether Exif marks the picture as Adobe RGB, as cameras do instead of a profile."""
        return interoperability_of(self.metadata.get("exif")) == _ADOBE_RGB_MARK

    def write(self, result: Stored, original: Stored, file: BinaryIO) -> None:
        """Write the file again; only blocks with changed pixels get other coefficients.

        Parameters
        ----------
        result, original : Stored
            Without alpha, 8 bit, of one shape.
        file : binary file
            Open for writing.

        Raises
        ------
        NotWrittenError
            Coefficients of a file of this kind cannot be changed.
        """
        pixels, before = result.pixels, original.pixels
        segments, pieces = (
            self._changed_scan(pixels, before)
            if self.scan is not None
            else self._changed_coefficients(pixels, before)
        )
        exif = self.metadata.get("exif")
        if exif and segments is not self.layout.segments:
            changed = Segment(APP1, EXIF_HEAD + with_new_thumbnail(exif, pixels))
            old = EXIF_HEAD + exif
            segments = tuple(changed if s.payload == old else s for s in segments)
        if self.new_xmp is not None:
            segments = with_packet(segments, self.new_xmp)
        if segments is not self.layout.segments:
            segments = without_manifest(segments)
        size = sum(map(len, (START, *pieces, _END))) + sum(len(s.whole) for s in segments)
        moved = size - self.layout.end
        segments = with_moved_pictures(segments, self.layout.segments, size, moved)
        for piece in (START, *(s.whole for s in segments), *pieces, _END):
            file.write(piece)
        file.write(memoryview(self.layout.content)[self.layout.end :])

    def _changed_scan(self, pixels: CodeValues, before: CodeValues) -> _Coded:
        from evenhand.photo.jpeg.blocks import changed_scan

        layout = self.layout
        changed = changed_scan(self.scan, pixels, before)
        header = memoryview(layout.content)[layout.scan : layout.scan_data]
        if changed is None:
            data = memoryview(layout.content)[layout.scan_data : layout.end - len(_END)]
            return layout.segments, (header, data)
        data, new_tables = changed
        kept = (s for s in layout.segments if s.marker != DHT or not new_tables)
        return (*kept, *new_tables), (header, data)

    def _changed_coefficients(self, pixels: CodeValues, before: CodeValues) -> _Coded:
        from evenhand.photo.jpeg.coefficients import rewritten

        layout = self.layout
        if np.array_equal(pixels, before):
            return layout.segments, (
                memoryview(layout.content)[layout.scan : layout.end - len(_END)],
            )
        encoded = rewritten(layout, pixels, before)
        metadata = (s for s in layout.segments if s.is_metadata)
        coding = (s for s in encoded.segments if not s.is_metadata)
        scans = memoryview(encoded.content)[encoded.scan : encoded.end - len(_END)]
        return (*metadata, *coding), (scans,)


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

    Returns
    -------
    Decoded
        8 bits; its source writes the file again.

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
    notes = (_SEQUENTIAL_NOTE,) if scan is None else ()
    if len(without_manifest(layout.segments)) < len(layout.segments):
        notes = (*notes, manifests.NOTE)
    if source.profile is None and source.is_adobe_rgb:
        return Decoded(Stored(pixels), adobe_rgb_profile(), source, (_ADOBE_RGB_NOTE, *notes))
    return Decoded(Stored(pixels), source.profile, source, notes)


def _pixels(content: bytes, name: str) -> npt.NDArray[np.uint8]:
    try:
        return np.asarray(imagecodecs.jpeg8_decode(content, outcolorspace="RGB"))
    except (imagecodecs.Jpeg8Error, ValueError, RuntimeError, MemoryError) as error:
        raise damaged(f"{name} is a damaged JPEG file ({error}).") from error


def _scan(layout: Layout, name: str) -> Any:
    """Find every block, which also tells whether the data are whole: the decoder would not."""
    from evenhand.photo.jpeg.blocks import sequential_scan

    try:
        quantisation(layout)
        scan = sequential_scan(layout)
    except (ValueError, IndexError, KeyError) as error:
        raise damaged(f"{name} is a damaged JPEG file (tables).") from error
    if scan is not None and scan.trouble:
        raise damaged(
            f"{name} is a damaged or truncated JPEG file: part of the picture cannot be decoded."
        )
    return scan


def _check_frame(layout: Layout, name: str, pixel_limit: int) -> None:
    try:
        frame = layout.frame
    except (StopIteration, IndexError) as error:
        raise damaged(f"{name} is a damaged JPEG file (no whole frame header).") from error
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
