"""Masks of a person over the whole frame, against what sets and numpy's maximum say."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from evenhand.box import Box
from evenhand.people.drawing import LEAST_KEPT, joined, kept_mask, masks_of, on_view
from evenhand.people.parts import Parts
from evenhand.people.person import Mask, Region
from evenhand.people.views import View
from evenhand.photo.photograph import Photograph

SHAPE = (200, 160)
FRAME = Box(0, 0, *SHAPE)
HALF = np.array([[2.0, 0, 0.5], [0, 2.0, 0.5]])
VIEW = View(np.zeros((100, 80, 3), np.uint8), HALF)
FACE, ARM, HAIR = Box(20, 40, 90, 120), Box(120, 30, 190, 130), Box(10, 30, 40, 130)
EYE = Box(40, 60, 52, 76)


def photograph() -> Photograph:
    pixels = np.full((*SHAPE, 3), (60, 90, 170), np.uint8)
    for box, codes in ((FACE, (200, 150, 125)), (ARM, (200, 150, 125)), (HAIR, (40, 30, 20))):
        pixels[box.slices] = codes
    return Photograph(pixels)


def shown(box: Box, chance: float = 0.95) -> np.ndarray:
    field = np.zeros((100, 80), np.float32)
    field[box.top // 2 : box.bottom // 2, box.left // 2 : box.right // 2] = chance
    return field


def eye() -> Mask:
    return Mask(EYE, np.full((EYE.height, EYE.width), 0.8, np.float32))


def drawn() -> dict[Region, Mask]:
    regions = np.full((100, 80), list(Region).index(Region.FACE), np.uint8)
    regions[50:] = list(Region).index(Region.ARM)
    hair = shown(HAIR, 0.9)
    skin = np.maximum(shown(FACE), shown(ARM))
    skin[hair > 0] = 0.05
    parts = Parts(skin, regions, {Region.HAIR: hair}, shown(FACE), np.zeros_like(skin))
    return masks_of(photograph(), VIEW, parts, {Region.EYE: eye()})


def over(mask: Mask) -> np.ndarray:
    """A mask over the whole frame, by numpy's own indexing."""
    whole = np.zeros(SHAPE, np.float32)
    whole[mask.box.top : mask.box.bottom, mask.box.left : mask.box.right] = mask.alpha
    return whole


def test_each_region_lies_where_it_is_shown() -> None:
    masks = drawn()
    assert set(masks) == {Region.EYE, Region.FACE, Region.ARM, Region.HAIR}
    for region, box in ((Region.FACE, Box(44, 44, 86, 116)), (Region.ARM, Box(126, 36, 184, 124))):
        inside = over(masks[region])[box.slices]
        outside = over(masks[Region.EYE])[box.slices]
        np.testing.assert_allclose(inside, 1 - outside, atol=1e-6)
    assert over(masks[Region.FACE])[100:].max() == 0
    assert over(masks[Region.ARM])[:100].max() == 0


def test_no_pixel_is_skin_and_kept_at_once() -> None:
    masks = drawn()
    skin = np.maximum(over(masks[Region.FACE]), over(masks[Region.ARM]))
    for region in (Region.EYE, Region.HAIR):
        assert (skin + over(masks[region])).max() <= 1 + 1e-6
    assert np.array_equal(over(masks[Region.EYE]), over(eye()))


@pytest.mark.parametrize(
    ("one", "other"),
    [(Box(10, 10, 30, 40), Box(20, 5, 60, 30)), (Box(0, 0, 5, 5), Box(100, 100, 104, 110))],
)
def test_joined_is_the_larger_of_the_two(one: Box, other: Box) -> None:
    random = np.random.default_rng(1)
    first, second = (
        Mask(box, random.uniform(0, 1, (box.height, box.width)).astype(np.float32))
        for box in (one, other)
    )
    assert np.array_equal(over(joined(first, second)), np.maximum(over(first), over(second)))


def test_on_a_view_masks_are_as_cv2_resizes_them() -> None:
    """Sampled between pixels, as halving by bilinear interpolation does."""
    random = np.random.default_rng(2)
    masks = {
        region: Mask(box, random.uniform(0, 1, (box.height, box.width)).astype(np.float32))
        for region, box in ((Region.FACE, FACE), (Region.HAIR, HAIR))
    }
    halves = [
        cv2.resize(over(mask), (80, 100), interpolation=cv2.INTER_LINEAR) for mask in masks.values()
    ]
    np.testing.assert_allclose(on_view(masks, VIEW), np.maximum(*halves), atol=1e-5)


def test_a_region_of_which_nothing_is_left_has_no_mask() -> None:
    frame = photograph()
    assert kept_mask(frame, VIEW, shown(HAIR, LEAST_KEPT - 0.01), []) is None
    all_skin = Mask(FRAME, np.ones(SHAPE, np.float32))
    assert kept_mask(frame, VIEW, shown(HAIR), [all_skin]) is None
    half_skin = Mask(FRAME, np.full(SHAPE, 0.6, np.float32))
    mask = kept_mask(frame, VIEW, shown(HAIR), [half_skin])
    assert mask is not None
    assert mask.alpha.max() == pytest.approx(0.4)
