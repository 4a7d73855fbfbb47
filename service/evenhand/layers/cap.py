"""Caps: how far differences must shrink so that no strength takes a pixel past its cap.

The codes a pixel can take at any strengths in [0, 1] lie in a convex body: the differences' sums,
each widened by the rounding of one code value. CIEDE2000 from a fixed colour grows outwards in
every direction and its balls are convex to within `KEPT_BACK`, so its largest value over the body
is at a corner: at the sum of some of the differences, plus what rounding adds there.
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache
from itertools import product
from typing import cast

import numpy as np
import numpy.typing as npt

from evenhand.colour.difference import ciede2000_bound
from evenhand.colour.encoding import CodeValues, Encoding
from evenhand.colour.lab import lab_of

Differences = npt.NDArray[np.int32]
Changes = npt.NDArray[np.float32]
Factors = npt.NDArray[np.float32]

FINE_PER_CODE = {8: 257, 16: 1}
# 16-bit code values per code value of a file of that depth: caps are measured on this scale.

ROUNDING = {8: 257, 16: 16}
# Largest rounding in 16-bit code values: one code value of an 8-bit file, dithered; for a 16-bit
# file well above its one, so that rounding of the measure itself is covered too.

CORNERS = tuple(product((-1, 1), repeat=3))
# Signs of the rounding of the three channels.

CELLS = 16
# Cells along each channel in which the effect of rounding is looked up.

ROUNDING_SAFETY = 1.2
# Factor on looked-up roundings, for colours between the corners of a cell.

LEAST = np.float32(1e-6)
# Keeps divisions by a difference finite.

NEAR = 0.75
# Part of the limit from which a pixel is looked at closely.

LEVELS = {1: 16, 2: 6, 3: 4}
# Steps of strength of each of so many layers at which sums are measured near the cap.

MANY_LEVELS = 2
# The same for more layers than that: the corners, and half way.

KEPT_BACK = 0.02
# Part of a cap kept back because CIEDE2000 is no true distance.

TOLERANCE = 0.01
# CIEDE2000 by which a shrunken difference may miss its target; part of what is kept back.

ROUNDS = 8
# Most corrections of the factors; three are usual.


@dataclass(frozen=True)
class Measure:
    """CIEDE2000 (D65) of differences added to given code values.

    Attributes
    ----------
    encoding : Encoding
        Of the file.
    codes : ndarray of uint8 or uint16, shape (n, 3)
        The original's code values.
    """

    encoding: Encoding
    codes: CodeValues

    @property
    def depth(self) -> int:
        """Bits per channel, 8 or 16."""
        return self.codes.dtype.itemsize * 8

    @cached_property
    def fine(self) -> npt.NDArray[np.float32]:
        """The original on the 16-bit scale."""
        return self.codes.astype(np.float32) * np.float32(FINE_PER_CODE[self.depth])

    @cached_property
    def lab(self) -> npt.NDArray[np.float32]:
        """The original's L*a*b*, D65."""
        return lab_of(self.encoding.to_linear(self.codes))

    def of(self, change: Changes) -> npt.NDArray[np.float32]:
        """Difference to the original of a change on the 16-bit scale, shape (n,)."""
        return ciede2000_bound(self.lab, self.lab_after(change))

    def lab_after(self, change: Changes) -> npt.NDArray[np.float32]:
        """L*a*b* after a change on the 16-bit scale, clipped to what a file can hold, (n, 3)."""
        codes = np.rint(np.clip(self.fine + change, 0, 65535)).astype(np.uint16)
        return lab_of(self.encoding.to_linear(codes))

    def at(self, where: npt.NDArray[np.intp]) -> Measure:
        """The same for some of the pixels."""
        return Measure(self.encoding, self.codes[where])


def factors_within(
    measure: Measure, differences: Sequence[Differences], steps_per_code: int, cap: float
) -> Factors:
    """Factors in [0, 1] that keep differences, alone and added, inside a cap at all strengths.

    Parameters
    ----------
    measure : Measure
        Of the pixels that change.
    differences : sequence of ndarray of int32, shape (n, 3)
        One for each layer, in units of ``1 / steps_per_code`` code values. No sum of them leaves
        the file's range.
    steps_per_code : int
        64 or 1.
    cap : float
        Largest CIEDE2000 (D65).

    Returns
    -------
    ndarray of float32, shape (n,)
        One factor for each pixel, for all its differences.
    """
    scale = np.float32(FINE_PER_CODE[measure.depth] / steps_per_code)
    changes = np.stack([difference * scale for difference in differences])
    size = np.zeros(changes.shape[1], np.float32)
    for strengths in product((0, 1), repeat=len(changes)):
        if any(strengths):
            size = np.maximum(size, measure.of(_sum_at(strengths, changes)))
    limit = np.float32(cap * (1 - KEPT_BACK))
    factors = np.ones(len(size), np.float32)
    near = np.flatnonzero(size > limit * NEAR - _looked_up_rounding(measure))
    if near.size:
        start = np.minimum(np.float32(1), limit / np.maximum(size[near], LEAST))
        factors[near] = _shrunken(measure.at(near), changes[:, near], start, limit)
    return factors


