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
        """The same as `wanted`, of a window of the patch only."""
        across = _places(columns, self.log_gain.shape[1], self.patch.skin.shape[1])
        down = _places(rows, self.log_gain.shape[0], self.patch.skin.shape[0])
        exponent = cv2.remap(
            self.log_gain,
            np.tile(across, (len(down), 1)),
            np.tile(down[:, None], (1, len(across))),
            cv2.INTER_LINEAR,
            borderMode=cv2.BORDER_REPLICATE,
        )
        gain = np.exp(exponent * self.patch.skin[rows, columns, None])
        return np.asarray(self.patch.linear[rows, columns] * gain, np.float32)


def _places(pixels: slice, cells: int, length: int) -> Map:
    """Where pixels of an axis lie on the grid, middles of cells at whole numbers."""
    middles = np.arange(*pixels.indices(length)) + 0.5
    return np.asarray(middles * (cells / length) - 0.5, np.float32)
