"""TIFF files (TIFF 6.0, BigTIFF): pages, tags, pixels in; results made by changing a copy.

A result is a copy of the file in which only the strips or tiles with changed pixels are replaced,
so that every tag, private ones included, stays as it was.
"""

from __future__ import annotations

import logging
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from io import FileIO
from pathlib import Path
from typing import BinaryIO

import numpy as np
import tifffile

from evenhand.errors import (
    EvenhandError,
    NotWrittenError,
    UnsupportedPhotographError,
)
from evenhand.photo import manifests
from evenhand.photo.damage import damaged
from evenhand.photo.exif import ORIENTATION_TAG, valid_orientation
from evenhand.photo.kinds import FileKind
from evenhand.photo.limits import check_size
from evenhand.photo.opening import Identity, copy_of, identity_of, opened
from evenhand.photo.source import Decoded, Stored
from evenhand.photo.tiff.lzw import lzw_pixels
from evenhand.photo.tiff.segments import LOSSLESS, codes_of, replace_changed_segments
from evenhand.photo.tiff.tags import change_tags
from evenhand.photo.tiff.versions import REDUCED, change_smaller_versions

logging.getLogger("tifffile").addHandler(logging.NullHandler())  # errors are told by ours

STARTS = (b"II*\x00", b"MM\x00*", b"II+\x00", b"MM\x00+")
"""First four bytes of TIFF and BigTIFF files in both byte orders."""

_THREADS = 2
"""Threads that decode strips and tiles."""

_TYPES = [np.dtype(name) for name in ("uint8", "uint16", "float16", "float32")]
"""Types of samples that are read; floating point is worked on as 16-bit codes of 0 to 1."""

_XMP_TAG, _IPTC_TAG = 700, 33723
"""Tags of the metadata blocks (XMP part 3; TIFF/EP)."""

_EDITOR_LAYERS_TAG = 37724
"""Private tag where image editors keep layers; they would show the picture before the retouch."""

_LAYERS_NOTE = (
    "The file holds an image editor's layers besides the picture; results hold the picture only."
)

_FLOAT_NOTE = (
    "The file holds floating-point values; they are worked on as 16-bit codes of 0 to 1, and the "
    "change is added to the values themselves."
)

_MASK = 4
"""Bit of NewSubfileType that marks a transparency mask (TIFF 6.0, section 8)."""

_MOST_PAGES = 64
"""Pages that a photograph's file may have: itself, smaller versions, masks."""

_ONE_ONLY = "Save the one to retouch as a file of its own."


@dataclass(frozen=True)
class TiffSource:
    """A TIFF file, which is read again when a result is written.

    Attributes
    ----------
    path : Path
        The file.
    identity : Identity
        Tells whether it is still the same then.
    page : int
        Which page of the file is the photograph.
    orientation : int
        Orientation, 1 to 8.
    metadata : mapping of str to bytes
        XMP and IPTC blocks.
    has_editor_layers : bool
        Whether an editor's layers lie beside the picture, which results must not keep.
    has_manifest : bool
        Whether the file carries content credentials, which no changed file fits.
    new_xmp : bytes or None
        Packet that results get instead.
    """

    path: Path
    identity: Identity
    page: int
    orientation: int
    metadata: Mapping[str, bytes] = field(default_factory=dict)
    has_editor_layers: bool = False
    has_manifest: bool = False
    new_xmp: bytes | None = None

    kind = FileKind.TIFF

    def with_xmp(self, packet: bytes) -> TiffSource:
        """The same source, whose results carry another XMP packet.

        Parameters
        ----------
        packet : bytes

        Returns
        -------
        TiffSource
        """
        return replace(self, new_xmp=packet)

    def write(self, result: Stored, original: Stored, file: BinaryIO) -> None:
        """Copy the file and replace the strips or tiles that changed.

        Parameters
        ----------
        result, original : Stored
            In the orientation of the file, of one shape and type.
        file : binary file
            Empty, open for reading and writing.

        Raises
        ------
        NotWrittenError
            The file was changed since it was read.
        """
        with opened(self.path) as source:
            if identity_of(source) != self.identity:
                raise NotWrittenError(
                    f"{self.path} was changed by somebody else since it was read.",
                    "Run again on the new version.",
                )
            copy_of(source, file)
        was_changed = replace_changed_segments(file, self.page, result, original)
        if was_changed:
            change_smaller_versions(file, result, original)
        changes: dict[int, bytes | None] = {}
        if self.new_xmp is not None:
            changes[_XMP_TAG] = self.new_xmp
        if self.has_editor_layers:
            changes[_EDITOR_LAYERS_TAG] = None
        if self.has_manifest and (was_changed or changes):
            changes[manifests.TIFF_TAG] = None
        if changes:
            change_tags(file, self.page, changes)


