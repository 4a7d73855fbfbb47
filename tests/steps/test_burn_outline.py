from __future__ import annotations

import numpy as np
import pytest

from evenhand.people.person import Region
from evenhand.steps.burn_outline import Burn, outlined_burn
from evenhand.steps.coarse import CoarsePatch
from evenhand.steps.pigments import pigments_of
from evenhand.steps.redness_measure import redness_map

MM = 1.0
"""Pixel size, millimetres."""

BURN = 0.6
"""Density that a burn adds along haemoglobin's direction."""

ROWS, COLUMNS = np.mgrid[:120, :160] * MM

MIRRORED = np.stack([ROWS, COLUMNS.max() - COLUMNS], axis=-1).astype(np.float32)
"""Where each place has its counterpart."""

LIGHT_SKIN = np.array([0.45, 0.85, 1.05])
"""Density of light skin in full light, about that of a light skin of the simulation."""


def _natural() -> np.ndarray:
    """Redness of a face alike on both sides: cheeks and nose."""
    across = np.abs(COLUMNS - COLUMNS.mean())
    cheeks = 0.3 * np.exp(-((across - 40) ** 2 + (ROWS - 70) ** 2) / (2 * 15**2))
    return cheeks + 0.2 * np.exp(-(across**2 + (ROWS - 60) ** 2) / (2 * 8**2))


def _found(redness: np.ndarray, shade: np.ndarray) -> Burn | None:
    """Outline on a face of some redness and shade, with mottle."""
    whole = np.ones(redness.shape, np.float32)
    level = np.broadcast_to(LIGHT_SKIN, (*redness.shape, 3)).astype(np.float32)
    pigments = pigments_of(CoarsePatch(level, whole, {Region.FACE: whole}, MM))
    mottle = 0.02 * np.random.default_rng(4).standard_normal(redness.shape)
    density = level + (redness + mottle)[..., None] * pigments.haemoglobin + shade[..., None]
    skin = CoarsePatch(density.astype(np.float32), whole, {Region.FACE: whole}, MM)
    others = 0.03**2 * (np.outer(pigments.melanin, pigments.melanin) + np.eye(3))
    seen = redness_map(skin.density, pigments.haemoglobin, others)
    return outlined_burn(skin, seen, shade.astype(np.float32), pigments, MIRRORED)


@pytest.mark.parametrize("from_column", [50, 80, 110])
@pytest.mark.parametrize("edge_mm", [1.0, 8.0])
def test_a_burn_that_ends_on_the_face_is_outlined_and_measured(
    from_column: int, edge_mm: float
) -> None:
    share = np.clip((COLUMNS - from_column) / edge_mm + 0.5, 0, 1)
    burn = _found(_natural() + BURN * share, 0 * share)
    assert burn is not None
    assert burn.trust == 1
    assert np.abs(burn.share - share).mean() < 0.04
    assert np.linalg.norm(burn.added) == pytest.approx(BURN, abs=0.12)


def test_red_cheeks_are_no_burn() -> None:
    assert _found(_natural(), 0 * ROWS) is None


def test_the_shadow_of_a_brim_is_no_burn() -> None:
    shade = 0.5 * np.clip((60 - ROWS) / 4 + 0.5, 0, 1)
    assert _found(_natural(), shade) is None


def test_a_side_that_is_redder_and_brighter_for_its_light_is_not_burnt() -> None:
    sunlit = 1.0 * (COLUMNS.mean() < COLUMNS)
    assert _found(_natural() + 0.3 * sunlit, -0.6 * sunlit) is None
