"""PNG files (W3C PNG, third edition): chunks, metadata, pixels in and out."""

from __future__ import annotations

import struct
import zlib
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass
from functools import cached_property
from typing import BinaryIO

import imagecodecs
import numpy as np

from evenhand.errors import UnsupportedPhotographError
from evenhand.photo import manifests
from evenhand.photo.coded_colour import D65, SRGB, coded_profile, gamma_profile
from evenhand.photo.damage import damaged
from evenhand.photo.exif import orientation_of
from evenhand.photo.kinds import FileKind
from evenhand.photo.limits import check_size
from evenhand.photo.orientation import contiguous
from evenhand.photo.source import Decoded, Stored

START = b"\x89PNG\r\n\x1a\n"
"""The eight bytes every PNG file begins with (PNG, section 5.2)."""

_GREY, _RGB, _INDEXED, _GREY_ALPHA, _RGB_ALPHA = 0, 2, 3, 4, 6
"""Colour types (PNG, table 11.1)."""

_PICTURE = (b"IHDR", b"IDAT", b"IEND")
"""Types of the chunks without which there is no picture."""

_XMP_KEYWORD = b"XML:com.adobe.xmp\x00"
"""Keyword of the iTXt chunk that holds XMP (XMP specification, part 3); some use zTXt."""

_SRGB_GAMMA = 0.45455
"""What the gAMA chunk says for sRGB (PNG, section 11.3.2.5)."""

_NUMBERED_NOTE = "The file has no colour profile, but numbers its colour space, which was followed."

_LARGEST_BLOCK = 64 << 20
"""Bytes to which a compressed profile or text may grow; real ones have a few megabytes."""

COMPRESSION_LEVEL = 4
"""Deflate level of results: little larger than level 6 on photographs, several times as fast."""


@dataclass(frozen=True)
class Chunk:
    """A chunk: its four-letter type, and its data."""

    type: bytes
    data: bytes

    @property
    def is_xmp(self) -> bool:
        """Whether the chunk is a text that holds XMP."""
        return self.type in (b"iTXt", b"zTXt") and self.data.startswith(_XMP_KEYWORD)

    @property
    def whole(self) -> bytes:
        """The chunk as it stands in a file."""
        checksum = zlib.crc32(self.data, zlib.crc32(self.type))
        return (
            struct.pack(">I", len(self.data)) + self.type + self.data + struct.pack(">I", checksum)
        )


@dataclass(frozen=True)
class PngSource:
    """A PNG file without its picture data.

    Attributes
    ----------
    before, after : tuple of Chunk
        Chunks before and after the picture data, header and end left out.
    """

    before: tuple[Chunk, ...]
    after: tuple[Chunk, ...]

    kind = FileKind.PNG

    def with_xmp(self, packet: bytes) -> PngSource:
        """The same source, whose results carry another XMP packet.

        Parameters
        ----------
        packet : bytes

        Returns
        -------
        PngSource
        """
        text = Chunk(b"iTXt", _XMP_KEYWORD + bytes(4) + packet)
        return PngSource(
            before=(*(chunk for chunk in self.before if not chunk.is_xmp), text),
            after=tuple(chunk for chunk in self.after if not chunk.is_xmp),
        )

    @cached_property
    def orientation(self) -> int:
        """EXIF orientation, 1 to 8."""
        return orientation_of(self.metadata.get("exif"))

    @cached_property
    def metadata(self) -> Mapping[str, bytes]:
        """Exif and XMP blocks."""
        blocks: dict[str, bytes] = {}
        for chunk in self.before + self.after:
            if chunk.type == b"eXIf":
                blocks["exif"] = chunk.data
            elif chunk.is_xmp:
                with suppress(zlib.error, IndexError):  # a damaged text is kept, not read
                    blocks["xmp"] = _text(chunk)
        return blocks

    def write(self, result: Stored, original: Stored, file: BinaryIO) -> None:
        """Write the picture anew between the source's own chunks.

        Parameters
        ----------
        result, original : Stored
            Only the result is looked at.
        file : binary file
            Open for writing.
        """
        pixels = contiguous(result.pixels)
        if result.alpha is not None:
            pixels = np.dstack((pixels, result.alpha))
        encoded = bytes(imagecodecs.png_encode(pixels, level=COMPRESSION_LEVEL))
        header, *data, end = _chunks_of(encoded, "the encoded picture")
        file.write(START)
        for chunk in (header, *self.before, *data, *self.after, end):
            if chunk.type != manifests.PNG_CHUNK:
                file.write(chunk.whole)


