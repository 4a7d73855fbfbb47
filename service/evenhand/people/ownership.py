"""Whose each place is: people in one connected patch are told apart by nearness to their bodies."""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np
import numpy.typing as npt

from evenhand.box import Box
from evenhand.people.faces import Head
from evenhand.people.looks import down_from, head_height, middle_of
from evenhand.people.parser import Parsing, Part
from evenhand.people.views import Affine

Numbers = npt.NDArray[np.int32]
Field = npt.NDArray[np.float32]

GRID_SIDE = 320
"""Cells along the longer side of the photograph on which places are given to people."""

PERSON = 0.5
"""Chance of being anything but background from which a cell belongs to somebody."""

SPINE = 5.0
"""Heights of the head from its middle to about the knees: the line that a body lies along."""

STRAY = 2.5
"""Heights of the head from that line within which a patch without a head is still this person's:
a hand or a shin beyond cloth or somebody's arm."""

NOBODY = -1
"""Number of cells that belong to nobody with a head."""


def owners(parsing: Parsing, heads: Sequence[Head], frame: Box) -> tuple[Numbers, Affine]:
    """Number of the head that each cell of a coarse grid over the photograph belongs to.

    Parameters
    ----------
    parsing : Parsing
    heads : sequence of Head
        At least one.
    frame : Box
        Of the photograph.

    Returns
    -------
    owner : ndarray of int32, shape (rows, columns)
        Index into `heads`, or `NOBODY`.
    to_photograph : ndarray of float64, shape (2, 3)
        Affine map from (column, row) of the grid to the photograph.
    """
    step = max(1.0, max(frame.height, frame.width) / GRID_SIDE)
    rows, columns = int(np.ceil(frame.height / step)), int(np.ceil(frame.width / step))
    to_photograph = np.array([[step, 0, (step - 1) / 2], [0, step, (step - 1) / 2]])
    somebody = 1 - parsing.on([Part.BACKGROUND], to_photograph, (rows, columns))
    _, patches = cv2.connectedComponents((somebody > PERSON).astype(np.uint8))
    away = np.stack([_from_spine(head, rows, columns, step) for head in heads])
    nearest = away.argmin(axis=0).astype(np.int32)
    owner = np.where(away.min(axis=0) < STRAY, nearest, NOBODY)
    middles = [np.rint((middle_of(head) - (step - 1) / 2) / step).astype(int) for head in heads]
    for patch in range(1, int(patches.max()) + 1):
        inside = patches == patch
        own = [k for k, (column, row) in enumerate(middles) if _at(inside, row, column)]
        if own:
            owner[inside] = np.array(own)[away[own][:, inside].argmin(axis=0)]
    return owner.astype(np.int32), to_photograph


def _at(inside: npt.NDArray[np.bool_], row: int, column: int) -> bool:
    height, width = inside.shape
    return bool(inside[min(max(row, 0), height - 1), min(max(column, 0), width - 1)])


def _from_spine(head: Head, rows: int, columns: int, step: float) -> Field:
    """Distance of each cell from the line below a head, in heights of the head."""
    size = head_height(head)
    start, along = middle_of(head), SPINE * size * down_from(head)
    row, column = np.mgrid[:rows, :columns].astype(np.float32) * step + (step - 1) / 2
    from_start = np.stack([column - start[0], row - start[1]], axis=-1)
    share = np.clip(from_start @ along / (along @ along), 0, 1)
    distance: Field = np.linalg.norm(from_start - share[..., None] * along, axis=-1) / size
    return distance
