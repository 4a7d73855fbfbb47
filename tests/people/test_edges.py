"""Masks drawn to the picture's edges, against the guided filter's paper written out in numpy."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest
from scipy.ndimage import map_coordinates, uniform_filter

from evenhand.box import Box
from evenhand.people import edges
from evenhand.people.edges import SMOOTHNESS, SURE_HIGH, SURE_LOW, at_full_size, enlarged, refined
from evenhand.people.views import View
from evenhand.photo.photograph import Photograph

SIDE = 120
RADIUS = 4
"""Pixels of the photograph: `GUIDE_SIZE` working pixels of a view at half the size."""

HALF = np.array([[2.0, 0, 0.5], [0, 2.0, 0.5]])
"""From a view at half the size to the photograph."""

WHOLE = Box(0, 0, SIDE, SIDE)


def view_of(photograph: Photograph) -> View:
    height, width = photograph.shape
    return View(np.zeros((height // 2, width // 2, 3), np.uint8), HALF)


def everywhere(view: View) -> np.ndarray:
    return np.ones(view.pixels.shape[:2], bool)


def textured(seed: int, shape: tuple[int, int] = (SIDE, SIDE), bits: int = 8) -> Photograph:
    noise = np.random.default_rng(seed).uniform(40, 215, (*shape, 3))
    smooth = cv2.GaussianBlur(noise, (0, 0), 3) * 3 - 255
    codes = np.clip(smooth, 0, 255) * (257 if bits == 16 else 1)
    return Photograph(codes.astype(np.uint16 if bits == 16 else np.uint8))


def step_at(column: int, dark: int = 60, light: int = 190) -> Photograph:
    pixels = np.full((SIDE, SIDE, 3), dark, np.uint8)
    pixels[:, column:] = light
    return Photograph(pixels)


def as_published(
    guide: np.ndarray, values: np.ndarray, radius: int, smoothness: float
) -> np.ndarray:
    """He, Sun, Tang, IEEE TPAMI 35(6), 2013, section 3.4: the filter with a colour guide."""
    guide, values = guide.astype(float), values.astype(float)

    def mean(field: np.ndarray) -> np.ndarray:
        return uniform_filter(field, 2 * radius + 1, mode="mirror")

    means = np.stack([mean(guide[..., k]) for k in range(3)], axis=-1)
    spread = np.empty((*values.shape, 3, 3))
    for j in range(3):
        for k in range(3):
            product = mean(guide[..., j] * guide[..., k])
            spread[..., j, k] = product - means[..., j] * means[..., k]
    middle = mean(values)
    shared = np.stack(
        [mean(guide[..., k] * values) - means[..., k] * middle for k in range(3)], axis=-1
    )
    slope = np.linalg.solve(spread + smoothness * np.eye(3), shared[..., None])[..., 0]
    offset = middle - (slope * means).sum(axis=-1)
    slopes = np.stack([mean(slope[..., k]) for k in range(3)], axis=-1)
    return (slopes * guide).sum(axis=-1) + mean(offset)


@pytest.mark.parametrize("bits", [8, 16])
def test_a_mask_is_filtered_as_published(bits: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Coefficients at full size, so that it is the paper's filter and no approximation of it."""
    monkeypatch.setattr(edges, "FASTEST", 1.0)
    photograph = textured(1, bits=bits)
    view = view_of(photograph)
    coarse = np.clip(
        cv2.GaussianBlur(
            np.random.default_rng(2).normal(0.5, 3, view.pixels.shape[:2]).astype(np.float32),
            (0, 0),
            4,
        ),
        0,
        1,
    )
    rows, columns = np.mgrid[:SIDE, :SIDE]
    large = map_coordinates(
        coarse, [(rows - 0.5) / 2, (columns - 0.5) / 2], order=1, mode="nearest"
    )
    guide = photograph.pixels / (257 if bits == 16 else 1)
    wanted = as_published(np.rint(guide), large, RADIUS, SMOOTHNESS)
    wanted = np.clip((wanted - SURE_LOW) / (SURE_HIGH - SURE_LOW), 0, 1)
    found = refined(coarse, everywhere(view), view, WHOLE, photograph)
    inside = slice(3 * RADIUS, -3 * RADIUS)  # borders are mirrored otherwise
    assert 0.2 < wanted[inside, inside].mean() < 0.8
    np.testing.assert_allclose(found[inside, inside], wanted[inside, inside], atol=0.03)
    assert np.abs(found - wanted)[inside, inside].mean() < 0.003


