"""Pictures for a screen: sRGB, 8 bit, and below them what to heed."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

import imagecodecs
import numpy as np
import numpy.typing as npt
from PIL import Image, ImageDraw, ImageFont

from evenhand.colour.encoding import CodeValues
from evenhand.photo.coded_colour import with_fixed_date
from evenhand.report import NOTICES

LETTERS = 15
"""Height of the notices' letters in pixels, as small as a screen shows well."""

SCREEN_WIDTH = 2500
"""Width of a picture in pixels above which its letters grow with it: a wide screen's."""

MARGIN = 12
"""White pixels around the notices."""

INK = 64
"""Code value of the notices' dark grey."""

JPEG_QUALITY = 92
"""Of the picture; high enough that its own errors stay below a careful eye, common practice."""

SRGB = with_fixed_date(imagecodecs.cms_profile("srgb"))
"""Profile of the screen's colours, from little-cms."""

Screen = npt.NDArray[np.uint8]


def on_screen(pixels: CodeValues, profile: bytes | None) -> Screen:
    """Pixels in sRGB, 8 bit.

    Parameters
    ----------
    pixels : ndarray of uint8 or uint16, shape (height, width, 3)
    profile : bytes or None
        Their ICC profile; None where they are sRGB.

    Returns
    -------
    ndarray of uint8, shape (height, width, 3)
        Colours outside sRGB come to its edge.
    """
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


def write_with_notices(picture: Screen, path: Path) -> None:
    """Write the picture, the notices below it, as a JPEG with its profile and no other metadata.

    Parameters
    ----------
    picture : ndarray of uint8, shape (height, width, 3)
        sRGB.
    path : path
        Replaced if it is there.

    Raises
    ------
    OSError
        The file cannot be written.
    """
    picture = np.vstack([picture, _notices(picture.shape[1])])
    options = {"quality": JPEG_QUALITY, "subsampling": 0, "icc_profile": SRGB}
    Image.fromarray(picture).save(path, "JPEG", **options)


@lru_cache(maxsize=4)
def _notices(width: int) -> Screen:
    """What must be said wherever a result is shown, on white, as wide as the picture."""
    scale = max(1.0, width / SCREEN_WIDTH)
    letters, margin = round(LETTERS * scale), round(MARGIN * scale)
    font = ImageFont.load_default(letters)
    lines = [""]
    for word in " ".join(NOTICES.values()).split():
        longer = f"{lines[-1]} {word}".strip()
        if font.getlength(longer) <= width - 2 * margin:
            lines[-1] = longer
        else:
            lines.append(word)
    text = "\n".join(lines)
    height = 2 * margin + len(lines) * (letters + margin // 2)
    strip = Image.new("RGB", (width, height), "white")
    ImageDraw.Draw(strip).multiline_text(
        (margin, margin), text, (INK,) * 3, font, spacing=margin // 2
    )
    return np.asarray(strip, np.uint8)
