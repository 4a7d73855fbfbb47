"""The numbered picture of marks: circles around passing ones, squares around lasting ones."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from evenhand.steps.mark_detection import MarkKind

Codes = npt.NDArray[np.uint8]

AROUND = 1.6
"""Size of the outline in diameters of the mark: the mark stays visible inside it."""

OUTLINES = ((4, 3, (0, 0, 0)), (2, 1, (255, 255, 255)))
"""Width in thousandths of the picture's longer side, least width in pixels, and colour.

Black under white shows on every skin; kinds differ in shape, so that no colour is needed.
"""


def marks_picture(pixels: Codes, marks: Sequence[Mapping[str, Any]], mm_per_pixel: float) -> Codes:
    """Draw the marks that a marks step listed.

    Parameters
    ----------
    pixels : ndarray of uint8, shape (height, width, 3)
        The upright photograph, to look at.
    marks : sequence of mapping
        The step's facts: `number`, `kind`, `row`, `column`, `size_mm`.
    mm_per_pixel : float
        Size of a pixel on the person.

    Returns
    -------
    ndarray of uint8, shape (height, width, 3)
        A copy with outlines and numbers.
    """
    picture = np.ascontiguousarray(pixels).copy()
    unit = max(pixels.shape[:2]) / 1000
    for mark in marks:
        column, row = round(mark["column"]), round(mark["row"])
        radius = max(round(3 * unit), round(AROUND * mark["size_mm"] / mm_per_pixel / 2))
        for width, least, colour in OUTLINES:
            thickness = max(least, round(width * unit))
            if mark["kind"] == MarkKind.PASSING.value:
                cv2.circle(picture, (column, row), radius, colour, thickness, cv2.LINE_AA)
            else:
                corners = (column - radius, row - radius), (column + radius, row + radius)
                cv2.rectangle(picture, *corners, colour, thickness, cv2.LINE_AA)
            cv2.putText(
                picture,
                str(mark["number"]),
                (column + radius + round(2 * unit), row - radius),
                cv2.FONT_HERSHEY_SIMPLEX,
                max(0.3, 0.5 * unit),
                colour,
                thickness,
                cv2.LINE_AA,
            )
    return picture
