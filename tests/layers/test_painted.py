"""Strength in places: less of a layer where it was painted, never more than was computed."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from evenhand.box import Box
from evenhand.layers.layer import Layer
from evenhand.layers.painted import LESS, MORE, StrengthStroke, strength_map, with_strength
from evenhand.people.person import Mask

FRAME = Box(0, 0, 24, 30)
BOX = Box(4, 5, 20, 25)


def layer(seed: int = 0) -> Layer:
    random = np.random.default_rng(seed)
    difference = random.integers(-900, 900, (BOX.height, BOX.width, 3)).astype(np.int16)
    return Layer("redness", 0, BOX, difference, 64, 16.0)


def stroke(paint: str, amount: float, box: Box, alpha: float = 1.0) -> StrengthStroke:
    return StrengthStroke(
        paint, amount, Mask(box, np.full((box.height, box.width), alpha, np.float32))
    )


def test_a_stroke_halves_what_is_there_and_nothing_beside_it() -> None:
    before = layer()
    after = with_strength(before, [stroke(LESS, 0.5, Box(0, 0, 12, 12))])
    inside = np.zeros((FRAME.height, FRAME.width), bool)
    inside[:12, :12] = True
    inside = inside[BOX.slices]
    np.testing.assert_array_equal(
        after.difference[inside], np.rint(before.difference[inside] / 2).astype(np.int16)
    )
    np.testing.assert_array_equal(after.difference[~inside], before.difference[~inside])
    assert after.difference.dtype == before.difference.dtype


def test_all_of_it_can_be_taken_and_given_back_to_the_bit() -> None:
    before, everywhere = layer(1), Box(0, 0, 24, 30)
    gone = with_strength(before, [stroke(LESS, 1.0, everywhere)])
    assert not gone.difference.any()
    back = [stroke(LESS, 1.0, everywhere), stroke(MORE, 1.0, everywhere)]
    np.testing.assert_array_equal(with_strength(before, back).difference, before.difference)


def test_what_was_not_painted_is_the_layer_itself() -> None:
    before = layer(2)
    assert with_strength(before, []) is before
    assert with_strength(before, [stroke(LESS, 0.5, Box(20, 25, 24, 30))]) is before


SHARES = st.floats(0.125, 1, width=32)
BOXES = st.tuples(st.integers(0, 20), st.integers(0, 25), st.integers(1, 24), st.integers(1, 30))


@given(st.lists(st.tuples(st.sampled_from([LESS, MORE]), SHARES, BOXES, SHARES), max_size=6))
def test_whatever_is_painted_a_layer_is_never_stronger_than_it_was(
    said: list[tuple[str, float, tuple[int, int, int, int], float]],
) -> None:
    strokes = [
        stroke(paint, amount, Box(top, left, top + down, left + across), alpha)
        for paint, amount, (top, left, down, across), alpha in said
    ]
    share = strength_map(strokes, FRAME)
    assert share.min() >= 0
    assert share.max() <= 1
    before = layer(3)
    after = with_strength(before, strokes).difference.astype(int)
    assert (np.abs(after) <= np.abs(before.difference.astype(int))).all()
    assert (after * before.difference >= 0).all()
