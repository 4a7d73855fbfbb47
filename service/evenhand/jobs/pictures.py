"""Pictures to look at: made smaller and encoded quickly."""

from __future__ import annotations

import cv2
import imagecodecs
import numpy as np
import numpy.typing as npt

from evenhand.colour.encoding import encoding_of
from evenhand.photo.photograph import Photograph

QUALITY = 90
"""JPEG quality of pictures to look at."""

SEGMENT = 65519
"""Bytes of a profile in one JPEG segment (ICC.1:2022, annex B.4)."""


def fitted(shape: tuple[int, int], side: int) -> tuple[int, int]:
    """Height and width so that the longer side is `side`, never enlarged, never zero.

    Parameters
    ----------
    shape : tuple of int
        Height and width in pixels.
    side : int
        Pixels.

    Returns
    -------
    height, width : int
    """
    scale = min(1.0, side / max(shape))
    return max(1, round(shape[0] * scale)), max(1, round(shape[1] * scale))


def resized(array: npt.NDArray[np.generic], shape: tuple[int, int]) -> npt.NDArray[np.float32]:
    """Each pixel the mean of those it covers, float32; the values themselves where sizes agree.

    Parameters
    ----------
    array : ndarray, shape (height, width) or (height, width, channels)
    shape : tuple of int
        Height and width wanted, no larger than the array's.

    Returns
    -------
    ndarray of float32
    """
    values = array.astype(np.float32)
    if array.shape[:2] == shape:
        return values
    small = cv2.resize(values, (shape[1], shape[0]), interpolation=cv2.INTER_AREA)
    return np.asarray(small, np.float32).reshape(*shape, *array.shape[2:])


def jpeg(codes: npt.NDArray[np.uint8], profile: bytes | None = None) -> bytes:
    """A JPEG of 8-bit RGB or grey codes, with an ICC profile if there is one.

    Parameters
    ----------
    codes : ndarray of uint8, shape (height, width, 3) or (height, width)
    profile : bytes, optional
        None means that sRGB is assumed.

    Returns
    -------
    bytes
    """
    encoded = bytes(imagecodecs.jpeg8_encode(np.ascontiguousarray(codes), level=QUALITY))
    return encoded if profile is None else encoded[:2] + _segments(profile) + encoded[2:]


def png(codes: npt.NDArray[np.generic]) -> bytes:
    """A PNG of 8- or 16-bit codes.

    Parameters
    ----------
    codes : ndarray of uint8 or uint16, shape (height, width, 3) or (height, width)

    Returns
    -------
    bytes
    """
    return bytes(imagecodecs.png_encode(np.ascontiguousarray(codes), level=1))


def srgb_picture(photograph: Photograph, side: int) -> bytes:
    """A small JPEG in sRGB, for what does not heed profiles.

    Parameters
    ----------
    photograph : Photograph
    side : int
        Most pixels of the longer side.

    Returns
    -------
    bytes
    """
    small = resized(photograph.pixels, fitted(photograph.shape, side))
    rounded = np.rint(small)
    codes = rounded.astype(np.uint8) if photograph.white == 255 else rounded.astype(np.uint16)
    linear = photograph.encoding.to_linear(codes)
    return jpeg(np.rint(encoding_of(None).from_linear(linear, 255)).astype(np.uint8))


def _segments(profile: bytes) -> bytes:
    parts = [profile[start : start + SEGMENT] for start in range(0, len(profile), SEGMENT)]
    return b"".join(
        b"\xff\xe2"
        + (len(part) + 16).to_bytes(2, "big")
        + b"ICC_PROFILE\0"
        + bytes([number, len(parts)])
        + part
        for number, part in enumerate(parts, 1)
    )
