"""Draws a person's masks at the photograph's own resolution from what the working view shows."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import cv2
import numpy as np
import numpy.typing as npt

from evenhand.box import Box
from evenhand.people import edges
from evenhand.people.parts import Parts
from evenhand.people.person import SKIN_REGIONS, Alpha, Mask, Region, union
from evenhand.people.views import View
from evenhand.photo.photograph import Photograph

LEAST_SKIN = 0.05
"""Chance of skin below which the working view's pixel is left out of a mask's box."""

LEAST_KEPT = 0.3
"""Chance of a kept region below which the working view's pixel is left out of its box."""

BOX_MARGIN = 3
"""Working pixels around a region's coarse area, so that its refined edge lies in the box."""


def masks_of(
    photograph: Photograph, view: View, parts: Parts, face_parts: Mapping[Region, Mask]
) -> dict[Region, Mask]:
    """All masks of one person.

    Parameters
    ----------
    photograph : Photograph
    view : View
        The working view on which the parts were put together.
    parts : Parts
    face_parts : mapping of Region to Mask
        Eyes, brows, lips and nostrils, already drawn; they are among the result.

    Returns
    -------
    dict of Region to Mask
    """
    masks = dict(face_parts)
    kept = list(masks.values())
    for region, area in _areas(parts):
        mask = _skin_mask(photograph, view, parts.skin, area, kept)
        if mask is not None:
            masks[region] = mask
    skin = [masks[region] for region in SKIN_REGIONS if region in masks]
    for region, chance in parts.kept.items():
        mask = kept_mask(photograph, view, chance, skin)
        if mask is not None:
            masks[region] = mask
    return masks


def joined(mask: Mask, other: Mask) -> Mask:
    """The union of two masks of one region.

    Parameters
    ----------
    mask, other : Mask

    Returns
    -------
    Mask
    """
    box = mask.box.union(other.box)
    return Mask(box, union((mask, other), box))


def on_view(masks: Mapping[Region, Mask], view: View) -> Alpha:
    """Union of masks at the working view's resolution.

    Parameters
    ----------
    masks : mapping of Region to Mask
    view : View

    Returns
    -------
    ndarray of float32, shape of the view
        In [0, 1].
    """
    height, width = view.pixels.shape[:2]
    total = np.zeros((height, width), np.float32)
    for mask in masks.values():
        moved = view.to_photograph.copy()
        moved[:, 2] -= (mask.box.left, mask.box.top)
        flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
        np.maximum(total, cv2.warpAffine(mask.alpha, moved, (width, height), flags=flags), total)
    return total


def kept_mask(
    photograph: Photograph, view: View, chance: Alpha, skin: Sequence[Mask]
) -> Mask | None:
    """A kept region that only the parser knows, where there is no skin; None if there is none.

    Parameters
    ----------
    photograph : Photograph
    view : View
        The working view.
    chance : ndarray of float32, shape of the view
        That a place is of the region, in [0, 1].
    skin : sequence of Mask
        What is taken out of it.

    Returns
    -------
    Mask or None
    """
    area = chance > LEAST_KEPT
    if not area.any():
        return None
    box = _box_of(area, view, photograph.frame)
    alpha = edges.enlarged(chance, view, box)
    _leave_out(alpha, box, skin)
    return Mask(box, alpha) if alpha.max() > 0 else None


def _areas(parts: Parts) -> list[tuple[Region, npt.NDArray[np.bool_]]]:
    """For each region, where the working view shows this person's skin of it."""
    shown = parts.skin > LEAST_SKIN
    codes = np.unique(parts.region[shown])
    return [(tuple(Region)[code], shown & (parts.region == code)) for code in codes]


def _skin_mask(
    photograph: Photograph,
    view: View,
    skin: Alpha,
    area: npt.NDArray[np.bool_],
    kept: Sequence[Mask],
) -> Mask | None:
    """One region's skin at full resolution, free of kept parts; None if nothing is left."""
    box = _box_of(area, view, photograph.frame)
    if not box.area:
        return None
    alpha = edges.refined(skin, area, view, box, photograph)
    _leave_out(alpha, box, kept)
    return Mask(box, alpha) if alpha.max() > 0 else None


def _leave_out(alpha: Alpha, box: Box, masks: Sequence[Mask]) -> None:
    """Lower the membership in `box` to what `masks` leave, in place."""
    for mask in masks:
        shared = mask.box.intersection(box)
        if shared.area:
            part = alpha[shared.within(box)]
            np.minimum(part, 1 - mask.alpha[shared.within(mask.box)], out=part)


def _box_of(area: npt.NDArray[np.bool_], view: View, frame: Box) -> Box:
    """Box in the photograph around an area of the working view."""
    rows, columns = np.flatnonzero(area.any(axis=1)), np.flatnonzero(area.any(axis=0))
    top, bottom = rows[0] - BOX_MARGIN, rows[-1] + BOX_MARGIN
    left, right = columns[0] - BOX_MARGIN, columns[-1] + BOX_MARGIN
    corners = np.array([[left, top], [right, top], [right, bottom], [left, bottom]], np.float32)
    placed = view.in_photograph(corners)
    least, most = np.floor(placed.min(axis=0)).astype(int), np.ceil(placed.max(axis=0)).astype(int)
    return Box(int(least[1]), int(least[0]), int(most[1]) + 1, int(most[0]) + 1).intersection(frame)
