"""The photograph in memory: upright code values and everything needed to write them back."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path

import numpy as np

from evenhand.box import Box
from evenhand.colour.encoding import CodeValues, Encoding, encoding_of
from evenhand.errors import EvenhandError, UnsupportedPhotographError
from evenhand.photo.kinds import FileKind
from evenhand.photo.source import Source


@dataclass(frozen=True)
class Photograph:
    """A photograph as read from a file.

    Attributes
    ----------
    pixels : ndarray of uint8 or uint16, shape (height, width, 3)
        RGB code values as the file holds them, turned upright (EXIF orientation applied) but
        otherwise untouched. Read-only.
    profile : bytes or None
        ICC profile embedded in the file, or made of what the file says instead of one; None
        means that it says nothing and sRGB is assumed.
    path : Path or None
        The file, None for a photograph made in memory.
    file_sha256 : str
        SHA-256 of the file's bytes, in hexadecimal.
    alpha : ndarray like one channel of `pixels`, shape (height, width), or None
        Opacity that the file carries, upright, kept as it is. Read-only.
    source : Source or None
        What writing back needs of the file; None for a photograph made in memory.
    notes : tuple of str
        What the user should know of the file: no profile, a name that does not fit the content.

    Examples
    --------
    >>> import evenhand
    >>> photo = evenhand.read(portrait)
    >>> photo.shape, photo.white, photo.result_suffix
    ((100, 140), 255, '.png')
    """

    pixels: CodeValues
    profile: bytes | None = None
    path: Path | None = None
    file_sha256: str = field(default="")
    alpha: CodeValues | None = None
    source: Source | None = None
    notes: tuple[str, ...] = ()

    @property
    def shape(self) -> tuple[int, int]:
        """Height and width in pixels."""
        return self.pixels.shape[0], self.pixels.shape[1]

    @property
    def frame(self) -> Box:
        """The box of the whole photograph."""
        return Box(0, 0, *self.shape)

    @property
    def white(self) -> int:
        """Largest code value: 255 or 65535."""
        return int(np.iinfo(self.pixels.dtype).max)

    @property
    def result_suffix(self) -> str:
        """Ending that a result's file name should have: the file's own where it fits."""
        if self.source is None:
            return FileKind.TIFF.suffixes[0]
        suffixes = self.source.kind.result.suffixes
        own = self.path.suffix if self.path is not None else ""
        return own if own.lower() in suffixes else suffixes[0]

    @cached_property
    def encoding(self) -> Encoding:
        """How code values map to linear light, from the profile.

        Raises
        ------
        UnreadablePhotographError
            The profile is broken.
        UnsupportedPhotographError
            The profile describes other data than RGB.
        """
        try:
            return encoding_of(self.profile)
        except EvenhandError as error:
            name = self.path.name if self.path is not None else "The photograph"
            raise type(error)(f"{name}: {error.trouble}", error.advice) from error


def from_array(pixels: CodeValues, profile: bytes | None = None) -> Photograph:
    """A photograph of an array, as if it had been read from a file.

    Parameters
    ----------
    pixels : ndarray of uint8 or uint16, shape (height, width, 3)
        RGB code values, upright. They are looked at, not copied, and stay as they are.
    profile : bytes or None
        ICC profile of the code values; None for sRGB.

    Returns
    -------
    Photograph
        It has no file: `write_picture` writes results of it.

    Raises
    ------
    UnsupportedPhotographError
        The array is no RGB picture of 8 or 16 bits, or the profile is of another colour space.

    Examples
    --------
    >>> import numpy as np
    >>> import evenhand
    >>> photo = evenhand.from_array(np.zeros((20, 30, 3), np.uint8))
    >>> photo.shape, photo.white
    ((20, 30), 255)
    """
    if pixels.dtype not in (np.uint8, np.uint16) or pixels.ndim != 3 or pixels.shape[2] != 3:
        raise UnsupportedPhotographError(
            f"An array of {pixels.dtype} {pixels.shape} is no photograph.",
            "Give RGB code values as uint8 or uint16, shape (height, width, 3).",
        )
    view = pixels.view()
    view.flags.writeable = False
    photograph = Photograph(view, profile)
    photograph.encoding  # noqa: B018 - a profile that does not fit is told here
    return photograph
