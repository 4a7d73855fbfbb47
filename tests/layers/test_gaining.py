"""The compiled pass for gains gives what the general way gives."""

from __future__ import annotations

import numpy as np
import pytest
from PIL import ImageCms

from evenhand.box import Box
from evenhand.layers.making import layer_from_change
from evenhand.people.person import Region
from evenhand.photo.photograph import Photograph
from evenhand.steps.gain import Gain
from evenhand.steps.patch import Change, SkinPatch

PROFILES = [None, ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()]


@pytest.mark.parametrize("profile", PROFILES)
@pytest.mark.parametrize("dtype", [np.uint8, np.uint16])
@pytest.mark.parametrize(("strength", "cap"), [(0.02, 20.0), (0.3, 20.0), (0.3, 2.0), (2.0, 40.0)])
def test_as_the_general_way(
    profile: bytes | None, dtype: type[np.generic], strength: float, cap: float
) -> None:
    gain, photograph = made(profile, dtype, strength)
    mask = gain.patch.skin
    quick = layer_from_change(photograph, 0, "even", gain.patch.box, gain, mask, cap)
    slow = layer_from_change(
        photograph, 0, "even", gain.patch.box, Change(gain.wanted, {}), mask, cap
    )
    assert quick.cap == slow.cap
    both = quick.box.union(slow.box)
    difference = spread(quick, both) - spread(slow, both)
    # Units are a 64th of an 8-bit code value or a whole 16-bit one. The two ways may round
    # differently by one; where a cap shortens, its last correction multiplies that.
    assert np.abs(difference).max() <= (16 if cap < 20 else 2)
    assert np.abs(difference).mean() < 0.02
    outside = np.zeros(photograph.shape, bool)
    outside[gain.patch.box.slices] = mask > 0
    assert not spread(quick, photograph.frame)[~outside].any()


@pytest.mark.parametrize("bad", [np.nan, np.inf, -np.inf])
def test_gains_that_are_no_number_are_left_alone(bad: float) -> None:
    gain, photograph = made(None, np.uint8, 0.3)
    gain.log_gain[:] = bad
    layer = layer_from_change(photograph, 0, "even", gain.patch.box, gain, gain.patch.skin, 20.0)
    assert layer.box.area == 0


def made(profile: bytes | None, dtype: type[np.generic], strength: float) -> tuple:
    random = np.random.default_rng(3)
    white = np.iinfo(dtype).max
    codes = random.integers(0, white + 1, (70, 90, 3)).astype(dtype)
    photograph = Photograph(pixels=codes, profile=profile)
    box = Box(3, 5, 68, 85)
    skin = random.uniform(-0.5, 1.2, (box.height, box.width)).clip(0, 1).astype(np.float32)
    patch = SkinPatch(
        box, photograph.encoding.to_linear(codes[box.slices]), {Region.FACE: skin}, 0.5
    )
    log_gain = random.normal(0, strength, (9, 11, 3)).astype(np.float32)
    return Gain(patch, log_gain), photograph


def spread(layer, frame: Box) -> np.ndarray:
    whole = np.zeros((frame.height, frame.width, 3), np.int32)
    whole[layer.box.within(frame)] = layer.difference
    return whole


def test_a_window_is_cut_from_the_whole() -> None:
    gain, _ = made(None, np.uint8, 0.3)
    window = slice(10, 40), slice(20, 70)
    assert np.allclose(gain.window(*window), gain.wanted[window], atol=2e-4)
