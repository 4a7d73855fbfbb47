"""What is painted into a mask is in it, what is painted out is not, whatever came before."""

from __future__ import annotations

import numpy as np

from evenhand.box import Box
from evenhand.jobs.editing import IN, OUT, edited
from evenhand.people.person import Mask, Person, Region, Scale, ScaleSource

FRAME = Box(0, 0, 20, 20)


def full(box: Box) -> Mask:
    """A mask that is full in its box."""
    return Mask(box, np.ones((box.height, box.width), np.float32))


def person(**masks: Mask) -> Person:
    """A person with these masks."""
    regions = {Region[name.upper()]: mask for name, mask in masks.items()}
    return Person(0, None, Scale(1.0, ScaleSource.GIVEN), regions)


def test_painting_out_takes_away_and_nothing_else() -> None:
    before = person(face=full(Box(2, 2, 12, 12)))
    after = edited(before, [(Region.FACE, OUT, full(Box(0, 0, 6, 6)))]).skin(FRAME)
    assert after[2:6, 2:6].max() == 0
    assert after.sum() == 100 - 16
    assert before.skin(FRAME).sum() == 100


def test_painting_in_adds_beyond_the_old_box() -> None:
    before = person(face=full(Box(2, 2, 4, 4)))
    after = edited(before, [(Region.FACE, IN, full(Box(10, 10, 20, 20)))])
    assert after.skin(FRAME).sum() == 4 + 100


def test_a_region_that_was_not_found_can_be_painted() -> None:
    after = edited(person(), [(Region.ARM, IN, full(Box(0, 0, 3, 3)))])
    assert after.skin(FRAME).sum() == 9


def test_skin_painted_in_is_no_kept_part_any_more() -> None:
    before = person(face=full(Box(0, 0, 10, 10)), hair=full(Box(10, 0, 20, 10)))
    after = edited(before, [(Region.FACE, IN, full(Box(8, 0, 12, 10)))])
    assert (after.skin(FRAME) * after.kept(FRAME)).max() == 0
    assert after.kept(FRAME).sum() == 80
    back = edited(after, [(Region.HAIR, IN, full(Box(8, 0, 12, 10)))])
    assert (back.skin(FRAME) * back.kept(FRAME)).max() == 0
    assert back.skin(FRAME).sum() == 80


def test_the_last_stroke_counts() -> None:
    stroke = full(Box(0, 0, 5, 5))
    before = person(face=full(Box(0, 0, 10, 10)))
    after = edited(before, [(Region.FACE, OUT, stroke), (Region.FACE, IN, stroke)])
    np.testing.assert_array_equal(after.skin(FRAME), before.skin(FRAME))
