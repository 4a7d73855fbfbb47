"""Skin and its regions from made-up answers, against Bayes' rule, scipy's patches and distances."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import ndimage

from evenhand.box import Box
from evenhand.colour.encoding import encoding_of
from evenhand.people import skin_model
from evenhand.people.parser import SKIN_PARTS, Part
from evenhand.people.parts import (
    COLOUR_LIMITS,
    FACE_PART_MARGIN_MM,
    FACE_PARTS_WITHIN_MM,
    FOREIGN_ODDS,
    SMALLEST_PATCH_MM2,
    face_parts,
    parts_of,
)
from evenhand.people.person import Region
from evenhand.people.views import View
from tests.people.answers import SURE, parsing_of

SHAPE = (160, 240)
MM = 1.0
SKIN, BURNT, CLOTH = (200, 150, 125), (205, 125, 108), (60, 90, 170)
"""Codes of sRGB; made up."""

FACE = Box(10, 10, 90, 90)
BELOW = Box(100, 10, 150, 80)
BESIDE = Box(100, 120, 150, 190)

NAMED = {
    Part.FACE: "face-skin",
    Part.NECK: "neck",
    Part.EAR: "ear",
    Part.TORSO: "torso",
    Part.ARM: "arm",
    Part.HAND: "hand",
    Part.LEG: "leg",
}
"""Regions in the design's words."""


def view_of(painted: dict[Box, tuple[int, int, int]]) -> View:
    pixels = np.full((*SHAPE, 3), CLOTH, np.int16)
    for box, codes in painted.items():
        pixels[box.slices] = codes
    pixels += np.random.default_rng(1).integers(-4, 5, pixels.shape, np.int16)
    return View(pixels.astype(np.uint8), np.array([[1.0, 0, 0], [0, 1.0, 0]]))


def everywhere() -> np.ndarray:
    return np.ones(SHAPE, np.float32)


def bordered(box: Box) -> tuple[slice, slice]:
    return Box(box.top + 4, box.left + 4, box.bottom - 4, box.right - 4).slices


@pytest.mark.parametrize("part", SKIN_PARTS)
def test_every_part_of_skin_is_its_region(part: Part) -> None:
    parts = parts_of(parsing_of(SHAPE, [(part, BELOW)]), view_of({}), everywhere(), MM)
    assert np.unique(parts.region[bordered(BELOW)]) == list(Region).index(NAMED[part])
    assert parts.skin[bordered(BELOW)].min() == pytest.approx(SURE, abs=1e-5)
    assert parts.skin[bordered(BESIDE)].max() == 0


@pytest.mark.parametrize(
    ("part", "name"),
    [(Part.HAIR, "hair"), (Part.BEARD, "beard"), (Part.MOUTH, "teeth"),
     (Part.GLASSES, "jewellery"), (Part.JEWELLERY, "jewellery")],
)  # fmt: skip
def test_kept_parts_are_their_regions_and_no_skin(part: Part, name: str) -> None:
    own = everywhere()
    own[:, 40:] = 0
    parts = parts_of(parsing_of(SHAPE, [(part, BELOW)]), view_of({}), own, MM)
    for region, chance in parts.kept.items():
        wanted = SURE if region.value == name else 0
        assert chance[105:145, 15:35].min() == pytest.approx(wanted, abs=1e-5)
        assert chance[:, 40:].max() == 0
    assert parts.skin.max() == 0


def test_somebody_elses_skin_is_not_taken() -> None:
    own = everywhere()
    own[BESIDE.slices] = 0
    parts = parts_of(
        parsing_of(SHAPE, [(Part.ARM, BELOW), (Part.ARM, BESIDE)]), view_of({}), own, MM
    )
    assert parts.skin[BELOW.slices].max() > 0.9
    assert parts.skin[BESIDE.slices].max() == 0


