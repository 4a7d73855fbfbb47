"""The other side of a face: cheeks, nose and chin are as red on one side as on the other."""

from __future__ import annotations

import cv2
import numpy as np
import numpy.typing as npt

from evenhand.people.person import Region
from evenhand.steps.coarse import CoarsePatch
from evenhand.steps.patch import SkinPatch

Map = npt.NDArray[np.float32]

RIGHT = (
    33, 133, 61, 50, 205, 234, 172, 136, 150, 149, 176, 148, 132, 58, 93, 127, 162, 21, 54, 103, 67,
    109, 48, 129,
)  # fmt: skip
LEFT = (
    263, 362, 291, 280, 425, 454, 397, 365, 379, 378, 400, 377, 361, 288, 323, 356, 389, 251, 284,
    332, 297, 338, 278, 358,
)  # fmt: skip
MIDDLE = (10, 151, 9, 8, 168, 6, 197, 195, 5, 4, 1, 2, 164, 0, 17, 18, 200, 152)
"""Points of the face mesh: those of one side, the same of the other, those between."""

STEP = 8
"""Coarse pixels between places whose counterpart is worked out; others lie between."""


def other_side(patch: SkinPatch, skin: CoarsePatch) -> Map | None:
    """Where each place of a face has its counterpart on the other side; None without a face mesh.

    Sides are matched by a thin-plate spline through the mesh (Bookstein, IEEE TPAMI 11(6), 567,
    1989), so that turned faces match too.

    Parameters
    ----------
    patch : SkinPatch
        One person's skin.
    skin : CoarsePatch
        The same, coarse.

    Returns
    -------
    ndarray of float32, shape (height, width, 2), or None
        Row and column in coarse pixels; it may lie outside.
    """
    from scipy.interpolate import RBFInterpolator

    if patch.face is None or len(patch.face.landmarks) < 468 or Region.FACE not in skin.regions:
        return None
    corner = [patch.box.left, patch.box.top]
    points = (patch.face.landmarks[:, :2] - corner) * (patch.mm_per_pixel / skin.mm_per_pixel)
    points = np.ascontiguousarray(points[:, ::-1], np.float64)
    this, other = [*RIGHT, *LEFT, *MIDDLE], [*LEFT, *RIGHT, *MIDDLE]
    spline = RBFInterpolator(points[this], points[other], smoothing=1.0)
    height, width = skin.skin.shape
    cells = -(-height // STEP), -(-width // STEP)
    middles = (np.indices(cells).reshape(2, -1).T + 0.5) * STEP - 0.5
    there = spline(middles).reshape(*cells, 2).astype(np.float32)
    whole = cv2.resize(there, (cells[1] * STEP, cells[0] * STEP), interpolation=cv2.INTER_LINEAR)
    return np.asarray(whole[:height, :width])
