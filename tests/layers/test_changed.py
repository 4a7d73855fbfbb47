"""What a change reaches, against numpy's own counting and sorting."""

from __future__ import annotations

import numpy as np
import pytest

from evenhand.layers.changed import changed


@pytest.mark.parametrize("dtype", [np.int16, np.int32])
def test_all_are_listed_where_they_are_few(dtype: type) -> None:
    change = np.random.default_rng(1).integers(-1, 2, (600, 70, 3)).astype(dtype)
    found = changed(change.__getitem__, len(change), most=change.size, farthest=10)
    np.testing.assert_array_equal(found.even, np.flatnonzero(np.abs(change).sum(axis=-1)))
    assert found.count == found.even.size
    assert found.farthest.size == 0


def test_a_sample_is_even_and_the_farthest_are_not_missed() -> None:
    random = np.random.default_rng(2)
    change = (random.normal(0, 300, (700, 307, 3)) * random.integers(0, 2, (700, 307, 1))).astype(
        np.int32
    )
    found = changed(change.__getitem__, len(change), most=5000, farthest=400)
    size = np.abs(change).sum(axis=-1).ravel()
    where = np.flatnonzero(size)
    assert found.count == where.size
    np.testing.assert_array_equal(found.even, where[:: 1 + where.size // 5000])
    assert len(set(found.farthest)) == 400
    np.testing.assert_array_equal(np.sort(size[found.farthest]), np.sort(size)[-400:])


@pytest.mark.parametrize("shape", [(5, 4, 3), (0, 0, 3)])
def test_nothing_changes(shape: tuple[int, int, int]) -> None:
    found = changed(np.zeros(shape, np.int32).__getitem__, shape[0], 100, 10)
    assert found.count == found.even.size == found.farthest.size == 0
