"""Individual typology angle against the Monk scale's values and the published groups."""

import numpy as np
import pytest

from evenhand.colour.encoding import encoding_of
from evenhand.colour.lab import lab_of
from tests.colour.published import columns
from tests.colour.typology import Typology, typology, typology_angle


def monk_lab():
    codes = np.stack(columns("monk_skin_tone.csv", "R", "G", "B"), axis=-1).astype(np.uint8)
    return lab_of(encoding_of(None).to_linear(codes).astype(np.float64))


def test_lab_of_the_ten_tones():
    expected = np.stack(columns("monk_skin_tone.csv", "L_D65", "a_D65", "b_D65"), axis=-1)
    # The table has two places, and a white of five.
    np.testing.assert_allclose(monk_lab(), expected, atol=0.02)


def test_angles_of_the_ten_tones():
    (expected,) = columns("monk_skin_tone.csv", "ITA_deg")
    np.testing.assert_allclose(typology_angle(monk_lab()), expected, atol=0.1)


@pytest.mark.parametrize(
    ("angle", "group"),
    [
        (70, Typology.VERY_LIGHT),
        (55.1, Typology.VERY_LIGHT),
        (55, Typology.LIGHT),
        (41.1, Typology.LIGHT),
        (41, Typology.INTERMEDIATE),
        (28, Typology.TAN),
        (10.1, Typology.TAN),
        (10, Typology.BROWN),
        (-29.9, Typology.BROWN),
        (-30, Typology.DARK),
        (-80, Typology.DARK),
    ],
)
def test_published_bounds(angle, group):
    # Chardon 1991, Del Bino 2013: > 55, > 41, > 28, > 10, > -30 degrees
    assert typology(angle) is group


def test_angle_by_hand():
    # L* 70, b* 20: atan(20 / 20) = 45 degrees
    assert typology_angle(np.array([70.0, 12.0, 20.0])) == pytest.approx(45)


def test_any_shape_and_dtype():
    lab = np.random.default_rng(1).uniform(10, 90, (4, 5, 3)).astype(np.float32)
    angle = typology_angle(lab)
    assert angle.shape == (4, 5)
    assert angle.dtype == np.float32
    assert angle[2, 3] == pytest.approx(typology_angle(lab[2, 3]), abs=1e-4)


def test_nan():
    assert np.isnan(typology_angle(np.array([np.nan, 0, 10.0])))
    with pytest.raises(ValueError, match="not a number"):
        typology(float("nan"))
