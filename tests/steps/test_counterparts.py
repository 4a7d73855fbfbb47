from __future__ import annotations

import numpy as np
import pytest

from evenhand.people.person import Region
from evenhand.steps.coarse import CoarsePatch
from evenhand.steps.counterparts import OneSided, Pairs, one_sided

MM = 1.0
"""Pixel size, millimetres."""

BURN = 0.6
"""Redness that a burn adds, density, and half of it darkness."""

ROWS, COLUMNS = np.mgrid[:120, :160] * MM


def _natural() -> np.ndarray:
    """Redness of a face alike on both sides: cheeks and nose."""
    across = np.abs(COLUMNS - COLUMNS.mean())
    cheeks = 0.5 * np.exp(-((across - 40) ** 2 + (ROWS - 70) ** 2) / (2 * 15**2))
    return cheeks + 0.3 * np.exp(-(across**2 + (ROWS - 60) ** 2) / (2 * 8**2))


def _compared(redness: np.ndarray, shade: np.ndarray) -> OneSided | None:
    whole = np.ones(redness.shape, np.float32)
    density = np.repeat(shade[..., None], 3, axis=-1).astype(np.float32)
    skin = CoarsePatch(density, whole, {Region.FACE: whole}, MM)
    here = tuple(places.ravel() for places in np.indices(redness.shape))
    there = here[0], redness.shape[1] - 1 - here[1]
    return one_sided(skin, redness.astype(np.float32), Pairs(here, there))


@pytest.mark.parametrize("from_column", [60, 90, 120])
def test_the_less_red_side_tells_what_is_natural_where_the_other_is_burnt(from_column: int) -> None:
    burn = BURN * (from_column <= COLUMNS)
    sided = _compared(_natural() + burn, 0.5 * burn)
    assert sided is not None
    assert sided.burn == pytest.approx(BURN, abs=0.1)
    known = (burn > 0) != (burn[:, ::-1] > 0)
    assert np.abs(sided.natural - _natural())[known].mean() < 0.06


def test_red_cheeks_and_a_burn_on_both_sides_are_no_one_sided_burn() -> None:
    both = BURN * (np.abs(COLUMNS - COLUMNS.mean()) > 30)
    for redness in (_natural(), _natural() + both):
        assert _compared(redness, 0 * redness) is None


def test_a_side_in_warmer_and_brighter_light_is_not_burnt() -> None:
    sunlit = 1.0 * (COLUMNS.mean() < COLUMNS)
    assert _compared(_natural() + BURN * sunlit, -sunlit) is None
