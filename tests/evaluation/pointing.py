"""Where a photographer would point at a burn: once, amid each piece of it."""

from __future__ import annotations

import cv2
import numpy as np
import numpy.typing as npt

LEAST_PIECE = 0.02
"""Share of the burnt skin below which nobody points at a piece."""


def amid_each_piece(burnt: npt.NDArray[np.bool_]) -> tuple[tuple[int, int], ...]:
    """Column and row of the place farthest inside each connected piece, the largest piece first."""
    count, labels, facts, _ = cv2.connectedComponentsWithStats(burnt.astype(np.uint8))
    within = cv2.distanceTransform(burnt.astype(np.uint8), cv2.DIST_L2, 5)
    areas = facts[:, cv2.CC_STAT_AREA]
    points = []
    for piece in sorted(range(1, count), key=lambda number: -areas[number]):
        if areas[piece] < LEAST_PIECE * burnt.sum():
            break
        row, column = np.unravel_index(int((within * (labels == piece)).argmax()), burnt.shape)
        points.append((int(column), int(row)))
    return tuple(points)
