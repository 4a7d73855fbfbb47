from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest
from pydantic import ValidationError

from evenhand.people.burnt import Points
from evenhand.people.person import Belief, Region
from evenhand.steps.coarse import coarse
from evenhand.steps.pigments import pigments_of
from evenhand.steps.redness import Action, RednessSettings, burns_in, redness, seen_in
from tests.evaluation.steps_measures import burn_measures, difference
from tests.evaluation.steps_photographs import with_belief
from tests.evaluation.steps_textbook import global_a_shift
from tests.optics.scene import Scene
from tests.optics.skin import MELANIN, Light
from tests.steps.skins import burnt, clean, rendered_burnt_arm, tanned

SETTINGS = RednessSettings()

NO_BELIEF = Belief(np.zeros((2, 2), np.float32), np.eye(2, 3) * 1000)
"""A parser that sees no burn anywhere."""


@pytest.mark.parametrize("tone", list(MELANIN))
def test_burnt_skin_comes_back_to_clean_and_unburnt_skin_stays(tone: str) -> None:
    scene = burnt(tone)
    measured = burn_measures(scene, redness(scene.patch, SETTINGS).wanted)
    assert measured["burn reduced"] > 0.8
    assert measured["burnt to clean"] < 1.5
    assert measured["unburnt moved"] < 0.4
    assert measured["hue error"] < 2.5


@pytest.mark.parametrize("factor", [0.0, 2.0])
def test_the_measure_fails_for_a_step_that_does_nothing_or_twice_too_much(factor: float) -> None:
    scene = burnt("light")
    whole = redness(scene.patch, SETTINGS).wanted
    wrong = scene.changed * (whole / scene.changed) ** factor
    assert burn_measures(scene, wrong)["burn reduced"] < 0.5


@pytest.mark.parametrize("tone", ["light", "brown", "dark"])
def test_it_beats_a_global_shift_of_a_star(tone: str) -> None:
    scene = burnt(tone)
    ours = burn_measures(scene, redness(scene.patch, SETTINGS).wanted)
    textbook = burn_measures(scene, global_a_shift(scene.patch))
    assert ours["burnt to clean"] < 0.5 * textbook["burnt to clean"]
    assert ours["unburnt moved"] < textbook["unburnt moved"]


@pytest.mark.parametrize("edge_mm", [0.5, 12.0])
def test_no_halo_along_sharp_and_soft_straps(edge_mm: float) -> None:
    scene = burnt("light", edge_mm)
    wanted = redness(scene.patch, SETTINGS).wanted
    blood = scene.dose.blood / scene.dose.blood.max()
    border = (blood > 0.05) & (blood < 0.7) & (scene.alpha > 0.9)
    assert difference(wanted, scene.clean)[border].mean() < 3.0
    beside = (blood == 0) & (scene.alpha > 0.9)
    assert np.quantile(difference(wanted, scene.clean)[beside], 0.99) < 3.0


def test_a_warm_cast_over_everything_is_not_redness() -> None:
    for light, balanced in ((Light.D65, True), (Light.LOW_SUN, False)):
        scene = clean("light", light, balanced)
        moved = difference(redness(scene.patch, SETTINGS).wanted, scene.clean)
        assert moved[scene.alpha > 0.9].mean() < 0.3


def test_sun_and_shade_lose_the_burn_alike() -> None:
    scene = burnt("light")
    wanted = redness(scene.patch, SETTINGS).wanted
    burn = (scene.dose.blood > 0.8 * scene.dose.blood.max()) & (scene.alpha > 0.9)
    light = scene.clean.mean(axis=-1)
    dark, bright = np.quantile(light[burn], [0.33, 0.67])
    before, after = difference(scene.changed, scene.clean), difference(wanted, scene.clean)
    for part in (burn & (light < dark), burn & (light > bright)):
        assert after[part].mean() < 0.3 * before[part].mean()


def test_a_burn_in_warm_evening_light_is_still_found() -> None:
    scene = burnt("intermediate", 2.0, Light.LOW_SUN, False)
    measured = burn_measures(scene, redness(scene.patch, SETTINGS).wanted)
    assert measured["burn reduced"] > 0.75


@pytest.mark.parametrize("tone", ["light", "tan"])
def test_a_tan_is_mostly_kept(tone: str) -> None:
    scene = tanned(tone)
    tan = (scene.dose.melanin > 0.9 * scene.dose.melanin.max()) & (scene.alpha > 0.9)
    moved = difference(redness(scene.patch, SETTINGS).wanted, scene.changed)[tan].mean()
    assert moved < 0.5 * difference(scene.changed, scene.clean)[tan].mean()


