"""Skin before a burn as the reference, on skin simulated wavelength by wavelength in two lights."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest

from evenhand.box import Box
from evenhand.people.person import Belief, Face, Region
from evenhand.steps.gain import Gain
from evenhand.steps.patch import Change, ReferenceSkin
from evenhand.steps.redness import RednessSettings, redness
from evenhand.steps.reference import (
    BALANCE,
    EYE_WHITE,
    HAIR,
    DaySkin,
    day_skin,
    matched,
)
from tests.evaluation.steps_measures import difference
from tests.evaluation.steps_photographs import with_belief
from tests.optics.changes import strapped, sunburn, tan
from tests.optics.scene import Scene, skin_scene
from tests.optics.skin import MELANIN, WAVELENGTHS, Light, Skin, to_linear
from tests.steps.skins import MM, SHAPE

GREY = {EYE_WHITE: 0.6, HAIR: 0.08}
"""Reflectance of what the sun does not change; grey, so that its colour is the light's."""

BLIND = Belief(np.zeros((2, 2), np.float32), np.eye(2, 3) * 1000)
"""A network that sees no burn anywhere: on a face burnt all over there is no border to see."""

NOON, EVENING = (Light.D65, True), (Light.LOW_SUN, False)
"""A camera set to daylight, by day and in the evening."""


def unburnt(tone: str, light: tuple[Light, bool], seed: int) -> Scene:
    skin = Skin(MELANIN[tone], light=light[0], balanced=light[1])
    return replace(skin_scene(skin, seed, SHAPE, MM), belief=BLIND)


@lru_cache
def seen(tone: str, light: tuple[Light, bool], seed: int, told: bool = True) -> DaySkin:
    """An unburnt day, and what tells its light where that is seen."""
    return with_light(day_skin(unburnt(tone, light, seed).patch), light, told)


def with_light(skin: DaySkin, light: tuple[Light, bool], told: bool = True) -> DaySkin:
    flat = np.ones((1, len(WAVELENGTHS)))
    unchanged = {name: -np.log(to_linear(grey * flat, *light)[0]) for name, grey in GREY.items()}
    return replace(skin, unchanged=unchanged if told else {})


def reference(scene: Scene, before: DaySkin, told: bool = True) -> ReferenceSkin:
    return matched(with_light(day_skin(scene.patch), EVENING, told), before)


def done(scene: Scene, before: DaySkin, told: bool = True, **settings: object) -> Change | Gain:
    patch = replace(scene.patch, before=reference(scene, before, told))
    return redness(patch, RednessSettings(flush=0.0, **settings))


def burnt_all_over(tone: str, light: tuple[Light, bool] = EVENING) -> Scene:
    scene = unburnt(tone, light, 7)
    rng = np.random.default_rng(8)
    return scene.with_dose(sunburn(np.ones(SHAPE), 0.7, scene.skin, MM, rng))


@pytest.mark.parametrize("tone", list(MELANIN))
def test_a_burn_all_over_goes_that_nothing_in_the_picture_tells(tone: str) -> None:
    scene = burnt_all_over(tone)
    inside = scene.alpha > 0.9
    before = difference(scene.changed, scene.clean)[inside].mean()
    alone = redness(scene.patch, RednessSettings(flush=0.0)).wanted
    assert difference(alone, scene.clean)[inside].mean() > 0.95 * before
    after = difference(done(scene, seen(tone, NOON, 5)).wanted, scene.clean)[inside].mean()
    assert after < 0.4 * before


@pytest.mark.parametrize("tone", list(MELANIN))
@pytest.mark.parametrize("told", [True, False])
def test_unburnt_skin_in_another_light_is_left(tone: str, told: bool) -> None:
    scene = unburnt(tone, EVENING, 7)
    wanted = done(scene, seen(tone, NOON, 5, told), told).wanted
    moved = difference(wanted, scene.clean)[scene.alpha > 0.5]
    assert moved.mean() < 0.4
    assert moved.max() < 4


def test_where_nothing_tells_the_light_the_photographer_points_and_less_goes() -> None:
    scene = with_belief(burnt_all_over("light", NOON))
    before = seen("light", NOON, 5, False)
    row, column = np.argwhere(scene.alpha > 0.9).mean(axis=0).astype(int)
    unknown = matched(replace(day_skin(scene.patch), unchanged={}), before)
    known = matched(with_light(day_skin(scene.patch), NOON), seen("light", NOON, 5))
    assert (unknown.balanced_by, known.balanced_by) == ((), (EYE_WHITE, HAIR))

    def moved(reference: ReferenceSkin, **settings: object) -> float:
        given = RednessSettings(flush=0.0, **settings)
        wanted = redness(replace(scene.patch, before=reference), given).wanted
        near = slice(row - 5, row + 6), slice(column - 5, column + 6)
        return float(difference(wanted, scene.changed)[near].mean())

    assert moved(unknown) < 0.1
    pointed = moved(unknown, burnt_at=((int(column), int(row)),))
    assert 1 < pointed < 0.95 * moved(known)


