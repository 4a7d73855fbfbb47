"""What is painted into a mask is in it, what is painted out is not, whatever came before."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from evenhand.box import Box
from evenhand.people.painting import IN, OUT, painted, painted_together
from evenhand.people.person import Belief, Mask, Person, Region, Scale, ScaleSource

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
    after = painted(before, [(Region.FACE, OUT, full(Box(0, 0, 6, 6)))]).skin(FRAME)
    assert after[2:6, 2:6].max() == 0
    assert after.sum() == 100 - 16
    assert before.skin(FRAME).sum() == 100


def test_painting_in_adds_beyond_the_old_box() -> None:
    before = person(face=full(Box(2, 2, 4, 4)))
    after = painted(before, [(Region.FACE, IN, full(Box(10, 10, 20, 20)))])
    assert after.skin(FRAME).sum() == 4 + 100


def test_a_region_that_was_not_found_can_be_painted() -> None:
    after = painted(person(), [(Region.ARM, IN, full(Box(0, 0, 3, 3)))])
    assert after.skin(FRAME).sum() == 9


def test_skin_painted_in_is_no_kept_part_any_more() -> None:
    before = person(face=full(Box(0, 0, 10, 10)), hair=full(Box(10, 0, 20, 10)))
    after = painted(before, [(Region.FACE, IN, full(Box(8, 0, 12, 10)))])
    assert (after.skin(FRAME) * after.kept(FRAME)).max() == 0
    assert after.kept(FRAME).sum() == 80
    back = painted(after, [(Region.HAIR, IN, full(Box(8, 0, 12, 10)))])
    assert (back.skin(FRAME) * back.kept(FRAME)).max() == 0
    assert back.skin(FRAME).sum() == 80


def test_the_last_stroke_counts() -> None:
    stroke = full(Box(0, 0, 5, 5))
    before = person(face=full(Box(0, 0, 10, 10)))
    after = painted(before, [(Region.FACE, OUT, stroke), (Region.FACE, IN, stroke)])
    np.testing.assert_array_equal(after.skin(FRAME), before.skin(FRAME))


def test_no_skin_takes_from_every_region_of_skin_and_from_no_kept_part() -> None:
    before = person(
        face=full(Box(0, 0, 10, 10)), neck=full(Box(10, 0, 20, 10)), hair=full(Box(0, 10, 20, 20))
    )
    after = painted(before, [(None, OUT, full(Box(5, 5, 15, 15)))])
    assert after.skin(FRAME).sum() == 200 - 50
    assert after.kept(FRAME).sum() == 200


def test_what_was_believed_of_other_skin_is_forgotten() -> None:
    belief = Belief(np.zeros((4, 4), np.float32), np.eye(2, 3))
    before = replace(person(face=full(Box(0, 0, 10, 10)), hair=full(FRAME)), burnt=belief)
    stroke = full(Box(0, 0, 5, 5))
    for region, paint in ((Region.ARM, IN), (Region.FACE, OUT), (None, OUT), (Region.HAIR, IN)):
        assert painted(before, [(region, paint, stroke)]).burnt is None
    assert painted(before, [(Region.HAIR, OUT, stroke)]).burnt is belief


def test_skin_given_to_one_person_is_taken_from_the_others() -> None:
    mara = person(arm=full(Box(0, 0, 10, 10)))
    jon = replace(person(arm=full(Box(10, 0, 20, 10))), index=1)
    stroke, both = full(Box(5, 0, 15, 10)), full(Box(10, 0, 12, 10))
    one, other = painted_together([mara, jon], {0: [(Region.HAND, IN, stroke)]})
    assert one.skin(FRAME).sum() == 150
    assert other.skin(FRAME).sum() == 50
    assert (one.skin(FRAME) * other.skin(FRAME)).max() == 0
    strokes = {0: [(Region.HAND, IN, stroke)], 1: [(Region.ARM, IN, both)]}
    one, other = painted_together([mara, jon], strokes)
    assert other.skin(FRAME)[10:12, :10].min() == 1  # said of both
