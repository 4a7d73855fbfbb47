"""The model of a person's skin: shading and sunburn are inside, other colours are not."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from evenhand.colour.optics import skin_density
from evenhand.people import skin_model

SKINS = {
    "light": (0.02, 0.006),
    "tanned": (0.08, 0.01),
    "brown": (0.18, 0.01),
    "deep": (0.32, 0.01),
}
# Shares of melanosomes and blood; melanosome shares span the light to dark skins of S. L. Jacques,
# "Skin optics", Oregon Medical Laser Center News, 1998 (1.3 to 43 %).

BURN = 0.025
# Share of blood in burnt skin: about three times the usual, upper part of the range given there.


def skin_light(melanosomes: float, blood: float, shape: tuple[int, int] = (40, 40)) -> np.ndarray:
    """Linear light of model skin, shaded unevenly and with a little noise."""
    rng = np.random.default_rng(5)
    density = skin_density(melanosomes, blood) + 0.4
    shade = np.linspace(-0.2, 0.2, shape[1])[None, :, None]
    noise = rng.normal(0, 0.02, (*shape, 3))
    return np.exp(-(density + shade + noise)).astype(np.float32)


def model_of(name: str) -> skin_model.SkinModel:
    linear = skin_light(*SKINS[name])
    model = skin_model.learn(linear, np.ones(linear.shape[:2], bool))
    assert model is not None
    return model


@pytest.mark.parametrize("name", SKINS)
def test_own_skin_in_other_light_is_skin(name: str) -> None:
    model = model_of(name)
    linear = skin_light(*SKINS[name])
    for brightness in (0.4, 1.0, 2.0):
        assert skin_model.compared(model, linear * np.float32(brightness))[0].mean() > 0.95


@pytest.mark.parametrize("name", SKINS)
def test_burnt_skin_is_skin(name: str) -> None:
    melanosomes, blood = SKINS[name]
    burnt = skin_light(melanosomes, BURN)
    assert blood < BURN
    assert skin_model.compared(model_of(name), burnt)[0].mean() > 0.9


@pytest.mark.parametrize("name", SKINS)
@pytest.mark.parametrize(
    "cloth", [(0.5, 0.5, 0.5), (0.05, 0.05, 0.05), (0.1, 0.2, 0.5), (0.1, 0.4, 0.1)]
)
def test_grey_blue_and_green_cloth_is_not(name: str, cloth: tuple[float, float, float]) -> None:
    linear = np.full((9, 9, 3), cloth, np.float32)
    assert skin_model.compared(model_of(name), linear)[0].max() < 0.05


@given(brightness=st.floats(0.5, 2.0), outliers=st.floats(0, 0.3))
@settings(max_examples=25, deadline=None)
def test_learning_withstands_seeds_that_are_not_skin(brightness: float, outliers: float) -> None:
    linear = skin_light(*SKINS["light"]) * np.float32(brightness)
    rng = np.random.default_rng(7)
    spoilt = linear.copy()
    spoilt[rng.random(linear.shape[:2]) < outliers] = (0.03, 0.025, 0.02)
    seeds = np.ones(linear.shape[:2], bool)
    clean, robust = skin_model.learn(linear, seeds), skin_model.learn(spoilt, seeds)
    assert clean is not None
    assert robust is not None
    assert np.abs(clean.middle - robust.middle).max() < 0.03
    assert skin_model.compared(robust, linear)[0].mean() > 0.9


def test_too_few_seeds_teach_nothing() -> None:
    linear = skin_light(*SKINS["light"])
    seeds = np.zeros(linear.shape[:2], bool)
    seeds[:3, :3] = True
    assert skin_model.learn(linear, seeds) is None
