"""A rough stroke is cut to the skin under it: against drawn and rendered truth."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image

import evenhand
from evenhand import photo
from evenhand.box import Box
from evenhand.people.person import Mask
from evenhand.people.stroked import skin_under

ROOT = Path(__file__).parents[2]


def stroke(shape: tuple[int, int], points: list[tuple[int, int]], width: int) -> Mask:
    """A stroke along points, cut to where it is."""
    whole = np.zeros(shape, np.float32)
    cv2.polylines(whole, [np.array(points)], False, 1.0, width)
    rows, columns = np.flatnonzero(whole.any(axis=1)), np.flatnonzero(whole.any(axis=0))
    box = Box(int(rows[0]), int(columns[0]), int(rows[-1]) + 1, int(columns[-1]) + 1)
    return Mask(box, whole[box.slices])


def agreement(mask: Mask, truth: np.ndarray, painted: Mask) -> float:
    """Intersection over union inside the stroke."""
    inside = painted.alpha > 0.5
    shown, there = mask.alpha > 0.5, truth[painted.box.slices]
    return float((shown & there & inside).sum() / ((shown | there) & inside).sum())


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_bar_of_skin_before_something_else(seed: int) -> None:
    random = np.random.default_rng(seed)
    truth = np.zeros((400, 300), bool)
    truth[:, 120:180] = True
    picture = np.where(truth[..., None], [205, 150, 125], [90, 110, 120]).astype(float)
    picture = cv2.GaussianBlur(picture, (0, 0), 1.5) + random.normal(0, 4, picture.shape)
    photograph = evenhand.from_array(np.clip(picture, 0, 255).astype(np.uint8))
    painted = stroke(photograph.shape, [(148, 60), (155, 340)], 110)
    found = skin_under(photograph, painted)
    assert found.box == painted.box
    assert agreement(painted, truth, painted) < 0.7  # the stroke itself
    assert agreement(found, truth, painted) > 0.95
    assert (found.alpha <= painted.alpha).all()


def test_nothing_but_skin_stays_as_it_was_painted() -> None:
    random = np.random.default_rng(4)
    picture = np.array([205, 150, 125]) + random.normal(0, 4, (200, 200, 3))
    photograph = evenhand.from_array(np.clip(picture, 0, 255).astype(np.uint8))
    painted = stroke(photograph.shape, [(60, 100), (140, 100)], 30)
    assert agreement(skin_under(photograph, painted), np.ones((200, 200), bool), painted) > 0.97


@pytest.mark.parametrize(
    ("name", "points", "width"),
    [
        ("burnt_arm", [(0.85, 0.58), (0.853, 0.75), (0.9, 0.95)], 0.15),
        ("burnt_arm", [(0.13, 0.58), (0.11, 0.75), (0.06, 0.95)], 0.15),
    ],
)
def test_an_arm_of_a_rendered_person(
    name: str, points: list[tuple[float, float]], width: float
) -> None:
    path, truth_path = ROOT / f"demo_images/{name}.jpg", ROOT / f"tests/scenes/{name}_skin.png"
    if not (path.exists() and truth_path.exists()):
        pytest.skip("the rendered people are not there")
    photograph = photo.read(path)
    height, width_px = photograph.shape
    skin = Image.open(truth_path).resize((width_px, height), Image.Resampling.BILINEAR)
    truth = np.asarray(skin) > 127
    places = [(round(x * width_px), round(y * height)) for x, y in points]
    painted = stroke(photograph.shape, places, round(width * height))
    found = skin_under(photograph, painted)
    rough = agreement(painted, truth, painted)
    assert rough < 0.85
    assert agreement(found, truth, painted) > 0.9
