"""Lists of pixels, worked through in pieces on every processor."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import numpy.typing as npt

from evenhand.processors import PROCESSORS

Pixels = npt.NDArray[np.intp]

PIECE = 1 << 15
# Pixels at a time: their colours and changes stay in the cache.


def in_pieces(work: Callable[[Pixels], None], pixels: Pixels) -> None:
    """Run `work` on all of `pixels`, piece by piece; pieces must not share results.

    Parameters
    ----------
    work : callable
        Takes indices of some pixels; called from several threads at once.
    pixels : ndarray of int, shape (n,)
    """
    pieces = [pixels[start : start + PIECE] for start in range(0, len(pixels), PIECE)]
    if len(pieces) < 2:
        for piece in pieces:
            work(piece)
        return
    with ThreadPoolExecutor(PROCESSORS) as pool:
        list(pool.map(work, pieces))


def any_channel(flags: npt.NDArray[np.bool_]) -> npt.NDArray[np.bool_]:
    """Whether any of the three channels is set, shape (..., 3) to (...).

    Parameters
    ----------
    flags : ndarray of bool, shape (..., 3)

    Returns
    -------
    ndarray of bool, shape (...)
    """
    found: npt.NDArray[np.bool_] = flags[..., 0] | flags[..., 1] | flags[..., 2]
    return found
