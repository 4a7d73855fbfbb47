"""Colours that are mostly skin pull their own kind in, and cloth that was caught out."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from evenhand.people.colour_votes import weighed

SKIN_LIGHT, CLOTH_LIGHT = (0.45, 0.28, 0.2), (0.2, 0.25, 0.5)
# Linear light of light skin and of blue cloth; only their difference matters.


def test_missed_skin_comes_back_and_caught_cloth_goes() -> None:
    linear = np.empty((80, 100, 3), np.float32)
    linear[:, :50], linear[:, 50:] = SKIN_LIGHT, CLOTH_LIGHT
    first = np.zeros((80, 100), np.float32)
    first[:, :50] = 1
    first[10:16, 20:26] = 0
    first[60:66, 70:76] = 1
    chance = weighed(first, linear, np.ones_like(first), 2.0)
    assert chance[10:16, 20:26].min() > 0.8
    assert chance[60:66, 70:76].max() < 0.2


@settings(max_examples=30, deadline=None)
@given(seed=st.integers(0, 1000), mm_per_pixel=st.floats(0.1, 10))
def test_chances_stay_chances(seed: int, mm_per_pixel: float) -> None:
    rng = np.random.default_rng(seed)
    first = rng.random((30, 40), dtype=np.float32)
    linear = rng.random((30, 40, 3), dtype=np.float32) * 2 - 0.2
    chance = weighed(first, linear, np.ones_like(first), mm_per_pixel)
    assert chance.dtype == np.float32
    assert 0 <= chance.min() <= chance.max() <= 1


def test_without_two_kinds_nothing_changes() -> None:
    linear = np.full((10, 10, 3), SKIN_LIGHT, np.float32)
    for value in (0.0, 1.0):
        first = np.full((10, 10), value, np.float32)
        assert np.array_equal(weighed(first, linear, np.ones_like(first), 1.0), first)
