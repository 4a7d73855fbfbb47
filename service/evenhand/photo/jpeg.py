"""JPEG files (ITU-T T.81): markers, metadata segments, pixels in and out."""

from __future__ import annotations

import io
import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import BinaryIO

import imagecodecs

from evenhand.errors import UnreadablePhotographError, UnsupportedPhotographError
from evenhand.photo.limits import check_size
from evenhand.photo.orientation import contiguous, orientation_of
from evenhand.photo.photograph import CodeValues, FileKind
from evenhand.photo.source import Decoded, Stored

START = b"\xff\xd8"
"""SOI, the marker every JPEG file begins with (T.81, table B.1)."""

_EOI, _SOS, _DQT, _COM = 0xD9, 0xDA, 0xDB, 0xFE
_APP0, _APP1, _APP2, _APP13, _APP14, _APP15 = 0xE0, 0xE1, 0xE2, 0xED, 0xEE, 0xEF
"""Markers of T.81, table B.1."""

_BASELINE, _EXTENDED, _PROGRESSIVE = 0xC0, 0xC1, 0xC2
_ARITHMETIC, _ARITHMETIC_PROGRESSIVE = 0xC9, 0xCA
_FRAMES = frozenset(range(0xC0, 0xD0)) - {0xC4, 0xC8, 0xCC}
"""Start-of-frame markers; C4, C8 and CC are tables and reserved."""

_READ_FRAMES = {_BASELINE, _EXTENDED, _PROGRESSIVE, _ARITHMETIC, _ARITHMETIC_PROGRESSIVE}
"""Frames of DCT coefficients; the others are lossless or hierarchical."""

_NEXT_MARKER = re.compile(rb"\xff[\x01-\xcf\xd8-\xfe]")
"""A marker inside or after entropy-coded data; FF00 is a data byte, D0 to D7 are restarts."""

_EXIF_HEAD = b"Exif\x00\x00"
_XMP_HEAD = b"http://ns.adobe.com/xap/1.0/\x00"
_ICC_HEAD = b"ICC_PROFILE\x00"
_IPTC_HEAD = b"Photoshop 3.0\x00"
_ADOBE_HEAD = b"Adobe"
"""Heads of the application segments (Exif 2.32, XMP part 3, ICC.1 annex B, IIM, T.872)."""


@dataclass(frozen=True)
class Segment:
    """A marker segment: its marker's second byte, and its payload without the length."""

    marker: int
    payload: bytes

    @property
    def whole(self) -> bytes:
        """The segment as it stands in a file."""
        length = (len(self.payload) + 2).to_bytes(2, "big")
        return bytes((0xFF, self.marker)) + length + self.payload


@dataclass(frozen=True)
class Frame:
    """The frame header: what kind of coding, how large, which components.

    `sampling` holds the horizontal and vertical sampling factor of each component.
    """

    marker: int
    precision: int
    height: int
    width: int
    identifiers: tuple[int, ...]
    sampling: tuple[tuple[int, int], ...]

    @property
    def progressive(self) -> bool:
        """Whether the coefficients come in several passes."""
        return self.marker in (_PROGRESSIVE, _ARITHMETIC_PROGRESSIVE)


