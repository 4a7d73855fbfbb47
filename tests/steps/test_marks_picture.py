from __future__ import annotations

import numpy as np

from evenhand.pictures.marks import marks_picture

MARKS = [
    {"number": 1, "kind": "passing", "row": 100.0, "column": 120.0, "size_mm": 4.0},
    {"number": 2, "kind": "lasting", "row": 300.0, "column": 400.0, "size_mm": 4.0},
]


def test_each_mark_is_outlined_and_stays_visible_and_the_original_is_not_drawn_on() -> None:
    pixels = np.full((500, 600, 3), 140, np.uint8)
    picture = marks_picture(pixels, MARKS, 0.2)
    assert (pixels == 140).all()
    for mark in MARKS:
        row, column = int(mark["row"]), int(mark["column"])
        inside = picture[row - 8 : row + 9, column - 8 : column + 9]
        assert (inside == 140).all()
        around = picture[row - 24 : row + 25, column - 24 : column + 25]
        assert (around > 200).any()
        assert (around < 60).any()


def test_kinds_differ_in_shape_and_not_in_colour_alone() -> None:
    pixels = np.full((500, 600, 3), 140, np.uint8)
    drawn = [
        marks_picture(pixels, [{**MARKS[0], "kind": kind}], 0.2) != 140
        for kind in ("passing", "lasting")
    ]
    assert (drawn[0] != drawn[1]).any()


def test_no_marks_give_the_same_picture() -> None:
    pixels = np.full((50, 60, 3), 140, np.uint8)
    assert np.array_equal(marks_picture(pixels, [], 0.2), pixels)
