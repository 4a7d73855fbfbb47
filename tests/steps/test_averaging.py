"""Averages over coarse pixels against OpenCV's area interpolation, the general-purpose library."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from evenhand.box import Box
from evenhand.colour.encoding import encoding_of
from evenhand.people.person import Mask
from evenhand.steps.averaging import mean_light, mean_share

FLOAT_ERROR = 5e-7
# A few roundings of float32 near 1: both add up in other orders.


@pytest.mark.parametrize("size", [(131, 97), (50, 41), (33, 97), (1, 1)])
@pytest.mark.parametrize("dtype", [np.uint8, np.uint16])
def test_light_is_averaged_as_opencv_does(size: tuple[int, int], dtype: type) -> None:
    random = np.random.default_rng(1)
    codes = random.integers(0, np.iinfo(dtype).max + 1, (97, 131, 3)).astype(dtype)
    skin = random.uniform(-1, 1.2, (97, 131)).clip(0, 1).astype(np.float32)
    encoding = encoding_of(None)
    tables = encoding.light_tables(8 * codes.dtype.itemsize)
    found = mean_light(codes, tables, skin, size)
    weighted = encoding.to_linear(codes) * skin[..., None]
    expected = cv2.resize(weighted, size, interpolation=cv2.INTER_AREA).reshape(found.shape)
    np.testing.assert_allclose(found, expected, atol=FLOAT_ERROR)


@pytest.mark.parametrize("box", [Box(0, 0, 97, 131), Box(11, 7, 60, 55), Box(96, 0, 97, 131)])
def test_mask_in_part_of_a_patch_is_averaged_as_if_laid_out(box: Box) -> None:
    whole = np.zeros((97, 131), np.float32)
    whole[box.slices] = np.random.default_rng(2).uniform(0, 1, (box.height, box.width))
    found = mean_share(Mask(box, whole[box.slices]), whole.shape, (50, 41))
    expected = cv2.resize(whole, (50, 41), interpolation=cv2.INTER_AREA)
    np.testing.assert_allclose(found, expected, atol=FLOAT_ERROR)
