"""How haemoglobin is read in density: against the theory of least squares, on skin made up."""

from __future__ import annotations

import numpy as np
import pytest

from evenhand.colour.optics import haemoglobin_direction
from evenhand.steps.blood import MOST_TURN, nuisance, own_direction, redness_axis, redness_map
from evenhand.steps.coarse import CoarsePatch, coarse
from evenhand.steps.pigments import pigments_of
from tests.steps.skins import clean

PUBLISHED = haemoglobin_direction().astype(np.float64)

SIDE, MM_PER_PIXEL = 120, 0.5


def covariance(seed: int) -> np.ndarray:
    """Of any kind, positive definite."""
    factor = np.random.default_rng(seed).normal(0, 0.05, (3, 3))
    return factor @ factor.T + 1e-4 * np.eye(3)


@pytest.mark.parametrize("seed", range(5))
def test_the_axis_is_the_best_linear_unbiased_estimate(seed: int) -> None:
    """Aitken's generalised least squares (Proc. R. Soc. Edinb. 55, 42, 1935, from memory) of
    density = shading (1, 1, 1) + haemoglobin direction + errors, whose second coefficient it is."""
    others = covariance(seed)
    model = np.stack([np.ones(3), PUBLISHED], axis=1)
    weighted = model.T @ np.linalg.inv(others)
    expected = np.linalg.solve(weighted @ model, weighted)[1]
    np.testing.assert_allclose(redness_axis(PUBLISHED, others), expected, rtol=1e-9)


def test_shading_is_not_read_and_blood_is_read_in_its_unit() -> None:
    plain = np.array([0.5, 0.9, 1.2])
    density = np.stack([plain, plain + 0.7, plain + 0.3 * PUBLISHED]).astype(np.float32)
    read = redness_map(density, PUBLISHED, covariance(1))
    np.testing.assert_allclose(read - read[0], [0, 0, 0.3], atol=1e-5)


def test_what_varies_is_the_covariance_of_mottle_and_the_skins_melanin() -> None:
    """numpy's covariance of many draws around zero."""
    pigments = pigments_of(coarse(clean("light").patch, 0.4))
    drawn = np.random.default_rng(2).multivariate_normal(np.zeros(3), covariance(3), 20_000)
    found = nuisance(drawn.astype(np.float32), pigments)
    rest = found - np.cov(drawn.T)
    melanin = pigments.melanin / np.linalg.norm(pigments.melanin)
    across = np.linalg.svd(melanin[None])[2][1:]
    assert melanin @ rest @ melanin > 5 * np.abs(across @ rest @ across.T).max()
    assert np.linalg.eigvalsh(rest).min() > -1e-6


def burnt_in_the_middle(direction: np.ndarray, most: float) -> tuple[CoarsePatch, np.ndarray]:
    """Skin with a burn that is a disc, soft at its border, and how strong it is, density."""
    random = np.random.default_rng(4)
    rows, columns = np.mgrid[:SIDE, :SIDE]
    away = np.hypot(rows - SIDE / 2, columns - SIDE / 2)
    amount = (most / (1 + np.exp((away - SIDE / 4) / 2))).astype(np.float32)
    shading = 0.2 * np.sin(columns / 40)[..., None] * np.ones(3)
    noise = random.normal(0, 0.004, (SIDE, SIDE, 3))
    density = np.array([0.5, 0.9, 1.2]) + amount[..., None] * direction + shading + noise
    skin = np.ones((SIDE, SIDE), np.float32)
    return CoarsePatch(density.astype(np.float32), skin, {}, MM_PER_PIXEL), amount


def turned(degrees: float) -> np.ndarray:
    """The published direction turned towards shading."""
    towards = np.ones(3) - PUBLISHED * (np.ones(3) @ PUBLISHED)
    towards /= np.linalg.norm(towards)
    angle = np.radians(degrees)
    return np.cos(angle) * PUBLISHED + np.sin(angle) * towards


def test_the_more_a_border_tells_the_nearer_is_the_persons_own_direction() -> None:
    own = 1.1 * turned(8)
    off = [
        np.linalg.norm(own_direction(*burnt_in_the_middle(own, most), PUBLISHED) - own)
        for most in (0.1, 0.3, 1.0, 2.0)
    ]
    assert off == sorted(off, reverse=True)
    assert off[-1] < 0.15 * np.linalg.norm(PUBLISHED - own)


def test_without_a_border_or_with_one_that_is_not_credible_the_published_holds() -> None:
    skin, amount = burnt_in_the_middle(PUBLISHED, 0.3)
    np.testing.assert_array_equal(own_direction(skin, 0 * amount, PUBLISHED), PUBLISHED)
    far = burnt_in_the_middle(turned(MOST_TURN + 20), 2.0)
    np.testing.assert_array_equal(own_direction(*far, PUBLISHED), PUBLISHED)
