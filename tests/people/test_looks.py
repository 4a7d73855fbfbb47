"""What the parser sees decides about faces that a detector thought it saw."""

from __future__ import annotations

import numpy as np
import pytest

from evenhand.box import Box
from evenhand.people.faces import Head
from evenhand.people.looks import confirmed
from evenhand.people.parser import Parse, Part
from evenhand.people.person import Face

WHOLE_TO_PHOTOGRAPH = np.array([[4.0, 0, 0], [0, 4.0, 0]])


def seen_as(part: Part) -> Parse:
    probability = np.zeros((len(Part), 200, 200), np.float32)
    probability[part] = 1
    return Parse(probability, WHOLE_TO_PHOTOGRAPH, ())


def head(side: int) -> Head:
    face = Face(Box(100, 100, 100 + side, 100 + side), np.zeros((478, 2), np.float32), 0, 0, 0.8)
    return Head(face, np.zeros((6, 2), np.float32))


@pytest.mark.parametrize("part", [Part.FACE, Part.HAIR, Part.GLASSES, Part.INK])
def test_a_face_that_the_parser_sees_too_is_kept(part: Part) -> None:
    assert len(confirmed(seen_as(part), [head(200)])) == 1


@pytest.mark.parametrize("part", [Part.BACKGROUND, Part.CLOTH, Part.ARM])
def test_what_the_parser_sees_as_something_else_is_no_face(part: Part) -> None:
    assert confirmed(seen_as(part), [head(200)]) == []


def test_a_face_too_small_to_be_seen_in_the_look_is_kept() -> None:
    assert len(confirmed(seen_as(Part.BACKGROUND), [head(16)])) == 1
