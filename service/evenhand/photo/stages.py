"""A retouch as pictures on top of each other, for programs that know layers of pixels only.

Each stage holds the photograph as it is after one more step, where that step changed it, and is
transparent elsewhere; so the stack shows the result exactly, and with the upper stages hidden the
photograph as it was before them.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import cast

import numpy as np
import numpy.typing as npt

from evenhand.box import Box
from evenhand.colour.encoding import CodeValues


@dataclass(frozen=True)
class Stage:
    """What one step made, as a picture.

    Attributes
    ----------
    name : str
        For people to read.
    box : Box
        Where the picture lies in the upright photograph; empty where the step changed nothing.
    pixels : ndarray of uint8 or uint16, shape (box.height, box.width, 3)
        The photograph after the step, zero where the step changed nothing.
    alpha : ndarray like one channel of `pixels`, shape (box.height, box.width)
        White where the step changed the photograph, else zero.
    """

    name: str
    box: Box
    pixels: CodeValues
    alpha: CodeValues

    @property
    def rgba(self) -> CodeValues:
        """Pixels and alpha as one picture of four channels."""
        return cast(CodeValues, np.dstack((self.pixels, self.alpha)))


def stages_of(original: CodeValues, results: Iterable[tuple[str, CodeValues]]) -> list[Stage]:
    """Stages from the whole photograph after each step.

    Parameters
    ----------
    original : ndarray of uint8 or uint16, shape (height, width, 3)
        Before the first step.
    results : iterable of (name, ndarray like `original`)
        After each step, in the order of the steps.

    Returns
    -------
    list of Stage
        In the same order.
    """
    stages = []
    before = original
    for name, after in results:
        changed = (after != before).any(axis=2)
        box = _box_around(changed)
        inside = changed[box.slices]
        pixels = np.where(inside[..., None], after[box.slices], 0).astype(original.dtype)
        alpha = np.where(inside, np.iinfo(original.dtype).max, 0).astype(original.dtype)
        stages.append(Stage(name, box, cast(CodeValues, pixels), cast(CodeValues, alpha)))
        before = after
    return stages


def _box_around(changed: npt.NDArray[np.bool_]) -> Box:
    rows, columns = np.flatnonzero(changed.any(axis=1)), np.flatnonzero(changed.any(axis=0))
    if not rows.size:
        return Box(0, 0, 0, 0)
    return Box(int(rows[0]), int(columns[0]), int(rows[-1]) + 1, int(columns[-1]) + 1)
