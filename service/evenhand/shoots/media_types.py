"""Which kind of photograph a file is, by its first bytes; as many kinds as the engine reads."""

from __future__ import annotations

from pathlib import Path

from evenhand.errors import UnreadablePhotographError
from evenhand.photo import heif, png, raw
from evenhand.photo.jpeg import jpeg
from evenhand.photo.kinds import FileKind
from evenhand.photo.tiff import tiff

HEIF_TYPES = {FileKind.AVIF: "image/avif", FileKind.HEIF: "image/heif"}
"""Media types (IANA) of pictures in the file type box."""

HEIC = (b"ftypheic", b"ftypheix")
"""Beginnings of HEIF pictures coded as HEVC, which have a type of their own."""

RAW_TYPE = "image/x-raw"
"""Of a camera's own format; none is registered."""


def media_type_of(path: Path) -> str:
    """Media type of a photograph.

    Parameters
    ----------
    path : path

    Returns
    -------
    str

    Raises
    ------
    UnreadablePhotographError
        It does not begin like one.
    """
    with path.open("rb") as file:
        start = file.read(16)
    if start.startswith(jpeg.START):
        return "image/jpeg"
    if start.startswith(png.START):
        return "image/png"
    if start[4:12] in HEIC:
        return "image/heic"
    if kind := heif.kind_of(start):
        return HEIF_TYPES[kind]
    if raw.is_raw(start, None):
        return RAW_TYPE
    if start.startswith(tiff.STARTS):
        return "image/tiff"
    raise UnreadablePhotographError(
        "The file does not begin like a photograph.",
        "Send a JPEG, PNG, TIFF, HEIF, AVIF or RAW file.",
    )
