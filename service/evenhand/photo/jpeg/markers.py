"""JPEG markers and their segments (ITU-T T.81, annex B): a file taken apart without decoding."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from evenhand.photo.damage import damaged

START = b"\xff\xd8"
"""SOI, the marker every JPEG file begins with (T.81, table B.1)."""

DHT, EOI, SOS, DQT, DRI, COM = 0xC4, 0xD9, 0xDA, 0xDB, 0xDD, 0xFE
APP0, APP1, APP2, APP11, APP13, APP14, APP15 = 0xE0, 0xE1, 0xE2, 0xEB, 0xED, 0xEE, 0xEF
"""Markers of T.81, table B.1."""

BASELINE, EXTENDED, PROGRESSIVE = 0xC0, 0xC1, 0xC2
ARITHMETIC, ARITHMETIC_PROGRESSIVE = 0xC9, 0xCA
FRAMES = frozenset(range(0xC0, 0xD0)) - {0xC4, 0xC8, 0xCC}
"""Start-of-frame markers; C4, C8 and CC are tables and reserved."""

READ_FRAMES = {BASELINE, EXTENDED, PROGRESSIVE, ARITHMETIC, ARITHMETIC_PROGRESSIVE}
"""Frames of DCT coefficients; the others are lossless or hierarchical."""

_NEXT_MARKER = re.compile(rb"\xff[\x01-\xcf\xd8-\xfe]")
"""A marker inside or after entropy-coded data; FF00 is a data byte, D0 to D7 are restarts."""

EXIF_HEAD = b"Exif\x00\x00"
XMP_HEAD = b"http://ns.adobe.com/xap/1.0/\x00"
ICC_HEAD = b"ICC_PROFILE\x00"
IPTC_HEAD = bytes.fromhex("50686f746f73686f7020332e3000")
ADOBE_HEAD = b"Adobe"
JFIF_HEAD = b"JFIF\x00"
"""Heads of the application segments (Exif 2.32, XMP part 3, ICC.1 annex B, IIM, T.872)."""


ZIGZAG = np.array(
    sorted(range(64), key=lambda i: (i // 8 + i % 8, i // 8 if (i // 8 + i % 8) % 2 else i % 8)),
    np.int64,
)
"""Row-major place in the block of each coefficient in the file's order (T.81, figure 5)."""


@dataclass(frozen=True)
class Segment:
    """A marker segment: its marker's second byte, and its payload without the length."""

    marker: int
    payload: bytes

    @property
    def is_metadata(self) -> bool:
        """Whether the segment is an application's or a comment, not needed to decode."""
        return APP0 <= self.marker <= APP15 or self.marker == COM

    @property
    def is_xmp(self) -> bool:
        """Whether the segment holds an XMP packet."""
        return self.marker == APP1 and self.payload.startswith(XMP_HEAD)

    @property
    def whole(self) -> bytes:
        """The segment as it stands in a file."""
        length = (len(self.payload) + 2).to_bytes(2, "big")
        return bytes((0xFF, self.marker)) + length + self.payload


@dataclass(frozen=True)
class Frame:
    """The frame header: what kind of coding, how large, which components.

    `sampling` holds the horizontal and vertical sampling factor of each component, `tables` the
    number of its quantisation table.
    """

    marker: int
    precision: int
    height: int
    width: int
    identifiers: tuple[int, ...]
    sampling: tuple[tuple[int, int], ...]
    tables: tuple[int, ...]


