"""The cap of the sum."""

from dataclasses import replace

import numpy as np
import pytest

from evenhand.box import Box
from evenhand.errors import WrongSettingError
from evenhand.layers import blend, layer_from_change, limit_sum
from evenhand.steps.patch import Change
from tests.layers import made


def layers_on(photograph, boxes, factor=0.8, cap=6.0):
    layers = []
    for person, box in enumerate(boxes):
        wanted = photograph.encoding.to_linear(photograph.pixels[box.slices]) * np.float32(factor)
        mask = np.ones((box.height, box.width), np.float32)
        layers.append(layer_from_change(photograph, person, "tone", box, Change(wanted), mask, cap))
    return layers


@pytest.mark.parametrize("depth", [8, 16])
def test_only_where_layers_meet_are_they_shortened(depth):
    photograph = made.photograph_of(1, (40, 40), depth)
    layers = layers_on(photograph, [Box(0, 0, 20, 20), Box(10, 10, 30, 30)])
    limited = limit_sum(photograph, layers, 7.0)
    meeting = [(slice(10, 20),) * 2, (slice(0, 10),) * 2]
    for before, after, place in zip(layers, limited, meeting, strict=True):
        apart = np.ones(before.difference.shape[:2], bool)
        apart[place] = False
        np.testing.assert_array_equal(after.difference[apart], before.difference[apart])
        assert (np.abs(after.difference[place]) < np.abs(before.difference[place])).any()
        assert replace(after, difference=None) == replace(before, difference=None)


def test_the_layers_given_are_not_changed():
    photograph = made.photograph_of(2, (30, 30))
    layers = layers_on(photograph, [Box(0, 0, 20, 20), Box(5, 5, 30, 30)])
    copies = [layer.difference.copy() for layer in layers]
    limit_sum(photograph, layers, 3.0)
    for layer, copy in zip(layers, copies, strict=True):
        np.testing.assert_array_equal(layer.difference, copy)


def test_a_wide_cap_changes_nothing_inside_the_range():
    photograph = made.photograph_of(3, (30, 30))
    grey = (photograph.pixels // 2 + 64).astype(np.uint8)
    photograph = type(photograph)(grey)
    layers = layers_on(photograph, [Box(0, 0, 20, 20), Box(5, 5, 30, 30)], cap=3.0)
    for before, after in zip(layers, limit_sum(photograph, layers, 40.0), strict=True):
        np.testing.assert_array_equal(after.difference, before.difference)


def test_a_layer_alone_past_the_cap_of_the_sum_is_shortened():
    photograph = made.photograph_of(4, (20, 20), 16)
    (layer,) = layers_on(photograph, [Box(0, 0, 20, 20)], cap=20.0)
    (limited,) = limit_sum(photograph, [layer], 2.0)
    assert (np.abs(limited.difference) <= np.abs(layer.difference)).all()
    assert np.abs(limited.difference).sum() < np.abs(layer.difference).sum() / 2


@pytest.mark.parametrize("depth", [8, 16])
def test_no_sum_is_clipped(depth):
    # Nearly white and made lighter by two layers: without the limit they would clip.
    photograph = made.photograph_of(5, (20, 20), depth)
    light = np.full_like(photograph.pixels, photograph.white - photograph.white // 50)
    photograph = type(photograph)(light)
    layers = layers_on(photograph, [Box(0, 0, 20, 20)] * 2, factor=1.03, cap=10.0)
    limited = limit_sum(photograph, layers, 20.0)
    steps = layers[0].steps_per_code
    total = sum(layer.difference for layer in limited) + light.astype(np.int64) * steps
    assert total.max() <= photograph.white * steps
    raw = sum(layer.difference for layer in layers) + light.astype(np.int64) * steps
    assert raw.max() > photograph.white * steps


def test_the_sum_of_none_is_none():
    photograph = made.photograph_of(6)
    assert limit_sum(photograph, [], 5.0) == []
    np.testing.assert_array_equal(blend(photograph, [], {}), photograph.pixels)


@pytest.mark.parametrize("cap", [0, -1, float("nan")])
def test_caps_that_are_none_are_refused(cap):
    with pytest.raises(WrongSettingError, match="not above zero"):
        limit_sum(made.photograph_of(7), [], cap)
