"""Caps: how far differences must shrink so that no strength takes a pixel past its cap.

The code values a pixel can take, at any strengths in [0, 1], lie in a convex body: its corners are
the sums of some of the differences, and rounding widens it by one code value. CIEDE2000 from a
fixed colour grows outwards, and its balls are nearly convex, so over the body it is largest at a
corner; that is where it is measured, together with every corner of the rounding there (which is
no less than rounding alone makes at a strength near zero).

It is no true distance: on the way through blue or grey it can bulge. So near a cap sums are
measured at strengths between as well, `ciede2000_bound` bridges its jump at opposite hues, and
`KEPT_BACK` of the cap stays unused. ``python -m tests.layers.test_cap 6`` looks for a change that
passes its cap among 1.7 million in colours of every kind, alone and in pairs, at caps from 0.5 to
60; the nearest stayed 0.015 below.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache
from itertools import product

import numpy as np
import numpy.typing as npt

from evenhand.colour.difference import ciede2000, ciede2000_bound
from evenhand.colour.encoding import CodeValues, Encoding, MatrixEncoding
from evenhand.colour.lab import lab_of
from evenhand.layers.measuring import differences, roots_of
from evenhand.layers.pieces import any_channel

Differences = npt.NDArray[np.int32]
Changes = npt.NDArray[np.float32]
Grid = list[tuple[float, ...]]
Factors = npt.NDArray[np.float32]

FINE_PER_CODE = {8: 257, 16: 1}
# 16-bit code values per code value of a file of that depth: caps are measured on this scale.

ROUNDING = {8: 257, 16: 16}
# Largest rounding in 16-bit code values: one code value of an 8-bit file, dithered; for a 16-bit
# file well above its one, so that rounding of the measure itself is covered too.

CORNERS = tuple(product((-1, 1), repeat=3))
# Signs of the rounding of the three channels.

CELL_BITS = 4
# Bits of each channel that tell a cell of colours, in which the effect of a step is looked up.

WIDE = float(256 >> CELL_BITS)
# 8-bit code values of a channel beyond which a change leaves the next cell of the table.

ROUNDED = 3
# Column of that table for the rounding of all channels.

STEP_SAFETY = 1.2
# Factor on looked-up differences, for colours between the corners of a cell.

LEAST = np.float32(1e-6)
# Keeps divisions by a difference finite.

NEAR, NEAR_WIDE = 0.9, 0.65
# Parts of the limit from which a pixel is looked at closely; the second is for wide changes, of
# more than a cell of colours: on its way through blue to grey the difference can grow and fall.

LEVELS = {1: 4, 2: 3, 3: 2}
# Steps of strength of each of so many layers at which sums are measured near the cap.

WIDE_LEVELS = {1: 16, 2: 6, 3: 4}
# The same for wide changes.

MANY_LEVELS = 2
# The same for more layers than that: the corners, and half way.

KEPT_BACK = 0.02
# Part of a cap kept back because CIEDE2000 is no true distance.

AIM = 0.995
# Part of the limit at which shortened differences aim, so that the next look finds them inside.

REFINEMENTS = 2
# Corrections of the factors before rounding is looked at, by which they come within 1 %.

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
    def roots(self) -> npt.NDArray[np.float32]:
        """What the compiled measure of matrix profiles starts from."""
        assert isinstance(self.encoding, MatrixEncoding)
        return roots_of(self.encoding, self.codes)

    @cached_property
    def fine(self) -> npt.NDArray[np.float32]:
        """The original on the 16-bit scale."""
        return self.codes.astype(np.float32) * np.float32(FINE_PER_CODE[self.depth])

    @cached_property
    def lab(self) -> npt.NDArray[np.float32]:
        """The original's L*a*b*, D65."""
        return lab_of(self.encoding.to_linear(self.codes))

    def of(self, change: Changes) -> npt.NDArray[np.float32]:
        """Bound of the difference to the original of a change on the 16-bit scale, shape (n,)."""
        return self._differences(change, bound=True)

    def exactly(self, change: Changes) -> npt.NDArray[np.float32]:
        """CIEDE2000 itself of a change on the 16-bit scale, shape (n,)."""
        return self._differences(change, bound=False)

    def _differences(self, change: Changes, *, bound: bool) -> npt.NDArray[np.float32]:
        if isinstance(self.encoding, MatrixEncoding):
            return differences(self.encoding, self.roots, self.codes, change, bound=bound)
        formula = ciede2000_bound if bound else ciede2000
        return np.asarray(formula(self.lab, self.lab_after(change)), np.float32)

    def lab_after(self, change: Changes) -> npt.NDArray[np.float32]:
        """L*a*b* after a change on the 16-bit scale, clipped to what a file can hold, (n, 3)."""
        codes = np.rint(np.clip(self.fine + change, 0, 65535)).astype(np.uint16)
        return lab_of(self.encoding.to_linear(codes))

    def at(self, where: npt.NDArray[np.intp]) -> Measure:
        """The same for some of the pixels."""
        return Measure(self.encoding, self.codes.take(where, axis=0))


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
    limit = np.float32(cap * (1 - KEPT_BACK))
    factors = np.ones(len(measure.codes), np.float32)
    reach = np.zeros(measure.codes.shape, np.float32)
    for difference in differences:
        reach += np.abs(difference) * scale
    bound = _reach_bound(measure, reach)
    far = np.flatnonzero(bound > near_bound(cap))
    if not far.size:
        return factors
    measure, bound = measure.at(far), bound[far]
    changes = np.stack([difference.take(far, axis=0) * scale for difference in differences])
    size = _largest(measure, changes, _strength_grid(len(changes), levels=1))
    wide = np.isinf(bound)
    near = size + _looked_up(measure)[:, ROUNDED] > limit * np.where(wide, NEAR_WIDE, NEAR)
    for chosen, levels in ((near & ~wide, LEVELS), (near & wide, WIDE_LEVELS)):
        pixels = np.flatnonzero(chosen)
        grid = _strength_grid(len(changes), levels.get(len(changes), MANY_LEVELS))
        start = np.minimum(np.float32(1), limit / np.maximum(size[pixels], LEAST))
        part = measure.at(pixels), changes[:, pixels]
        factors[far[pixels]] = _shrunken(*part, _refined(*part, start, limit), limit, grid)
    return factors


