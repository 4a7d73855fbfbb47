"""Everybody's masks are sound, and say of a real portrait what an eye would say."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from evenhand.box import Box
from evenhand.errors import WrongSettingError
from evenhand.people import find_people
from evenhand.people.person import (
    KEPT_REGIONS,
    SKIN_REGIONS,
    Person,
    Region,
    ScaleSource,
)
from evenhand.photo.photograph import Photograph
from tests.people.portrait import in_frame, moved, portrait

SKIN_POINTS = [(228, 86), (205, 125), (247, 125), (226, 160), (226, 108)]
# Forehead, both cheeks, chin and bridge of the nose in the portrait, read off the picture.

KEPT_POINTS = {
    Region.EYE: [(203.9, 101.0), (246.5, 103.4)],
    Region.LIP: [(223, 147)],
}
# Pupils and the middle of the lips in the portrait, read off the picture.

OTHER_POINTS = [(190, 60), (270, 95), (120, 300), (300, 300), (60, 60), (400, 100), (150, 450)]
# Hair, suit, flag and background in the portrait, read off the picture.


def assert_sound(people: list[Person], photograph: Photograph) -> None:
    """What every mask promises, whatever is in the photograph."""
    frame = photograph.frame
    taken = np.zeros(photograph.shape, np.float32)
    for index, person in enumerate(people):
        assert person.index == index
        assert person.scale.mm_per_pixel > 0
        for mask in person.masks.values():
            assert mask.box.intersection(frame) == mask.box
            assert mask.alpha.shape == (mask.box.height, mask.box.width)
            assert mask.alpha.dtype == np.float32
            assert mask.alpha.min(initial=0) >= 0
            assert mask.alpha.max(initial=0) <= 1
        skin, kept = person.skin(frame), person.kept(frame)
        assert float((skin + kept).max(initial=0)) <= 1 + 1e-6
        assert not ((taken > 0) & (skin > 0)).any()
        np.maximum(taken, skin, out=taken)


@settings(max_examples=12, deadline=None)
@given(
    face_height=st.floats(90, 500),
    turn=st.floats(-180, 180),
    deep=st.booleans(),
    seed=st.integers(0, 99),
)
def test_masks_are_sound(face_height: float, turn: float, deep: bool, seed: int) -> None:
    photograph, _ = in_frame(face_height, turn, (600 + seed, 800 - 3 * seed))
    if deep:
        photograph = Photograph(photograph.pixels.astype(np.uint16) * 257)
    assert_sound(find_people(photograph), photograph)


def test_portrait_is_told_apart() -> None:
    photograph = portrait()
    (person,) = find_people(photograph)
    assert_sound([person], photograph)
    skin, kept = person.skin(photograph.frame), person.kept(photograph.frame)
    for column, row in SKIN_POINTS:
        assert skin[row, column] > 0.75, (column, row)
    for column, row in OTHER_POINTS:
        assert skin[row, column] == 0, (column, row)
    for region, points in KEPT_POINTS.items():
        for column, row in points:
            alpha = person.masks[region].cut(photograph.frame)
            assert alpha[round(row), round(column)] == 1
            assert skin[round(row), round(column)] == 0
    assert kept[140:156, 215:235].min() > 0.5


@pytest.mark.parametrize("turn", [90, 180, 270])
def test_turned_portrait_has_the_turned_masks(turn: int) -> None:
    upright, placed_upright = in_frame(200, 0, (900, 900))
    turned, placed = in_frame(200, turn, (900, 900))
    (person,), (same,) = find_people(upright), find_people(turned)
    first = upright_values(person, placed_upright, upright)
    second = upright_values(same, placed, turned)
    assert np.abs(first - second).mean() < 0.05


def upright_values(person: Person, placed: np.ndarray, photograph: Photograph) -> np.ndarray:
    """Skin membership at a grid of points of the portrait's face."""
    columns, rows = np.meshgrid(np.arange(180, 272, 2), np.arange(70, 178, 2))
    points = moved(np.stack([columns.ravel(), rows.ravel()], axis=-1), placed)
    skin = person.skin(photograph.frame)
    column, row = np.rint(points).astype(int).T
    return skin[row, column]


def test_two_people_share_no_pixel() -> None:
    frame = np.full((700, 1100, 3), 120, np.uint8)
    head, _ = in_frame(200, 0, (700, 550))
    frame[:, :550], frame[:, 550:] = head.pixels, head.pixels[:, ::-1]
    photograph = Photograph(frame)
    people = find_people(photograph)
    assert len(people) == 2
    assert people[0].face is not None
    assert people[1].face is not None
    assert people[0].face.box.right < people[1].face.box.left
    assert_sound(people, photograph)


def test_nobody_is_an_ordinary_result() -> None:
    assert find_people(Photograph(np.full((300, 400, 3), 99, np.uint8))) == []


def skin_patch() -> Photograph:
    """A slanting band with the colour of a portrait's cheek, its noise too, on blue."""
    frame = np.full((400, 600, 3), (40, 70, 150), np.uint8)
    noise = np.random.default_rng(3).normal(0, 3, (400, 600, 3))
    rows, columns = np.mgrid[:400, :600]
    band = np.abs(rows - 0.3 * columns - 100) < 70
    frame[band] = np.clip((205, 150, 125) + noise[band], 0, 255)
    return Photograph(frame)


@pytest.mark.parametrize("place", [(300, 190), Box(150, 280, 230, 330)])
def test_skin_that_is_pointed_at(place: tuple[float, float] | Box) -> None:
    photograph = skin_patch()
    (person,) = find_people(photograph, skin_at=[place])
    assert_sound([person], photograph)
    assert person.face is None
    assert person.scale.source is ScaleSource.GIVEN
    skin = person.skin(photograph.frame)
    rows, columns = np.mgrid[:400, :600]
    away = np.abs(rows - 0.3 * columns - 100)
    assert skin[away < 60].mean() > 0.98
    assert skin[away > 80].max() == 0


def test_pointing_outside_is_refused() -> None:
    with pytest.raises(WrongSettingError, match="outside the photograph"):
        find_people(skin_patch(), skin_at=[(700, 10)])


def test_regions_are_either_skin_or_kept() -> None:
    assert set(SKIN_REGIONS) | set(KEPT_REGIONS) == set(Region)
