"""Shapes that masks are widened by."""

from __future__ import annotations

import cv2
import numpy as np
import numpy.typing as npt


def disc(radius: float) -> npt.NDArray[np.uint8]:
    """A disc of a radius in pixels to dilate by, rounded, at least a pixel.

    Parameters
    ----------
    radius : float

    Returns
    -------
    ndarray of uint8, shape (side, side)
        0 and 1; the side is odd.
    """
    side = 2 * max(1, round(radius)) + 1
    return np.asarray(cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (side, side)), np.uint8)
