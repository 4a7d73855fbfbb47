"""Oklab against the published pairs and colour-science."""

import colour
import numpy as np

from evenhand.colour.oklab import oklab_of
from evenhand.colour.primaries import WORKING_TO_XYZ, XYZ_TO_WORKING
from tests.colour.published import columns


def random_light(shape=(40, 30)):
    return np.random.default_rng(4).uniform(-0.05, 1.2, (*shape, 3))


def test_published_pairs():
    xyz = np.stack(columns("oklab_pairs.csv", "X", "Y", "Z"), axis=-1)
    expected = np.stack(columns("oklab_pairs.csv", "L", "a", "b"), axis=-1)
    computed = oklab_of(xyz @ XYZ_TO_WORKING.T)
    # Ottosson's own four rows have three places, the others eight.
    np.testing.assert_allclose(computed[:4], expected[:4], atol=6e-4)
    np.testing.assert_allclose(computed[4:], expected[4:], atol=1e-6)


def test_colour_science_agrees():
    light = random_light()
    expected = colour.XYZ_to_Oklab(light @ WORKING_TO_XYZ.T)
    np.testing.assert_allclose(oklab_of(light), expected, atol=1e-7)


def test_any_shape():
    light = random_light((4, 6)).astype(np.float32)
    flat = oklab_of(light.reshape(-1, 3))
    np.testing.assert_array_equal(oklab_of(light.reshape(2, 2, 6, 3)).reshape(-1, 3), flat)
    np.testing.assert_array_equal(oklab_of(light[1, 2]), flat[8])


def test_nan_stays_in_its_pixel():
    light = np.full((3, 3), 0.4)
    light[1, 0] = np.nan
    oklab = oklab_of(light)
    assert np.isnan(oklab[1]).all()
    assert np.isfinite(oklab[[0, 2]]).all()
