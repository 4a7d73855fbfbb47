"""How large a change is, against scikit-image's CIEDE2000 of every pixel."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest
from skimage.color import deltaE_ciede2000, rgb2lab

from evenhand.box import Box
from evenhand.photo.photograph import Photograph
from evenhand.report import filling
from evenhand.report.filling import MEASURED, area_of, difference_of, total_difference


def apart(one: np.ndarray, other: np.ndarray) -> np.ndarray:
    white = np.iinfo(one.dtype).max
    return deltaE_ciede2000(rgb2lab(one / white), rgb2lab(other / white))


def made(shape: tuple[int, int], dtype: type, seed: int = 1) -> tuple[np.ndarray, np.ndarray]:
    """A picture of skin's colours, and a change of half of its pixels."""
    random = np.random.default_rng(seed)
    scale = 257 if dtype == np.uint16 else 1
    picture = (random.normal((180, 130, 110), 20, (*shape, 3)).clip(20, 235) * scale).astype(dtype)
    half = random.integers(0, 2, (*shape, 1))
    return picture, (random.normal(0, 3 * scale, (*shape, 3)) * half).astype(np.int32)


@pytest.mark.parametrize("dtype", [np.uint8, np.uint16])
def test_few_changed_pixels_are_all_measured(dtype: type) -> None:
    picture, change = made((60, 80), dtype)
    photograph = Photograph(picture)
    found, count = difference_of(photograph, picture, lambda place: change[place], 1)
    where = (change != 0).any(axis=-1)
    wanted = apart(picture, (picture + change).astype(dtype))[where]
    assert count == where.sum()
    assert found.mean == pytest.approx(wanted.mean(), abs=0.002)
    assert found.largest == pytest.approx(wanted.max(), abs=0.005)


def test_a_layers_finer_steps_are_parts_of_a_code() -> None:
    picture, change = made((40, 50), np.uint8)
    whole, _ = difference_of(Photograph(picture), picture, lambda place: change[place], 1)
    fine, _ = difference_of(Photograph(picture), picture, lambda place: 64 * change[place], 64)
    assert fine == whole


@pytest.mark.parametrize("odd_one", [(0, 0), (137, 311), (599, 499)])
def test_of_many_a_sample_is_measured_and_the_largest_is_not_missed(
    odd_one: tuple[int, int],
) -> None:
    picture, change = made((600, 500), np.uint8)
    change[odd_one] = 90
    photograph = Photograph(picture)
    found, count = difference_of(photograph, picture, lambda place: change[place], 1)
    where = (change != 0).any(axis=-1)
    wanted = apart(picture, np.clip(picture + change, 0, 255).astype(np.uint8))[where]
    assert count == where.sum() > MEASURED
    assert found.mean == pytest.approx(wanted.mean(), abs=0.02)
    assert found.largest == pytest.approx(wanted.max(), abs=0.01)


def test_a_sample_is_of_the_whole_and_not_of_its_beginning() -> None:
    """Twice the change below the middle; the mean is that of all."""
    picture, change = made((600, 500), np.uint8)
    change[300:] *= 3
    found, _ = difference_of(Photograph(picture), picture, lambda place: change[place], 1)
    where = (change != 0).any(axis=-1)
    wanted = apart(picture, np.clip(picture + change, 0, 255).astype(np.uint8))
    assert wanted[:300][where[:300]].mean() < 0.7 * wanted[where].mean()
    assert found.mean == pytest.approx(wanted[where].mean(), abs=0.02)


def test_nothing_changed_is_no_difference() -> None:
    picture, _ = made((30, 30), np.uint8)
    nothing = np.zeros((30, 30, 3), np.int32)
    found = difference_of(Photograph(picture), picture, lambda place: nothing[place], 1)
    assert found == (filling.NONE, 0)


@pytest.mark.parametrize("dtype", [np.uint8, np.uint16])
def test_the_total_is_over_all_layers_boxes(dtype: type) -> None:
    """Darker as well as lighter, by more than a signed number of the file's own size holds."""
    picture, change = made((90, 110), dtype)
    boxes = Box(5, 8, 40, 50), Box(30, 60, 85, 105)
    result = picture.copy()
    for box in boxes:
        result[box.slices] = np.clip(
            picture[box.slices] + 12 * change[box.slices], 0, np.iinfo(dtype).max
        )
    layers = [SimpleNamespace(box=box) for box in boxes]
    found = total_difference(Photograph(picture), result, layers)
    where = (picture != result).any(axis=-1)
    wanted = apart(picture, result)[where]
    assert found.mean == pytest.approx(wanted.mean(), abs=0.01)
    assert found.largest == pytest.approx(wanted.max(), abs=0.02)
    assert total_difference(Photograph(picture), picture, []) == filling.NONE


def test_a_disc_has_its_area() -> None:
    """Pi r^2, edge pixels counted by how far the disc reaches into them."""
    radius, mm_per_pixel = 40.0, 0.25
    rows, columns = np.mgrid[-50:51, -50:51]
    disc = np.clip(radius + 0.5 - np.hypot(rows, columns), 0, 1).astype(np.float32)
    area = area_of(disc, mm_per_pixel)
    assert area.pixels == pytest.approx(np.pi * radius**2, rel=1e-3)
    assert area.mm2 == pytest.approx(np.pi * (radius * mm_per_pixel) ** 2, rel=1e-3)
