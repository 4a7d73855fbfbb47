"""HEIF, HEIC and AVIF files: read at their full depth, results saved as TIFF.

Encoding HEVC without loss takes about three seconds a megapixel (x265, two cores), and with loss it
changes every pixel; so results are TIFF files of 8 or 16 bits.
"""

from __future__ import annotations

import io
from typing import Any

import imagecodecs
import numpy as np
import numpy.typing as npt

from evenhand.errors import EvenhandError, UnsupportedPhotographError
from evenhand.photo.coded_colour import coded_profile
from evenhand.photo.damage import damaged
from evenhand.photo.exif import orientation_of
from evenhand.photo.kinds import FileKind
from evenhand.photo.limits import check_size
from evenhand.photo.orientation import contiguous, upright
from evenhand.photo.source import Decoded, Stored
from evenhand.photo.tiff.new_tiff import new_tiff_source

_AVIF_BRANDS, _SEQUENCE_BRANDS = {b"avif", b"avis"}, {b"avis", b"msf1", b"hevc"}
_HEIF_BRANDS = {b"heic", b"heix", b"heim", b"heis", b"mif1", b"mif2", b"msf1", b"hevc", b"hevx"}
"""Brands of the file type box (ISO/IEC 23008-12, annex B; AVIF 1.1, section 6)."""


def kind_of(start: bytes) -> FileKind | None:
    """HEIF or AVIF from a file's first 16 bytes, None for anything else.

    Parameters
    ----------
    start : bytes

    Returns
    -------
    FileKind or None
    """
    if start[4:8] != b"ftyp":
        return None
    if start[8:12] in _AVIF_BRANDS:
        return FileKind.AVIF
    return FileKind.HEIF if start[8:12] in _HEIF_BRANDS else None


def decode(content: bytes, name: str, pixel_limit: int) -> Decoded:
    """Read a HEIF or AVIF file.

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
        8 or 16 bits; its source writes TIFF.

    Raises
    ------
    UnreadablePhotographError
        The file is truncated or damaged.
    UnsupportedPhotographError
        A sequence, a greyscale picture or one of high dynamic range; or no reader is installed.
    PhotographTooLargeError
        More than `pixel_limit` pixels.
    """
    kind = kind_of(content[:16]) or FileKind.HEIF
    if content[8:12] in _SEQUENCE_BRANDS:
        raise UnsupportedPhotographError(
            f"{name} is an animated picture or a burst.", "Save the one to retouch by itself."
        )
    if kind is FileKind.HEIF and b"av01" in content[:4096]:
        kind = FileKind.AVIF
    read = _read_avif if kind is FileKind.AVIF else _read_heif
    try:
        array, info, depth = read(content, name, pixel_limit)
    except EvenhandError:
        raise
    except Exception as error:  # the libraries raise many kinds
        raise damaged(f"{name} is a damaged or truncated {kind} file ({error}).") from error
    if array.ndim != 3 or array.shape[2] not in (3, 4):
        raise UnsupportedPhotographError(
            f"{name} is a greyscale picture; skin colour cannot be told from it.",
            "Give the colour photograph.",
        )
    array = _full_range(array, depth)
    profile = info.get("icc_profile") or _profile(content, name)
    source = new_tiff_source(
        kind, profile, exif=info.get("exif"), xmp=bytes(info.get("xmp") or b"")
    )
    stored = Stored(
        np.ascontiguousarray(array[..., :3]),
        np.ascontiguousarray(array[..., 3]) if array.shape[2] == 4 else None,
    )
    note = f"{name} is {kind}, which cannot be written without changing pixels; results are TIFF."
    return Decoded(stored, profile, source, (note,))


def _read_heif(
    content: bytes, name: str, pixel_limit: int
) -> tuple[npt.NDArray[Any], dict[str, Any], int]:
    try:
        import pillow_heif
    except ImportError as error:
        raise UnsupportedPhotographError(
            f"{name} is a HEIF picture, whose reader is not installed.",
            "Install it with: pip install 'evenhand[heif]'.",
        ) from error
    opened = pillow_heif.open_heif(content, convert_hdr_to_8bit=False, hdr_to_16bit=False)
    width, height = opened.size
    check_size(height, width, name, pixel_limit)
    return (
        np.asarray(opened),
        {str(key): value for key, value in opened.info.items()},
        int(opened.info.get("bit_depth", 8)),
    )


def _read_avif(
    content: bytes, name: str, pixel_limit: int
) -> tuple[npt.NDArray[Any], dict[str, Any], int]:
    from PIL import Image

    with Image.open(io.BytesIO(content), formats=["AVIF"]) as opened:
        check_size(opened.height, opened.width, name, pixel_limit)
        info = {str(key): value for key, value in opened.info.items()}
    array = np.asarray(imagecodecs.avif_decode(content))
    turned = contiguous(upright(array, orientation_of(info.get("exif"))))
    return turned, info, _avif_depth(content)


def _avif_depth(content: bytes) -> int:
    """Bits per sample from the configuration box (AV1 in ISOBMFF 1.2, section 2.3.3)."""
    flags = content[content.index(b"av1C") + 6]
    return (12 if flags & 0x20 else 10) if flags & 0x40 else 8


def _full_range(array: npt.NDArray[Any], depth: int) -> npt.NDArray[Any]:
    """8-bit values as they are; deeper ones so that their white becomes 65535."""
    if array.dtype == np.uint8:
        return array
    values = array.astype(np.uint16, copy=False)
    return (values << (16 - depth)) | (values >> (2 * depth - 16))


def _profile(content: bytes, name: str) -> bytes | None:
    """A profile for the codes of the colour box where the file has no ICC profile."""
    place = content.find(b"colrnclx")
    if place < 0 or place + 12 > len(content):
        return None
    primaries = int.from_bytes(content[place + 8 : place + 10], "big")
    transfer = int.from_bytes(content[place + 10 : place + 12], "big")
    return coded_profile(primaries, transfer, name)
