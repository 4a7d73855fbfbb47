"""The file formats that photographs are read from and written to."""

from __future__ import annotations

from enum import StrEnum


class FileKind(StrEnum):
    """A file format that photographs are read from and written to."""

    JPEG = "JPEG"
    PNG = "PNG"
    TIFF = "TIFF"
    HEIF = "HEIF"
    AVIF = "AVIF"
    RAW = "camera RAW"

    @property
    def suffixes(self) -> tuple[str, ...]:
        """Usual file name endings in lower case, the preferred one first."""
        return _SUFFIXES[self]

    @property
    def result(self) -> FileKind:
        """Format that results are written in: the same, or TIFF where that would change pixels."""
        return self if self in (FileKind.JPEG, FileKind.PNG, FileKind.TIFF) else FileKind.TIFF


_RAW_SUFFIXES = (
    ".dng .3fr .arw .cr2 .cr3 .crw .erf .fff .iiq .kdc .mef .mos .mrw .nef .nrw .orf .pef .raf "
    ".raw .rw2 .rwl .sr2 .srf .srw .x3f"
)
"""Endings that cameras give to RAW files, DNG's first."""

_SUFFIXES = {
    FileKind.JPEG: (".jpg", ".jpeg", ".jpe", ".jfif"),
    FileKind.PNG: (".png",),
    FileKind.TIFF: (".tif", ".tiff"),
    FileKind.HEIF: (".heic", ".heif", ".hif"),
    FileKind.AVIF: (".avif",),
    FileKind.RAW: tuple(_RAW_SUFFIXES.split()),
}
