from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from evenhand.people.person import Region
from evenhand.steps.smoothing import SmoothingSettings, smoothing
from tests.evaluation.steps_measures import (
    blotch_reduced,
    difference,
    texture_kept,
    texture_kept_at_half,
    well_inside,
)
from tests.evaluation.steps_textbook import gaussian_separation
from tests.optics.skin import MELANIN
from tests.steps.skins import blotched, burnt, clean, marked

SETTINGS = SmoothingSettings()


def _at_default(scene_patch: object) -> np.ndarray:
    whole = smoothing(scene_patch, SETTINGS).wanted
    return scene_patch.linear + SETTINGS.strength * (whole - scene_patch.linear)


@pytest.mark.parametrize("tone", list(MELANIN))
def test_blotch_falls_and_texture_stays(tone: str) -> None:
    scene = blotched(tone)
    inside, mm = well_inside(scene.patch), scene.mm_per_pixel
    default, full = _at_default(scene.patch), smoothing(scene.patch, SETTINGS).wanted
    assert blotch_reduced(scene, default) > 0.6
    assert texture_kept(scene.changed, default, inside, mm) > 0.95
    assert texture_kept_at_half(scene.changed, default, inside, mm) > 0.95
    assert texture_kept(scene.changed, full, inside, mm) > 0.85
    assert texture_kept_at_half(scene.changed, full, inside, mm) > 0.85


@pytest.mark.parametrize("factor", [0.0, 2.2])
def test_the_measure_fails_for_a_step_that_does_nothing_or_twice_too_much(factor: float) -> None:
    scene = blotched("light")
    whole = smoothing(scene.patch, SETTINGS).wanted
    assert blotch_reduced(scene, scene.changed * (whole / scene.changed) ** factor) < 0.6


def test_it_beats_gaussian_separation_in_blotch_texture_and_lines() -> None:
    scene = blotched("intermediate")
    ours, textbook = _at_default(scene.patch), gaussian_separation(scene.patch, SETTINGS.strength)
    inside, mm = well_inside(scene.patch), scene.mm_per_pixel
    assert blotch_reduced(scene, ours) > blotch_reduced(scene, textbook)
    assert texture_kept(scene.changed, ours, inside, mm) > texture_kept(
        scene.changed, textbook, inside, mm
    )
    plain = clean("intermediate")
    worst = [
        np.quantile(difference(result, plain.clean)[plain.alpha > 0.9], 0.995)
        for result in (
            _at_default(plain.patch),
            gaussian_separation(plain.patch, SETTINGS.strength),
        )
    ]
    assert worst[0] < 0.7 * worst[1]


def test_no_halo_along_a_strap_and_the_jaw() -> None:
    scene = burnt("light", 0.5)
    moved = difference(_at_default(scene.patch), scene.changed)[scene.alpha > 0.9]
    assert np.quantile(moved, 0.99) < 2.5


def test_moles_and_freckles_stay() -> None:
    scene = marked("light")
    spots = (scene.dose.melanin > 0.5 * scene.dose.melanin.max()) & (scene.alpha > 0.9)
    moved = difference(_at_default(scene.patch), scene.changed)[spots].mean()
    assert moved < 0.1 * difference(scene.changed, scene.clean)[spots].mean()


def _left_of_shade(tone: str, width_mm: float, depth: float) -> float:
    """Share left of a dark band across the face, a Gaussian of that sigma and density."""
    scene = clean(tone)
    rows, columns = np.nonzero(scene.alpha > 0.99)
    row, column = round(rows.mean()), round(columns.mean())
    away_mm = (np.arange(scene.alpha.shape[0]) - row) * scene.mm_per_pixel
    shade = np.exp(-depth * np.exp(-((away_mm / width_mm) ** 2) / 2), dtype=np.float32)
    shaded = replace(scene.patch, light=scene.changed * shade[:, None, None])
    here = (row, slice(column - 20, column + 20))
    density = np.log(_at_default(scene.patch)[here] / _at_default(shaded)[here])
    return float(density.mean()) / depth


@pytest.mark.parametrize("tone", list(MELANIN))
def test_soft_shadow_is_softened_in_part_and_a_fold_stays(tone: str) -> None:
    # As wide as the shadow under an eye, and as a line beside the mouth: common practice.
    assert 0.7 < _left_of_shade(tone, 2.5, 0.12) < 0.9
    assert _left_of_shade(tone, 0.35, 0.25) > 0.85


def test_grain_is_neither_removed_nor_raised() -> None:
    scene = clean("light")
    noise = 0.02 * np.random.default_rng(3).standard_normal(scene.changed.shape).astype(np.float32)
    patch = replace(scene.patch, light=np.maximum(scene.changed + noise, 0.001))
    inside = well_inside(patch)
    assert texture_kept(patch.linear, _at_default(patch), inside, 0.4) == pytest.approx(1, abs=0.03)


def test_a_band_that_the_photograph_does_not_resolve_is_left_alone() -> None:
    patch = replace(blotched("light").patch, mm_per_pixel=1.0)
    change = smoothing(patch, SETTINGS)
    assert np.array_equal(change.wanted, patch.linear)
    assert change.facts["resolved"] is False


def test_the_same_skin_at_half_the_size_gets_the_same_treatment() -> None:
    import cv2

    scene = blotched("tan")
    whole = smoothing(scene.patch, SETTINGS).wanted / scene.changed
    size = (scene.alpha.shape[1] // 2, scene.alpha.shape[0] // 2)

    def half(values: np.ndarray) -> np.ndarray:
        return cv2.resize(values, size, interpolation=cv2.INTER_AREA)

    masks = {region: half(mask) for region, mask in scene.masks.items()}
    small = replace(
        scene.patch, light=half(scene.changed), masks=masks, mm_per_pixel=2 * scene.mm_per_pixel
    )
    ours = smoothing(small, SETTINGS).wanted / small.linear
    inside = masks[Region.FACE] > 0.99
    moved = np.log(half(whole))[inside]
    assert np.abs(np.log(ours)[inside] - moved).mean() < 0.25 * np.abs(moved).mean()


def test_nothing_changes_outside_the_skin_and_runs_agree_to_the_bit() -> None:
    scene = blotched("light")
    once, again = (smoothing(scene.patch, SETTINGS).wanted for _ in range(2))
    assert np.array_equal(once, again)
    outside = scene.alpha == 0
    assert np.array_equal(once[outside], scene.changed[outside])
