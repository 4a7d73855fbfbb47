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
from concurrent.futures import ThreadPoolExecutor
from functools import lru_cache
from itertools import product

import numpy as np
import numpy.typing as npt

from evenhand.colour.encoding import CodeValues, Encoding
from evenhand.compiling import compiled, part_of_compiled
from evenhand.layers.layer import CodeDifferences
from evenhand.layers.measure import FINE_PER_CODE, Measure
from evenhand.layers.pieces import any_channel
from evenhand.processors import PROCESSORS

Differences = npt.NDArray[np.int32]
Changes = npt.NDArray[np.float32]
Grid = list[tuple[float, ...]]
Factors = npt.NDArray[np.float32]
Table = npt.NDArray[np.float32]

ROUNDING = {8: 257, 16: 16}
# Largest rounding in 16-bit code values: one code value of an 8-bit file, dithered; for a 16-bit
# file well above its one, so that rounding of the measure itself is covered too.

CORNERS = tuple(product((-1, 1), repeat=3))
# Signs of the rounding of the three channels.

CELL_BITS = 4
# Bits of each channel that tell a cell of colours, in which the effect of a step is looked up.

WIDE = 16.0
# 8-bit code values of a channel beyond which a change leaves the next cell of the table.

ROWS = 64
# Rows that a thread works on at a time.

GREY, ROUNDED = 3, 4
# Columns of that table for a step of all channels alike, and for any rounding of them.

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
    changes = np.stack(differences).astype(np.float32)
    changes *= scale
    size = _largest(measure, changes, _strength_grid(len(changes), levels=1))
    wide = any_channel(np.abs(changes).sum(axis=0) > np.float32(257 * WIDE))
    near = size + _rounding_bound(measure) > limit * np.where(wide, NEAR_WIDE, NEAR)
    for chosen, levels in ((near & ~wide, LEVELS), (near & wide, WIDE_LEVELS)):
        pixels = np.flatnonzero(chosen)
        grid = _strength_grid(len(changes), levels.get(len(changes), MANY_LEVELS))
        start = np.minimum(np.float32(1), limit / np.maximum(size[pixels], LEAST))
        part = measure.at(pixels), changes[:, pixels]
        factors[pixels] = _shrunken(*part, _refined(*part, start, limit), limit, grid)
    return factors


def near_together(
    codes: CodeValues,
    parts: Sequence[CodeDifferences],
    encoding: Encoding,
    steps_per_code: int,
    cap: float,
) -> npt.NDArray[np.bool_]:
    """Pixels where differences, added at any strengths, may come near a cap or leave the range.

    Parameters
    ----------
    codes : ndarray of uint8 or uint16, shape (height, width, 3)
        The original.
    parts : sequence of ndarray of int16 or int32, shape (height, width, 3)
        In units of ``1 / steps_per_code`` code values.
    encoding : Encoding
        Of the file.
    steps_per_code : int
        64 or 1.
    cap : float
        Largest CIEDE2000 (D65).

    Returns
    -------
    ndarray of bool, shape (height, width)
    """
    depth = codes.dtype.itemsize * 8
    scale = np.float32(FINE_PER_CODE[depth] / (257 * steps_per_code))
    near = np.zeros(codes.shape[:2], np.bool_)

    white = np.float32(255 * 257 / FINE_PER_CODE[depth])
    table = near_table(encoding, depth, cap)

    def work(top: int) -> None:
        rows = slice(top, top + ROWS)
        bound, reach = np.zeros((2, *near[rows].shape), np.float32)
        for part in parts:
            _add_bounds(codes[rows], part[rows], scale, *table[:2], bound, reach)
        _mark_near(codes[rows], bound, reach, white, *table, near[rows])

    tops = range(0, codes.shape[0], ROWS)
    if len(tops) < 2:
        work(0)
        return near
    with ThreadPoolExecutor(PROCESSORS) as pool:
        list(pool.map(work, tops))
    return near


def near_table(encoding: Encoding, depth: int, cap: float) -> tuple[Table, int, np.float32]:
    """What the quick bounds look up: steps by cell, bits below a cell's, and the limit.

    Parameters
    ----------
    encoding : Encoding
        Of the file.
    depth : int
        Bits per channel, 8 or 16.
    cap : float
        Largest CIEDE2000 (D65).

    Returns
    -------
    table : ndarray of float32, shape (4096, 5)
        As `step_table` gives it, with the rounding of this depth.
    cell_shift : int
        Bits of a code value below those that tell its cell.
    limit : float32
        As `near_bound` gives it.
    """
    table = step_table(encoding).copy()
    table[:, ROUNDED] *= np.float32(ROUNDING[depth] / ROUNDING[8])
    return table, depth - CELL_BITS, np.float32(near_bound(cap))


def near_bound(cap: float) -> float:
    """Bound of a pixel's difference from which on it is looked at closely.

    Parameters
    ----------
    cap : float
        Largest CIEDE2000 (D65).

    Returns
    -------
    float
        CIEDE2000.
    """
    return cap * (1 - KEPT_BACK) * NEAR


