"""Nothing outside a mask changes: whatever the size, depth, profile, orientation and mask."""

from __future__ import annotations

import tempfile
from pathlib import Path

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from evenhand import photo
from tests.photo.pictures import (
    PROFILES,
    read_with_vips,
    scene,
    write_with_pillow,
    write_with_vips,
)

LOSSLESS = {
    (".png", 8): write_with_pillow,
    (".png", 16): write_with_vips,
    (".tif", 8): write_with_pillow,
    (".tif", 16): write_with_vips,
}


@settings(deadline=None, max_examples=60)
@given(
    form=st.sampled_from(sorted(LOSSLESS)),
    height=st.integers(8, 90),
    width=st.integers(8, 90),
    orientation=st.integers(1, 8),
    profile=st.sampled_from(sorted(PROFILES)),
    seed=st.integers(0, 2**16),
    share=st.sampled_from([0.0, 0.001, 0.2, 1.0]),
)
def test_lossless_files_keep_every_bit_outside_the_mask(
    form: tuple[str, int],
    height: int,
    width: int,
    orientation: int,
    profile: str,
    seed: int,
    share: float,
) -> None:
    suffix, depth = form
    random = np.random.default_rng(seed)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / f"portrait{suffix}"
        LOSSLESS[form](path, scene(depth, (height, width), seed), PROFILES[profile], orientation)
        upright = read_with_vips(path)
        photograph = photo.read(path)
        mask = random.random(photograph.shape) < share
        result = photograph.pixels.copy()
        result[mask] = random.integers(0, photograph.white, (int(mask.sum()), 3), endpoint=True)
        written = photo.write(result, photograph, Path(folder) / f"result{suffix}")
        seen = read_with_vips(written)
    assert np.array_equal(seen[~mask], upright[~mask])
    assert np.array_equal(seen[mask], result[mask])
