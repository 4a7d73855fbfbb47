"""Outlines over a photograph lie where what they surround is."""

from __future__ import annotations

import cv2
import numpy as np

from evenhand.box import Box
from evenhand.pictures.outlines import outlines

BOX = Box(100, 200, 500, 800)


def filled(lines: list[np.ndarray]) -> np.ndarray:
    """OpenCV's own polygon fill of the lines, holes left out, on the photograph."""
    frame = np.zeros((600, 1000), np.uint8)
    cv2.fillPoly(frame, [np.rint(line).astype(np.int32) for line in lines], 1)
    return frame > 0


def test_an_outline_surrounds_a_disc_and_spares_its_hole() -> None:
    share = np.zeros((200, 300), np.float32)
    cv2.circle(share, (150, 100), 60, 1.0, -1)
    cv2.circle(share, (150, 100), 20, 0.0, -1)
    lines = outlines(share, BOX)
    assert len(lines) == 2
    truth = np.zeros((600, 1000), bool)
    truth[BOX.slices] = cv2.resize(share, (600, 400), interpolation=cv2.INTER_NEAREST) > 0.5
    shown = filled(lines)
    assert (shown & truth).sum() > 0.95 * (shown | truth).sum()
    assert not shown[300, 500]


def test_nothing_has_no_outline_and_all_of_a_box_has_its_edge() -> None:
    assert outlines(np.zeros((20, 30), np.float32), BOX) == []
    (line,) = outlines(np.ones((20, 30), np.float32), BOX)
    cell = 20  # pixels of the photograph
    corners = np.array([[200, 100], [200, 500], [800, 500], [800, 100]])
    np.testing.assert_allclose(line, corners, atol=cell)
    assert line.min(axis=0).tolist() >= [200, 100]
    assert line.max(axis=0).tolist() <= [800, 500]
