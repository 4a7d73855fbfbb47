"""Small photographs and wanted changes for the tests of layers."""

from __future__ import annotations

import numpy as np
from hypothesis import strategies as st

from evenhand.box import Box
from evenhand.people.person import Region
from evenhand.photo.photograph import Photograph
from evenhand.steps.gain import Gain
from evenhand.steps.patch import Change, SkinPatch
from tests.colour import profiles

PROFILES = {
    "none": None,
    "Adobe RGB": profiles.adobe_rgb(),
    "Display P3": profiles.display_p3(),
    "ROMM": profiles.romm(),
    "tables": profiles.table_profile(),
}

DTYPES = {8: np.uint8, 16: np.uint16}


def photograph_of(seed: int, shape=(24, 20), depth: int = 8, profile: str = "none") -> Photograph:
    """Half skin-like colours of every lightness, half colours of any kind."""
    random = np.random.default_rng(seed)
    skin = random.uniform(0.02, 1, (*shape, 1)) * random.uniform([0.9, 0.5, 0.3], [1, 0.9, 0.9], 3)
    any_kind = random.uniform(0, 1, (*shape, 3))
    light = np.where(random.uniform(size=(*shape, 1)) < 0.5, skin, any_kind)
    white = 2**depth - 1
    return Photograph(np.rint(light * white).astype(DTYPES[depth]), PROFILES[profile])


def mask_of(seed: int, box: Box) -> np.ndarray:
    """A third outside, a third inside, a third between."""
    random = np.random.default_rng(seed + 1)
    return np.clip(random.uniform(-1, 2, (box.height, box.width)), 0, 1).astype(np.float32)


def change_of(seed: int, photograph: Photograph, box: Box, size: float) -> Change:
    """Density changed at random by about `size`, everywhere, masks or not."""
    random = np.random.default_rng(seed + 2)
    linear = photograph.encoding.to_linear(photograph.pixels[box.slices])
    wanted = linear * np.exp(random.normal(0, size, linear.shape)) + random.normal(
        0, size / 50, linear.shape
    )
    return Change(wanted.astype(np.float32), {"made up": True})


def gain_of(seed: int, photograph: Photograph, box: Box, mask: np.ndarray, size: float) -> Gain:
    """Density changed by a smooth gain of about `size`, in proportion to the mask."""
    random = np.random.default_rng(seed + 4)
    linear = photograph.encoding.to_linear(photograph.pixels[box.slices])
    patch = SkinPatch(box, linear, {Region.FACE: mask}, 0.5)
    cells = (max(1, box.height // 4), max(1, box.width // 4))
    return Gain(patch, random.normal(0, size, (*cells, 3)).astype(np.float32))


def box_in(seed: int, shape: tuple[int, int]) -> Box:
    """Any box that is not empty, inside a frame of `shape`."""
    random = np.random.default_rng(seed + 3)
    top, bottom = sorted(random.choice(shape[0] + 1, 2, replace=False))
    left, right = sorted(random.choice(shape[1] + 1, 2, replace=False))
    return Box(int(top), int(left), int(bottom), int(right))


SEEDS = st.integers(0, 2**31)
SHAPES = st.tuples(st.integers(1, 40), st.integers(1, 40))
DEPTHS = st.sampled_from([8, 16])
PROFILE_NAMES = st.sampled_from(list(PROFILES))
STRENGTHS = st.one_of(st.floats(0, 1), st.sampled_from([0.0, 0.5, 0.95, 1.0]))
CAPS = st.sampled_from([0.3, 1.0, 2.0, 4.0, 8.0, 15.0, 30.0])
SIZES = st.sampled_from([0.003, 0.03, 0.3, 1.0])
