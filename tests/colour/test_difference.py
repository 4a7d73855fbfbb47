"""CIEDE2000 against its published pairs and scikit-image."""

import numpy as np
import pytest
import skimage.color

from evenhand.colour.difference import ciede2000, ciede2000_bound
from tests.colour.published import columns

PUBLISHED_TOLERANCE = 1e-4
"""The table has four places."""

ORACLE_TOLERANCE = 1e-4
"""Against scikit-image: we spare the turn of hue more than a right angle from blue."""

NARROW_TOLERANCE = 2e-3
"""Of float32 against float64, for differences up to 150."""


def published():
    names = ("L1", "a1", "b1", "L2", "a2", "b2", "dE00")
    values = np.stack(columns("ciede2000_sharma.csv", *names), axis=-1)
    return values[:, :3], values[:, 3:6], values[:, 6]


def random_lab(seed, shape=(60, 50)):
    random = np.random.default_rng(seed)
    return random.uniform([0, -90, -90], [100, 90, 90], (*shape, 3))


def test_there_are_34_pairs():
    assert len(published()[2]) == 34


@pytest.mark.parametrize("swapped", [False, True])
def test_published_pairs(swapped):
    first, second, expected = published()
    if swapped:
        first, second = second, first
    np.testing.assert_allclose(ciede2000(first, second), expected, atol=PUBLISHED_TOLERANCE)


def test_published_pairs_in_float32():
    first, second, expected = published()
    computed = ciede2000(first.astype(np.float32), second.astype(np.float32))
    assert computed.dtype == np.float32
    np.testing.assert_allclose(computed, expected, atol=2 * PUBLISHED_TOLERANCE)


def test_scikit_image_agrees():
    first, second = random_lab(1), random_lab(2)
    expected = skimage.color.deltaE_ciede2000(first, second)
    np.testing.assert_allclose(ciede2000(first, second), expected, atol=ORACLE_TOLERANCE)


def test_scikit_image_agrees_on_small_differences():
    first = random_lab(3)
    second = first + np.random.default_rng(4).normal(0, 0.5, first.shape)
    expected = skimage.color.deltaE_ciede2000(first, second)
    np.testing.assert_allclose(ciede2000(first, second), expected, atol=ORACLE_TOLERANCE)


def test_float32_is_near_float64():
    first, second = random_lab(5, (30000,)), random_lab(6, (30000,))
    hues = [np.arctan2(lab[:, 2], lab[:, 1]) for lab in (first, second)]
    # Next to opposite hues the mean hue, and the formula with it, hangs on the last bit.
    clear = np.cos(hues[0] - hues[1]) > np.cos(np.radians(178))
    narrow = ciede2000(first.astype(np.float32), second.astype(np.float32))
    np.testing.assert_allclose(
        narrow[clear], ciede2000(first, second)[clear], atol=NARROW_TOLERANCE
    )


def test_equal_colours_differ_by_nothing():
    lab = random_lab(7)
    assert (ciede2000(lab, lab) == 0).all()


def test_greys_differ_in_lightness_alone():
    # With a* = b* = 0 the formula is the difference of L* over S_L; at L* 45 and 55 S_L is 1.
    assert ciede2000(np.array([45.0, 0, 0]), np.array([55.0, 0, 0])) == pytest.approx(10)


def test_any_shape_and_broadcasting():
    first, second = random_lab(8, (4, 6)), random_lab(9, (4, 6))
    flat = ciede2000(first.reshape(-1, 3), second.reshape(-1, 3))
    np.testing.assert_array_equal(ciede2000(first, second).reshape(-1), flat)
    assert ciede2000(first[1, 2], second[1, 2]) == flat[8]
    np.testing.assert_array_equal(
        ciede2000(first, second[1, 2]), ciede2000(first, np.broadcast_to(second[1, 2], first.shape))
    )


def test_nan_stays_in_its_pixel():
    first, second = random_lab(10, (3,)), random_lab(11, (3,))
    first[1, 2] = np.nan
    difference = ciede2000(first, second)
    assert np.isnan(difference).tolist() == [False, True, False]


def test_other_shapes_are_refused():
    with pytest.raises(ValueError, match="last axis of 3"):
        ciede2000(np.zeros((3, 4)), np.zeros((3, 4)))


def test_the_bound_is_never_less():
    first, second = random_lab(12), random_lab(13)
    assert (ciede2000_bound(first, second) >= ciede2000(first, second) - 1e-12).all()


def test_the_bound_is_ciede2000_within_a_right_angle_of_hue():
    first = random_lab(14)
    second = first + np.random.default_rng(15).normal(0, 10, first.shape)
    near = (first[..., 1:] * second[..., 1:]).sum(axis=-1) > 0.2 * 90**2
    assert near.sum() > 100
    np.testing.assert_array_equal(
        ciede2000_bound(first, second)[near], ciede2000(first, second)[near]
    )


def test_the_bound_bridges_the_jump_at_opposite_hues():
    # Pairs 9 to 12 and 13 to 15 of the published table: 0.0001 of b* makes 7.2195 of 7.1792.
    first, second, expected = published()
    for pairs in (slice(8, 12), slice(12, 15)):
        bound = ciede2000_bound(first[pairs], second[pairs])
        assert np.ptp(expected[pairs]) > 0.04
        assert np.ptp(bound) < 1e-3
        assert bound == pytest.approx(expected[pairs].max(), abs=1e-3)
