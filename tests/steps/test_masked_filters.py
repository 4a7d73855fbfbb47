"""Averages over skin, against scipy's Gaussian and OpenCV's own guided filter."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from scipy.ndimage import gaussian_filter

from evenhand.steps.masked_filters import blur, guided

SHAPE = (60, 80)
RADIUS, CONTRAST = 4, 0.1


def noise(seed: int) -> np.ndarray:
    return np.random.default_rng(seed).uniform(0, 1, SHAPE).astype(np.float32)


def skin() -> np.ndarray:
    """All of the picture but a corner, with a soft edge."""
    rows, columns = np.mgrid[: SHAPE[0], : SHAPE[1]]
    return np.clip((rows + columns - 40) / 6, 0, 1).astype(np.float32)


@pytest.mark.parametrize("sigma", [1.0, 4.0])
def test_blur_is_the_normalised_convolution_with_a_gaussian(sigma: float) -> None:
    """H. Knutsson, C.-F. Westin, CVPR 1993, 515-523: weighted sum over the sum of weights."""
    values, weight = noise(1), skin()

    def smooth(picture: np.ndarray) -> np.ndarray:
        return gaussian_filter(picture.astype(float), sigma, mode="mirror", truncate=3.0)

    expected = smooth(values * weight) / np.maximum(smooth(weight), 1e-12)
    where = smooth(weight) > 0.01
    np.testing.assert_allclose(blur(values, weight, sigma)[where], expected[where], atol=1e-3)


def test_each_channel_is_blurred_by_itself() -> None:
    values, weight = np.dstack([noise(1), noise(2), noise(3)]), skin()
    together = blur(values, weight, 3.0)
    for channel in range(3):
        np.testing.assert_allclose(together[..., channel], blur(values[..., channel], weight, 3.0))


@pytest.mark.parametrize("radius", [1, 4, 5, 7, 8])
def test_guided_is_the_guided_filter_where_all_is_skin(radius: int) -> None:
    values, guide = noise(4), noise(5)
    ours = guided(values, guide, np.ones(SHAPE, np.float32), radius, CONTRAST)
    theirs = cv2.ximgproc.guidedFilter(guide, values, radius, CONTRAST**2)
    np.testing.assert_allclose(ours, theirs, atol=1e-4)


@pytest.mark.parametrize("radius", [4, 5, 5.4, 4.6])
def test_guided_reaches_twice_its_radius(radius: float) -> None:
    """Means of means over windows of 2 r + 1 pixels (He, Sun, Tang, TPAMI 35(6), 2013)."""
    point, guide = np.zeros(SHAPE, np.float32), np.zeros(SHAPE, np.float32)
    point[30, 40] = 1
    spread = guided(point, guide, np.ones(SHAPE, np.float32), radius, CONTRAST)
    rows, columns = np.nonzero(spread > 1e-6)
    assert np.ptp(rows) == np.ptp(columns) == 4 * round(radius)


def test_what_is_no_skin_does_not_leak_in() -> None:
    values, guide, weight = noise(6), noise(7), skin()
    outside = weight == 0
    other, other_guide = values.copy(), guide.copy()
    other[outside], other_guide[outside] = 9, 9
    inside = weight > 0
    for one, two in (
        (blur(values, weight, 3.0), blur(other, weight, 3.0)),
        (
            guided(values, guide, weight, RADIUS, CONTRAST),
            guided(other, other_guide, weight, RADIUS, CONTRAST),
        ),
    ):
        np.testing.assert_allclose(one[inside], two[inside], atol=1e-5)


def test_an_edge_of_the_guide_is_kept_and_a_small_difference_is_not() -> None:
    edge = np.where(np.arange(SHAPE[1]) < 40, 0.0, 1.0) + np.zeros((SHAPE[0], 1))
    edge = edge.astype(np.float32)
    everywhere = np.ones(SHAPE, np.float32)
    kept = guided(edge, edge, everywhere, RADIUS, CONTRAST)
    gone = guided(0.01 * edge, 0.01 * edge, everywhere, RADIUS, CONTRAST)
    assert (kept[:, 40] - kept[:, 39]).min() > 0.9
    assert (gone[:, 40] - gone[:, 39]).max() < 0.2 * 0.01