def near_bound(cap: float) -> float:
    """Bound of a pixel's difference from which on it is looked at closely."""
    return cap * (1 - KEPT_BACK) * NEAR


def _refined(measure: Measure, changes: Changes, factors: Factors, limit: np.float32) -> Factors:
    """Factors below 1 brought nearer to the limit, from either side, rounding left out."""
    over = np.flatnonzero(factors < 1)
    measure, changes, factors = measure.at(over), changes[:, over], factors.copy()
    corners = _strength_grid(len(changes), levels=1)
    for _ in range(REFINEMENTS if over.size else 0):
        size = _largest(measure, changes * factors[over, None], corners)
        factors[over] *= np.minimum(limit / np.maximum(size, LEAST), 1 / factors[over])
    return factors


def _largest(measure: Measure, changes: Changes, grid: Grid) -> npt.NDArray[np.float32]:
    """Largest difference of the changes' sums at any strengths of a grid, shape (n,)."""
    largest = np.zeros(changes.shape[1], np.float32)
    for strengths in grid:
        np.maximum(largest, measure.of(_sum_at(strengths, changes)), out=largest)
    return largest


def _shrunken(
    measure: Measure, changes: Changes, factors: Factors, limit: np.float32, grid: Grid
) -> Factors:
    """Factors of the pixels that come near the limit, from factors to start with."""
    if not factors.size:
        return factors
    left = np.flatnonzero(factors > 0)
    for _ in range(ROUNDS):
        shrink = _shrink(measure.at(left), changes[:, left] * factors[left, None], limit, grid)
        factors[left] *= shrink
        left = left[(shrink < 1) & (factors[left] > 0)]
        if not left.size:
            return factors
    factors[left] = 0
    return factors