def decode(file: FileIO, path: Path, pixel_limit: int) -> Decoded:
    """Read a TIFF file.

    Parameters
    ----------
    file : FileIO
        The open file.
    path : path
        Where it lies; results are made from it again.
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
        Several pictures, no RGB, a lossy compression, or samples that are neither 8 nor 16 bits nor
        floating point.
    PhotographTooLargeError
        More than `pixel_limit` pixels.
    """
    name = path.name
    try:
        with tifffile.TiffFile(file, name=name) as tiff:
            number = _photograph_page(tiff, name)
            page = tiff.pages[number]
            assert isinstance(page, tifffile.TiffPage)
            _check_page(page, name, pixel_limit)
            stored = _stored(page)
            source = TiffSource(
                path,
                identity_of(file),
                number,
                valid_orientation(page.tags.valueof(ORIENTATION_TAG)),
                _metadata(page),
                has_editor_layers=_EDITOR_LAYERS_TAG in page.tags,
                has_manifest=manifests.TIFF_TAG in page.tags,
            )
            notes = [_FLOAT_NOTE] if page.dtype.kind == "f" else []
            notes += [_LAYERS_NOTE] if source.has_editor_layers else []
            notes += [manifests.NOTE] if source.has_manifest else []
            return Decoded(stored, page.iccprofile or None, source, tuple(notes))
    except EvenhandError:
        raise
    except Exception as error:  # the parser raises whatever its arithmetic meets
        raise damaged(f"{name} is a damaged or truncated TIFF file ({error}).") from error


def _photograph_page(tiff: tifffile.TiffFile, name: str) -> int:
    """The one page that is neither a smaller version nor a mask of another.

    Pages are looked at one by one, since a damaged file may seem to have thousands.
    """
    found: list[int] = []
    for number, page in enumerate(tiff.pages):
        if number == _MOST_PAGES:
            raise UnsupportedPhotographError(
                f"{name} holds more than {number} pictures.", _ONE_ONLY
            )
        if not _subfile_type(page) & (REDUCED | _MASK):
            found.append(number)
        if len(found) > 1:
            raise UnsupportedPhotographError(f"{name} holds several pictures.", _ONE_ONLY)
    if not found:
        raise damaged(f"{name} holds no full picture.")
    return found[0]


def _subfile_type(page: tifffile.TiffPage | tifffile.TiffFrame) -> int:
    return int(page.aspage().tags.valueof(254, 0))


def _check_page(page: tifffile.TiffPage, name: str, pixel_limit: int) -> None:
    if page.photometric == tifffile.PHOTOMETRIC.SEPARATED:
        raise UnsupportedPhotographError(
            f"{name} is a CMYK picture, made for a printing press.", "Give the RGB photograph."
        )
    if page.photometric in (tifffile.PHOTOMETRIC.MINISBLACK, tifffile.PHOTOMETRIC.MINISWHITE):
        raise UnsupportedPhotographError(
            f"{name} is a greyscale picture; skin colour cannot be told from it.",
            "Give the colour photograph.",
        )
    if page.photometric != tifffile.PHOTOMETRIC.RGB or page.samplesperpixel not in (3, 4):
        raise UnsupportedPhotographError(
            f"{name} is a TIFF of an unusual colour model.", "Save it as an RGB TIFF."
        )
    if page.compression not in LOSSLESS:
        raise UnsupportedPhotographError(
            f"{name} is a TIFF compressed by a method that is not written back.",
            "Save it uncompressed, or with LZW or ZIP compression.",
        )
    check_size(page.imagelength, page.imagewidth, name, pixel_limit)
    if page.dtype not in _TYPES or page.imagedepth != 1:
        raise UnsupportedPhotographError(
            f"{name} is a TIFF of {page.bitspersample} bits, type {page.dtype}.",
            "Save it with 8 or 16 bits per channel, or as floating point.",
        )
    _check_whole(page, name)


def _check_whole(page: tifffile.TiffPage, name: str) -> None:
    """Every strip or tile must be there and lie inside the file."""
    size = page.parent.filehandle.size
    planes = page.samplesperpixel if page.planarconfig == tifffile.PLANARCONFIG.SEPARATE else 1
    if page.is_tiled:
        down, across = (
            -(-page.imagelength // page.tilelength),
            -(-page.imagewidth // page.tilewidth),
        )
    else:
        down, across = -(-page.imagelength // min(page.rowsperstrip, page.imagelength)), 1
    offsets, counts = page.dataoffsets, page.databytecounts
    if not down * across * planes <= len(offsets) == len(counts) or any(
        count == 0 or offset == 0 or offset + count > size
        for offset, count in zip(offsets, counts, strict=True)
    ):
        raise damaged(f"{name} is a truncated TIFF file: part of the picture is missing.")


def _stored(page: tifffile.TiffPage) -> Stored:
    if page.compression == tifffile.COMPRESSION.LZW:
        array = lzw_pixels(page)
    else:
        array = page.asarray(maxworkers=_THREADS)
        if page.planarconfig == tifffile.PLANARCONFIG.SEPARATE:
            array = np.moveaxis(array, 0, -1)
    if array.dtype.kind == "f":
        array = codes_of(array)
    array = array.astype(array.dtype.newbyteorder("="), copy=False)
    alpha = np.ascontiguousarray(array[..., 3]) if array.shape[2] == 4 else None
    return Stored(np.ascontiguousarray(array[..., :3]), alpha)


def _metadata(page: tifffile.TiffPage) -> dict[str, bytes]:
    blocks = {"xmp": page.tags.valueof(_XMP_TAG), "iptc": page.tags.valueof(_IPTC_TAG)}
    return {name: block for name, block in blocks.items() if isinstance(block, bytes)}
