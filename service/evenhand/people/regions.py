"""Face skin and the kept parts, drawn from the published topology of the face mesh."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from evenhand.box import Box
from evenhand.people.networks import Points
from evenhand.people.person import Mask, Region

Field = npt.NDArray[np.float32]

RIGHT_EYE = (33, 246, 161, 160, 159, 158, 157, 173, 133, 155, 154, 153, 145, 144, 163, 7)
LEFT_EYE = (263, 466, 388, 387, 386, 385, 384, 398, 362, 382, 381, 380, 374, 373, 390, 249)
"""Lid edges around each eye."""

RIGHT_BROW = (70, 63, 105, 66, 107, 55, 65, 52, 53, 46)
LEFT_BROW = (300, 293, 334, 296, 336, 285, 295, 282, 283, 276)
"""Upper, then lower edge of each brow."""

LIPS = (
    61, 185, 40, 39, 37, 0, 267, 269, 270, 409, 291, 375, 321, 405, 314, 17, 84, 181, 91, 146,
)  # fmt: skip
"""Outer edge of the lips; teeth and tongue lie inside."""

RIGHT_NOSTRIL = (79, 166, 75, 60, 20, 238, 239)
LEFT_NOSTRIL = (309, 392, 305, 290, 250, 458, 459)
"""Rim of each nostril."""


@dataclass(frozen=True)
class KeptPart:
    """A part of the face that no step may touch.

    Attributes
    ----------
    region : Region
    outline : tuple of int
        Mesh points in order.
    margin_mm : float
        Wholly kept this far beyond the outline.
    """

    region: Region
    outline: tuple[int, ...]
    margin_mm: float


KEPT_PARTS = (
    KeptPart(Region.EYE, RIGHT_EYE, 3.0),
    KeptPart(Region.EYE, LEFT_EYE, 3.0),
    KeptPart(Region.BROW, RIGHT_BROW, 1.2),
    KeptPart(Region.BROW, LEFT_BROW, 1.2),
    KeptPart(Region.LIP, LIPS, 0.8),
    KeptPart(Region.NOSTRIL, RIGHT_NOSTRIL, 0.5),
    KeptPart(Region.NOSTRIL, LEFT_NOSTRIL, 0.5),
)
"""Margins: lids and lashes; stray brow hairs; the edge of the lips; the nostrils' rims. The parser
sees brows and lips besides. Chosen on the odd photographs, with the parser's share and margin in
`evenhand.people.parts`: narrower ones find more skin (1 mm less around eyes: 1 point of recall) and
let more than a two-hundredth of eyes or lips through."""

TRUE_YAW, MARGIN_BY_YAW_MM = 30.0, 0.1
"""Degrees up to which the mesh fits as well as from the front, and millimetres by which margins
widen for each degree beyond."""

FOREHEAD, CHIN = 10, 152
"""Top of the forehead and tip of the chin in the face mesh."""

MIDDLE_OF_FACE = (FOREHEAD, 9, 168, 6, 197, 195, 5, 4, 1, 2, 164, 0, 17, 18, 200, CHIN)
"""Points along the middle of a face, from the forehead over the nose to the chin."""

LASHES_MM = 3.0
"""Upper lashes stand out this much farther than the lower ones."""

FEATHER_MM = 1.0
"""Width over which a kept part's membership falls from 1 to 0 beyond its margin."""

DISC_MM = 13.0
"""Radius around the detector's points that holds an eye with its lids, or the lips in profile."""

GRID_MM = 0.4
"""Kept parts are drawn on a grid no finer than this; their edges are wider by far."""


def kept_parts(
    landmarks: Points, mm_per_pixel: float, frame: Box, yaw: float = 0.0
) -> dict[Region, Mask]:
    """Eyes, brows, lips and nostrils of a face whose mesh is known.

    Parameters
    ----------
    landmarks : ndarray of float32, shape (478, 2)
        (column, row) in the photograph.
    mm_per_pixel : float
    frame : Box
        Of the photograph.
    yaw : float
        Turn sideways in degrees; margins widen with it, since the mesh fits less well.

    Returns
    -------
    dict of Region to Mask
    """
    more = MARGIN_BY_YAW_MM * max(0.0, abs(yaw) - TRUE_YAW)
    outlines: dict[Region, list[tuple[Points, float]]] = {}
    for part in KEPT_PARTS:
        outline = landmarks[list(part.outline)]
        outlines.setdefault(part.region, []).append((outline, part.margin_mm + more))
    upwards = _upwards(landmarks) * (LASHES_MM / mm_per_pixel)
    outlines[Region.EYE] += [(eye + upwards, margin) for eye, margin in outlines[Region.EYE]]
    return _drawn(outlines, mm_per_pixel, frame)


def _upwards(landmarks: Points) -> Points:
    """Direction from chin to forehead in the picture, unit length."""
    upwards = landmarks[FOREHEAD] - landmarks[CHIN]
    unit: Points = upwards / max(float(np.linalg.norm(upwards)), 1e-6)
    return unit


def kept_discs(points: Points, mm_per_pixel: float, frame: Box) -> dict[Region, Mask]:
    """Discs on eyes and mouth where only the detector's points are known.

    Parameters
    ----------
    points : ndarray of float32, shape (6, 2)
        The detector's points in the photograph.
    mm_per_pixel : float
    frame : Box
        Of the photograph.

    Returns
    -------
    dict of Region to Mask
    """
    outlines = {
        Region.EYE: [(points[eye : eye + 1], DISC_MM) for eye in (0, 1)],
        Region.LIP: [(points[3:4], DISC_MM)],
    }
    return _drawn(outlines, mm_per_pixel, frame)


def _drawn(
    outlines: Mapping[Region, Sequence[tuple[Points, float]]], mm_per_pixel: float, frame: Box
) -> dict[Region, Mask]:
    masks = {}
    for region, shapes in outlines.items():
        points = np.vstack([outline for outline, _ in shapes])
        reach = (max(margin for _, margin in shapes) + FEATHER_MM) / mm_per_pixel + 2
        left, top = np.floor(points.min(axis=0) - reach).astype(int)
        right, bottom = np.ceil(points.max(axis=0) + reach).astype(int) + 1
        box = Box(int(top), int(left), int(bottom), int(right))
        inside = box.intersection(frame)
        if inside.area:
            alpha = _membership(shapes, box, mm_per_pixel)
            masks[region] = Mask(inside, np.ascontiguousarray(alpha[inside.within(box)]))
    return masks


def _membership(shapes: Sequence[tuple[Points, float]], box: Box, mm_per_pixel: float) -> Field:
    """1 within each outline's margin, falling to 0 over the feather; at full resolution."""
    step = max(1.0, GRID_MM / mm_per_pixel)
    width, height = int(np.ceil(box.width / step)), int(np.ceil(box.height / step))
    corner = np.array([box.left, box.top])
    membership = np.zeros((height, width), np.float32)
    for outline, margin in shapes:
        canvas = np.full((height, width), 255, np.uint8)
        drawn = np.rint((outline - corner + 0.5) / step - 0.5).astype(np.int32)
        cv2.fillPoly(canvas, [drawn], 0)
        away = cv2.distanceTransform(canvas, cv2.DIST_L2, cv2.DIST_MASK_PRECISE)
        # its roots of whole numbers can be off by a bit, depending on where the array lies
        away_mm = np.sqrt(np.rint(away * away)) * (step * mm_per_pixel)
        np.maximum(
            membership, np.clip((margin + FEATHER_MM - away_mm) / FEATHER_MM, 0, 1), out=membership
        )
    enlarged: Field = cv2.resize(membership, (box.width, box.height))
    return enlarged
