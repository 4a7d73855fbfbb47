"""Carries a mask from the working view to the photograph's pixels, along the picture's edges."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from evenhand.box import Box
from evenhand.people.person import Alpha
from evenhand.people.views import Affine, View, chained, inverse
from evenhand.photo.photograph import Photograph
from evenhand.processors import PROCESSORS

GUIDE_SIZE = 2.0
"""Radius of the guided filter in working pixels: the staircase that it has to smooth away."""

SMOOTHNESS = 60.0
"""Variance in squared 8-bit code values below which the picture counts as flat: noise and pores."""

FASTEST = 0.25
"""Least share of the size at which the filter's coefficients, which are smooth, are reckoned."""

TILE = 384
"""Pixels along the side of the squares that are filtered, or not, one by one."""

REACH = 2
"""Working pixels beyond a square that can reach into it by interpolation."""

SURE_LOW, SURE_HIGH = 0.3, 0.85
"""Memberships stretched to 0 and 1 after filtering, so that the inside is wholly inside. Chosen on
the odd photographs: from .4 and .9 people head to foot gain 1.0 points of F1, heads 0.3, and a
fifth more of hair leaks."""


def refined(
    coarse: Alpha, area: npt.NDArray[np.bool_], view: View, box: Box, photograph: Photograph
) -> Alpha:
    """A mask in the photograph's pixels inside `box`, its edges drawn to those of the picture.

    Guided filter, He, Sun and Tang, "Guided image filtering", IEEE TPAMI 35 (2013) 1397-1409, with
    coefficients at reduced size as in He and Sun, "Fast guided filter", arXiv:1505.00996.

    Parameters
    ----------
    coarse : ndarray of float32, shape of the view
        Membership in [0, 1].
    area : ndarray of bool, same shape
        Where the mask may be; beyond, it is zero.
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
    radius = max(2, round(GUIDE_SIZE * view.pixel_size))
    where = area.astype(np.uint8)
    alpha = np.zeros((box.height, box.width), np.float32)

    def work(tile: Box) -> None:
        around = tile.grown(2 * radius, photograph.shape).intersection(box)
        (reach,) = _reaches(view, [around], area.shape)
        if coarse[reach].max() <= SURE_LOW:
            return
        if coarse[reach].min() >= SURE_HIGH and area[reach].all():
            alpha[tile.within(box)] = 1
            return
        membership = at_full_size(coarse, view, around)
        if membership.min() < SURE_HIGH and membership.max() > SURE_LOW:
            membership = _guided(membership, photograph, around, radius)
        inside = at_full_size(where, view, tile, cv2.INTER_NEAREST)
        stretched = _stretched(membership[tile.within(around)])
        alpha[tile.within(box)] = cv2.copyTo(stretched, inside)

    _in_tiles(work, area, view, box)
    return alpha


def enlarged(coarse: Alpha, view: View, box: Box) -> Alpha:
    """A view's field in the photograph's pixels inside `box`, without regard to the picture.

    Parameters
    ----------
    coarse : ndarray of float32, shape of the view
    view : View
    box : Box
        In the photograph.

    Returns
    -------
    ndarray of float32, shape (box.height, box.width)
    """
    alpha = np.zeros((box.height, box.width), np.float32)

    def work(tile: Box) -> None:
        alpha[tile.within(box)] = at_full_size(coarse, view, tile)

    _in_tiles(work, coarse > 0, view, box)
    return alpha


def moved(field: Alpha, to_photograph: Affine, view: View) -> Alpha:
    """A field of another grid over the photograph, on a view; zero outside of it.

    Parameters
    ----------
    field : ndarray of float32, shape (height, width)
    to_photograph : ndarray of float64, shape (2, 3)
        Affine map from (column, row) of the field to the photograph.
    view : View

    Returns
    -------
    ndarray of float32, shape of the view
    """
    height, width = view.pixels.shape[:2]
    to_field = chained(inverse(to_photograph), view.to_photograph)
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    drawn: Alpha = cv2.warpAffine(field, to_field, (width, height), flags=flags)
    return drawn


def _in_tiles(
    work: Callable[[Box], None], area: npt.NDArray[np.bool_], view: View, box: Box
) -> None:
    """Run `work` on the squares of a box in which the view shows anything of an area."""
    with ThreadPoolExecutor(PROCESSORS) as threads:
        list(threads.map(work, _shown(area, view, list(_tiles(box)))))


def _shown(area: npt.NDArray[np.bool_], view: View, tiles: list[Box]) -> list[Box]:
    """Squares of the photograph into which an area of the view reaches, or may."""
    reaches = _reaches(view, tiles, area.shape)
    return [tile for tile, reach in zip(tiles, reaches, strict=True) if area[reach].any()]


def _reaches(view: View, tiles: list[Box], shape: tuple[int, ...]) -> list[tuple[slice, slice]]:
    """Rows and columns of a view of some shape that can reach into squares of the photograph."""
    edges = np.array([(t.left, t.top, t.right, t.bottom) for t in tiles], np.float32)
    corners = edges[:, [[0, 1], [2, 1], [2, 3], [0, 3]]]
    placed = view.in_view(corners.reshape(-1, 2)).reshape(corners.shape)
    last = (shape[1] - 1, shape[0] - 1)
    least = np.clip(np.floor(placed.min(axis=1)).astype(int) - REACH, 0, last)
    most = np.maximum(np.ceil(placed.max(axis=1)).astype(int) + REACH, least + 1)
    return [
        (slice(top, bottom), slice(left, right))
        for (left, top), (right, bottom) in zip(least, most, strict=True)
    ]


def _tiles(whole: Box) -> Iterator[Box]:
    """Squares that cover a box."""
    for top in range(whole.top, whole.bottom, TILE):
        for left in range(whole.left, whole.right, TILE):
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
    """A view's field in the photograph's pixels inside a small box, in one go.

    Parameters
    ----------
    coarse : ndarray, shape of the view
    view : View
    box : Box
        In the photograph.
    interpolation : int
        One of OpenCV's.

    Returns
    -------
    ndarray of the same dtype, shape (box.height, box.width)
        Beyond the view its border goes on.
    """
    moved = view.to_photograph.copy()
    moved[:, 2] -= (box.left, box.top)
    size = (box.width, box.height)
    enlarged: npt.NDArray[Any] = cv2.warpAffine(
        coarse, moved, size, flags=interpolation, borderMode=cv2.BORDER_REPLICATE
    )
    return enlarged
