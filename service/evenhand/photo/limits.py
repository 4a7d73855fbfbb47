"""How large and how small a photograph may be; checked before anything is decoded."""

from __future__ import annotations

from evenhand.errors import PhotographTooLargeError, UnsupportedPhotographError

PIXEL_LIMIT = 300_000_000
"""Pixels a photograph may have unless told otherwise: twice the largest single-shot sensors'."""

SMALLEST_SIDE = 8
"""Pixels on the shorter side below which a file is no photograph: one JPEG block."""


def check_size(height: int, width: int, name: str, pixel_limit: int) -> None:
    """Refuse pictures that are too small or too large.

    Parameters
    ----------
    height, width : int
        Of the picture in pixels.
    name : str
        The file's name, for messages.
    pixel_limit : int
        Largest number of pixels.

    Raises
    ------
    PhotographTooLargeError
        More than `pixel_limit` pixels.
    UnsupportedPhotographError
        A side of fewer than `SMALLEST_SIDE` pixels.
    """
    if min(height, width) < SMALLEST_SIDE:
        raise UnsupportedPhotographError(
            f"{name} has only {width} x {height} pixels.", "Give a whole photograph."
        )
    if height * width > pixel_limit:
        raise PhotographTooLargeError(
            f"{name} has {height * width / 1e6:.0f} megapixels; "
            f"the limit is {pixel_limit / 1e6:.0f}.",
            "Give a smaller version.",
        )
