"""A change that would harm is weakened; one that takes a burn off is not."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from evenhand.people.person import Region
from evenhand.steps.coarse import CoarsePatch, coarse
from evenhand.steps.harm import MOST_APART, MOST_HARMED, unharmed
from evenhand.steps.pigments import pigments_of
from evenhand.steps.redness import GRID_MM
from tests.steps.skins import burnt, clean


def paler(skin: CoarsePatch, share: np.ndarray, amount: float) -> np.ndarray:
    """A change that takes blood off."""
    direction = pigments_of(skin).haemoglobin.astype(np.float32)
    return amount * share.astype(np.float32)[..., None] * direction


def disc(skin: CoarsePatch, radius_mm: float) -> np.ndarray:
    rows, columns = np.indices(skin.skin.shape)
    row, column = np.argwhere(skin.inside).mean(axis=0)
    return (np.hypot(rows - row, columns - column) * skin.mm_per_pixel < radius_mm) & skin.inside


def test_a_hard_patch_on_even_skin_is_not_made() -> None:
    skin = coarse(clean("light").patch, GRID_MM)
    verdict = unharmed(skin, paler(skin, disc(skin, 15), 0.4), skin.inside)
    assert verdict.kept < 0.5
    assert verdict.beyond > MOST_HARMED


def test_a_faint_change_may_be_made() -> None:
    skin = coarse(clean("light").patch, GRID_MM)
    assert unharmed(skin, paler(skin, skin.inside, 0.02), skin.inside).kept == 1


def test_a_burn_taken_off_up_to_its_own_border_may_be() -> None:
    scene = burnt("light")
    skin, before = coarse(scene.patch, GRID_MM), coarse(clean("light").patch, GRID_MM)
    unburnt = skin.inside & (np.abs(skin.density - before.density).max(axis=-1) < 0.01)
    verdict = unharmed(skin, skin.density - before.density, unburnt)
    assert verdict.kept == 1


def test_twice_a_burn_is_too_much() -> None:
    scene = burnt("light")
    skin, before = coarse(scene.patch, GRID_MM), coarse(clean("light").patch, GRID_MM)
    unburnt = skin.inside & (np.abs(skin.density - before.density).max(axis=-1) < 0.01)
    assert unharmed(skin, 2 * (skin.density - before.density), unburnt).kept < 0.8


def half_faces(skin: CoarsePatch) -> tuple[np.ndarray, np.ndarray]:
    """The middle of the drawn face, straight down, and a share that rises softly across it."""
    face = skin.regions[Region.FACE] > 0.5
    rows, columns = np.nonzero(face & skin.inside)
    column = float(np.median(columns))
    middle = np.array([[column, rows.min()], [column, rows.max()]], np.float32)
    across = (np.arange(face.shape[1]) - column) * skin.mm_per_pixel / 30
    return middle, np.broadcast_to(1 / (1 + np.exp(-4 * across)), face.shape)


def test_one_half_of_a_face_alone_is_weakened() -> None:
    skin = coarse(clean("light").patch, GRID_MM)
    middle, right = half_faces(skin)
    none = np.zeros_like(skin.inside)
    change = paler(skin, right * skin.inside, 0.6)
    assert unharmed(skin, change, none).kept == 1  # softly, and with nothing to compare with
    verdict = unharmed(skin, change, none, middle)
    assert verdict.apart > MOST_APART
    assert 0 < verdict.kept < 0.7
    left = unharmed(skin, verdict.kept * change, none, middle)
    assert left.apart <= MOST_APART
    assert left.kept == 1


def test_both_halves_of_a_face_alike_may_change() -> None:
    skin = coarse(clean("light").patch, GRID_MM)
    middle, _ = half_faces(skin)
    change = paler(skin, skin.inside, 0.6)
    assert unharmed(skin, change, np.zeros_like(skin.inside), middle).kept == 1


def test_a_face_burnt_on_one_side_may_come_back() -> None:
    skin = coarse(clean("light").patch, GRID_MM)
    middle, right = half_faces(skin)
    burn = paler(skin, right * skin.inside, 0.6)
    burnt_there = replace(skin, density=skin.density + burn)
    assert unharmed(burnt_there, burn, np.zeros_like(skin.inside), middle).kept == 1
