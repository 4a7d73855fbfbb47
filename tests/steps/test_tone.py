from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from evenhand.steps.tone import ToneSettings, corrected, correction, skin_tone, spread
from tests.evaluation.steps_measures import difference
from tests.optics.skin import MELANIN
from tests.steps.skins import clean

SETTINGS = ToneSettings()


def _shoot(tone: str, count: int = 6) -> list[np.ndarray]:
    """The same skin under a wandering white balance and exposure, the first as it should be."""
    rng = np.random.default_rng(4)
    gains = [np.ones(3)] + [
        2 ** rng.uniform(-0.35, 0.35) * rng.uniform(0.92, 1.08, 3) for _ in range(count - 1)
    ]
    return [(0.7 * clean(tone).clean * gain).astype(np.float32) for gain in gains]


@pytest.mark.parametrize("tone", list(MELANIN))
def test_the_spread_over_a_shoot_falls(tone: str) -> None:
    patch = clean(tone).patch
    frames = _shoot(tone)
    before = [skin_tone(replace(patch, light=frame)) for frame in frames]
    after = [
        skin_tone(replace(patch, light=corrected(frame, correction(t, before[0], SETTINGS))))
        for frame, t in zip(frames, before, strict=True)
    ]
    assert spread(before) > 1.5
    assert spread(after) < 0.2 * spread(before)
    inside = clean(tone).alpha > 0.9
    last = corrected(frames[-1], correction(before[-1], before[0], SETTINGS))
    assert difference(last, frames[0])[inside].mean() < 0.5


def test_the_measured_tone_is_the_skins_and_not_the_backgrounds() -> None:
    scene = clean("light")
    tone = skin_tone(scene.patch)
    other = scene.clean.copy()
    other[scene.alpha == 0] = 0.9
    assert skin_tone(replace(scene.patch, light=other)) == tone


def test_a_portrait_like_the_reference_keeps_its_bits() -> None:
    scene = clean("brown")
    tone = skin_tone(scene.patch)
    assert np.array_equal(corrected(scene.clean, correction(tone, tone, SETTINGS)), scene.clean)


def test_it_can_be_taken_back() -> None:
    frame = _shoot("tan")[2]
    patch = clean("tan").patch
    wanted = correction(
        skin_tone(replace(patch, light=frame)),
        skin_tone(replace(patch, light=_shoot("tan")[0])),
        SETTINGS,
    )
    back = corrected(frame, wanted) / wanted.gains
    assert np.allclose(back, frame, rtol=1e-5)


def test_exposure_and_balance_stay_inside_their_limits() -> None:
    scene = clean("light")
    here = skin_tone(scene.patch)
    there = skin_tone(replace(scene.patch, light=scene.clean * np.float32([2.5, 1.2, 0.6])))
    wanted = correction(here, there, SETTINGS)
    assert wanted.exposure == pytest.approx(SETTINGS.most_exposure)
    luminance = np.array([0.2627, 0.6780, 0.0593])  # Recommendation ITU-R BT.2020
    assert (np.array(wanted.balance) * here.light) @ luminance == pytest.approx(
        np.array(here.light) @ luminance, rel=1e-3
    )


def test_a_lift_blows_no_highlights_out() -> None:
    scene = clean("light")
    frame = scene.clean.copy()
    frame[:40] = 0.95
    here = skin_tone(replace(scene.patch, light=frame))
    wanted = correction(here, skin_tone(replace(scene.patch, light=1.4 * frame)), SETTINGS)
    assert (corrected(frame, wanted) > 1).mean() < 0.01


def test_no_skin_has_no_tone() -> None:
    assert skin_tone(replace(clean("light").patch, masks={})) is None