def test_nothing_changes_outside_the_skin_bit_for_bit() -> None:
    scene = burnt("light")
    wanted = redness(scene.patch, SETTINGS).wanted
    outside = scene.alpha == 0
    assert outside.any()
    assert np.array_equal(wanted[outside], scene.changed[outside])


def test_the_result_is_the_same_to_the_bit_each_time() -> None:
    scene = burnt("brown")
    once, again = (redness(scene.patch, SETTINGS).wanted for _ in range(2))
    assert np.array_equal(once, again)


def test_shading_is_kept() -> None:
    scene = burnt("light")
    wanted = redness(scene.patch, SETTINGS).wanted
    burn = (scene.dose.blood > 0.015) & (scene.alpha > 0.9)
    light = np.log(scene.clean[burn].mean(axis=-1))
    assert np.corrcoef(light, np.log(wanted[burn].mean(axis=-1)))[0, 1] > 0.97


def test_what_was_done_is_told() -> None:
    assert redness(clean("light").patch, SETTINGS).facts["burns"] == []
    burns = redness(burnt("light").patch, SETTINGS).facts["burns"]
    assert {burn["action"] for burn in burns} == {Action.TAKEN_OFF}
    assert any(Region.FACE.value in burn["regions"] for burn in burns)


@pytest.mark.parametrize("tone", list(MELANIN))
def test_without_belief_or_a_point_a_burn_is_left(tone: str) -> None:
    scene = replace(burnt(tone), belief=NO_BELIEF)
    wanted = redness(scene.patch, SETTINGS).wanted
    moved = difference(wanted, scene.changed)[scene.alpha > 0.9]
    assert np.quantile(moved, 0.99) < 2.5
    assert moved.mean() < 1.0


def pointed_piece(scene: Scene) -> tuple[tuple[int, int], np.ndarray]:
    """A point amid the largest piece of a burn, and that piece without its border."""
    burn = (scene.dose.blood > 0.7 * scene.dose.blood.max()) & (scene.alpha > 0.9)
    within = cv2.distanceTransform(burn.astype(np.uint8), cv2.DIST_L2, 5)
    row, column = np.unravel_index(within.argmax(), within.shape)
    _, labels = cv2.connectedComponents(burn.astype(np.uint8))
    return (int(column), int(row)), labels == labels[row, column]


@pytest.mark.parametrize(
    ("tone", "left"), [("light", 0.4), ("tan", 0.4), ("brown", 0.4), ("dark", 0.6)]
)
def test_with_one_point_the_network_sees_the_whole_burn(tone: str, left: float) -> None:
    scene = with_belief(burnt(tone))
    point, piece = pointed_piece(scene)
    wanted = redness(scene.patch, RednessSettings(burnt_at=(point,))).wanted
    before, after = difference(scene.changed, scene.clean), difference(wanted, scene.clean)
    assert after[piece].mean() < left * before[piece].mean()
    unburnt = (scene.dose.blood == 0) & (scene.alpha > 0.9)
    assert difference(wanted, scene.changed)[unburnt].mean() < 1.0


def test_light_shines_red_through_ears_which_are_left_without_a_point() -> None:
    scene = burnt("light")
    masks = dict(scene.masks)
    masks[Region.EAR] = masks.pop(Region.FACE)
    scene = replace(scene, masks=masks)
    point, _ = pointed_piece(scene)
    ear = (masks[Region.EAR] > 0.9) & (scene.dose.blood > 0.7 * scene.dose.blood.max())
    unasked = redness(scene.patch, RednessSettings(flush=0.0)).wanted
    asked = redness(scene.patch, RednessSettings(burnt_at=(point,))).wanted
    assert difference(unasked, scene.changed)[ear].mean() < 0.5
    assert difference(asked, scene.changed)[ear].mean() > 3.0
    sight = seen_in(scene.patch)
    assert sight is not None
    # as the service keeps it, which lets go of the photograph
    kept = replace(sight, skin=replace(sight.skin, regions={}))
    rows, columns = ear.shape
    shown = cv2.resize(burns_in(kept, SETTINGS), (columns, rows)) > 0.5
    assert not (shown & ear).any()


