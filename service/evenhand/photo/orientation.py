"""Turning pictures upright by their EXIF orientation, and back again.

The eight values are those of Exif 2.32 (CIPA DC-008), tag 0x0112.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

_TURNS: dict[int, tuple[bool, bool, bool]] = {
    1: (False, False, False),
    2: (False, False, True),
    3: (False, True, True),
    4: (False, True, False),
    5: (True, False, False),
    6: (True, False, True),
    7: (True, True, True),
    8: (True, True, False),
}
"""For each orientation: swap rows and columns, then flip top to bottom, then left to right."""


def upright(stored: npt.NDArray[Any], orientation: int) -> npt.NDArray[Any]:
    """The picture turned upright, a view; rows and columns are the first two axes.

    Parameters
    ----------
    stored : ndarray, shape (rows, columns, ...)
        As the file holds it.
    orientation : int
        1 to 8, as Exif counts.

    Returns
    -------
    ndarray, shape (height, width, ...)
    """
    swap, flip_rows, flip_columns = _TURNS[orientation]
    turned = np.swapaxes(stored, 0, 1) if swap else stored
    return turned[:: -1 if flip_rows else 1, :: -1 if flip_columns else 1]


def as_stored(turned: npt.NDArray[Any], orientation: int) -> npt.NDArray[Any]:
    """The inverse of `upright`, a view too.

    Parameters
    ----------
    turned : ndarray, shape (height, width, ...)
        Upright.
    orientation : int
        1 to 8, as Exif counts.

    Returns
    -------
    ndarray, shape (rows, columns, ...)
    """
    swap, flip_rows, flip_columns = _TURNS[orientation]
    unflipped = turned[:: -1 if flip_rows else 1, :: -1 if flip_columns else 1]
    return np.swapaxes(unflipped, 0, 1) if swap else unflipped


def contiguous(view: npt.NDArray[Any]) -> npt.NDArray[Any]:
    """A C-ordered copy of a turned view; the array itself where it already is one.

    Parameters
    ----------
    view : ndarray

    Returns
    -------
    ndarray of the same shape and dtype
    """
    if view.flags.c_contiguous:
        return view
    if view.ndim == 3 and view.strides[0] < view.strides[1]:
        return _copied_by_tiles(view)
    return np.ascontiguousarray(view)


_TILE = 64
"""Rows and columns copied at once when rows and columns swap, so that both sides stay in cache."""


def _copied_by_tiles(view: npt.NDArray[Any]) -> npt.NDArray[Any]:
    copied = np.empty(view.shape, view.dtype)
    height, width = view.shape[:2]
    for top in range(0, height, _TILE):
        for left in range(0, width, _TILE):
            copied[top : top + _TILE, left : left + _TILE] = view[
                top : top + _TILE, left : left + _TILE
            ]
    return copied