@dataclass(frozen=True)
class JpegSource:
    """A JPEG file as it was read.

    Attributes
    ----------
    content : bytes
        The whole file.
    segments : tuple of Segment
        All marker segments but the scans' headers, in their order.
    end : int
        Where the picture ends; anything after it (further pictures of the file) starts here.
    """

    content: bytes
    segments: tuple[Segment, ...]
    end: int

    kind = FileKind.JPEG

    @cached_property
    def orientation(self) -> int:
        """EXIF orientation, 1 to 8."""
        return orientation_of(self.metadata.get("exif"))

    @cached_property
    def frame(self) -> Frame:
        """The frame header."""
        return _frame(next(s for s in self.segments if s.marker in _FRAMES))

    @cached_property
    def metadata(self) -> Mapping[str, bytes]:
        """Exif, XMP and IPTC blocks, without their heads."""
        blocks = {
            "exif": self._payload(_APP1, _EXIF_HEAD),
            "xmp": self._payload(_APP1, _XMP_HEAD),
            "iptc": self._payload(_APP13, _IPTC_HEAD),
        }
        return {name: block for name, block in blocks.items() if block}

    @cached_property
    def profile(self) -> bytes | None:
        """ICC profile, put together from its numbered parts (ICC.1:2022, annex B.4)."""
        parts = sorted(
            s.payload[len(_ICC_HEAD) :]
            for s in self.segments
            if s.marker == _APP2 and s.payload.startswith(_ICC_HEAD)
        )
        return b"".join(part[2:] for part in parts) or None

    @cached_property
    def is_rgb(self) -> bool:
        """Whether components are R, G, B rather than Y, Cb, Cr, by the rules of T.872."""
        adobe = self._payload(_APP14, _ADOBE_HEAD)
        if adobe and len(adobe) >= 7:
            return adobe[6] == 0
        has_jfif = any(s.marker == _APP0 and s.payload[:5] == b"JFIF\0" for s in self.segments)
        return not has_jfif and self.frame.identifiers == tuple(b"RGB")

    def _payload(self, marker: int, head: bytes) -> bytes | None:
        for segment in self.segments:
            if segment.marker == marker and segment.payload.startswith(head):
                return segment.payload[len(head) :]
        return None

    def write(self, result: Stored, original: Stored, file: BinaryIO) -> None:
        """Write the picture again with the source's tables, subsampling and segments."""
        encoded = _segments_of(self._encoded(result.pixels), "the encoded picture")
        file.write(START)
        for segment in self.segments:
            if _APP0 <= segment.marker <= _APP15 or segment.marker == _COM:
                file.write(segment.whole)
        for segment in encoded.segments:
            if not (_APP0 <= segment.marker <= _APP15 or segment.marker == _COM):
                file.write(segment.whole)
        file.write(memoryview(encoded.content)[encoded.scan : encoded.end])
        file.write(memoryview(self.content)[self.end :])

    def _encoded(self, pixels: CodeValues) -> bytes:
        from PIL import Image
        from PIL.JpegImagePlugin import JpegImageFile

        with JpegImageFile(io.BytesIO(self.content)) as opened:
            tables = opened.quantization
        buffer = io.BytesIO()
        Image.fromarray(contiguous(pixels)).save(
            buffer,
            "JPEG",
            qtables=tables,
            subsampling=_PILLOW_SUBSAMPLING.get(self.frame.sampling[0], 0),
            progressive=self.frame.progressive,
            keep_rgb=self.is_rgb,
        )
        return buffer.getvalue()


_PILLOW_SUBSAMPLING = {(1, 1): 0, (2, 1): 1, (2, 2): 2}


@dataclass(frozen=True)
class _Layout:
    """Segments of a file, where its first scan starts, and where its picture ends."""

    content: bytes
    segments: tuple[Segment, ...]
    scan: int
    end: int


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
    layout = _segments_of(content, name)
    source = JpegSource(content, layout.segments, layout.end)
    _check_frame(source, name, pixel_limit)
    try:
        pixels = imagecodecs.jpeg8_decode(content, outcolorspace="RGB")
    except (imagecodecs.Jpeg8Error, ValueError, RuntimeError, MemoryError) as error:
        raise UnreadablePhotographError(
            f"{name} is a damaged JPEG file ({error}).",
            "Copy it again from the card or the backup.",
        ) from error
    return Decoded(Stored(pixels), source.profile, source)


def _segments_of(content: bytes, name: str) -> _Layout:
    """Walk through the markers up to the end of the picture."""
    segments: list[Segment] = []
    place, scan = 2, 0
    while place + 4 <= len(content):
        if content[place] != 0xFF:
            raise UnreadablePhotographError(
                f"{name} is a damaged JPEG file (no marker at byte {place}).",
                "Copy it again from the card or the backup.",
            )
        marker = content[place + 1]
        if marker == 0xFF:  # fill byte
            place += 1
            continue
        length = int.from_bytes(content[place + 2 : place + 4], "big")
        if marker == _SOS:
            scan = scan or place
            place = _end_of_scan(content, place + 2 + length)
            if content[place : place + 2] == b"\xff\xd9":
                return _Layout(content, tuple(segments), scan, place + 2)
            continue
        if not scan:
            segments.append(Segment(marker, content[place + 4 : place + 2 + length]))
        place += 2 + length
    raise UnreadablePhotographError(
        f"{name} is a truncated JPEG file: its end is missing.",
        "Copy it again from the card or the backup.",
    )


def _end_of_scan(content: bytes, place: int) -> int:
    found = _NEXT_MARKER.search(content, place)
    return found.start() if found else len(content)


def _frame(segment: Segment) -> Frame:
    data = segment.payload
    count = data[5]
    components = [data[6 + 3 * i : 9 + 3 * i] for i in range(count)]
    return Frame(
        marker=segment.marker,
        precision=data[0],
        height=int.from_bytes(data[1:3], "big"),
        width=int.from_bytes(data[3:5], "big"),
        identifiers=tuple(c[0] for c in components),
        sampling=tuple((c[1] >> 4, c[1] & 15) for c in components),
    )


def _check_frame(source: JpegSource, name: str, pixel_limit: int) -> None:
    try:
        frame = source.frame
    except (StopIteration, IndexError) as error:
        raise UnreadablePhotographError(
            f"{name} is a damaged JPEG file (no whole frame header).",
            "Copy it again from the card or the backup.",
        ) from error
    if frame.marker not in _READ_FRAMES or frame.precision != 8:
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
