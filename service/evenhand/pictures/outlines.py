"""Outlines of what a map shows, to be drawn over a photograph."""

from __future__ import annotations

import cv2
import numpy as np
import numpy.typing as npt

from evenhand.box import Box

Points = npt.NDArray[np.float32]

INSIDE = 0.5
"""Share from which a place is inside."""

PLAIN = 0.7
"""Cells by which an outline may be simpler than it is."""


def outlines(share: npt.NDArray[np.float32], box: Box) -> list[Points]:
    """Closed lines around all that is inside, holes too.

    Parameters
    ----------
    share : ndarray of float32, shape (rows, columns)
        In [0, 1], on a grid over the box.
    box : Box
        In the photograph.

    Returns
    -------
    list of ndarray of float32, shape (points, 2)
        Column and row in the photograph.
    """
    rows, columns = share.shape
    inside = np.pad((share >= INSIDE).astype(np.uint8), 1)
    found, _ = cv2.findContours(inside, cv2.RETR_CCOMP, cv2.CHAIN_APPROX_SIMPLE)
    size = np.array([box.width / columns, box.height / rows], np.float32)
    corner = np.array([box.left, box.top], np.float32)
    plain = (cv2.approxPolyDP(line, PLAIN, True)[:, 0] for line in found)
    # a cell of the padded grid at k has its middle at k - 1/2 cells of the map
    return [((line - 0.5) * size + corner).astype(np.float32) for line in plain if len(line) > 2]
