"""What is kept of a file so that a result can be written in its own form."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import BinaryIO, Protocol

from evenhand.colour.encoding import CodeValues
from evenhand.photo.kinds import FileKind


class Source(Protocol):
    """The form of a file: format, orientation, and whatever else writing back needs."""

    @property
    def kind(self) -> FileKind:
        """Format of the file, told from its content."""
        ...

    @property
    def orientation(self) -> int:
        """EXIF orientation, 1 to 8."""
        ...

    @property
    def metadata(self) -> Mapping[str, bytes]:
        """Metadata blocks as the file holds them, by name: exif, xmp, iptc."""
        ...

    def with_xmp(self, packet: bytes) -> Source:
        """The same source, whose results carry another XMP packet.

        Parameters
        ----------
        packet : bytes
            UTF-8, with its wrapper.

        Returns
        -------
        Source
        """
        ...

    def write(self, result: Stored, original: Stored, file: BinaryIO) -> None:
        """Write `result` in the form of the source; `original` is what the source holds.

        Parameters
        ----------
        result, original : Stored
            In the orientation of the source, of one shape and type.
        file : binary file
            Empty, open for reading and writing.

        Raises
        ------
        NotWrittenError
            The source cannot be written again.
        """
        ...


@dataclass(frozen=True)
class Stored:
    """Pixels in the file's own orientation.

    Attributes
    ----------
    pixels : ndarray of uint8 or uint16, shape (height, width, 3)
        RGB code values.
    alpha : ndarray of the same dtype, shape (height, width), or None
        Opacity.
    """

    pixels: CodeValues
    alpha: CodeValues | None = None


@dataclass(frozen=True)
class Decoded:
    """What a format's reader gives back.

    Attributes
    ----------
    stored : Stored
        The pixels as they lie in the file.
    profile : bytes or None
        ICC profile.
    source : Source
        What writing back needs.
    notes : tuple of str
        What the user should know.
    """

    stored: Stored
    profile: bytes | None
    source: Source
    notes: tuple[str, ...] = ()
