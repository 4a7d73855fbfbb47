"""New TIFF files for photographs whose own format cannot be written back: RAW, HEIF, AVIF."""

from __future__ import annotations

import struct
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any, BinaryIO

import numpy as np
import tifffile

from evenhand.photo.kinds import FileKind
from evenhand.photo.orientation import contiguous
from evenhand.photo.source import Stored
from evenhand.photo.xmp import of_developed_picture

_COPIED_TAGS = {270: "s", 271: "s", 272: "s", 306: "s", 315: "s", 33432: "s"}
"""Description, maker, model, date, artist, copyright: plain texts of the main directory."""

_DIRECTORY_TAGS = (0x8769, 0x8825)
"""Exif and GPS directories, pointed to from the main one (Exif 2.32, section 4.6.3).

The writer does not let them through, so they are written as the number before and renamed.
"""

_INTEROPERABILITY, _MAKER_NOTE = 0xA005, 0x927C
"""A directory inside Exif, and makers' own data whose inner places would no longer be right."""

_BIG = 2**32 - 2**25
"""Bytes from which BigTIFF is needed, with room for metadata; Exif stays out of it."""

_LONG = 4
"""Field type of 32-bit numbers."""


@dataclass(frozen=True)
class NewTiffSource:
    """What a new TIFF file takes over from a file of another format.

    Attributes
    ----------
    kind : FileKind
        Format of the original.
    profile : bytes or None
        ICC profile of the pixels.
    metadata : mapping of str to bytes
        Exif block as `essential_exif` gives it, XMP packet, IPTC block.
    """

    kind: FileKind
    profile: bytes | None
    metadata: Mapping[str, bytes] = field(default_factory=dict)

    orientation = 1

    def with_xmp(self, packet: bytes) -> NewTiffSource:
        """The same source, whose results carry another XMP packet.

        Parameters
        ----------
        packet : bytes

        Returns
        -------
        NewTiffSource
        """
        return replace(self, metadata={**self.metadata, "xmp": packet})

    def write(self, result: Stored, original: Stored, file: BinaryIO) -> None:
        """Write an uncompressed TIFF with the profile and metadata.

        Parameters
        ----------
        result, original : Stored
            Only the result is looked at.
        file : binary file
            Empty, open for reading and writing.
        """
        pixels = contiguous(result.pixels)
        if result.alpha is not None:
            pixels = np.dstack((pixels, result.alpha))
        exif = _loaded(self.metadata.get("exif"))
        is_big = pixels.nbytes > _BIG
        directories = [tag for tag in _DIRECTORY_TAGS if exif.get_ifd(tag) and not is_big]
        tags: list[tuple[Any, ...]] = [
            (tag, kind, 0, str(exif[tag]), True)
            for tag, kind in _COPIED_TAGS.items()
            if tag in exif
        ]
        tags += [(tag - 1, "I", 1, 0, True) for tag in directories]
        if "xmp" in self.metadata:
            tags.append((700, "B", len(self.metadata["xmp"]), self.metadata["xmp"], True))
        if "iptc" in self.metadata:
            tags.append((33723, 7, len(self.metadata["iptc"]), self.metadata["iptc"], True))
        tifffile.imwrite(
            file,
            pixels,
            photometric="rgb",
            extrasamples=["unassalpha"] if result.alpha is not None else None,
            iccprofile=self.profile,
            extratags=tags,
            metadata=None,
            software=False,
            bigtiff=is_big,
        )
        for tag in directories:
            _append_directory(file, tag, exif.get_ifd(tag))


def new_tiff_source(
    kind: FileKind,
    profile: bytes | None,
    *,
    exif: bytes | None = None,
    xmp: bytes | None = None,
    iptc: bytes | None = None,
) -> NewTiffSource:
    """What a new file takes over of a file's profile and metadata blocks, where it has them.

    Parameters
    ----------
    kind : FileKind
        Of the file that was read.
    profile : bytes or None
        ICC profile.
    exif : bytes, optional
        An Exif block, or a whole TIFF file.
    xmp : bytes, optional
        A packet; without what holds for the stored file alone.
    iptc : bytes, optional

    Returns
    -------
    NewTiffSource
    """
    blocks = {
        "exif": essential_exif(exif) if exif else None,
        "xmp": of_developed_picture(xmp) if xmp else None,
        "iptc": iptc,
    }
    return NewTiffSource(kind, profile, {name: block for name, block in blocks.items() if block})


def essential_exif(block: bytes) -> bytes | None:
    """An Exif block with what a new file takes over, None where there is none or it is broken.

    Parameters
    ----------
    block : bytes
        An Exif block, or a whole TIFF file.

    Returns
    -------
    bytes or None
        From the TIFF header onwards.
    """
    from PIL import Image

    kept = Image.Exif()
    try:
        exif = Image.Exif()
        exif.load(block)
        for tag in _COPIED_TAGS:
            if tag in exif:
                kept[tag] = str(exif[tag])
        for tag in _DIRECTORY_TAGS:
            values = exif.get_ifd(tag)
            kept.get_ifd(tag).update(
                {key: values[key] for key in values if key not in (_INTEROPERABILITY, _MAKER_NOTE)}
            )
        return kept.tobytes().removeprefix(b"Exif\x00\x00")
    except Exception:  # the parser raises whatever its arithmetic meets
        return None


def _loaded(block: bytes | None) -> Any:
    from PIL import Image

    exif = Image.Exif()
    if block:
        exif.load(block)
    return exif


def _append_directory(file: BinaryIO, tag: int, values: Mapping[int, Any]) -> None:
    """Write a directory at the end of the file and let the tag kept for it point there."""
    from PIL.TiffImagePlugin import ImageFileDirectory_v2

    file.seek(0)
    with tifffile.TiffFile(file) as tiff:
        order = tiff.byteorder
        place = tiff.pages.first.tags[tag - 1].offset
    header = b"II*\x00\x08\x00\x00\x00" if order == "<" else b"MM\x00*\x00\x00\x00\x08"
    directory = ImageFileDirectory_v2(ifh=header)
    for key, value in values.items():
        directory[key] = value
    end = file.seek(0, 2)
    end += file.write(bytes(end % 2))
    file.write(directory.tobytes(end))
    file.seek(place)
    file.write(struct.pack(f"{order}HHII", tag, _LONG, 1, end))
