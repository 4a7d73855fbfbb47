"""The quick bound is one: CIEDE2000 itself never passes it."""

from __future__ import annotations

import numpy as np
import pytest
import skimage.color

from evenhand.colour.encoding import encoding_of
from evenhand.layers.cap import CELL_BITS, ROUNDED, WIDE, bound_of, near_together, step_table

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
    change = random.normal(0, 1, (TRIALS, 3))
    change *= random.uniform(0, WIDE, (TRIALS, 1)) / np.abs(change).max(axis=1, keepdims=True)
    change = np.clip(codes + change, 0, 255) - codes
    cell = codes.astype(int) >> (8 - CELL_BITS)
    place = (cell[:, 0] << 2 * CELL_BITS) + (cell[:, 1] << CELL_BITS) + cell[:, 2]
    rows = step_table(encoding_of(None))[place]
    pairs = zip(rows, change, strict=True)
    bound = np.array([bound_of(row, *moved) + row[ROUNDED] for row, moved in pairs])
    before = skimage.color.rgb2lab(codes / 255)
    after = skimage.color.rgb2lab((codes + change) / 255)
    assert (skimage.color.deltaE_ciede2000(before, after) <= bound).all()


@pytest.mark.parametrize("steps", [64, 1])
def test_several_changes_are_near_together_though_none_is_alone(steps: int) -> None:
    depth = 257 if steps == 1 else 1
    codes = (np.full((8, 8, 3), (180, 130, 110)) * depth).astype([np.uint8, np.uint16][steps == 1])
    change = np.zeros((8, 8, 3), np.int32)
    change[2, 3] = (0, -3 * 64 * depth // (64 // steps), 0)
    encoding = encoding_of(None)
    assert not near_together(codes, [change], encoding, steps, 9.0).any()
    near = near_together(codes, [change, change, change], encoding, steps, 9.0)
    assert np.argwhere(near).tolist() == [[2, 3]]


def test_leaving_the_range_is_near() -> None:
    codes = np.full((8, 8, 3), (250, 200, 180), np.uint8)
    change = np.zeros((8, 8, 3), np.int32)
    change[1, 1] = 3 * 64
    encoding = encoding_of(None)
    assert not near_together(codes, [change], encoding, 64, 40.0).any()
    assert near_together(codes, [change, change], encoding, 64, 40.0)[1, 1]
