"""Averages over parts of a layer, against averaging the whole frame."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from evenhand.box import Box
from evenhand.jobs.pictures import resized
from evenhand.layers.layer import Layer
from evenhand.web.previews import View, area_weights, part_of


@given(st.integers(1, 200), st.integers(1, 200), st.data())
def test_weights_of_a_whole_line_add_up_to_one(length: int, new: int, data: st.DataObject) -> None:
    new = min(new, length)
    found = area_weights((0, length), length, new)
    assert found.first == 0
    weights = np.zeros((new, length + found.weights.shape[1]))
    for row, (start, those) in enumerate(zip(found.old, found.weights, strict=True)):
        weights[row, start : start + len(those)] = those
    assert not weights[:, length:].any()
    weights = weights[:, :length]
    np.testing.assert_allclose(weights.sum(1), 1, atol=1e-5)
    np.testing.assert_allclose(weights.sum(0), new / length, atol=1e-5)


@settings(max_examples=60, deadline=None)
@given(st.data())
def test_a_layer_made_smaller_is_the_frame_made_smaller(data: st.DataObject) -> None:
    height, width = data.draw(st.integers(8, 60)), data.draw(st.integers(8, 60))

    def box() -> Box:
        top, left = data.draw(st.integers(0, height - 2)), data.draw(st.integers(0, width - 2))
        bottom = data.draw(st.integers(top + 1, height))
        return Box(top, left, bottom, data.draw(st.integers(left + 1, width)))

    where, region = box(), box()
    seed = data.draw(st.integers(0, 2**16))
    difference = np.random.default_rng(seed).integers(
        -6400, 6400, (where.height, where.width, 3), np.int32
    )
    shape = (data.draw(st.integers(1, region.height)), data.draw(st.integers(1, region.width)))
    whole = np.zeros((height, width, 3), np.float32)
    whole[where.slices] = difference
    expected = resized(np.ascontiguousarray(whole[region.slices]), shape)
    part = part_of(Layer("redness", 0, where, difference, 64, 8.0), View(region, shape), 1.0)
    found = np.zeros((*shape, 3), np.float32)
    if part is not None:
        found[part.box.slices] = part.codes
    np.testing.assert_allclose(found, expected, atol=2.0)  # of 6400: OpenCV's own rounding
