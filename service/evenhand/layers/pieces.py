"""Lists of pixels, worked through in pieces on every processor."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import numpy.typing as npt

from evenhand.processors import PROCESSORS

Pixels = npt.NDArray[np.intp]

PIECE = 32768
# Pixels at a time: large enough that the work outweighs handing it out.


def in_pieces(work: Callable[[Pixels], None], pixels: Pixels) -> None:
    """Run `work` on all of `pixels`, piece by piece; pieces must not share results."""
    pieces = [pixels[start : start + PIECE] for start in range(0, len(pixels), PIECE)]
    if len(pieces) < 2:
        for piece in pieces:
            work(piece)
        return
    with ThreadPoolExecutor(PROCESSORS) as pool:
        list(pool.map(work, pieces))
