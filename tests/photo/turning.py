"""Turning by orientation, written out from Exif 2.32 (tag 0x0112) apart from the reader's table."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

ORIENTATIONS = range(1, 9)


def turned(stored: npt.NDArray[Any], orientation: int) -> npt.NDArray[Any]:
    """What is seen of a stored picture: where its first row and first column are at the display."""
    mirrored = stored[:, ::-1]
    return {
        1: stored,  # top, left
        2: mirrored,  # top, right
        3: np.rot90(stored, 2),  # bottom, right
        4: np.rot90(mirrored, 2),  # bottom, left
        5: np.rot90(mirrored, 1),  # left, top
        6: np.rot90(stored, -1),  # right, top
        7: np.rot90(mirrored, -1),  # right, bottom
        8: np.rot90(stored, 1),  # left, bottom
    }[orientation]
