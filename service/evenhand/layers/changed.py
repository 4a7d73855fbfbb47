"""Which pixels a change reaches: how many, an even sample of them, and those that move farthest."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from evenhand.layers.pieces import Pixels
from evenhand.photo.compiling import compiled
from evenhand.processors import PROCESSORS

Change = npt.NDArray[np.signedinteger[Any]]

ROWS = 64
# Rows that a thread works on at a time.

BINS = 4096
# Sizes told apart when the largest are looked for.


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
        About how many of those with the largest change are wanted besides a sample.
    """
    rows = [slice(top, min(top + ROWS, height)) for top in range(0, height, ROWS)]
    counts, largest = np.zeros((2, height), np.int64)
    with ThreadPoolExecutor(PROCESSORS) as pool:
        list(pool.map(lambda part: _count(change(part), counts[part], largest[part]), rows))
        count = int(counts.sum())
        every = 1 + count // most
        fine = 1 + int(largest.max(initial=0)) // BINS
        before = np.cumsum(counts) - counts
        even = np.empty(-(-count // every), np.intp)
        bins = np.zeros((len(rows), BINS + 1), np.int64)

        def sample(number: int) -> None:
            part = rows[number]
            _sample(change(part), before[part], every, fine, part.start, even, bins[number])

        list(pool.map(sample, range(len(rows))))
        if every == 1:
            return Changed(count, even, np.empty(0, np.intp))
        more = np.cumsum(bins.sum(axis=0)[::-1])
        least = max(1, len(more) - int(np.searchsorted(more, farthest))) - 1
        least = max(1, min(least, int(largest.max()) // fine)) * fine
        reach = [part for part in rows if (largest[part] >= least).any()]
        far = list(pool.map(lambda part: _places(change(part), part.start, least), reach))
    return Changed(count, even, np.concatenate(far))


@compiled
def _count(change, counts, largest):  # type: ignore[no-untyped-def]
    """How many pixels of each row change, and the largest change of each."""
    for row in range(change.shape[0]):
        for column in range(change.shape[1]):
            size = (
                abs(change[row, column, 0])
                + abs(change[row, column, 1])
                + abs(change[row, column, 2])
            )
            if size:
                counts[row] += 1
                largest[row] = max(largest[row], size)


@compiled
def _sample(change, before, every, fine, top, even, bins):  # type: ignore[no-untyped-def]
    """Note every so many changed pixels, and count sizes."""
    width = change.shape[1]
    for row in range(change.shape[0]):
        number = before[row]
        for column in range(width):
            size = (
                abs(change[row, column, 0])
                + abs(change[row, column, 1])
                + abs(change[row, column, 2])
            )
            if size:
                if number % every == 0:
                    even[number // every] = (top + row) * width + column
                number += 1
                bins[size // fine] += 1


@compiled
def _places(change, top, least):  # type: ignore[no-untyped-def]
    """Flat places of changes of at least a size."""
    width = change.shape[1]
    places = np.empty(change.shape[0] * width, np.intp)
    count = 0
    for row in range(change.shape[0]):
        for column in range(width):
            size = (
                abs(change[row, column, 0])
                + abs(change[row, column, 1])
                + abs(change[row, column, 2])
            )
            if size >= least:
                places[count] = (top + row) * width + column
                count += 1
    return places[:count].copy()
