from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import pytest

from evenhand.box import Box
from evenhand.people.person import Face, Region
from evenhand.steps.eyes import IRISES, LIDS, EyesSettings, eyes
from evenhand.steps.patch import SkinPatch
from tests.evaluation.steps_measures import difference

MM = 0.12
SETTINGS = EyesSettings()


@dataclass(frozen=True)
class DrawnEyes:
    patch: SkinPatch
    iris: np.ndarray
    white: np.ndarray
    catchlight: np.ndarray
    lashes: np.ndarray


@pytest.fixture(params=[0.35, 0.06], ids=["light skin", "dark skin"])
def drawn(request: pytest.FixtureRequest) -> DrawnEyes:
    """Two drawn eyes of 30 mm with irises of 11.7 mm, lashes along the upper lid."""
    shape = (160, 700)
    linear = np.full((*shape, 3), request.param, np.float32)
    masks = {name: np.zeros(shape, np.uint8) for name in ("open", "iris", "catchlight", "lashes")}
    landmarks = np.zeros((478, 2), np.float32)
    for lids, (middle, rim), column in zip(LIDS, IRISES, (180, 520), strict=True):
        angles = np.linspace(np.pi, -np.pi, len(lids), endpoint=False)
        landmarks[list(lids)] = np.stack(
            [column + 125 * np.cos(angles), 80 - 50 * np.sin(angles)], axis=-1
        )
        landmarks[middle] = (column, 80)
        radius = 11.7 / 2 / MM
        landmarks[list(rim)] = [(column + radius, 80), (column, 80 - radius),
                                (column - radius, 80), (column, 80 + radius)]  # fmt: skip
        cv2.ellipse(masks["open"], (column, 80), (125, 50), 0, 0, 360, 1, -1)
        cv2.circle(masks["iris"], (column, 80), round(radius), 1, -1)
        cv2.circle(masks["catchlight"], (column + 15, 68), 6, 1, -1)
        for across in range(-100, 101, 20):
            tip = (column + across, 25 + abs(across) // 3)
            cv2.line(masks["lashes"], tip, (column + across, 48 + abs(across) // 3), 1, 2)
    opening = masks["open"] > 0
    iris = opening & (masks["iris"] > 0)
    catchlight, lashes = masks["catchlight"] > 0, masks["lashes"] > 0
    linear[opening] = (0.55, 0.52, 0.5)
    linear[iris] = (0.08, 0.06, 0.04)
    linear[catchlight] = 0.95
    linear[lashes] = 0.01
    linear += (
        0.01 * linear * np.random.default_rng(1).standard_normal(linear.shape).astype(np.float32)
    )
    face = Face(Box(0, 0, *shape), landmarks, 0.0, 0.0, 1.0)
    patch = SkinPatch(Box(0, 0, *shape), linear, {Region.EYE: opening.astype(np.float32)}, MM, face)
    plain = ~catchlight & ~lashes
    return DrawnEyes(patch, iris & plain, opening & ~iris & plain, catchlight, lashes)


def test_iris_and_white_are_lifted_and_stay_inside_the_cap(drawn: DrawnEyes) -> None:
    change = eyes(drawn.patch, SETTINGS)
    moved = difference(change.wanted, drawn.patch.linear)
    assert change.facts["eyes"] == 2
    assert (change.wanted >= drawn.patch.linear).all()
    assert moved[drawn.iris].mean() > 0.3
    assert moved[drawn.white].mean() > 0.3
    assert moved.max() <= SETTINGS.cap


def test_catchlights_lashes_and_skin_keep_their_bits(drawn: DrawnEyes) -> None:
    wanted = eyes(drawn.patch, SETTINGS).wanted
    same = (wanted == drawn.patch.linear).all(axis=-1)
    assert same[drawn.catchlight].all()
    assert same[drawn.lashes].all()
    assert same[drawn.patch.masks[Region.EYE] == 0].all()


def test_without_a_mesh_nothing_changes(drawn: DrawnEyes) -> None:
    patch = SkinPatch(drawn.patch.box, drawn.patch.linear, drawn.patch.masks, MM, None)
    change = eyes(patch, SETTINGS)
    assert np.array_equal(change.wanted, patch.linear)
    assert change.facts["eyes"] == 0
