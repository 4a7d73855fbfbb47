"""Layers from wanted changes."""

import numpy as np
import pytest

from evenhand.box import Box
from evenhand.errors import WrongSettingError
from evenhand.layers import blend, layer_from_change
from evenhand.steps.patch import Change
from tests.layers import made

BOX = Box(3, 4, 20, 18)


def layer_of(photograph, wanted, mask=None, cap=20.0, box=BOX):
    if mask is None:
        mask = np.ones((box.height, box.width), np.float32)
    return layer_from_change(photograph, 2, "redness", box, Change(wanted), mask, cap, {"k": 1})


@pytest.mark.parametrize("profile", made.PROFILES)
@pytest.mark.parametrize("depth", [8, 16])
def test_the_wanted_colour_is_reached_inside_cap_and_mask(depth, profile):
    photograph = made.photograph_of(1, depth=depth, profile=profile)
    grey = photograph.pixels // 2 + photograph.white // 4
    photograph = type(photograph)(grey, photograph.profile)
    linear = photograph.encoding.to_linear(grey[BOX.slices])
    wanted = (linear * 0.97).astype(np.float32)
    result = blend(photograph, [layer_of(photograph, wanted)], [1.0])
    expected = photograph.encoding.from_linear(wanted, photograph.white)
    away = np.abs(result[BOX.slices].astype(float) - expected)
    # A dithered code value off at most, and half of one on 16 bits (tables: see test_encoding).
    assert away.max() <= (1.1 if depth == 8 else 25 if profile == "tables" else 1.1)


def test_dither_keeps_the_mean():
    # A change of a quarter of a code value shows as a quarter of the pixels moved by one.
    photograph = made.photograph_of(1, (64, 64))
    flat = np.full_like(photograph.pixels, 130)
    photograph = type(photograph)(flat)
    box = photograph.frame
    codes = np.full((64, 64, 3), 130.25) * 257
    wanted = photograph.encoding.to_linear(np.rint(codes).astype(np.uint16))
    result = blend(photograph, [layer_of(photograph, wanted, box=box)], [1.0])
    assert set(np.unique(result)) == {130, 131}
    np.testing.assert_allclose((result == 131).mean(axis=(0, 1)), 0.25, atol=0.01)


def test_nothing_wanted_is_an_empty_layer():
    photograph = made.photograph_of(2)
    linear = photograph.encoding.to_linear(photograph.pixels[BOX.slices])
    layer = layer_of(photograph, linear)
    assert layer.box.area == 0
    np.testing.assert_array_equal(blend(photograph, [layer], [1.0]), photograph.pixels)


def test_the_layer_is_cut_to_what_changes():
    photograph = made.photograph_of(3)
    wanted = photograph.encoding.to_linear(photograph.pixels[BOX.slices])
    wanted[5:7, 2:9] *= 0.8
    layer = layer_of(photograph, wanted)
    assert layer.box == Box(8, 6, 10, 13)
    assert layer.difference.shape == (2, 7, 3)
    assert layer.difference.dtype == np.int16
    assert (layer.step, layer.person, layer.cap, layer.settings) == ("redness", 2, 20.0, {"k": 1})


@pytest.mark.parametrize("bad", [np.nan, np.inf, -np.inf])
def test_colours_that_are_no_number_are_left_alone(bad):
    photograph = made.photograph_of(4)
    wanted = photograph.encoding.to_linear(photograph.pixels[BOX.slices]) * np.float32(0.9)
    wanted[2, 3, 1] = bad
    result = blend(photograph, [layer_of(photograph, wanted)], [1.0])
    at = (BOX.top + 2, BOX.left + 3)
    np.testing.assert_array_equal(result[at], photograph.pixels[at])
    assert (result != photograph.pixels).any()


@pytest.mark.parametrize("cap", [0, -1, float("nan"), float("inf")])
def test_caps_that_are_none_are_refused(cap):
    photograph = made.photograph_of(5)
    wanted = photograph.encoding.to_linear(photograph.pixels[BOX.slices])
    with pytest.raises(WrongSettingError, match="not above zero"):
        layer_of(photograph, wanted, cap=cap)


def test_changes_that_miss_their_box_are_refused():
    photograph = made.photograph_of(6)
    with pytest.raises(ValueError, match="misses"):
        layer_of(photograph, np.zeros((4, 4, 3), np.float32))
