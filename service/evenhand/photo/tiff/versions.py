"""Smaller versions of the photograph inside a TIFF file: given the same change as the large one."""

from __future__ import annotations

from typing import Any, BinaryIO

import numpy as np
import numpy.typing as npt
import tifffile

from evenhand.photo.source import Stored
from evenhand.photo.tiff.lzw import lzw_pixels
from evenhand.photo.tiff.segments import LOSSLESS, replace_changed_segments

REDUCED = 1
"""Bit of NewSubfileType that marks a smaller version (TIFF 6.0, section 8)."""

_SAMPLES_PER_PIXEL = 4
"""Pixels of the photograph looked at for each of the smaller version's, in each direction."""


def change_smaller_versions(file: BinaryIO, result: Stored, original: Stored) -> None:
    """Add the change of the photograph, made smaller, to each page that is a smaller version.

    Parameters
    ----------
    file : BinaryIO
        A copy of the original file, open for reading and writing.
    result, original : Stored
        The photograph after and before; both uint8 or uint16.
    """
    file.seek(0)
    with tifffile.TiffFile(file, name="result") as tiff:
        held = {
            number: _pixels(page.aspage())
            for number, page in enumerate(tiff.pages)
            if _is_smaller_version(page.aspage(), original)
        }
    for number, pixels in held.items():
        shape = pixels.shape[:2]
        change = _made_small(result.pixels, shape) - _made_small(original.pixels, shape)
        white = np.iinfo(pixels.dtype).max
        changed = np.clip(np.rint(pixels + change), 0, white).astype(pixels.dtype)
        replace_changed_segments(file, number, Stored(changed), Stored(pixels))


def _pixels(page: tifffile.TiffPage) -> npt.NDArray[Any]:
    if page.compression == tifffile.COMPRESSION.LZW:
        return lzw_pixels(page)
    return np.asarray(page.asarray())


def _is_smaller_version(page: tifffile.TiffPage, original: Stored) -> bool:
    """Whether a page is one that can be changed: same type, three interleaved samples."""
    return bool(
        int(page.tags.valueof(254, 0)) & REDUCED
        and page.dtype == original.pixels.dtype
        and page.photometric == tifffile.PHOTOMETRIC.RGB
        and page.samplesperpixel == 3
        and page.planarconfig == tifffile.PLANARCONFIG.CONTIG
        and page.compression in LOSSLESS
        and page.imagelength <= original.pixels.shape[0]
        and page.imagewidth <= original.pixels.shape[1]
    )


def _made_small(pixels: npt.NDArray[Any], shape: tuple[int, ...]) -> npt.NDArray[np.float32]:
    import cv2

    scale = min(pixels.shape[0] // shape[0], pixels.shape[1] // shape[1])
    step = max(1, scale // _SAMPLES_PER_PIXEL)
    sampled = np.ascontiguousarray(pixels[::step, ::step]).astype(np.float32)
    small = cv2.resize(sampled, (shape[1], shape[0]), interpolation=cv2.INTER_AREA)
    return np.asarray(small, np.float32)
