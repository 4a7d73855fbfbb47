"""The before/after picture: original left, result right, and below them what to heed; sRGB."""

from __future__ import annotations

from pathlib import Path

import cv2
import imagecodecs
import numpy as np
import numpy.typing as npt
from PIL import Image, ImageDraw, ImageFont

from evenhand.box import Box
from evenhand.photo.photograph import CodeValues, Photograph
from evenhand.report import NOTICES

LONG_SIDE = 1200
"""Largest side of either half in pixels: fits a screen, own choice."""

GAP = 12
"""White pixels between the halves."""

LETTERS = 15
"""Height of the notices' letters in pixels, as small as a screen shows well."""

INK = 64
"""Code value of the notices' dark grey."""

JPEG_QUALITY = 92
"""Of the picture; high enough that its own errors stay below a careful eye, common practice."""

SRGB = imagecodecs.cms_profile("srgb")
"""Profile of the screen's colours, from little-cms."""

Screen = npt.NDArray[np.uint8]


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
    whole = _beside(*(_screen(_small(pixels), photograph.profile) for pixels in both))
    if around is None or not around.area:
        return whole
    half = (whole.shape[1] - GAP) // 2
    window = _window(around, (whole.shape[0], half), photograph.shape)
    cut = _beside(*(_screen(pixels[window.slices], photograph.profile) for pixels in both))
    height = whole.shape[0] + GAP + cut.shape[0]
    sheet = np.full((height, max(whole.shape[1], cut.shape[1]), 3), 255, np.uint8)
    sheet[: whole.shape[0], : whole.shape[1]] = whole
    sheet[whole.shape[0] + GAP :, : cut.shape[1]] = cut
    return sheet


def write_comparison(picture: Screen, path: Path) -> None:
    """Write the picture, the notices below it, as a JPEG without metadata."""
    picture = np.vstack([picture, _notices(picture.shape[1])])
    path.write_bytes(imagecodecs.jpeg8_encode(picture, level=JPEG_QUALITY, subsampling="444"))


def _small(pixels: CodeValues) -> CodeValues:
    height, width = pixels.shape[:2]
    scale = min(1.0, LONG_SIDE / max(height, width))
    if scale == 1.0:
        return pixels
    size = max(1, round(width * scale)), max(1, round(height * scale))
    small: CodeValues = cv2.resize(pixels, size, interpolation=cv2.INTER_AREA)
    return small


def _screen(pixels: CodeValues, profile: bytes | None) -> Screen:
    """Pixels in sRGB, 8 bit."""
    if profile is None and pixels.dtype == np.uint8:
        return pixels.astype(np.uint8)
    if profile is None:
        return np.asarray(np.rint(pixels / 257), np.uint8)
    shown = imagecodecs.cms_transform(
        np.ascontiguousarray(pixels),
        profile,
        SRGB,
        colorspace="rgb",
        outcolorspace="rgb",
        outdtype="u1",
    )
    return np.asarray(shown, np.uint8)


def _beside(before: Screen, after: Screen) -> Screen:
    gap = np.full((before.shape[0], GAP, 3), 255, np.uint8)
    return np.hstack([before, gap, after])


def _notices(width: int) -> Screen:
    """What must be said wherever a result is shown, on white, as wide as the picture."""
    font = ImageFont.load_default(LETTERS)
    lines = [""]
    for word in " ".join(NOTICES.values()).split():
        longer = f"{lines[-1]} {word}".strip()
        if font.getlength(longer) <= width - 2 * GAP:
            lines[-1] = longer
        else:
            lines.append(word)
    text = "\n".join(lines)
    height = 2 * GAP + len(lines) * (LETTERS + GAP // 2)
    strip = Image.new("RGB", (width, height), "white")
    ImageDraw.Draw(strip).multiline_text((GAP, GAP), text, (INK,) * 3, font, spacing=GAP // 2)
    return np.asarray(strip, np.uint8)


def _window(around: Box, size: tuple[int, int], shape: tuple[int, int]) -> Box:
    """Box of `size`, or of the frame where that is smaller, centred on `around`."""
    height, width = min(size[0], shape[0]), min(size[1], shape[1])
    top = (around.top + around.bottom - height) // 2
    left = (around.left + around.right - width) // 2
    top = min(max(0, top), shape[0] - height)
    left = min(max(0, left), shape[1] - width)
    return Box(top, left, top + height, left + width)
