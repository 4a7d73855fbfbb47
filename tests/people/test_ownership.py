"""Whose a place is, against distances that scipy measures to points along each body."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.distance import cdist

from evenhand.box import Box
from evenhand.people.looks import HEAD_IN_FACES
from evenhand.people.ownership import GRID_SIDE, NOBODY, SPINE, STRAY, owners
from evenhand.people.parser import Part
from tests.people.answers import head_at, parsing_of

FRAME = Box(0, 0, 200, 300)


def distances(row: int, column: int, height: int, roll: float = 0.0) -> np.ndarray:
    """Of every pixel to the line down from a head, in heights of the head with its hair."""
    size = height * HEAD_IN_FACES
    turn = np.radians(roll)
    down = np.array([np.cos(turn), -np.sin(turn)])  # clockwise from upright, (row, column)
    line = np.array([row, column]) + np.linspace(0, SPINE * size, 500)[:, None] * down
    pixels = np.indices((FRAME.height, FRAME.width)).reshape(2, -1).T
    return cdist(pixels, line).min(axis=1).reshape(FRAME.height, FRAME.width) / size


@pytest.mark.parametrize("roll", [0.0, 30.0, -90.0])
def test_people_who_touch_are_parted_where_both_are_as_near(roll: float) -> None:
    first, second = (40, 90, 24, roll), (50, 200, 36, 0.0)
    parsing = parsing_of((200, 300), [(Part.CLOTH, Box(20, 20, 190, 280))])
    owner, to_photograph = owners(parsing, [head_at(*first), head_at(*second)], FRAME)
    np.testing.assert_allclose(to_photograph, [[1, 0, 0], [0, 1, 0]])
    one, other = distances(*first), distances(*second)
    clear = np.abs(one - other) > 0.05
    inside = np.zeros(owner.shape, bool)
    inside[20:190, 20:280] = True
    wanted = np.where(one < other, 0, 1)
    assert {0, 1} == set(wanted[clear & inside])
    assert np.array_equal(owner[clear & inside], wanted[clear & inside])


def test_an_arm_stretched_out_before_somebody_else_stays_its_owners() -> None:
    parts = [
        (Part.CLOTH, Box(30, 30, 180, 90)),
        (Part.ARM, Box(120, 90, 135, 235)),
        (Part.CLOTH, Box(30, 200, 110, 260)),
    ]
    heads = [head_at(45, 60, 24), head_at(45, 230, 24)]
    owner, _ = owners(parsing_of((200, 300), parts), heads, FRAME)
    assert distances(45, 230, 24)[127, 230] < 0.1  # on the other's own line
    assert (owner[122:133, 95:230] == 0).all()
    assert (owner[35:105, 205:255] == 1).all()


def test_a_patch_without_a_head_is_the_nearest_bodys_or_nobodys() -> None:
    near, far = Box(100, 110, 115, 125), Box(100, 200, 115, 215)
    parts = [(Part.CLOTH, Box(20, 30, 90, 90)), (Part.HAND, near), (Part.HAND, far)]
    owner, _ = owners(parsing_of((200, 300), parts), [head_at(40, 60, 24)], FRAME)
    away = distances(40, 60, 24)
    assert away[near.slices].max() < STRAY < away[far.slices].min()
    assert (owner[near.slices] == 0).all()
    assert (owner[far.slices] == NOBODY).all()


def test_the_grid_lies_on_the_photograph() -> None:
    """Centres of cells as of pixels of a picture that is reduced by averaging."""
    frame = Box(0, 0, 4 * GRID_SIDE, 3 * GRID_SIDE)
    parts = [(Part.CLOTH, Box(200, 400, 1200, 800))]
    parsing = parsing_of((frame.height, frame.width), parts, cell=8)
    owner, to_photograph = owners(parsing, [head_at(300, 600, 100)], frame)
    assert owner.shape == (GRID_SIDE, GRID_SIDE * 3 // 4)
    np.testing.assert_allclose(to_photograph @ [0, 0, 1], [1.5, 1.5])
    np.testing.assert_allclose(to_photograph @ [10, 20, 1], [41.5, 81.5])
    assert (owner[52:298, 102:198] == 0).all()
    assert owner[10, 10] == NOBODY
