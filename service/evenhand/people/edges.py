"""Carries a mask from the working view to the photograph's pixels, along the picture's edges."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from evenhand.box import Box
from evenhand.people.person import Alpha
from evenhand.people.views import View
from evenhand.photo.photograph import Photograph

GUIDE_SIZE = 2.0
"""Radius of the guided filter in working pixels: the staircase that it has to smooth away."""

SMOOTHNESS = 60.0
"""Variance in squared 8-bit code values below which the picture counts as flat: noise and pores."""

FASTEST = 0.25
"""Least share of the size at which the filter's coefficients, which are smooth, are reckoned."""

TILE = 384
"""Pixels along the side of the squares that are filtered, or not, one by one."""

SURE_LOW, SURE_HIGH = 0.15, 0.85
"""Memberships stretched to 0 and 1 after filtering, so that the inside is wholly inside."""


def refined(coarse: Alpha, view: View, box: Box, photograph: Photograph) -> Alpha:
    """A mask in the photograph's pixels inside `box`, its edges drawn to those of the picture.

    Guided filter, He, Sun and Tang, "Guided image filtering", IEEE TPAMI 35 (2013) 1397-1409, with
    coefficients at reduced size as in He and Sun, "Fast guided filter", arXiv:1505.00996.

    Parameters
    ----------
    coarse : ndarray of float32, shape of the view
        Membership in [0, 1].
    view : View
        Where `coarse` lies.
    box : Box
        Wanted part of the photograph.
    photograph : Photograph

    Returns
    -------
    ndarray of float32, shape (box.height, box.width)
        In [0, 1].
    """
    enlarged = at_full_size(coarse, view, box)
    radius = max(2, round(GUIDE_SIZE * view.pixel_size))
    alpha = _stretched(enlarged)
    whole = Box(0, 0, box.height, box.width)
    for tile in _tiles(whole):
        around = tile.grown(2 * radius, (box.height, box.width))
        membership = enlarged[around.slices]
        if membership.min() < SURE_HIGH and membership.max() > SURE_LOW:
            place = Box(
                box.top + around.top,
                box.left + around.left,
                box.top + around.bottom,
                box.left + around.right,
            )
            filtered = _guided(membership, photograph, place, radius)
            alpha[tile.slices] = _stretched(filtered[tile.within(around)])
    return alpha


def _tiles(whole: Box) -> Iterator[Box]:
    """Squares that cover a box; those without an edge in them need no filter."""
    for top in range(0, whole.bottom, TILE):
        for left in range(0, whole.right, TILE):
            yield Box(top, left, top + TILE, left + TILE).intersection(whole)


def _guided(membership: Alpha, photograph: Photograph, place: Box, radius: int) -> Alpha:
    """The membership filtered with the photograph as guide."""
    guide = np.ascontiguousarray(photograph.pixels[place.slices])
    if photograph.white > 255:
        guide = cv2.convertScaleAbs(guide, alpha=255.0 / photograph.white)
    share = float(np.clip(2 / radius, FASTEST, 1))
    filtered: Alpha = cv2.ximgproc.guidedFilter(
        guide, np.ascontiguousarray(membership), radius, SMOOTHNESS, scale=share
    )
    return filtered


def _stretched(membership: Alpha) -> Alpha:
    stretched = (membership - np.float32(SURE_LOW)) * np.float32(1 / (SURE_HIGH - SURE_LOW))
    return np.clip(stretched, 0, 1, out=stretched)


def at_full_size(
    coarse: npt.NDArray[Any], view: View, box: Box, interpolation: int = cv2.INTER_LINEAR
) -> npt.NDArray[Any]:
    """A view's field in the photograph's pixels inside `box`, without regard to the picture."""
    moved = view.to_photograph.copy()
    moved[:, 2] -= (box.left, box.top)
    size = (box.width, box.height)
    enlarged: npt.NDArray[Any] = cv2.warpAffine(
        coarse, moved, size, flags=interpolation, borderMode=cv2.BORDER_REPLICATE
    )
    return enlarged
