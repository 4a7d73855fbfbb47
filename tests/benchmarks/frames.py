"""Large photographs to measure on, made from the portrait that scikit-image ships.

The portrait (Eileen Collins, NASA, public domain) is cropped so that skin fills a wanted share of
the frame, enlarged, and given the grain of a sensor, without which files would decode too fast.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import cv2
import imagecodecs
import numpy as np
import numpy.typing as npt
import skimage.data
import tifffile

ASPECT = 1.5
"""Width of a frame over its height, as most cameras have it."""

GRAIN = 2.5
"""Standard deviation of the grain, 8-bit code values: an ISO 800 file or so, own choice."""

CROPS = {5: (0, 0, 341, 512), 15: (20, 130, 190, 385), 40: (55, 160, 155, 310)}
"""Top, left, bottom, right in the portrait by the percentage of skin aimed at."""

JPEG_QUALITY = 95
"""Of the JPEG files, 4:2:2 as many cameras have it."""


@dataclass(frozen=True)
class Case:
    """A photograph to measure.

    Attributes
    ----------
    megapixels : int
        Size.
    kind : str
        ``jpeg`` or ``tiff16``.
    skin : int
        Percentage of the frame that skin fills, about.
    people : int
        1 or 4.
    """

    megapixels: int
    kind: str
    skin: int = 15
    people: int = 1

    @property
    def name(self) -> str:
        """For tables and JSON."""
        people = "1 person" if self.people == 1 else f"{self.people} people"
        return f"{self.megapixels} MP {self.kind}, {people}, {self.skin} % skin"


def make_frame(case: Case, folder: Path) -> Path:
    """Write the photograph of a case into a folder."""
    height = round((case.megapixels * 1e6 / ASPECT) ** 0.5)
    width = round(height * ASPECT)
    frame = _grained(_enlarged(case, height, width))
    stem = f"{case.megapixels}-{case.skin}-{case.people}"
    if case.kind == "jpeg":
        path = folder / f"{stem}.jpg"
        path.write_bytes(imagecodecs.jpeg8_encode(frame, level=JPEG_QUALITY, subsampling="422"))
    else:
        path = folder / f"{stem}.tif"
        wide = frame.astype(np.uint16) * 257
        tifffile.imwrite(path, wide, photometric="rgb", rowsperstrip=64)
    return path


def _enlarged(case: Case, height: int, width: int) -> npt.NDArray[np.uint8]:
    top, left, bottom, right = CROPS[case.skin]
    crop = skimage.data.astronaut()[top:bottom, left:right]
    if case.people == 1:
        return cv2.resize(crop, (width, height), interpolation=cv2.INTER_CUBIC)
    quarter = cv2.resize(crop, (width // 2, height // 2), interpolation=cv2.INTER_CUBIC)
    return np.tile(quarter, (2, 2, 1))


def _grained(frame: npt.NDArray[np.uint8]) -> npt.NDArray[np.uint8]:
    grain = np.empty(frame.shape, np.int16)
    cv2.setRNGSeed(1)
    cv2.randn(grain, 0, GRAIN)
    return cv2.add(frame, grain, dtype=cv2.CV_8U)
