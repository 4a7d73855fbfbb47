"""Changes that are a gain of skin, smooth on a coarse grid: what most steps of skin come to.

Kept on its grid until it is applied, such a change costs next to nothing, and gains of several
steps add up in optical density.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from evenhand.steps.patch import LinearLight, SkinPatch

Map = npt.NDArray[np.float32]


@dataclass(frozen=True)
class Gain:
    """What a step wants, before any cap, as a gain of the patch's skin.

    Attributes
    ----------
    patch : SkinPatch
        What the step was given.
    log_gain : ndarray of float32, shape (rows, columns, 3)
        Natural logarithm of the gain in Rec. 2020 at strength 1, on a grid that covers the patch;
        between the middles of its cells it is linear, beyond the outermost it is constant. It
        applies in proportion to the skin mask.
    facts : mapping
        Plain values for the report.

    Examples
    --------
    >>> import numpy as np
    >>> import evenhand
    >>> patch = evenhand.patch_of(photo, people[0])
    >>> darker = evenhand.Gain(patch, np.full((1, 1, 3), -0.1, np.float32))
    >>> bool((darker.wanted[patch.skin == 0] == patch.linear[patch.skin == 0]).all())
    True
    """

    patch: SkinPatch
    log_gain: Map
    facts: Mapping[str, Any] = field(default_factory=dict)

    @cached_property
    def wanted(self) -> LinearLight:
        """Linear light of the patch at strength 1; the patch's own bits outside the skin."""
        height, width = self.patch.skin.shape
        exponent = cv2.resize(self.log_gain, (width, height), interpolation=cv2.INTER_LINEAR)
        exponent = cv2.multiply(exponent, cv2.merge([self.patch.skin] * 3))
        gain = cv2.exp(exponent)  # exactly 1 where the exponent is 0
        return np.asarray(cv2.multiply(self.patch.linear, gain), np.float32)

    def window(self, rows: slice, columns: slice) -> LinearLight:
        """The same as `wanted`, of a window of the patch only.

        Parameters
        ----------
        rows, columns : slice
            Of the patch, with start and stop.

        Returns
        -------
        ndarray of float32, shape (rows, columns, 3)
        """
        height, width = self.patch.skin.shape
        exponent = _between(self.log_gain, 0, rows, height)
        exponent = _between(exponent, 1, columns, width)
        gain = np.exp(exponent * self.patch.skin[rows, columns, None])
        return np.asarray(self.patch.window(rows, columns) * gain, np.float32)


def _between(grid: Map, axis: int, pixels: slice, length: int) -> Map:
    """Values at some pixels of an axis of `length`, linear between the middles of cells."""
    cells = grid.shape[axis]
    places = (np.arange(*pixels.indices(length)) + 0.5) * (cells / length) - 0.5
    places = np.clip(places, 0, cells - 1)
    start = places.astype(np.intp)
    weight = (places - start).reshape((-1,) + (1,) * (grid.ndim - 1 - axis))
    first = grid.take(start, axis)
    second = grid.take(np.minimum(start + 1, cells - 1), axis)
    return np.asarray(first + weight * (second - first), np.float32)


def added(first: Map | None, second: Map) -> Map:
    """Two logarithms of gains as one, on the finer of their grids; None stands for no gain.

    Parameters
    ----------
    first, second : ndarray of float32, shape (rows, columns, 3)
        Over one and the same patch; the first may be None.

    Returns
    -------
    ndarray of float32, shape (rows, columns, 3)
    """
    if first is None:
        return second
    finer, coarser = (first, second) if first.size > second.size else (second, first)
    height, width = finer.shape[:2]
    brought = cv2.resize(coarser, (width, height), interpolation=cv2.INTER_LINEAR)
    return np.asarray(finer + brought, np.float32)
