from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest
from pydantic import ValidationError

from evenhand.people.person import Region
from evenhand.steps.coarse import coarse
from evenhand.steps.pigments import pigments_of
from evenhand.steps.redness import GRID_MM, Grade, RednessSettings, redness
from evenhand.steps.redness_measure import measure
from tests.evaluation.steps_measures import burn_measures, difference
from tests.evaluation.steps_textbook import global_a_shift
from tests.optics.skin import MELANIN, Light
from tests.steps.skins import burnt, clean, rendered_burnt_arm, tanned

SETTINGS = RednessSettings()

FOLD_MM, FOLD_DENSITY = 9.0, 1.3
"""Deviation of a fold, and how much darker it is in the middle, optical density."""


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


def test_redness_in_a_deep_fold_is_not_trusted_and_in_ordinary_light_is() -> None:
    scene = burnt("light")
    rows, columns = np.ogrid[: scene.alpha.shape[0], : scene.alpha.shape[1]]
    within = cv2.distanceTransform((scene.alpha > 0.9).astype(np.uint8), cv2.DIST_L2, 5)
    row, column = np.unravel_index(within.argmax(), within.shape)
    far = ((rows - row) ** 2 + (columns - column) ** 2) * scene.mm_per_pixel**2
    fold = np.exp(-far / (2 * FOLD_MM**2)).astype(np.float32)
    seen = scene.changed * np.exp(-FOLD_DENSITY * fold)[..., None]
    skin = coarse(replace(scene, changed=seen).patch, GRID_MM)
    in_light = measure(skin)[1].in_light
    depth = cv2.resize(fold, in_light.shape[::-1], interpolation=cv2.INTER_AREA)
    assert in_light[depth > 0.95].mean() < 0.3
    assert in_light[(depth < 0.05) & skin.inside].mean() > 0.95


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


def test_the_grade_tells_burnt_from_unburnt() -> None:
    grades = [
        redness(scene.patch, SETTINGS).facts["regions"][Region.FACE.value]["grade"]
        for scene in (clean("light"), burnt("light"))
    ]
    assert grades[0] == Grade.NONE.value
    assert grades[1] in (Grade.MODERATE.value, Grade.STRONG.value)


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
