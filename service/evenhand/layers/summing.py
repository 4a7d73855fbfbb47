"""The cap of the sum: layers shortened where together they would go too far."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from evenhand.box import Box
from evenhand.errors import WrongSettingError
from evenhand.layers.cap import Differences, Measure, factors_within
from evenhand.layers.layer import Layer
from evenhand.layers.making import shortened
from evenhand.layers.pieces import Pixels, in_pieces

if TYPE_CHECKING:
    from evenhand.photo.photograph import Photograph


def limit_sum(photograph: Photograph, layers: Sequence[Layer], cap: float) -> list[Layer]:
    """Layers whose sum keeps inside a cap, whatever the strength of each.

    Parameters
    ----------
    photograph : Photograph
        The original.
    layers : sequence of Layer
        Of any number of people; their boxes may overlap.
    cap : float
        Largest CIEDE2000 (D65) of any pixel for all layers together.

    Returns
    -------
    list of Layer
        The same layers in order. Where a pixel's sum would pass the cap at some strengths, all its
        differences are shortened by one factor; nowhere does a layer grow.

    Raises
    ------
    WrongSettingError
        The cap is no positive number.

    Notes
    -----
    The colours a pixel can take are ``original + sum of strength_k difference_k``, strengths in
    [0, 1]: a convex body whose corners are the sums of some of the differences. The measure is
    taken at the corners and at points between (`evenhand.layers.cap`). No sum leaves the file's
    range either, so no result is clipped and every layer counts for as much as its strength says.
    """
    if not (np.isfinite(cap) and cap > 0):
        raise WrongSettingError(f"The cap {cap} is not above zero.", "Give a CIEDE2000 above 0.")
    limited = [replace(layer, difference=layer.difference.copy()) for layer in layers]
    for box, active in _overlaps(limited):
        if len(active) > 1 or active[0].cap > cap:
            _limit(photograph, box, active, cap)
    return limited


def _limit(photograph: Photograph, box: Box, layers: Sequence[Layer], cap: float) -> None:
    """Shorten the differences of `layers` inside `box`, in place."""
    parts = [layer.difference[box.within(layer.box)] for layer in layers]
    changing = [part.any(axis=2) for part in parts]
    patterns = np.zeros((box.height, box.width), np.uint64)
    for bit, changes in enumerate(changing):
        patterns |= changes.astype(np.uint64) << np.uint64(bit)
    codes = photograph.pixels[box.slices]
    for pattern in np.unique(patterns):
        active = [k for k in range(len(layers)) if int(pattern) >> k & 1]
        if not active or (len(active) == 1 and layers[active[0]].cap <= cap):
            continue
        chosen = [parts[k] for k in active]
        steps_per_code = layers[active[0]].steps_per_code

        def work(pixels: Pixels, chosen=chosen, steps_per_code=steps_per_code) -> None:  # type: ignore[no-untyped-def]
            place = np.unravel_index(pixels, codes.shape[:2])
            differences = [part[place] for part in chosen]
            own = codes[place]
            factors = _factors_in_range(own, differences, steps_per_code, photograph.white)
            differences = [shortened(difference, factors) for difference in differences]
            measure = Measure(photograph.encoding, own)
            factors = factors_within(measure, differences, steps_per_code, cap)
            for part, difference in zip(chosen, differences, strict=True):
                part[place] = shortened(difference, factors)

        in_pieces(work, np.flatnonzero(patterns == pattern))


def _factors_in_range(
    codes: npt.NDArray[np.generic], differences: Sequence[Differences], steps: int, white: int
) -> npt.NDArray[np.float32]:
    """Factors that keep every sum of some of the differences inside the file's range, (n,)."""
    base = codes.astype(np.int32) * steps
    rise = sum(np.maximum(difference, 0) for difference in differences)
    fall = sum(np.maximum(-difference, 0) for difference in differences)
    up = (white * steps - base) / np.maximum(rise, 1)
    down = base / np.maximum(fall, 1)
    up[rise == 0], down[fall == 0] = 1, 1
    factors: npt.NDArray[np.float32] = np.minimum(np.minimum(up, down).min(axis=1), 1)
    return factors.astype(np.float32)


def _overlaps(layers: Sequence[Layer]) -> Iterator[tuple[Box, list[Layer]]]:
    """Boxes without a pixel in common, each with the layers that cover it."""
    boxes = [layer.box for layer in layers if layer.box.area]
    rows = sorted({edge for box in boxes for edge in (box.top, box.bottom)})
    columns = sorted({edge for box in boxes for edge in (box.left, box.right)})
    for top, bottom in pairwise(rows):
        for left, right in pairwise(columns):
            cell = Box(top, left, bottom, right)
            active = [layer for layer in layers if layer.box.intersection(cell) == cell]
            if active:
                yield cell, active