def decode(content: bytes, name: str, pixel_limit: int) -> Decoded:
    """Read a PNG file.

    Animated and indexed pictures and those with a transparent colour are refused.

    Parameters
    ----------
    content : bytes
        The whole file.
    name : str
        The file's name, for messages.
    pixel_limit : int
        Largest number of pixels to decode.

    Returns
    -------
    Decoded

    Raises
    ------
    UnreadablePhotographError
        The file is truncated or damaged.
    UnsupportedPhotographError
        A kind of picture that is refused.
    PhotographTooLargeError
        More than `pixel_limit` pixels.
    """
    chunks = _chunks_of(content, name)
    depth = _check_chunks(chunks, name, pixel_limit)
    try:
        pixels = imagecodecs.png_decode(_picture_alone(content))
    except (imagecodecs.PngError, ValueError, RuntimeError, MemoryError) as error:
        raise damaged(f"{name} is a damaged PNG file ({error}).") from error
    if pixels.dtype.itemsize * 8 != depth or pixels.ndim != 3:
        raise damaged(f"{name} is a damaged PNG file.")
    stored = Stored(np.ascontiguousarray(pixels[..., :3]))
    if pixels.shape[2] == 4:
        stored = Stored(stored.pixels, np.ascontiguousarray(pixels[..., 3]))
    source = _source_of(chunks)
    profile, notes = _profile_of(source, name)
    if any(chunk.type == manifests.PNG_CHUNK for chunk in chunks):
        notes = (*notes, manifests.NOTE)
    return Decoded(stored, profile, source, notes)


def _picture_alone(content: bytes) -> bytes:
    """The chunks that make the picture, as they stand; of others libpng prints warnings."""
    view, place = memoryview(content), len(START)
    parts = [view[:place]]
    while place + 12 <= len(content):
        end = place + 12 + int.from_bytes(view[place : place + 4], "big")
        if view[place + 4 : place + 8] in _PICTURE:
            parts.append(view[place:end])
        place = end
    return b"".join(parts)


def _chunks_of(content: bytes, name: str) -> list[Chunk]:
    chunks: list[Chunk] = []
    place = len(START)
    while place + 12 <= len(content):
        (length,) = struct.unpack_from(">I", content, place)
        if place + 12 + length > len(content):
            break
        chunks.append(
            Chunk(content[place + 4 : place + 8], content[place + 8 : place + 8 + length])
        )
        place += 12 + length
        if chunks[-1].type == b"IEND":
            return chunks
    raise damaged(f"{name} is a truncated PNG file: its end is missing.")


def _check_chunks(chunks: list[Chunk], name: str, pixel_limit: int) -> int:
    """Refuse what cannot be retouched; gives back the bit depth."""
    if chunks[0].type != b"IHDR" or len(chunks[0].data) != 13:
        raise damaged(f"{name} is a damaged PNG file (no header).")
    width, height, depth, colour = struct.unpack_from(">IIBB", chunks[0].data)
    types = {chunk.type for chunk in chunks}
    if b"acTL" in types:
        raise UnsupportedPhotographError(
            f"{name} is an animated picture.", "Save the frame to retouch as a photograph."
        )
    if colour in (_GREY, _GREY_ALPHA):
        raise UnsupportedPhotographError(
            f"{name} is a greyscale picture; skin colour cannot be told from it.",
            "Give the colour photograph.",
        )
    if colour == _INDEXED or b"tRNS" in types:
        raise UnsupportedPhotographError(
            f"{name} has indexed colours or a transparent colour.",
            "Save it as an ordinary RGB PNG or TIFF.",
        )
    if colour not in (_RGB, _RGB_ALPHA) or depth not in (8, 16) or b"IDAT" not in types:
        raise damaged(f"{name} is a damaged PNG file (header).")
    check_size(height, width, name, pixel_limit)
    return int(depth)


