"""Camera RAW files through LibRaw: developed to linear light, saved as 16-bit TIFF.

White balance is the camera's; nothing is brightened, sharpened or denoised. The result has ROMM
primaries (ISO 22028-2), which hold every colour that a camera sees on skin, and a linear curve.
"""

from __future__ import annotations

import io
from io import FileIO

import numpy as np
import tifffile

from evenhand.errors import UnsupportedPhotographError
from evenhand.photo.coded_colour import gamma_profile
from evenhand.photo.damage import damaged
from evenhand.photo.kinds import FileKind
from evenhand.photo.limits import check_size
from evenhand.photo.source import Decoded, Stored
from evenhand.photo.tiff.new_tiff import new_tiff_source

STARTS = (b"FUJIFILMCCD-RAW", b"IIRO", b"IIRS", b"MMOR", b"IIU\x00", b"FOVb", b"\x00MRM")
"""First bytes of RAW files that are no TIFF files."""

_TIFF_STARTS = (b"II*\x00", b"MM\x00*")
"""First bytes of RAW files that are TIFF files too, so that Exif is found in them."""

_CFA, _LINEAR_RAW = 32803, 34892
"""Photometric interpretations of sensor data (DNG 1.6, chapter 4)."""

_DNG_VERSION = 50706
"""Tag that every DNG file has."""

_XMP_TAG, _IPTC_TAG = 700, 33723
"""Tags of the metadata blocks (XMP part 3; TIFF/EP)."""

_ROMM_PRIMARIES = (0.7347, 0.2653, 0.1596, 0.8404, 0.0366, 0.0001)
_D50 = (0.3457, 0.3585)
"""Chromaticities of ROMM RGB's primaries and white (ISO 22028-2)."""


def is_raw(start: bytes, file: FileIO | None) -> bool:
    """Whether a file is a RAW file.

    Parameters
    ----------
    start : bytes
        The first 16 bytes.
    file : FileIO or None
        The file where it is a TIFF file, to look for sensor data in it; left at its start.

    Returns
    -------
    bool
    """
    if start.startswith(STARTS) or start[4:12] == b"ftypcrx " or start[8:10] == b"CR":
        return True
    return file is not None and _holds_sensor_data(file)


def _holds_sensor_data(file: FileIO) -> bool:
    file.seek(0)
    try:
        with tifffile.TiffFile(file, name="raw") as tiff:
            first = tiff.pages.first
            pages = [first, *(page.aspage() for page in first.pages or ())]
            return _DNG_VERSION in first.tags or any(
                int(page.photometric or 0) in (_CFA, _LINEAR_RAW) for page in pages
            )
    except Exception:  # the parser raises whatever its arithmetic meets; TIFF's own reader tells
        return False
    finally:
        file.seek(0)


def decode(content: bytes, name: str, pixel_limit: int) -> Decoded:
    """Develop a RAW file.

    Parameters
    ----------
    content : bytes
        The whole file.
    name : str
        The file's name, for messages.
    pixel_limit : int
        Largest number of pixels to develop.

    Returns
    -------
    Decoded
        16 bits of linear light, ProPhoto primaries; its source writes TIFF.

    Raises
    ------
    UnreadablePhotographError
        The file is truncated or damaged.
    UnsupportedPhotographError
        LibRaw does not read this kind, or it holds no three colours.
    PhotographTooLargeError
        More than `pixel_limit` pixels.
    """
    import rawpy

    try:
        with rawpy.imread(io.BytesIO(content)) as raw:
            check_size(raw.sizes.iheight, raw.sizes.iwidth, name, pixel_limit)
            pixels = raw.postprocess(
                use_camera_wb=True,
                output_color=rawpy.ColorSpace.ProPhoto,
                gamma=(1, 1),
                no_auto_bright=True,
                adjust_maximum_thr=0.0,
                output_bps=16,
            )
    except rawpy.LibRawFileUnsupportedError as error:
        raise UnsupportedPhotographError(
            f"{name} is a RAW file of a kind that LibRaw does not read.",
            "Convert it to DNG, or develop it to a 16-bit TIFF.",
        ) from error
    except (rawpy.LibRawError, ValueError, MemoryError) as error:
        raise damaged(f"{name} is a damaged or truncated RAW file ({error}).") from error
    if pixels.ndim != 3 or pixels.shape[2] != 3:
        raise UnsupportedPhotographError(
            f"{name} has no three colours; skin colour cannot be told from it.",
            "Give a colour photograph.",
        )
    profile = linear_profile()
    blocks = _metadata(content) if content[:4] in _TIFF_STARTS else {}
    source = new_tiff_source(FileKind.RAW, profile, **blocks)
    note = (
        f"{name} was developed with the camera's white balance to linear light; "
        "results are 16-bit TIFF files with a linear profile."
    )
    return Decoded(Stored(np.asarray(pixels)), profile, source, (note,))


def _metadata(content: bytes) -> dict[str, bytes]:
    """Exif, XMP and IPTC blocks of a RAW file that is a TIFF file."""
    blocks = {"exif": content}
    try:
        with tifffile.TiffFile(io.BytesIO(content)) as tiff:
            for name, tag in (("xmp", _XMP_TAG), ("iptc", _IPTC_TAG)):
                block = tiff.pages.first.tags.valueof(tag)
                if isinstance(block, bytes):
                    blocks[name] = block
    except Exception:  # the parser raises whatever its arithmetic meets; the picture was read
        return blocks
    return blocks


def linear_profile() -> bytes:
    """ICC profile of ROMM primaries with a linear curve."""
    return gamma_profile(_ROMM_PRIMARIES, _D50, 1.0)
