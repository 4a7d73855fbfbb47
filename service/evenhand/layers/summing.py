"""The cap of the sum: layers shortened where together they would go too far."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import partial
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from evenhand.box import Box
from evenhand.errors import WrongSettingError
from evenhand.layers.cap import Differences, factors_within, near_together
from evenhand.layers.layer import CodeDifferences, Layer
from evenhand.layers.making import shortened
from evenhand.layers.measure import Measure
from evenhand.layers.pieces import Pixels, any_channel, in_pieces

if TYPE_CHECKING:
    from evenhand.colour.encoding import CodeValues
    from evenhand.photo.photograph import Photograph


def limit_sum(
    photograph: Photograph, layers: Sequence[Layer], cap: float, *, in_place: bool = False
) -> list[Layer]:
    """Layers whose sum keeps inside a cap, whatever the strength of each.

    Parameters
    ----------
    photograph : Photograph
        The original.
    layers : sequence of Layer
        Of any number of people; their boxes may overlap.
    cap : float
        Largest CIEDE2000 (D65) of any pixel for all layers together.
    in_place : bool
        The layers' own arrays may be changed, for the memory that copies would take.

    Returns
    -------
    list of Layer
        The same layers in order. Where a pixel's sum would pass the cap at some strengths, all its
        differences are shortened by one factor; nowhere does a layer grow. Layers that need not
        change are returned as they are, their arrays shared.

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
    changes: list[_Shorter] = []
    for box, numbers in _overlaps(layers):
        if len(numbers) > 1 or layers[numbers[0]].cap > cap:
            _limit(photograph, box, layers, numbers, cap, changes)
    limited = list(layers)
    for number in {change.layer for change in changes} if not in_place else ():
        limited[number] = replace(layers[number], difference=layers[number].difference.copy())
    for change in changes:
        limited[change.layer].difference[change.place] = change.difference
    return limited


@dataclass(frozen=True)
class _Shorter:
    """Shorter differences of some pixels of the layer with a number."""

    layer: int
    place: tuple[Pixels, Pixels]
    difference: Differences


def _limit(
    photograph: Photograph,
    box: Box,
    layers: Sequence[Layer],
    numbers: Sequence[int],
    cap: float,
    changes: list[_Shorter],
) -> None:
    """Add to `changes` what of the numbered layers has to be shorter inside `box`."""
    parts = [layers[number].difference[box.within(layers[number].box)] for number in numbers]
    codes = photograph.pixels[box.slices]
    steps = layers[numbers[0]].steps_per_code
    near = near_together(codes, parts, photograph.encoding, steps, cap)

    def work(active: Sequence[int], pixels: Pixels) -> None:
        rows, columns = np.unravel_index(pixels, (box.height, box.width))
        before = [parts[k][rows, columns].astype(np.int32) for k in active]
        over, after = _limited(photograph, codes[rows, columns], before, steps, cap)
        if not over.size:
            return
        for k, difference in zip(active, after, strict=True):
            home = layers[numbers[k]].box
            place = rows[over] + (box.top - home.top), columns[over] + (box.left - home.left)
            changes.append(_Shorter(numbers[k], place, difference))

    for pixels, active in _by_active(parts, np.flatnonzero(near)):
        if len(active) > 1 or layers[numbers[active[0]]].cap > cap:
            in_pieces(partial(work, active), pixels)


def _limited(
    photograph: Photograph,
    codes: CodeValues,
    differences: Sequence[Differences],
    steps: int,
    cap: float,
) -> tuple[Pixels, list[Differences]]:
    """Which of some pixels have to change less, and their differences then, layer by layer."""
    in_range = _factors_in_range(codes, differences, steps, photograph.white)
    shorter = [shortened(difference, in_range) for difference in differences]
    inside = factors_within(Measure(photograph.encoding, codes), shorter, steps, cap)
    over = np.flatnonzero((in_range < 1) | (inside < 1))
    return over, [shortened(difference[over], inside[over]) for difference in shorter]


def _by_active(parts: Sequence[CodeDifferences], pixels: Pixels) -> list[tuple[Pixels, list[int]]]:
    """Pixels by which of the differences change them; those that none does are left out."""
    place = np.unravel_index(pixels, parts[0].shape[:2])
    changed = [any_channel(part[place] != 0) for part in parts]
    every = np.arange(len(pixels))
    groups: list[tuple[Pixels, list[int]]] = [(every, [])]
    for number, here in enumerate(changed):
        split = []
        for group, active in groups:
            split.append((group[here[group]], [*active, number]))
            split.append((group[~here[group]], active))
        groups = [(group, active) for group, active in split if group.size]
    return [(pixels[group], active) for group, active in groups if active]


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


def _overlaps(layers: Sequence[Layer]) -> Iterator[tuple[Box, list[int]]]:
    """Boxes without a pixel in common, each with the numbers of the layers that cover it."""
    boxes = [layer.box for layer in layers if layer.box.area]
    rows = sorted({edge for box in boxes for edge in (box.top, box.bottom)})
    columns = sorted({edge for box in boxes for edge in (box.left, box.right)})
    for top, bottom in pairwise(rows):
        for left, right in pairwise(columns):
            cell = Box(top, left, bottom, right)
            active = [k for k, layer in enumerate(layers) if layer.box.intersection(cell) == cell]
            if active:
                yield cell, active