@pytest.mark.parametrize("colour", [SKIN, BURNT, CLOTH])
@pytest.mark.parametrize("chance", [0.3, 0.6, 0.97])
def test_the_faces_colour_speaks_as_bayes_rule_says(
    colour: tuple[int, int, int], chance: float
) -> None:
    """Odds after are odds before times the likelihood ratio (any textbook of probability)."""
    parsing = parsing_of(SHAPE, [(Part.FACE, FACE), (Part.ARM, BELOW)], chances={Part.ARM: chance})
    view = view_of({FACE: SKIN, BELOW: colour})
    skin = parts_of(parsing, view, everywhere(), MM, face_box=FACE).skin
    seeds = np.zeros(SHAPE, bool)
    seeds[FACE.slices] = True
    linear = encoding_of(None).to_linear(view.pixels)
    model = skin_model.learn(linear, seeds)
    assert model is not None
    likeness, foreign = skin_model.compared(model, linear)
    alike = np.clip(likeness.astype(float), *COLOUR_LIMITS)
    if_skin, if_not = alike, (1 - alike) * np.exp(FOREIGN_ODDS * foreign.astype(float))
    wanted = chance * if_skin / (chance * if_skin + (1 - chance) * if_not)
    where = bordered(BELOW)
    kept = ndimage.binary_erosion(skin > 0, iterations=5)[where]
    assert kept.any() == (colour != CLOTH)
    np.testing.assert_allclose(skin[where][kept], wanted[where][kept], atol=1e-3)
    if colour == CLOTH:
        assert wanted[where].max() < 0.5
    else:
        assert skin[where].mean() > chance


def test_nothing_is_learnt_from_a_face_of_somebody_else() -> None:
    parsing = parsing_of(SHAPE, [(Part.FACE, FACE), (Part.ARM, BELOW)], chances={Part.ARM: 0.6})
    view = view_of({FACE: SKIN, BELOW: CLOTH})
    own = everywhere()
    own[FACE.slices] = 0
    for known in (own, everywhere()):
        box = FACE if known is own else None
        skin = parts_of(parsing, view, known, MM, face_box=box).skin
        np.testing.assert_allclose(skin[bordered(BELOW)], 0.6, atol=1e-5)


def test_specks_smaller_than_a_thumb_nail_go() -> None:
    """Patches and their areas as scipy labels them, corners joined."""
    boxes = [
        Box(10 + 40 * k, 10 + 50 * j, 10 + 40 * k + tall, 10 + 50 * j + wide)
        for k in range(3)
        for j, (tall, wide) in enumerate([(4, 4), (12, 12), (13, 12), (30, 30)])
    ]
    parsing = parsing_of(SHAPE, [(Part.ARM, box) for box in boxes])
    shown = parsing.on([Part.ARM], np.eye(3)[:2], SHAPE) > 0.5
    labels, count = ndimage.label(shown, np.ones((3, 3)))
    areas = ndimage.sum_labels(shown, labels, range(1, count + 1))
    large = np.isin(labels, 1 + np.flatnonzero(areas * MM**2 >= SMALLEST_PATCH_MM2))
    assert 0 < large.sum() < shown.sum()
    skin = parts_of(parsing, view_of({}), everywhere(), MM).skin
    assert np.array_equal(skin > 0.5, large)
    twice = parts_of(parsing, view_of({}), everywhere(), 2 * MM).skin
    assert (twice > 0.5).sum() > large.sum()


def test_an_eye_without_landmarks_is_kept_with_its_margin() -> None:
    eye = Box(60, 100, 66, 112)
    seen = face_parts(view_of({}), MM, parsing_of(SHAPE, [(Part.EYE, eye)]), {})
    outside = np.ones(SHAPE, bool)
    outside[eye.slices] = False
    away = ndimage.distance_transform_edt(outside)
    assert seen[Region.EYE][away < FACE_PART_MARGIN_MM - 2].min() > 0.9
    assert seen[Region.EYE][away > FACE_PART_MARGIN_MM + 5].max() < 0.02
    for region in (Region.BROW, Region.LIP, Region.NOSTRIL):
        assert seen[region].max() == 0


def test_a_part_far_from_the_landmarks_is_a_mistake() -> None:
    true, false = Box(60, 60, 66, 72), Box(60, 140, 66, 152)
    known = np.zeros(SHAPE, np.float32)
    known[true.slices] = 1
    parsing = parsing_of(SHAPE, [(Part.EYE, true), (Part.EYE, false), (Part.LIP, BELOW)])
    seen = face_parts(view_of({}), MM, parsing, {Region.EYE: known})
    assert seen[Region.EYE][true.slices].min() > 0.9
    away = ndimage.distance_transform_edt(known == 0)
    assert seen[Region.EYE][away > FACE_PARTS_WITHIN_MM + 4].max() < 0.02
    assert seen[Region.LIP].max() == 0  # the landmarks gave no lips