@dataclass(frozen=True)
class Layout:
    """A JPEG file taken apart.

    Attributes
    ----------
    content : bytes
        The whole file.
    segments : tuple of Segment
        Marker segments before the first scan, in their order.
    scan : int
        Where the header of the first scan begins.
    end : int
        Where the picture ends; anything after it (further pictures of the file) starts here.
    """

    content: bytes
    segments: tuple[Segment, ...]
    scan: int
    end: int

    @cached_property
    def frame(self) -> Frame:
        """The frame header; raises IndexError or StopIteration where it is missing."""
        return frame_of(next(s for s in self.segments if s.marker in FRAMES))

    @cached_property
    def scan_header(self) -> bytes:
        """Payload of the first scan's header."""
        length = int.from_bytes(self.content[self.scan + 2 : self.scan + 4], "big")
        return self.content[self.scan + 4 : self.scan + 2 + length]

    @property
    def scan_data(self) -> int:
        """Where the entropy-coded data of the first scan begin."""
        return self.scan + 4 + len(self.scan_header)

    @cached_property
    def has_one_scan(self) -> bool:
        """Whether the picture ends with its first scan."""
        return end_of_scan(self.content, self.scan_data) == self.end - 2

    def payloads(self, marker: int, head: bytes = b"") -> list[bytes]:
        """Payloads of all segments of a kind, without their `head`.

        Parameters
        ----------
        marker : int
            Second byte of the marker.
        head : bytes
            What the payload must begin with.

        Returns
        -------
        list of bytes
            In the file's order.
        """
        return [
            s.payload[len(head) :]
            for s in self.segments
            if s.marker == marker and s.payload.startswith(head)
        ]

    @cached_property
    def is_rgb(self) -> bool:
        """Whether components are R, G, B rather than Y, Cb, Cr (T.871, T.872).

        A JFIF segment decides over the Adobe one, as it does in libjpeg.
        """
        if self.payloads(APP0, JFIF_HEAD):
            return False
        for adobe in self.payloads(APP14, ADOBE_HEAD):
            if len(adobe) >= 7:
                return adobe[6] == 0
        return self.frame.identifiers == tuple(b"RGB")


def layout_of(content: bytes, name: str) -> Layout:
    """Walk through the markers up to the end of the picture.

    Parameters
    ----------
    content : bytes
        A file that begins with the marker of a JPEG file.
    name : str
        The file's name, for messages.

    Returns
    -------
    Layout

    Raises
    ------
    UnreadablePhotographError
        A marker or the end of the picture is missing.
    """
    segments: list[Segment] = []
    place, scan = 2, 0
    while place + 4 <= len(content):
        if content[place] != 0xFF:
            raise damaged(f"{name} is a damaged JPEG file (no marker at byte {place}).")
        marker = content[place + 1]
        if marker == 0xFF:  # fill byte
            place += 1
            continue
        length = int.from_bytes(content[place + 2 : place + 4], "big")
        if marker == SOS:
            scan = scan or place
            place = end_of_scan(content, place + 2 + length)
            if content[place : place + 2] == b"\xff\xd9":
                return Layout(content, tuple(segments), scan, place + 2)
            continue
        if not scan:
            segments.append(Segment(marker, content[place + 4 : place + 2 + length]))
        place += 2 + length
    raise damaged(f"{name} is a truncated JPEG file: its end is missing.")


def end_of_scan(content: bytes, place: int) -> int:
    """The next marker that is neither a restart nor a stuffed byte.

    Parameters
    ----------
    content : bytes
        The whole file.
    place : int
        Byte where the entropy-coded data begin.

    Returns
    -------
    int
        Byte of the marker; the file's length where there is none.
    """
    found = _NEXT_MARKER.search(content, place)
    return found.start() if found else len(content)


def frame_of(segment: Segment) -> Frame:
    """The frame header (B.2.2).

    Parameters
    ----------
    segment : Segment
        A start of frame.

    Returns
    -------
    Frame

    Raises
    ------
    IndexError
        It is cut short.
    """
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
        tables=tuple(c[2] for c in components),
    )


def quantisation(layout: Layout) -> npt.NDArray[np.float32]:
    """Quantisation steps of the components, row by row, shape (components, 64) (T.81, B.2.4.1).

    Parameters
    ----------
    layout : Layout

    Returns
    -------
    ndarray of float32, shape (components, 64)

    Raises
    ------
    ValueError, KeyError
        A table is missing, cut short, or has a step of zero.
    """
    tables: dict[int, npt.NDArray[np.float32]] = {}
    for payload in layout.payloads(DQT):
        place = 0
        while place < len(payload):
            wide = payload[place] >> 4
            dtype = ">u2" if wide else ">u1"
            steps = np.frombuffer(payload, dtype, 64, place + 1).astype(np.float32)
            tables[payload[place] & 15] = np.zeros(64, np.float32)
            tables[payload[place] & 15][ZIGZAG] = steps
            place += 1 + (128 if wide else 64)
    steps_of_components = np.stack([tables[number] for number in layout.frame.tables])
    if not steps_of_components.all():
        raise ValueError("a quantisation step is zero")
    return steps_of_components
