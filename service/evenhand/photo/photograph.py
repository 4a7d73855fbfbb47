"""The photograph in memory: upright code values and everything needed to write them back."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path

import numpy as np
import numpy.typing as npt

from evenhand.box import Box
from evenhand.colour.encoding import Encoding, encoding_of

CodeValues = npt.NDArray[np.uint8] | npt.NDArray[np.uint16]


@dataclass(frozen=True)
class Photograph:
    """A photograph as read from a file.

    Attributes
    ----------
    pixels : ndarray of uint8 or uint16, shape (height, width, 3)
        RGB code values as the file holds them, turned upright (EXIF orientation applied) but
        otherwise untouched. Read-only.
    profile : bytes or None
        ICC profile embedded in the file; None means the file has none and sRGB is assumed.
    path : Path or None
        The file, None for a photograph made in memory.
    file_sha256 : str
        SHA-256 of the file's bytes, in hexadecimal.
    """

    pixels: CodeValues
    profile: bytes | None = None
    path: Path | None = None
    file_sha256: str = field(default="")

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

    @cached_property
    def encoding(self) -> Encoding:
        """How code values map to linear light, from the profile."""
        return encoding_of(self.profile)