@pytest.mark.parametrize("tone", ["light", "tan", "brown"])
def test_a_new_tan_stays(tone: str) -> None:
    scene = unburnt(tone, EVENING, 7)
    scene = scene.with_dose(tan(np.ones(SHAPE), scene.skin))
    wanted = done(scene, seen(tone, NOON, 5)).wanted
    inside = scene.alpha > 0.9
    tanned = difference(scene.changed, scene.clean)[inside].mean()
    assert difference(wanted, scene.changed)[inside].mean() < 0.1 * tanned


@pytest.mark.parametrize("tone", ["light", "tan", "brown"])
def test_nothing_is_left_less_red_than_it_was_before(tone: str) -> None:
    scene = unburnt(tone, EVENING, 7)
    rng = np.random.default_rng(8)
    where = strapped(SHAPE, MM, 2.0)
    scene = scene.with_dose(sunburn(where, 0.7, scene.skin, MM, rng))
    wanted = done(scene, seen(tone, NOON, 5)).wanted
    clean = (scene.dose.blood == 0) & (scene.alpha > 0.9)
    assert difference(wanted, scene.clean)[clean].mean() < 0.4
    burnt = (scene.dose.blood > 0.8 * scene.dose.blood.max()) & (scene.alpha > 0.9)
    less_red = np.log(wanted[..., 0] / wanted[..., 1]) - np.log(
        scene.clean[..., 0] / scene.clean[..., 1]
    )
    assert np.median(less_red[burnt]) > -0.03


def test_what_is_to_be_left_is_left() -> None:
    scene = burnt_all_over("light")
    row, column = np.argwhere(scene.alpha > 0.9).mean(axis=0).astype(int)
    wanted = done(scene, seen("light", NOON, 5), leave_at=((int(column), int(row)),)).wanted
    assert difference(wanted, scene.changed)[scene.alpha > 0.9].mean() < 0.3


def test_regions_that_were_not_seen_before_are_told_and_left() -> None:
    scene = burnt_all_over("light")
    before = seen("light", NOON, 5)
    only_neck = replace(before, regions={Region.NECK: before.regions[Region.NECK]})
    change = done(scene, only_neck)
    assert change.facts["before"]["missing"] == [Region.FACE.value]
    far = (scene.masks[Region.FACE] > 0.99) & (np.arange(SHAPE[0])[:, None] < SHAPE[0] // 4)
    assert difference(change.wanted, scene.changed)[far].mean() < 0.5


def test_doubt_is_that_of_what_was_seen() -> None:
    before = seen("light", NOON, 5)
    both, nothing = matched(before, before), matched(replace(before, unchanged={}), before)
    assert np.trace(nothing.doubt) == pytest.approx(2 * BALANCE**2)
    assert np.trace(both.doubt) < 0.3 * np.trace(nothing.doubt)
    gone_apart = {**before.unchanged, HAIR: before.unchanged[HAIR] + np.array([0.3, 0.0, 0.0])}
    apart = matched(replace(before, unchanged=gone_apart), before)
    assert np.trace(apart.doubt) > 3 * np.trace(both.doubt)


def test_eye_white_is_measured_between_the_lids_without_the_iris() -> None:
    """A drawn face: lids as diamonds, white in them, a dark iris; the mesh's own numbering."""
    from evenhand.people.regions import LEFT_EYE, RIGHT_EYE

    scene = unburnt("light", NOON, 7)
    light, landmarks = scene.changed.copy(), np.zeros((478, 2), np.float32)
    for lids, centre, middle in ((RIGHT_EYE, 468, 60), (LEFT_EYE, 473, 160)):
        angles = np.linspace(0, 2 * np.pi, len(lids), endpoint=False)
        landmarks[list(lids)] = np.stack(
            [middle + 24 * np.cos(angles), 60 + 12 * np.sin(angles)], 1
        )
        landmarks[centre] = middle, 60
        turns = np.linspace(0, 2 * np.pi, 4, endpoint=False)
        landmarks[centre + 1 : centre + 5] = np.stack(
            [middle + 9 * np.cos(turns), 60 + 9 * np.sin(turns)], 1
        )
        rows, columns = np.indices(SHAPE)
        inside = ((columns - middle) / 24) ** 2 + ((rows - 60) / 12) ** 2 < 1
        light[inside] = (0.5, 0.45, 0.4)
        light[np.hypot(columns - middle, rows - 60) < 9] = (0.05, 0.08, 0.1)
    face = Face(Box(10, 10, 200, 220), landmarks, 0.0, 0.0, 1.0)
    measured = day_skin(replace(scene, changed=light, face=face).patch).unchanged
    assert measured[EYE_WHITE] == pytest.approx(-np.log([0.5, 0.45, 0.4]), abs=0.01)


def test_skin_that_is_blown_out_tells_nothing() -> None:
    scene = unburnt("light", NOON, 7)
    assert day_skin(replace(scene, changed=np.ones_like(scene.changed)).patch).regions == {}


def test_the_result_is_the_same_to_the_bit_each_time() -> None:
    scene = burnt_all_over("brown")
    once, again = (done(scene, seen("brown", NOON, 5)).wanted for _ in range(2))
    assert np.array_equal(once, again)