def _shrink(measure: Measure, changes: Changes, limit: np.float32, grid: Grid) -> Factors:
    """Factor that brings each pixel's changes, rounding included, to the limit; 1 inside it."""
    exact = _largest(measure, changes, grid)
    factors = np.ones(len(exact), np.float32)
    close = np.flatnonzero(exact + _looked_up(measure)[:, ROUNDED] > limit)
    if not close.size:
        return factors
    part, changes, exact = measure.at(close), changes[:, close], exact[close]
    rounding = np.zeros(len(close), np.float32)
    for strengths in _strength_grid(len(changes), levels=1):
        np.maximum(rounding, _rounding(part, _sum_at(strengths, changes)), out=rounding)
    needed = AIM * np.maximum(limit - rounding, 0) / np.maximum(exact, LEAST)
    factors[close] = np.where(exact + rounding > limit, np.minimum(needed, 1), 1)
    return factors


def _strength_grid(layers: int, levels: int) -> Grid:
    """Strengths at which sums are measured: corners of the body and, between them, levels."""
    strengths = [level / levels for level in range(levels + 1)]
    return [chosen for chosen in product(strengths, repeat=layers) if any(chosen)]


def _sum_at(strengths: Sequence[float], changes: Changes) -> Changes:
    """Sum of changes (k, n, 3) at their strengths, shape (n, 3)."""
    total = np.zeros(changes.shape[1:], np.float32)
    for strength, change in zip(strengths, changes, strict=True):
        if strength:
            total += np.float32(strength) * change
    return total


def _rounding(measure: Measure, change: Changes) -> npt.NDArray[np.float32]:
    """What rounding may add to the difference of each pixel's change, shape (n,)."""
    largest = exact = measure.of(change)
    for corner in CORNERS:
        rounded = change + np.array(corner, np.float32) * np.float32(ROUNDING[measure.depth])
        largest = np.maximum(largest, measure.of(rounded))
    return largest - exact


def _reach_bound(measure: Measure, reach: Changes) -> npt.NDArray[np.float32]:
    """No less than the difference of any change of at most `reach` in each channel, (n,).

    Endless for changes that reach further than the next cell of the table.
    """
    steps = _looked_up(measure)
    codes = reach * np.float32(1 / 257)
    bound: npt.NDArray[np.float32] = steps[:, ROUNDED].copy()
    for channel in range(3):
        bound += steps[:, channel] * codes[:, channel]
    bound[any_channel(codes > WIDE)] = np.inf
    return bound


def _looked_up(measure: Measure) -> npt.NDArray[np.float32]:
    """Rows of `step_table` for the originals' colours, shape (n, 4)."""
    cell = (measure.codes >> (measure.depth - CELL_BITS)).astype(np.intp)
    place = (cell[:, 0] << 2 * CELL_BITS) + (cell[:, 1] << CELL_BITS) + cell[:, 2]
    found: npt.NDArray[np.float32] = step_table(measure.encoding).take(place, axis=0)
    found[:, ROUNDED] *= np.float32(ROUNDING[measure.depth] / ROUNDING[8])
    return found


@lru_cache(maxsize=8)
def step_table(encoding: Encoding) -> npt.NDArray[np.float32]:
    """Largest CIEDE2000 of one 8-bit code value in and around each cell of colours.

    Columns: a step of red, of green, of blue, and any rounding of all three. Row: the cell.
    """
    cells = 1 << CELL_BITS
    ticks = np.minimum(np.arange(cells + 1) * (256 // cells), 255).astype(np.uint8)
    grid = np.stack(np.meshgrid(ticks, ticks, ticks, indexing="ij"), axis=-1).reshape(-1, 3)
    measure = Measure(encoding, grid)
    inward = np.where(grid > 127, -257, 257).astype(np.float32)
    columns = [measure.of(inward * np.eye(3, dtype=np.float32)[channel]) for channel in range(3)]
    columns.append(_rounding(measure, np.zeros(grid.shape, np.float32)))
    table = np.stack(columns, axis=-1).reshape((cells + 1,) * 3 + (4,)) * np.float32(STEP_SAFETY)
    table = np.pad(table, ((1, 1), (1, 1), (1, 1), (0, 0)), mode="edge")
    for axis in range(3):
        parts = [np.take(table, range(k, k + cells), axis) for k in range(4)]
        table = np.maximum.reduce(parts)
    rows: npt.NDArray[np.float32] = table.reshape(-1, 4)
    return rows
