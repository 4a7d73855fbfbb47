"""Pictures to look at, against Pillow and against means taken by hand."""

from __future__ import annotations

import io

import numpy as np
import pytest
from PIL import Image, ImageCms

from evenhand.jobs.pictures import fitted, jpeg, png, resized, srgb_picture
from evenhand.photo.photograph import Photograph

CODES = np.random.default_rng(5).integers(0, 256, (48, 64, 3), np.uint8)


@pytest.mark.parametrize("size", [0, 400, 70_000, 200_000])
def test_a_profile_comes_back_whole(size: int) -> None:
    """Pillow joins the segments of a profile as ICC.1:2022, annex B.4 says."""
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes() + bytes(size)
    with Image.open(io.BytesIO(jpeg(CODES, profile))) as picture:
        assert picture.info["icc_profile"] == profile
        assert picture.size == (64, 48)
        picture.load()


def test_a_jpeg_is_near_and_a_png_exact() -> None:
    flat = np.full((32, 32, 3), (180, 120, 100), np.uint8)
    near = np.asarray(Image.open(io.BytesIO(jpeg(flat)))).astype(int)
    assert np.abs(near - flat).max() <= 2
    np.testing.assert_array_equal(np.asarray(Image.open(io.BytesIO(png(CODES)))), CODES)


def test_smaller_is_the_mean() -> None:
    expected = CODES.reshape(12, 4, 16, 4, 3).mean((1, 3))
    np.testing.assert_allclose(resized(CODES, (12, 16)), expected, atol=1e-3)


@pytest.mark.parametrize(
    ("shape", "side", "expected"),
    [((400, 600), 300, (200, 300)), ((400, 600), 900, (400, 600)), ((10_000, 3), 100, (100, 1))],
)
def test_sizes_that_fit(shape: tuple[int, int], side: int, expected: tuple[int, int]) -> None:
    assert fitted(shape, side) == expected


def test_a_sheet_picture_of_srgb_is_unchanged() -> None:
    flat = np.full((32, 32, 3), (180, 120, 100), np.uint8)
    shown = np.asarray(Image.open(io.BytesIO(srgb_picture(Photograph(flat), 32)))).astype(int)
    assert np.abs(shown - flat).max() <= 2
