from __future__ import annotations

import numpy as np
import pytest

from evenhand.box import Box
from evenhand.people.person import Face, Region
from evenhand.steps.coarse import coarse
from evenhand.steps.counterparts import LEFT, MIDDLE, RIGHT, other_side
from evenhand.steps.patch import SkinPatch

HEIGHT, WIDTH = 200, 160


def _patch(face: Face | None) -> SkinPatch:
    whole = np.ones((HEIGHT, WIDTH), np.float32)
    linear = np.full((HEIGHT, WIDTH, 3), 0.3, np.float32)
    return SkinPatch(Box(50, 30, 50 + HEIGHT, 30 + WIDTH), linear, {Region.FACE: whole}, 1.0, face)


def _turned(slant: float) -> Face:
    """A mesh alike on both sides of a slanted middle line."""
    random = np.random.default_rng(3)
    mesh = np.zeros((478, 2), np.float32)
    down = random.uniform(-80, 80, (len(RIGHT), 1))
    across = random.uniform(10, 60, (len(RIGHT), 1))
    middle = random.uniform(-80, 80, (len(MIDDLE), 1))
    along, beside = (
        np.array([np.sin(slant), np.cos(slant)]),
        np.array([np.cos(slant), -np.sin(slant)]),
    )
    centre = np.array([30 + WIDTH / 2, 50 + HEIGHT / 2])
    mesh[list(RIGHT)] = centre + down * along - across * beside
    mesh[list(LEFT)] = centre + down * along + across * beside
    mesh[list(MIDDLE)] = centre + middle * along
    return Face(Box(50, 30, 250, 190), mesh, np.degrees(slant), 0.0, 1.0)


@pytest.mark.parametrize("slant", [0.0, 0.3])
def test_a_place_goes_to_its_mirror_image_and_back(slant: float) -> None:
    patch = _patch(_turned(slant))
    there = other_side(patch, coarse(patch, 1.0))
    assert there is not None
    rows, columns = (values[60:140, 50:110] for values in np.mgrid[:HEIGHT, :WIDTH])
    offset = np.stack([rows - HEIGHT / 2, columns - WIDTH / 2], axis=-1)
    along, beside = (
        np.array([np.cos(slant), np.sin(slant)]),
        np.array([-np.sin(slant), np.cos(slant)]),
    )
    mirrored = (offset @ along)[..., None] * along - (offset @ beside)[..., None] * beside
    expected = mirrored + np.array([HEIGHT / 2, WIDTH / 2])
    assert np.abs(there[60:140, 50:110] - expected).max() < 2.0


def test_without_a_mesh_there_is_no_other_side() -> None:
    patch = _patch(None)
    assert other_side(patch, coarse(patch, 1.0)) is None
