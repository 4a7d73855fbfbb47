"""The membrane that joins a fill to its surroundings, against solutions of Laplace's equation."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from evenhand.steps.mark_filling import SOLVED_PIXELS, membrane

SIDES = [SOLVED_PIXELS, 3 * SOLVED_PIXELS]
"""Solved as it is, and reduced."""

HARMONIC: dict[str, Callable[[np.ndarray, np.ndarray], np.ndarray]] = {
    "slope": lambda x, y: x - 0.5 * y,
    "saddle": lambda x, y: x * x - y * y,
    "product": lambda x, y: x * y,
    "third power": lambda x, y: x**3 - 3 * x * y * y,
}
"""Real and imaginary parts of powers of x + iy: Laplace's equation holds for each (any textbook of
complex analysis), so that inside is what the rim alone decides."""

RIM_PIXELS = 2.0
"""The rim is known to within its own softness, in pixels of the grid that is solved."""


def plane(side: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Coordinates from -1 to 1, and a disc in the middle."""
    y, x = np.mgrid[-1 : 1 : side * 1j, -1 : 1 : side * 1j]
    return x, y, np.hypot(x, y) < 0.6


@pytest.mark.parametrize("factors", [(1, -1, 2), (1,)])
@pytest.mark.parametrize("side", SIDES)
@pytest.mark.parametrize("name", HARMONIC)
def test_a_harmonic_surface_is_continued(name: str, side: int, factors: tuple[int, ...]) -> None:
    x, y, inside = plane(side)
    surface = HARMONIC[name](x, y)
    hidden = np.where(inside, 99.0, surface)  # what is inside must not be looked at
    channels = np.dstack([factor * hidden for factor in factors]).astype(np.float32)
    found = membrane(channels, inside)
    assert found.shape == channels.shape
    pixel = 2 / min(side, SOLVED_PIXELS)
    steepest = np.hypot(*np.gradient(surface, 2 / (side - 1)))[inside].max()
    allowed = RIM_PIXELS * pixel * steepest
    for channel, factor in enumerate(factors):
        off = np.abs(found[..., channel] - factor * surface)[inside].max()
        assert off < allowed * abs(factor)
    assert allowed < np.ptp(surface[inside]) / 3  # one even tone would be off by half


def test_nothing_inside_lies_beyond_the_rim() -> None:
    """The maximum principle."""
    _, _, inside = plane(SIDES[0])
    rim = np.random.default_rng(1).uniform(-1, 1, (*inside.shape, 3)).astype(np.float32)
    found = membrane(rim, inside)[inside]
    assert found.min() >= rim.min()
    assert found.max() <= rim.max()
    assert found.std() < 0.5 * rim.std()