@compiled
def _add_bounds(
    codes: CodeValues,
    difference: CodeDifferences,
    scale: np.float32,
    table: Table,
    cell_shift: int,
    bound: Changes,
    reach: Changes,
) -> None:
    """Add a difference's bound and its largest channel, in 8-bit code values."""
    for row in range(bound.shape[0]):
        for column in range(bound.shape[1]):
            red, green, blue = difference[row, column]
            if red == 0 and green == 0 and blue == 0:
                continue
            r, g, b = scale * red, scale * green, scale * blue
            steps = table[cell_of(codes[row, column], cell_shift)]
            bound[row, column] += bound_of(steps, r, g, b)
            reach[row, column] += max(abs(r), abs(g), abs(b))


@compiled
def _mark_near(
    codes: CodeValues,
    bound: Changes,
    reach: Changes,
    white: np.float32,
    table: Table,
    cell_shift: int,
    limit: np.float32,
    near: npt.NDArray[np.bool_],
) -> None:
    """Set `near` where the bound passes the limit, or the sum may leave the file's range."""
    for row in range(near.shape[0]):
        for column in range(near.shape[1]):
            moved = reach[row, column]
            if moved == 0:
                continue
            red, green, blue = codes[row, column]
            in_code = moved * white / np.float32(255)
            size = bound[row, column] + table[cell_of(codes[row, column], cell_shift), ROUNDED]
            near[row, column] = (
                moved > WIDE
                or size > limit
                or min(red, green, blue) < in_code
                or max(red, green, blue) + in_code > white
            )


@part_of_compiled
def cell_of(code: CodeValues, cell_shift: int) -> int:
    """Row of the table for a pixel's colour.

    Parameters
    ----------
    code : ndarray of uint8 or uint16, shape (3,)
    cell_shift : int
        Bits of a code value below those that tell its cell: 4 of 8, 12 of 16.

    Returns
    -------
    int
        In [0, 4096).
    """
    cell = (np.int64(code[0]) >> cell_shift) << 2 * CELL_BITS
    cell += (np.int64(code[1]) >> cell_shift) << CELL_BITS
    return int(cell + (np.int64(code[2]) >> cell_shift))


@compiled
def bound_of(steps: Table, red: float, green: float, blue: float) -> float:
    """Bound of a change of 8-bit code values, rounding left out: of what is grey, and the rest.

    Parameters
    ----------
    steps : ndarray of float32, shape (5,)
        The cell's row of the table.
    red, green, blue : float
        The change in 8-bit code values, of either sign.

    Returns
    -------
    float
        CIEDE2000.
    """
    grey = max(min(red, green), min(max(red, green), blue))
    rest = steps[0] * abs(red - grey) + steps[1] * abs(green - grey) + steps[2] * abs(blue - grey)
    return float(steps[GREY] * abs(grey) + rest)


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
    close = np.flatnonzero(exact + _rounding_bound(measure) > limit)
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


def _rounding_bound(measure: Measure) -> npt.NDArray[np.float32]:
    """No less than what rounding adds at the originals' colours and around, shape (n,)."""
    cell = (measure.codes >> (measure.depth - CELL_BITS)).astype(np.intp)
    place = (cell[:, 0] << 2 * CELL_BITS) + (cell[:, 1] << CELL_BITS) + cell[:, 2]
    bound: npt.NDArray[np.float32] = step_table(measure.encoding)[:, ROUNDED].take(place)
    return bound * np.float32(ROUNDING[measure.depth] / ROUNDING[8])


@lru_cache(maxsize=8)
def step_table(encoding: Encoding) -> npt.NDArray[np.float32]:
    """Largest CIEDE2000 of one 8-bit code value in and around each cell of colours.

    Columns: a step of red, of green, of blue, of all three, and any rounding. Row: the cell.

    Parameters
    ----------
    encoding : Encoding
        Of the file.

    Returns
    -------
    ndarray of float32, shape (4096, 5)
    """
    cells = 1 << CELL_BITS
    ticks = np.minimum(np.arange(cells + 1) * (256 // cells), 255).astype(np.uint8)
    grid = np.stack(np.meshgrid(ticks, ticks, ticks, indexing="ij"), axis=-1).reshape(-1, 3)
    measure = Measure(encoding, grid)
    inward = np.where(grid > 127, -257, 257).astype(np.float32)
    moved = [*np.eye(3, dtype=np.float32), np.ones(3, np.float32)]
    columns = [measure.of(inward * step) for step in moved]
    columns.append(_rounding(measure, np.zeros(grid.shape, np.float32)))
    table = np.stack(columns, axis=-1).reshape((cells + 1,) * 3 + (5,)) * np.float32(STEP_SAFETY)
    table = np.pad(table, ((1, 1), (1, 1), (1, 1), (0, 0)), mode="edge")
    for axis in range(3):
        parts = [np.take(table, range(k, k + cells), axis) for k in range(4)]
        table = np.maximum.reduce(parts)
    rows: npt.NDArray[np.float32] = table.reshape(-1, 5)
    return rows
