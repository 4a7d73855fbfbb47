"""Answers of the parser made up by hand, for tests of what follows from them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import numpy as np

from evenhand.box import Box
from evenhand.people.faces import Head
from evenhand.people.parser import Parse, Parsing, Part
from evenhand.people.person import Face

SURE = 0.99
"""Chance of the part that is painted somewhere; the background has the rest."""


def parsing_of(
    shape: tuple[int, int],
    painted: Iterable[tuple[Part, Box]],
    cell: int = 1,
    chances: Mapping[Part, float] | None = None,
) -> Parsing:
    """Parts in boxes of the photograph, later ones on top, background elsewhere."""
    rows, columns = -(-shape[0] // cell), -(-shape[1] // cell)
    probability = np.zeros((len(Part), rows, columns), np.float32)
    probability[Part.BACKGROUND] = 1
    for part, box in painted:
        chance = (chances or {}).get(part, SURE)
        where = (
            slice(None),
            slice(box.top // cell, box.bottom // cell),
            slice(box.left // cell, box.right // cell),
        )
        probability[where] = 0
        probability[(Part.BACKGROUND, *where[1:])] = 1 - chance
        probability[(part, *where[1:])] = chance
    middle = (cell - 1) / 2
    to_photograph = np.array([[cell, 0, middle], [0, cell, middle]], float)
    return Parsing(Parse(probability, to_photograph, ()), (), ())


def head_at(row: int, column: int, height: int, roll: float = 0.0) -> Head:
    """A face with landmarks, its box around a place."""
    box = Box(row - height // 2, column - height // 2, row + height // 2, column + height // 2)
    return Head(
        Face(box, np.zeros((478, 2), np.float32), roll, 0, 0.9), np.zeros((6, 2), np.float32)
    )
