"""L*a*b* under D65 against published values, colour-science and scikit-image."""

import colour
import numpy as np
import pytest
import skimage.color

from evenhand.colour.lab import lab_of
from evenhand.colour.primaries import WORKING_TO_XYZ, XYZ_TO_WORKING

SAMPLE = XYZ_TO_WORKING @ [0.20654008, 0.12197225, 0.05136952]
"""A colour from the tests of colour-science, as working light."""


def random_light(shape=(40, 30)):
    return np.random.default_rng(3).uniform(-0.05, 1.2, (*shape, 3))


def test_published_value_under_d65():
    # colour-science, colour/models/tests/test_cie_lab.py
    np.testing.assert_allclose(lab_of(SAMPLE), [41.52787529, 52.63858304, 26.92317922], atol=1e-6)


def test_it_is_not_the_value_under_d50():
    # The same test there: b* is 19.918 under D50, and a mix-up of whites would go unseen.
    assert abs(lab_of(SAMPLE)[2] - 19.91843098) > 7


def test_white_grey_and_black():
    np.testing.assert_allclose(lab_of(np.ones(3)), [100, 0, 0], atol=1e-9)
    np.testing.assert_allclose(lab_of(np.zeros(3)), [0, 0, 0], atol=1e-9)
    # Half of L* at 18.4 % of white: ((50 + 16) / 116)^3
    np.testing.assert_allclose(lab_of(np.full(3, (66 / 116) ** 3)), [50, 0, 0], atol=1e-9)


def test_colour_science_agrees():
    light = random_light()
    xyz = light @ WORKING_TO_XYZ.T
    expected = colour.XYZ_to_Lab(xyz, np.array([0.3127, 0.3290]))
    np.testing.assert_allclose(lab_of(light), expected, atol=1e-9)


def test_scikit_image_agrees():
    light = np.abs(random_light())
    expected = skimage.color.xyz2lab(light @ WORKING_TO_XYZ.T, illuminant="D65", observer="2")
    # Its white is (0.95047, 1, 1.08883), ours that of the chromaticity (0.3127, 0.3290).
    np.testing.assert_allclose(lab_of(light), expected, atol=2e-2)


def test_float32_is_near_float64():
    light = random_light((300, 200))
    wide = lab_of(light)
    narrow = lab_of(light.astype(np.float32))
    assert narrow.dtype == np.float32
    np.testing.assert_allclose(narrow, wide, atol=2e-4)


def test_any_shape():
    light = random_light((4, 6)).astype(np.float32)
    flat = lab_of(light.reshape(-1, 3))
    np.testing.assert_array_equal(lab_of(light.reshape(2, 2, 6, 3)).reshape(-1, 3), flat)
    np.testing.assert_array_equal(lab_of(light[1, 2]), flat[8])
    assert lab_of(light[:0]).shape == (0, 6, 3)


def test_nan_stays_in_its_pixel():
    light = np.full((3, 3), 0.4)
    light[1, 0] = np.nan
    lab = lab_of(light)
    assert np.isnan(lab[1]).any()
    assert np.isfinite(lab[[0, 2]]).all()


@pytest.mark.parametrize("shape", [(), (4,), (3, 2)])
def test_other_shapes_are_refused(shape):
    with pytest.raises(ValueError, match="last axis of 3"):
        lab_of(np.zeros(shape))
