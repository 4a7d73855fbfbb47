"""Where a person's working view ends inside the photograph, the masks fade out."""

import numpy as np
import pytest

from evenhand.box import Box
from evenhand.people.bodies import FADE_MM, Body, ending
from evenhand.people.views import View, quarter_turned

FRAME = Box(0, 0, 600, 500)


def body_in(box: Box, turns: int, mm_per_pixel: float = 2.0) -> Body:
    """A body of which nothing is known but where its view lies, one view pixel for each pixel."""
    pixels = np.zeros((box.height, box.width, 3), np.uint8)
    view = View(pixels, np.array([[1.0, 0, box.left], [0, 1, box.top]]))
    none = np.zeros((0, 2), np.float32)
    return Body(quarter_turned(view, turns), mm_per_pixel, none, none, None, none)


@pytest.mark.parametrize("turns", range(4))
def test_only_ends_inside_the_photograph_fade(turns: int) -> None:
    box = Box(100, 0, 600, 400)
    upright = np.rot90(ending(body_in(box, turns), FRAME), _turns_back(turns))
    assert upright.shape == (box.height, box.width)
    assert upright[0].max() == 0
    assert upright[:, -1].max() == 0
    assert upright[-1, 0] == 1
    reach = int(FADE_MM / 2.0)
    assert (upright[reach:, :-reach] == 1).all()
    assert 0.4 < upright[reach // 2, 100] < 0.6


def test_a_view_of_the_whole_photograph_does_not_fade() -> None:
    assert (ending(body_in(FRAME, 0), FRAME) == 1).all()


def _turns_back(turns: int) -> int:
    """Quarter turns of `numpy.rot90` that undo `quarter_turned`."""
    marked = np.zeros((2, 2, 3), np.uint8)
    marked[0, 0] = 255
    turned = quarter_turned(View(marked, np.eye(2, 3)), turns).pixels
    return next(back for back in range(4) if np.rot90(turned, back)[0, 0, 0] == 255)
