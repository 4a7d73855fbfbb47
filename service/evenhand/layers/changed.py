"""Which pixels a change reaches: how many, an even sample of them, and those that move farthest."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from evenhand.compiling import compiled
from evenhand.layers.pieces import Pixels
from evenhand.processors import PROCESSORS

Change = npt.NDArray[np.signedinteger[Any]]
Sizes = npt.NDArray[np.int32]

ROWS = 256
# Rows that a thread works on at a time.


@dataclass(frozen=True)
class Changed:
    """Pixels that a change reaches.

    Attributes
    ----------
    count : int
        How many.
    even : ndarray of int
        Flat places of every so many of them.
    farthest : ndarray of int
        Flat places of those with the largest change, none where `even` holds all of them.
    """

    count: int
    even: Pixels
    farthest: Pixels


def changed(change: Callable[[slice], Change], height: int, most: int, farthest: int) -> Changed:
    """Find what a change reaches.

    Parameters
    ----------
    change : callable
        The change of some rows as signed integers, shape (rows, width, 3); its size is told by
        the sum over the channels.
    height : int
        Rows of the whole change.
    most : int
        Changed pixels above which only every so many are taken.
    farthest : int
        How many of those with the largest change are wanted besides a sample.

    Returns
    -------
    Changed
        Places count pixels row by row from the upper left.
    """
    none = np.empty(0, np.intp)
    if height == 0:
        return Changed(0, none, none)
    strips = [slice(top, min(top + ROWS, height)) for top in range(0, height, ROWS)]
    with ThreadPoolExecutor(PROCESSORS) as pool:
        counts = list(pool.map(lambda strip: np.count_nonzero(_sizes(change(strip))), strips))
        count = sum(counts)
        every = 1 + count // most
        befores = np.cumsum([0, *counts[:-1]])

        def sampled(strip: slice, before: int) -> tuple[Pixels, Pixels, Sizes]:
            sizes = _sizes(change(strip))
            first = strip.start * sizes.shape[1]
            places = np.flatnonzero(sizes)
            even = places[-before % every :: every] + first
            if every == 1:
                return even, none, none.astype(np.int32)
            found = sizes.reshape(-1)[places]
            far = _largest(found, farthest)
            return even, places[far] + first, found[far]

        samples = list(pool.map(sampled, strips, befores))
    even, places, sizes = (np.concatenate(parts) for parts in zip(*samples, strict=True))
    return Changed(count, even, places[_largest(sizes, farthest)])


def _largest(sizes: Sizes, most: int) -> Pixels:
    """Places of the largest sizes, at most so many."""
    if len(sizes) <= most:
        return np.arange(len(sizes))
    return np.argpartition(sizes, -most)[-most:]


def _sizes(change: Change) -> Sizes:
    """Sum of each pixel's change over the channels, shape (height, width)."""
    sizes = np.empty(change.shape[:2], np.int32)
    _add_channels(change, sizes)
    return sizes


@compiled
def _add_channels(change: Change, sizes: Sizes) -> None:
    for row in range(sizes.shape[0]):
        for column in range(sizes.shape[1]):
            red, green, blue = change[row, column]
            sizes[row, column] = abs(red) + abs(green) + abs(blue)