def _source_of(chunks: list[Chunk]) -> PngSource:
    first = next(i for i, chunk in enumerate(chunks) if chunk.type == b"IDAT")
    return PngSource(
        before=tuple(chunks[1:first]),
        after=tuple(chunk for chunk in chunks[first:-1] if chunk.type != b"IDAT"),
    )


def _text(chunk: Chunk) -> bytes:
    """Text of an XMP chunk after its keyword (PNG, sections 11.3.3.3 and 11.3.3.4)."""
    data = chunk.data[len(_XMP_KEYWORD) :]
    if chunk.type == b"zTXt":
        return _inflated(data[1:])
    is_compressed, from_language_on = data[0], data[2:]
    text = from_language_on.split(b"\x00", 2)[2]
    return _inflated(text) if is_compressed else text


def _inflated(data: bytes) -> bytes:
    return zlib.decompressobj().decompress(data, _LARGEST_BLOCK)


def _profile_of(source: PngSource, name: str) -> tuple[bytes | None, tuple[str, ...]]:
    for chunk in source.before:
        if chunk.type == b"iCCP":
            _, _, compressed = chunk.data.partition(b"\x00")
            try:
                profile = _inflated(compressed[1:])
            except zlib.error:
                return None, (f"{name}: its colour profile is damaged; sRGB is assumed.",)
            return profile or None, ()
    return _numbered_profile(source, name)


def _numbered_profile(source: PngSource, name: str) -> tuple[bytes | None, tuple[str, ...]]:
    """A profile from the chunks that name a colour space without one, by their precedence."""
    chunks = {chunk.type: chunk.data for chunk in source.before}
    if len(chunks.get(b"cICP", b"")) == 4:
        primaries, transfer = chunks[b"cICP"][:2]
        profile = coded_profile(primaries, transfer, name)
    elif b"sRGB" in chunks or len(chunks.get(b"gAMA", b"")) != 4:
        return None, ()
    else:
        profile = _gamma_profile(chunks[b"gAMA"], chunks.get(b"cHRM", b""))
    return profile, (_NUMBERED_NOTE,) if profile else ()


def _gamma_profile(gamma: bytes, chromaticities: bytes) -> bytes | None:
    """None where the numbers are those of sRGB or make no sense."""
    exponent = int.from_bytes(gamma, "big") / 100_000
    white, primaries = D65, SRGB
    if len(chromaticities) == 32:
        numbers = [number / 100_000 for number in struct.unpack(">8I", chromaticities)]
        white = (numbers[0], numbers[1])
        primaries = (numbers[2], numbers[3], numbers[4], numbers[5], numbers[6], numbers[7])
    is_srgb = abs(exponent - _SRGB_GAMMA) < 0.001 and np.allclose(primaries, SRGB, atol=0.002)
    if is_srgb or not 0.2 <= exponent <= 5 or not all(0 < number < 1 for number in white):
        return None
    try:
        return gamma_profile(primaries, white, 1 / exponent)
    except (imagecodecs.CmsError, ValueError):
        return None


def with_profile(encoded: bytes, profile: bytes | None) -> bytes:
    """A PNG file with an ICC profile put in (PNG, section 11.3.2.3).

    Parameters
    ----------
    encoded : bytes
        A PNG file without a profile.
    profile : bytes or None
        None leaves the file as it is.

    Returns
    -------
    bytes
    """
    if profile is None:
        return encoded
    header, *rest = _chunks_of(encoded, "the encoded picture")
    colour = Chunk(b"iCCP", b"ICC profile\x00\x00" + zlib.compress(profile))
    return START + b"".join(chunk.whole for chunk in (header, colour, *rest))
