"""The before/after picture: original left, result right, for a screen."""

from __future__ import annotations

import cv2
import numpy as np

from evenhand.box import Box
from evenhand.colour.encoding import CodeValues
from evenhand.photo.photograph import Photograph
from evenhand.pictures.screen import Screen, on_screen

LONG_SIDE = 1200
"""Largest side of either half in pixels: fits a screen, own choice."""

GAP = 12
"""White pixels between the halves."""


def comparison(photograph: Photograph, result: CodeValues, around: Box | None = None) -> Screen:
    """Original and result side by side, scaled down, and below them a cut at full size.

    Parameters
    ----------
    photograph : Photograph
        The original.
    result : ndarray of uint8 or uint16, shape (height, width, 3)
        The retouched code values.
    around : Box, optional
        What the cut at full size is centred on; without it there is no cut.

    Returns
    -------
    ndarray of uint8, shape (rows, columns, 3)
        sRGB.
    """
    both = (photograph.pixels, result)
    whole = _beside(*(on_screen(_small(pixels), photograph.profile) for pixels in both))
    if around is None or not around.area:
        return whole
    half = (whole.shape[1] - GAP) // 2
    window = _window(around, (whole.shape[0], half), photograph.shape)
    cut = _beside(*(on_screen(pixels[window.slices], photograph.profile) for pixels in both))
    height = whole.shape[0] + GAP + cut.shape[0]
    sheet = np.full((height, max(whole.shape[1], cut.shape[1]), 3), 255, np.uint8)
    sheet[: whole.shape[0], : whole.shape[1]] = whole
    sheet[whole.shape[0] + GAP :, : cut.shape[1]] = cut
    return sheet


def _small(pixels: CodeValues) -> CodeValues:
    height, width = pixels.shape[:2]
    scale = min(1.0, LONG_SIDE / max(height, width))
    if scale == 1.0:
        return pixels
    size = max(1, round(width * scale)), max(1, round(height * scale))
    small: CodeValues = cv2.resize(pixels, size, interpolation=cv2.INTER_AREA)
    return small


def _beside(before: Screen, after: Screen) -> Screen:
    gap = np.full((before.shape[0], GAP, 3), 255, np.uint8)
    return np.hstack([before, gap, after])


def _window(around: Box, size: tuple[int, int], shape: tuple[int, int]) -> Box:
    """Box of `size`, or of the frame where that is smaller, centred on `around`."""
    height, width = min(size[0], shape[0]), min(size[1], shape[1])
    top = (around.top + around.bottom - height) // 2
    left = (around.left + around.right - width) // 2
    top = min(max(0, top), shape[0] - height)
    left = min(max(0, left), shape[1] - width)
    return Box(top, left, top + height, left + width)
