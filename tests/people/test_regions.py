"""Kept parts have their margins in millimetres at any scale, and feathered edges."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from evenhand.box import Box
from evenhand.people.person import Region
from evenhand.people.regions import (
    FEATHER_MM,
    KEPT_PARTS,
    kept_discs,
    kept_parts,
)

FRAME = Box(0, 0, 1200, 1200)


def landmarks_with_square(
    outline: tuple[int, ...], centre: tuple[float, float], side: float
) -> np.ndarray:
    """Mesh points far away, but for one outline spread around a square."""
    landmarks = np.full((478, 2), 1150, np.float32)
    turn = np.linspace(0, 2 * np.pi, len(outline), endpoint=False) + np.pi / 4
    ring = np.stack([np.cos(turn), np.sin(turn)], axis=-1)
    ring /= np.abs(ring).max(axis=1, keepdims=True)
    landmarks[list(outline)] = np.array(centre) + ring * side / 2
    return landmarks


@pytest.mark.parametrize("part", KEPT_PARTS, ids=lambda part: f"{part.region}-{part.outline[0]}")
@pytest.mark.parametrize("mm_per_pixel", [0.1, 0.3, 1.0])
def test_margin_and_feather_are_in_millimetres(part, mm_per_pixel: float) -> None:
    side = 40 / mm_per_pixel if mm_per_pixel > 0.2 else 400
    landmarks = landmarks_with_square(part.outline, (500, 500), side)
    alpha = kept_parts(landmarks, mm_per_pixel, FRAME)[part.region].cut(FRAME)
    edge = round(500 + side / 2)
    wholly = part.margin_mm / mm_per_pixel
    beyond = (part.margin_mm + FEATHER_MM) / mm_per_pixel
    assert alpha[500, round(edge + wholly - 2)] > 0.95 - mm_per_pixel
    assert alpha[500, round(edge + beyond + 3)] == 0
    assert alpha[500, 500] == 1


@given(
    roll=st.floats(-180, 180),
    size=st.floats(20, 900),
    column=st.floats(-200, 1400),
    row=st.floats(-200, 1400),
)
def test_boxes_lie_inside_the_frame(roll: float, size: float, column: float, row: float) -> None:
    turn = np.linspace(0, 2 * np.pi, 478, endpoint=False) + np.radians(roll)
    spiral = np.stack([np.cos(7 * turn), np.sin(3 * turn)], axis=-1) * size / 2
    landmarks = (spiral + np.array([column, row])).astype(np.float32)
    found = kept_parts(landmarks, 100 / size, FRAME)
    found |= kept_discs(landmarks[:6], 100 / size, FRAME)
    for mask in found.values():
        assert mask.box.intersection(FRAME) == mask.box
        assert mask.alpha.shape == (mask.box.height, mask.box.width)
        assert mask.alpha.min() >= 0
        assert mask.alpha.max() <= 1


def test_discs_hold_eyes_and_mouth() -> None:
    points = np.array([(400, 400), (410, 400), (380, 450), (400, 500), (500, 430), (510, 430)])
    found = kept_discs(points.astype(np.float32), 0.5, FRAME)
    assert set(found) == {Region.EYE, Region.LIP}
    for region, point in ((Region.EYE, 0), (Region.EYE, 1), (Region.LIP, 3)):
        column, row = points[point]
        assert found[region].cut(FRAME)[row, column] == 1


def test_topology_is_that_published_with_the_mesh() -> None:
    connections = pytest.importorskip("mediapipe.python.solutions.face_mesh_connections")
    published = {
        Region.EYE: connections.FACEMESH_LEFT_EYE | connections.FACEMESH_RIGHT_EYE,
        Region.BROW: connections.FACEMESH_LEFT_EYEBROW | connections.FACEMESH_RIGHT_EYEBROW,
    }
    for region, pairs in published.items():
        drawn = {index for part in KEPT_PARTS if part.region is region for index in part.outline}
        assert drawn == {index for pair in pairs for index in pair}
    lips = {index for pair in connections.FACEMESH_LIPS for index in pair}
    assert {i for part in KEPT_PARTS if part.region is Region.LIP for i in part.outline} <= lips
