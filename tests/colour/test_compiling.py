"""Compiled loops on installations that nobody may write to."""

from __future__ import annotations

import importlib
import os
import time
from pathlib import Path

import numpy as np
import pytest
from numba.core import caching

from evenhand.compiling import compiled, is_kept


def doubled(values: np.ndarray) -> None:
    """A loop as the engine has them."""
    for place in range(values.size):
        values[place] *= 2


def test_without_a_folder_to_keep_it_in_a_loop_is_compiled_anew(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(caching.CacheImpl, "_locator_classes", [])
    values = np.arange(4.0)
    function = compiled(doubled)
    function(values)
    assert values.tolist() == [0, 2, 4, 6]
    assert is_kept(function)  # nothing would be gained by compiling it beforehand


def test_what_is_kept_is_told_from_what_is_older_than_its_source(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    source = tmp_path / "looping.py"
    source.write_text("def doubled(values):\n    values *= 2\n")
    monkeypatch.syspath_prepend(tmp_path)
    function = compiled(importlib.import_module("looping").doubled)
    assert not is_kept(function)
    function(np.arange(4.0))
    assert is_kept(function)
    os.utime(source, (time.time() + 60,) * 2)
    assert not is_kept(function)