def _shrunken(measure: Measure, changes: Changes, factors: Factors, limit: np.float32) -> Factors:
    """Factors of the pixels that come near the limit, from factors to start with."""
    factors[_first_step(measure, changes) > limit] = 0
    left = np.flatnonzero(factors > 0)
    grid = _strength_grid(len(changes))
    for _ in range(ROUNDS):
        part, scaled = measure.at(left), changes[:, left] * factors[left, None]
        shrink = np.ones(len(left), np.float32)
        for strengths in grid:
            np.minimum(shrink, _shrink(part, _sum_at(strengths, scaled), limit), out=shrink)
        factors[left] *= shrink
        left = left[(shrink < 1) & (factors[left] > 0)]
        if not left.size:
            return factors
    factors[left] = 0
    return factors


def _shrink(measure: Measure, change: Changes, limit: np.float32) -> Factors:
    """Factor that brings each change, rounding included, to the limit; 1 where it is inside."""
    exact = measure.of(change)
    factors = np.ones(len(exact), np.float32)
    close = np.flatnonzero(exact + _looked_up_rounding(measure) > limit)
    if close.size:
        exact = exact[close]
        rounding = _rounding(measure.at(close), change[close], exact)
        needed = np.maximum(limit - rounding, 0) / np.maximum(exact, LEAST)
        factors[close] = np.where(exact + rounding > limit + TOLERANCE, needed, 1)
    return factors


def _strength_grid(layers: int) -> list[tuple[float, ...]]:
    """Strengths at which sums are measured: the corners of the body, and points between."""
    levels = np.linspace(0, 1, LEVELS.get(layers, MANY_LEVELS) + 1)
    return [strengths for strengths in product(levels, repeat=layers) if any(strengths)]


def _sum_at(strengths: Sequence[float], changes: Changes) -> Changes:
    """Sum of changes (k, n, 3) at their strengths, shape (n, 3)."""
    total = np.zeros(changes.shape[1:], np.float32)
    for strength, change in zip(strengths, changes, strict=True):
        if strength:
            total += np.float32(strength) * change
    return total


def _rounding(
    measure: Measure, change: Changes, exact: npt.NDArray[np.float32]
) -> npt.NDArray[np.float32]:
    """What rounding may add to the difference `exact` of each pixel's change, shape (n,)."""
    largest = exact
    for corner in CORNERS:
        rounded = change + np.array(corner, np.float32) * np.float32(ROUNDING[measure.depth])
        largest = np.maximum(largest, measure.of(rounded))
    return largest - exact


def _first_step(measure: Measure, changes: Changes) -> npt.NDArray[np.float32]:
    """Largest difference that rounding alone makes at the least strengths, shape (n,)."""
    step = np.float32(ROUNDING[measure.depth])
    lowest, highest = (changes < 0).any(axis=0) * -step, (changes > 0).any(axis=0) * step
    largest = np.zeros(len(lowest), np.float32)
    for corner in CORNERS:
        largest = np.maximum(largest, measure.of(np.where(np.array(corner) > 0, highest, lowest)))
    return largest


def _looked_up_rounding(measure: Measure) -> npt.NDArray[np.float32]:
    """No less than `_rounding` of any change near the original's colour, shape (n,)."""
    cell = (measure.codes >> (measure.depth - 4)).astype(np.intp)
    table = _rounding_table(measure.encoding)
    part = np.float32(ROUNDING_SAFETY * ROUNDING[measure.depth] / ROUNDING[8])
    found: npt.NDArray[np.float32] = table[cell[:, 0], cell[:, 1], cell[:, 2]] * part
    return found


@lru_cache(maxsize=8)
def _rounding_table(encoding: Hashable) -> npt.NDArray[np.float32]:
    """Largest CIEDE2000 of one 8-bit code value at a cell's corners, shape (CELLS,) * 3."""
    ticks = np.minimum(np.arange(CELLS + 1) * (256 // CELLS), 255).astype(np.uint8)
    grid = np.stack(np.meshgrid(ticks, ticks, ticks, indexing="ij"), axis=-1).reshape(-1, 3)
    points = Measure(cast(Encoding, encoding), grid)
    still = np.zeros(grid.shape, np.float32)
    largest = _rounding(points, still, points.of(still)).reshape((CELLS + 1,) * 3)
    for axis in range(3):
        ahead, behind = [slice(None)] * 3, [slice(None)] * 3
        ahead[axis], behind[axis] = slice(1, None), slice(None, -1)
        largest = np.maximum(largest[tuple(ahead)], largest[tuple(behind)])
    return largest