def test_a_point_takes_nothing_away_from_what_is_sure_without_it(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def blinded(belief: Belief, burnt_at: Points, leave_at: Points) -> Belief:
        return replace(belief, chance=np.zeros_like(belief.chance)) if burnt_at else belief

    monkeypatch.setattr("evenhand.steps.redness.pointed", blinded)
    scene = burnt("light")
    _, piece = pointed_piece(scene)
    row, column = np.argwhere((scene.dose.blood == 0) & (scene.alpha > 0.9))[0]
    elsewhere = RednessSettings(burnt_at=((int(column), int(row)),))
    wanted = redness(scene.patch, elsewhere).wanted
    before = difference(scene.changed, scene.clean)
    assert difference(wanted, scene.clean)[piece].mean() < 0.4 * before[piece].mean()


def test_what_is_to_be_left_is_left() -> None:
    scene = burnt("light")
    point, piece = pointed_piece(scene)
    left = redness(scene.patch, RednessSettings(leave_at=(point,), flush=0.0)).wanted
    assert difference(left, scene.changed)[piece].mean() < 0.5


def test_a_region_may_have_its_own_strength() -> None:
    scene = burnt("light")
    face = scene.masks[Region.FACE] > 0.99
    neck = (scene.masks[Region.NECK] > 0.99) & (scene.dose.blood > 0)
    chosen = RednessSettings(by_region={Region.FACE: 0.0})
    moved = difference(redness(scene.patch, chosen).wanted, scene.changed)
    whole = difference(redness(scene.patch, SETTINGS).wanted, scene.changed)
    inside = cv2.erode(face.astype(np.uint8), np.ones((9, 9), np.uint8)) > 0
    assert moved[inside].max() < 0.5
    assert moved[neck].mean() == pytest.approx(whole[neck].mean(), rel=0.25)


def test_the_direction_on_dark_skin_is_darkening_on_light_skin_reddening() -> None:
    light, dark = (
        pigments_of(coarse(clean(tone).patch, 0.5)).haemoglobin for tone in ("light", "dark")
    )
    assert dark[0] > light[0]  # more of the red light goes
    assert dark[2] < light[2]  # the surface's reflection hides the blue


def test_no_skin_at_all_is_left_as_it_is() -> None:
    patch = replace(clean("light").patch, masks={})
    assert np.array_equal(redness(patch, SETTINGS).wanted, patch.linear)


@pytest.mark.parametrize("wrong", [{"strength": 1.1}, {"cap": 0}, {"unknown": 1}])
def test_settings_outside_their_limits_are_refused(wrong: dict[str, float]) -> None:
    with pytest.raises(ValidationError):
        RednessSettings(**wrong)


def test_the_rendered_burnt_arm_comes_back_with_true_masks() -> None:
    scene = rendered_burnt_arm()
    measured = burn_measures(scene, redness(scene.patch, SETTINGS).wanted)
    assert measured["burn reduced"] > 0.6
    assert measured["unburnt moved"] < 1.0


@pytest.mark.parametrize("tone", ["light", "dark"])
def test_the_outline_of_what_would_go_is_that_of_the_burn(tone: str) -> None:
    """The simulated burn is the truth; what the step then takes off is inside."""
    scene = burnt(tone, 0.5)
    sight = seen_in(scene.patch)
    assert sight is not None
    rows, columns = scene.alpha.shape
    shown = cv2.resize(burns_in(sight, SETTINGS), (columns, rows)) > 0.5
    sure = scene.alpha > 0.9
    truth = (scene.dose.blood > 0.5 * scene.dose.blood.max()) & sure
    assert (shown & truth).sum() > 0.8 * ((shown | truth) & sure).sum()
    gain = redness(scene.patch, SETTINGS.model_copy(update={"flush": 0.0})).wanted / scene.changed
    moved = np.abs(np.log(gain)).max(axis=-1) > 0.02
    assert (moved & shown).sum() > 0.9 * (moved & sure).sum()


def test_the_outline_goes_where_what_it_surrounds_is_to_be_left() -> None:
    scene = burnt("light", 0.5)
    sight = seen_in(scene.patch)
    assert sight is not None
    inside = (burns_in(sight, SETTINGS) > 0.9).astype(np.uint8)
    deep = cv2.distanceTransform(inside, cv2.DIST_L2, 5)
    row, column = np.unravel_index(int(deep.argmax()), deep.shape)
    share = sight.box.width / sight.red.shape[1]
    place = (round(sight.box.left + column * share), round(sight.box.top + row * share))
    left = burns_in(sight, SETTINGS.model_copy(update={"leave_at": (place,)}))
    assert left[row, column] == 0
