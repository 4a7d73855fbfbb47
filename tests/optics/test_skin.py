from __future__ import annotations

import numpy as np
import pytest

from evenhand.colour.lab import lab_of
from tests.optics.skin import (
    MELANIN,
    WAVELENGTHS,
    Light,
    Skin,
    blood_absorption,
    reflectance,
    to_linear,
)


def _chroma(linear: np.ndarray) -> float:
    return float(np.hypot(*lab_of(linear)[1:]))


def test_oxygenated_and_deoxygenated_blood_agree_at_a_published_isosbestic_point() -> None:
    # Prahl's compilation: 500.1 nm (see the table beside the module).
    place = int(np.argmin(np.abs(WAVELENGTHS - 500)))
    assert blood_absorption(1.0)[place] == pytest.approx(blood_absorption(0.0)[place], rel=0.02)


def test_more_pigment_never_reflects_more() -> None:
    amounts = np.linspace(0.01, 0.3, 8)
    assert (np.diff(reflectance(amounts, 0.01), axis=0) < 0).all()
    assert (np.diff(reflectance(0.05, amounts / 5), axis=0) < 0).all()


@pytest.mark.parametrize("light", list(Light))
def test_a_perfect_white_is_white_when_balanced(light: Light) -> None:
    white = to_linear(np.ones((1, len(WAVELENGTHS))), light)
    assert white == pytest.approx(np.ones((1, 3)), abs=1e-9)


def test_low_sun_is_warm_when_not_balanced() -> None:
    white = to_linear(np.ones((1, len(WAVELENGTHS))), Light.LOW_SUN, balanced=False)[0]
    assert white[0] > white[1] > white[2]


def test_sunburn_as_measured_light_skin_gains_chroma_and_dark_skin_loses_it() -> None:
    # Measured on 47 people at 8 sites: lighter skin loses L* and gains C*, darker skin loses both.
    for tone, gains in (("light", True), ("dark", False)):
        skin = Skin(MELANIN[tone])
        before = skin.linear
        after = before * skin.ratio(np.array([0.0, 0.03]), np.array([0, 0.12 * skin.melanin]))[1]
        assert lab_of(after)[0] < lab_of(before)[0] - 2
        assert (_chroma(after) > _chroma(before)) == gains


def test_the_same_blood_colours_dark_skin_less_than_light_skin() -> None:
    moved = []
    for tone in ("light", "dark"):
        skin = Skin(MELANIN[tone])
        before, after = (
            lab_of(skin.linear * skin.ratio(np.array([0.0, dose]))[1]) for dose in (0.0, 0.02)
        )
        moved.append(np.linalg.norm((after - before)[1:]))
    assert moved[1] < 0.7 * moved[0]
