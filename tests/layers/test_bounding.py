"""The quick bound is one: CIEDE2000 itself never passes it."""

from __future__ import annotations

import numpy as np
import pytest
import skimage.color

from evenhand.colour.encoding import encoding_of
from evenhand.layers.bounding import (
    SHORT_COLUMN,
    SHORTEST_LONG,
    WIDEST,
    bounds_of,
    near_together,
    squared,
)
from evenhand.layers.cap import CELL_BITS

TRIALS = 300_000


def colours(kind: str, random: np.random.Generator) -> np.ndarray:
    """Skin of any shade under any light, or anything at all."""
    if kind == "any":
        return random.integers(0, 256, (TRIALS, 3)).astype(np.uint8)
    light = random.uniform(0.2, 1.4, (TRIALS, 1))
    skin = np.array([170, 130, 110]) * light + random.normal(0, 12, (TRIALS, 3))
    return np.clip(skin, 0, 255).astype(np.uint8)


@pytest.mark.parametrize("kind", ["any", "skin"])
@pytest.mark.parametrize("seed", [1, 2])
def test_no_change_passes_its_bound(kind: str, seed: int) -> None:
    """Against scikit-image's CIEDE2000 of its own L*a*b* (D65), with changes of all lengths."""
    random = np.random.default_rng(seed)
    codes = colours(kind, random)
    table = bounds_of(encoding_of(None)).prepared(codes.reshape(-1, 100, 3).repeat(4, 0))
    change = random.normal(0, 1, (TRIALS, 3))
    change *= random.uniform(0, WIDEST, (TRIALS, 1)) / np.abs(change).max(axis=1, keepdims=True)
    change = np.clip(codes + change, 0, 255) - codes
    cell = codes.astype(int) >> (8 - CELL_BITS)
    place = (cell[:, 0] << 2 * CELL_BITS) + (cell[:, 1] << CELL_BITS) + cell[:, 2]
    known = np.isfinite(table[place]).all(axis=1)
    assert known.mean() > (0.8 if kind == "skin" else 0.2)
    bound = np.sqrt(squared(table[place[known], :6], change[known].astype(np.float32)))
    short = np.abs(change[known]).max(axis=1) <= SHORTEST_LONG
    bound = np.where(short, bound * table[place[known], SHORT_COLUMN], bound)
    before = skimage.color.rgb2lab(codes[known] / 255)
    after = skimage.color.rgb2lab((codes[known] + change[known]) / 255)
    exact = skimage.color.deltaE_ciede2000(before, after)
    # 0.003: scikit-image's rounded sRGB matrix against the exact one.
    assert (exact <= bound + 0.003).all()


def test_several_changes_are_near_together_though_none_is_alone() -> None:
    codes = np.full((8, 8, 3), (180, 130, 110), np.uint8)
    change = np.zeros((8, 8, 3), np.int32)
    change[2, 3] = (0, -3 * 64, 0)
    encoding = encoding_of(None)
    assert not near_together(codes, [change], encoding, 64, 8.0).any()
    near = near_together(codes, [change, change, change], encoding, 64, 8.0)
    assert np.argwhere(near).tolist() == [[2, 3]]


def test_leaving_the_range_is_near() -> None:
    codes = np.full((8, 8, 3), (250, 200, 180), np.uint8)
    change = np.zeros((8, 8, 3), np.int32)
    change[1, 1] = 3 * 64
    encoding = encoding_of(None)
    assert not near_together(codes, [change], encoding, 64, 40.0).any()
    assert near_together(codes, [change, change], encoding, 64, 40.0)[1, 1]
