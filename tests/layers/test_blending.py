"""The blend against its formula, written out pixel by pixel."""

import numpy as np
import pytest

from evenhand.box import Box
from evenhand.errors import WrongSettingError
from evenhand.layers import Layer, blend
from evenhand.layers.blending import apart
from evenhand.layers.dither import thresholds
from tests.layers import made


def random_layer(seed, shape, depth, step="redness"):
    random = np.random.default_rng(seed)
    box = made.box_in(seed, shape)
    largest = 600 if depth == 8 else 3000
    difference = random.integers(-largest, largest + 1, (box.height, box.width, 3))
    difference *= random.uniform(size=(box.height, box.width, 1)) < 0.6
    return Layer(step, 0, box, difference.astype(np.int32), 64 if depth == 8 else 1, 10.0)


def by_hand(photograph, layers, strengths):
    """The formula of the module's first lines, in Python's whole numbers."""
    result = photograph.pixels.copy()
    eight = photograph.pixels.dtype == np.uint8
    for row, column, channel in np.ndindex(*photograph.pixels.shape):
        total = 0
        for layer, strength in zip(layers, strengths, strict=True):
            box = layer.box
            if box.top <= row < box.bottom and box.left <= column < box.right:
                here = layer.difference[row - box.top, column - box.left, channel]
                total += round(1024 * strength) * int(here)
        original = int(photograph.pixels[row, column, channel])
        if eight:
            threshold = (49471 * column + 37345 * row + 21845 * channel) % 65536
            value = (original * 65536 + total + threshold) // 65536
        else:
            value = (original * 1024 + total + 512) // 1024
        result[row, column, channel] = min(max(value, 0), photograph.white)
    return result


@pytest.mark.parametrize("depth", [8, 16])
@pytest.mark.parametrize("seed", range(4))
def test_the_formula(depth, seed):
    photograph = made.photograph_of(seed, (30, 26), depth)
    layers = [random_layer(10 * seed + k, photograph.shape, depth) for k in range(3)]
    strengths = [1.0, 0.37, 0.5004]
    expected = by_hand(photograph, layers, strengths)
    np.testing.assert_array_equal(blend(photograph, layers, strengths), expected)


@pytest.mark.parametrize("depth", [8, 16])
def test_order_does_not_matter(depth):
    photograph = made.photograph_of(1, (30, 26), depth)
    layers = [random_layer(k, photograph.shape, depth) for k in range(4)]
    strengths = [0.1, 0.9, 0.4, 1.0]
    np.testing.assert_array_equal(
        blend(photograph, layers, strengths), blend(photograph, layers[::-1], strengths[::-1])
    )


def test_strengths_by_step():
    photograph = made.photograph_of(2)
    layers = [random_layer(k, photograph.shape, 8, step) for k, step in enumerate(["a", "b", "a"])]
    np.testing.assert_array_equal(
        blend(photograph, layers, {"a": 0.25, "b": 0.75, "c": 1}),
        blend(photograph, layers, [0.25, 0.75, 0.25]),
    )


@pytest.mark.parametrize(
    ("strengths", "message"),
    [
        ({"marks": 1.0}, "No strength is given for redness"),
        ([], "1 layers but 0 strengths"),
        ([1.01], "not between 0 and 1"),
        ([-0.1], "not between 0 and 1"),
        ([float("nan")], "not between 0 and 1"),
    ],
)
def test_wrong_strengths_are_told(strengths, message):
    photograph = made.photograph_of(3)
    with pytest.raises(WrongSettingError, match=message):
        blend(photograph, [random_layer(1, photograph.shape, 8)], strengths)


def test_thresholds_do_not_depend_on_the_box():
    whole = thresholds(Box(0, 0, 90, 70))
    np.testing.assert_array_equal(thresholds(Box(31, 7, 60, 44)), whole[31:60, 7:44])
    far = thresholds(Box(10**6, 10**6, 10**6 + 1, 10**6 + 1))
    assert far[0, 0].tolist() == [(10**6 * 86816 + 21845 * c) % 65536 for c in range(3)]


def test_thresholds_are_even():
    # Every sixteenth of the range holds a sixteenth of the pixels, in any small square.
    pattern = thresholds(Box(0, 0, 256, 256))
    shares = np.bincount((pattern >> 12).reshape(-1), minlength=16) / pattern.size
    np.testing.assert_allclose(shares, 1 / 16, atol=5e-4)
    small = (pattern >> 14).reshape(32, 8, 32, 8, 3)
    counts = np.stack([(small == k).sum(axis=(1, 3)) for k in range(4)])
    assert counts.min() >= 12
    assert counts.max() <= 20


def test_boxes_that_meet_are_joined():
    first, second, third = Box(0, 0, 4, 4), Box(3, 3, 8, 8), Box(20, 20, 22, 22)
    assert sorted(apart([first, third, second])) == [Box(0, 0, 8, 8), third]
    # The joint box of two can meet a third that neither met.
    corner = Box(0, 6, 2, 8)
    assert apart([corner, first, second]) == [Box(0, 0, 8, 8)]
    assert apart([Box(1, 1, 1, 1)]) == []
