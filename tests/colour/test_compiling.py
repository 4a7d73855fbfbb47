"""Compiled loops on installations that nobody may write to."""

from __future__ import annotations

import numpy as np
import pytest
from numba.core import caching

from evenhand.compiling import compiled


def doubled(values: np.ndarray) -> None:
    """A loop as the engine has them."""
    for place in range(values.size):
        values[place] *= 2


def test_without_a_folder_to_keep_it_in_a_loop_is_compiled_anew(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(caching.CacheImpl, "_locator_classes", [])
    values = np.arange(4.0)
    compiled(doubled)(values)
    assert values.tolist() == [0, 2, 4, 6]
