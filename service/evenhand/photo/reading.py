"""Reading photographs: the content decides the format, and nothing about the file changes."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from io import FileIO
from pathlib import Path
from typing import NoReturn

from evenhand.errors import (
    PhotographTooLargeError,
    UnreadablePhotographError,
    UnsupportedPhotographError,
)
from evenhand.photo import heif, png, raw
from evenhand.photo.jpeg import jpeg
from evenhand.photo.kinds import FileKind
from evenhand.photo.limits import PIXEL_LIMIT
from evenhand.photo.opening import opened, sha256_of
from evenhand.photo.orientation import contiguous, upright
from evenhand.photo.photograph import Photograph
from evenhand.photo.source import Decoded
from evenhand.photo.tiff import tiff

_LARGEST_CONTENT = 2 << 30
"""Bytes of a file that is read as a whole, which TIFF files are not."""

_OTHER_KINDS = (
    (b"GIF8", "a GIF picture, which may be animated"),
    (b"BM", "a BMP picture"),
    (b"WEBP", "a WebP picture"),
    (b"%PDF", "a PDF document"),
    (b"8BPS", "a layered picture of an image editor"),
    (b"PK\x03\x04", "a ZIP archive or a document"),
    (b"\x00\x00\x00\x0cjP", "a JPEG 2000 picture"),
    (b"\xff\x0a", "a JPEG XL picture"),
)
"""First bytes of files that are often taken for photographs, for a message that helps."""


def read(path: Path | str, pixel_limit: int = PIXEL_LIMIT) -> Photograph:
    """Read a photograph and turn it upright.

    Parameters
    ----------
    path : Path or str
        A JPEG, PNG, TIFF, HEIF, AVIF or camera RAW file in RGB.
    pixel_limit : int
        Largest number of pixels to decode.

    Returns
    -------
    Photograph
        Code values of the file, uint8 or uint16, upright, read-only.

    Raises
    ------
    UnreadablePhotographError
        The path cannot be read, or the file is empty, truncated, damaged or no photograph.
    UnsupportedPhotographError
        The photograph is CMYK, greyscale, indexed, animated, or otherwise not one to retouch.
    PhotographTooLargeError
        It has more than `pixel_limit` pixels.

    Examples
    --------
    >>> import evenhand
    >>> photo = evenhand.read(portrait)
    >>> photo.pixels.dtype, photo.pixels.shape
    (dtype('uint8'), (100, 140, 3))
    """
    path = Path(path)
    with opened(path) as file:
        start = file.read(16)
        is_tiff = start.startswith(tiff.STARTS)
        if is_tiff and not raw.is_raw(start, file):
            with ThreadPoolExecutor(1) as beside:
                hashing = beside.submit(sha256_of, file)
                decoded = tiff.decode(file, path, pixel_limit)
                sha256 = hashing.result()
        else:
            decode = _decoder(start, path)
            content = _content(file, path.name)
            sha256 = hashlib.sha256(content).hexdigest()
            decoded = decode(content, path.name, pixel_limit)
    return _photograph(decoded, path, sha256)


def _decoder(start: bytes, path: Path) -> Callable[[bytes, str, int], Decoded]:
    if start.startswith(jpeg.START):
        return jpeg.decode
    if start.startswith(png.START):
        return png.decode
    if heif.kind_of(start):
        return heif.decode
    if start.startswith((*tiff.STARTS, *raw.STARTS)) or raw.is_raw(start, None):
        return raw.decode
    _refuse(start, path)


def _content(file: FileIO, name: str) -> bytes:
    size = os.fstat(file.fileno()).st_size
    if size > _LARGEST_CONTENT:
        raise PhotographTooLargeError(
            f"{name} has {size / 2**30:.1f} GiB, more than a photograph of its format can have.",
            "Check that it is a photograph.",
        )
    file.seek(0)
    return file.read()


def _photograph(decoded: Decoded, path: Path, sha256: str) -> Photograph:
    orientation = decoded.source.orientation
    pixels = contiguous(upright(decoded.stored.pixels, orientation))
    pixels.flags.writeable = False
    alpha = decoded.stored.alpha
    if alpha is not None:
        alpha = contiguous(upright(alpha, orientation))
        alpha.flags.writeable = False
    return Photograph(
        pixels=pixels,
        profile=decoded.profile,
        path=path,
        file_sha256=sha256,
        alpha=alpha,
        source=decoded.source,
        notes=(*_name_notes(decoded.source.kind, path), *decoded.notes, *_colour_notes(decoded)),
    )


def _name_notes(kind: FileKind, path: Path) -> tuple[str, ...]:
    if path.suffix.lower() in kind.suffixes:
        return ()
    return (f"{path.name} is a {kind} file whatever its name says; its content was followed.",)


def _colour_notes(decoded: Decoded) -> tuple[str, ...]:
    if decoded.profile is not None:
        return ()
    return ("No colour profile in the file; sRGB is assumed.",)


def _refuse(start: bytes, path: Path) -> NoReturn:
    if start.startswith(b"RIFF") and start[8:12] == b"WEBP":
        start = b"WEBP"
    for head, meaning in _OTHER_KINDS:
        if start.startswith(head):
            raise UnsupportedPhotographError(
                f"{path} is {meaning}.", "Save the photograph as JPEG, PNG or TIFF."
            )
    raise UnreadablePhotographError(
        f"{path} is no photograph that can be read.",
        "Give a JPEG, PNG, TIFF, HEIF, AVIF or RAW file.",
    )
