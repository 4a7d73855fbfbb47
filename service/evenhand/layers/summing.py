"""The cap of the sum: layers shortened where together they would go too far."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from functools import partial
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from evenhand.box import Box
from evenhand.errors import WrongSettingError
from evenhand.layers.bounding import near_together
from evenhand.layers.cap import Differences, Measure, factors_within
from evenhand.layers.layer import Layer
from evenhand.layers.making import shortened
from evenhand.layers.pieces import Pixels, any_channel, in_pieces

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
    codes = photograph.pixels[box.slices]
    like = layers[0]
    near = near_together(codes, parts, photograph.encoding, like.steps_per_code, cap)
    for pixels, active in _by_active(parts, np.flatnonzero(near)):
        if len(active) == 1 and layers[active[0]].cap <= cap:
            continue
        chosen = [parts[k] for k in active]
        in_pieces(partial(_limit_pixels, photograph, box, chosen, like, cap), pixels)


def _limit_pixels(
    photograph: Photograph,
    box: Box,
    parts: Sequence[Differences],
    like: Layer,
    cap: float,
    pixels: Pixels,
) -> None:
    """Shorten the differences `parts` of some pixels that all of them change, in place."""
    place = np.unravel_index(pixels, (box.height, box.width))
    own = photograph.pixels[box.slices][place]
    differences = [part[place] for part in parts]
    in_range = _factors_in_range(own, differences, like.steps_per_code, photograph.white)
    shorter = [shortened(difference, in_range) for difference in differences]
    measure = Measure(photograph.encoding, own)
    inside = factors_within(measure, shorter, like.steps_per_code, cap)
    over = np.flatnonzero((in_range < 1) | (inside < 1))
    place = tuple(axis[over] for axis in place)
    for part, difference in zip(parts, shorter, strict=True):
        part[place] = shortened(difference[over], inside[over])


def _by_active(parts: Sequence[Differences], pixels: Pixels) -> list[tuple[Pixels, list[int]]]:
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