@pytest.mark.parametrize("off", [-2, 0, 2])
def test_the_edge_of_a_mask_goes_to_that_of_the_picture(off: int) -> None:
    """The view's edge lies some pixels beside the picture's, as coarse answers do."""
    photograph = step_at(61)
    view = view_of(photograph)
    columns = np.arange(SIDE // 2) * 2 + 0.5
    coarse = np.clip((columns - (60.5 + off)) / 8 + 0.5, 0, 1)
    coarse = np.tile(coarse.astype(np.float32), (SIDE // 2, 1))
    found = refined(coarse, everywhere(view), view, WHOLE, photograph)
    row = found[SIDE // 2]
    assert int(np.argmax(np.diff(row))) == 60
    assert row[61] - row[60] > 0.5
    plain = enlarged(coarse, view, WHOLE)[SIDE // 2]
    assert plain[61] - plain[60] < 0.2


def test_wholly_inside_is_wholly_inside_and_nothing_lies_beyond_the_area() -> None:
    photograph = textured(3)
    view = view_of(photograph)
    coarse = np.full(view.pixels.shape[:2], SURE_HIGH + 0.01, np.float32)
    area = everywhere(view)
    area[:, :20] = False
    found = refined(coarse, area, view, WHOLE, photograph)
    assert (found[:, 42:] == 1).all()
    assert (found[:, :38] == 0).all()
    nothing = refined(np.full_like(coarse, SURE_LOW - 0.01), area, view, WHOLE, photograph)
    assert not nothing.any()


def test_squares_join_without_a_seam(monkeypatch: pytest.MonkeyPatch) -> None:
    photograph = textured(4)
    view = view_of(photograph)
    ramp = np.linspace(0.2, 0.95, SIDE // 2, dtype=np.float32)
    coarse = np.tile(ramp, (SIDE // 2, 1))
    monkeypatch.setattr(edges, "FASTEST", 1.0)
    whole = refined(coarse, everywhere(view), view, WHOLE, photograph)
    monkeypatch.setattr(edges, "TILE", 40)
    in_squares = refined(coarse, everywhere(view), view, WHOLE, photograph)
    np.testing.assert_allclose(in_squares, whole, atol=2e-3)


@pytest.mark.parametrize("box", [WHOLE, Box(11, 30, 90, 117)])
def test_enlarged_is_linear_interpolation(box: Box) -> None:
    """Against scipy's."""
    coarse = np.random.default_rng(5).uniform(0.1, 1, (SIDE // 2, SIDE // 2)).astype(np.float32)
    view = view_of(textured(6))
    rows, columns = np.mgrid[box.slices]
    wanted = map_coordinates(
        coarse, [(rows - 0.5) / 2, (columns - 0.5) / 2], order=1, mode="nearest"
    )
    for found in (enlarged(coarse, view, box), at_full_size(coarse, view, box)):
        np.testing.assert_allclose(found, wanted, atol=0.03)  # OpenCV: 1/32 of a pixel


def test_a_field_of_another_grid_lies_in_its_place() -> None:
    view = replace(view_of(textured(7)), to_photograph=np.array([[2.0, 0, 10], [0, 2.0, 20]]))
    field = np.zeros((30, 30), np.float32)
    field[12, 9] = 1
    # Cell (9, 12) of a grid of fours from (2, 8): (38, 56) of the photograph, (14, 18) of the view.
    moved = edges.moved(field, np.array([[4.0, 0, 2], [0, 4.0, 8]]), view)
    assert moved.shape == view.pixels.shape[:2]
    assert np.unravel_index(moved.argmax(), moved.shape) == (18, 14)
    assert moved.max() == pytest.approx(1)
    assert moved.sum() == pytest.approx(4, abs=0.1)  # a cell covers four of the view's pixels
