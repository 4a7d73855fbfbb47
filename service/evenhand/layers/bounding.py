"""A quick upper bound of CIEDE2000, which spares most pixels the formula itself.

Near a colour the difference is close to a norm of the change of code values. For each cell of
colours the norm is taken at its middle and enlarged until it bounds the formula itself, for
changes of many lengths and directions from the cell's middle and corners. The tests try millions
more. Bounds of several changes add up, so they hold for sums at any strengths too.
"""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from functools import lru_cache
from itertools import product
from threading import Lock
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from evenhand.layers.cap import (
    CELL_BITS,
    FINE_PER_CODE,
    LEAST,
    ROUNDED,
    ROUNDING,
    Measure,
    near_bound,
    step_table,
)
from evenhand.layers.layer import CodeDifferences
from evenhand.photo.compiling import compiled, inlined
from evenhand.processors import PROCESSORS

if TYPE_CHECKING:
    from evenhand.colour.encoding import Encoding
    from evenhand.photo.photograph import CodeValues

Table = npt.NDArray[np.float32]

DIRECTIONS = np.array([d for d in product((-1, 0, 1), repeat=3) if any(d)], np.float32)
# Directions of change in which a cell's norm is checked.

SHORT, LONG = (3.0, 12.0), (24.0, 40.0)
# Lengths of change in 8-bit code values at which it is checked: short ones need less enlarging.

DARKEST_RED = 48
# Least red, 8-bit code values, of cells with a bound. They are also at least as red as green and
# as blue, as skin is: through black, grey and blue the difference is too far from a norm.

SHORTEST_LONG = SHORT[-1]
# Change of a channel up to which the bound of short changes holds.

WIDEST = LONG[-1]
# Largest change of a channel that a bound speaks of; beyond it there is none.

PROBE = 4.0
# Change in 8-bit code values from which the norm is taken.

SAFETY = 1.2
# Factor for colours and directions between those that are checked.

ROUNDEST = 0.03
# Smallest eigenvalue of the squared norm in parts of its largest: none is flatter, so that no
# direction between those tried slips through.

ROUNDING_COLUMN, SHORT_COLUMN = 6, 7
# Columns of the table after the six of the norm.

UNKNOWN = np.inf
# In the rows of cells that are not worked out: no bound, so a closer look.

ROWS = 64
# Rows that a thread works on at a time.

SAMPLING = 4
# Every so many rows and columns are searched for cells; a cell that is missed costs time only.


class Bounds:
    """Table of bounds for an encoding, worked out for the cells that are asked for.

    Attributes
    ----------
    table : ndarray of float32, shape (cells, 8)
        For each cell of colours: the squared norm's factors of ``r^2, g^2, b^2, rg, rb, gb`` for a
        change in 8-bit code values, what rounding may add, and a factor on short changes' norm.
    """

    def __init__(self, encoding: Encoding) -> None:
        self._encoding = encoding
        self._known = np.zeros(1 << 3 * CELL_BITS, np.bool_)
        self._lock = Lock()
        self.table = np.full((len(self._known), 8), UNKNOWN, np.float32)

    def prepared(self, codes: CodeValues) -> Table:
        """The table with the cells of `codes`, shape (height, width, 3), worked out."""
        shift = codes.dtype.itemsize * 8 - CELL_BITS
        cell = codes[::SAMPLING, ::SAMPLING].astype(np.intp) >> shift
        place = (cell[..., 0] << 2 * CELL_BITS) + (cell[..., 1] << CELL_BITS) + cell[..., 2]
        with self._lock:
            counts = np.bincount(place.reshape(-1), minlength=len(self._known))
            new = np.flatnonzero((counts > 0) & ~self._known)
            if new.size:
                self.table[new] = self._rows(new)
                self._known[new] = True
        return self.table

    def _rows(self, cells: npt.NDArray[np.intp]) -> Table:
        axes = [(cells >> bits) & ((1 << CELL_BITS) - 1) for bits in (2 * CELL_BITS, CELL_BITS, 0)]
        size = 256 >> CELL_BITS
        lowest = np.stack(axes, axis=-1) * size
        warm = (lowest[:, 0] >= DARKEST_RED) & (lowest[:, 0] >= lowest[:, 1:].max(axis=1))
        rows = np.full((len(cells), 8), UNKNOWN, np.float32)
        rows[warm] = self._warm_rows(cells[warm], lowest[warm])
        return rows

    def _warm_rows(self, cells: npt.NDArray[np.intp], lowest: npt.NDArray[np.intp]) -> Table:
        size = 256 >> CELL_BITS
        norm = _norm(self._encoding, (lowest + size // 2).astype(np.uint8))
        short, long = np.zeros((2, len(cells)), np.float32)
        for place in [*product((0, size - 1), repeat=3), (size // 2,) * 3]:
            start = (lowest + np.array(place)).astype(np.uint8)
            np.maximum(short, _ratio(self._encoding, start, norm, SHORT), out=short)
            np.maximum(long, _ratio(self._encoding, start, norm, LONG), out=long)
        np.maximum(long, short, out=long)
        rows = np.empty((len(cells), 8), np.float32)
        rows[:, :ROUNDING_COLUMN] = norm * ((SAFETY * long) ** 2)[:, None]
        rows[:, ROUNDING_COLUMN] = step_table(self._encoding)[cells, ROUNDED]
        rows[:, SHORT_COLUMN] = short / long
        return rows


@lru_cache(maxsize=8)
def bounds_of(encoding: Encoding) -> Bounds:
    """The table of an encoding, kept between photographs."""
    return Bounds(encoding)


def _norm(encoding: Encoding, colours: CodeValues) -> Table:
    """Factors of the squared norm at some colours, shape (n, 6)."""
    measure = Measure(encoding, colours)

    def square(direction: tuple[int, ...]) -> Table:
        step = np.array(direction, np.float32) * np.float32(PROBE * 257)
        change = np.tile(step, (len(colours), 1))
        both = measure.of(change) ** 2 + measure.of(-change) ** 2
        return np.asarray(both / (2 * PROBE * PROBE), np.float32)

    matrix = np.empty((len(colours), 3, 3))
    for axis in range(3):
        matrix[:, axis, axis] = square(tuple(np.eye(3, dtype=int)[axis]))
    for one, other in ((0, 1), (0, 2), (1, 2)):
        plus, minus = np.zeros(3, int), np.zeros(3, int)
        plus[[one, other]] = 1
        minus[[one, other]] = 1, -1
        mixed = (square(tuple(plus)) - square(tuple(minus))) / 4
        matrix[:, one, other] = matrix[:, other, one] = mixed
    sizes, axes = np.linalg.eigh(matrix)
    sizes = np.maximum(sizes, ROUNDEST * sizes[:, -1:])
    matrix = axes @ (sizes[..., None] * axes.transpose(0, 2, 1))
    squares = [matrix[:, axis, axis] for axis in range(3)]
    products = [2 * matrix[:, 0, 1], 2 * matrix[:, 0, 2], 2 * matrix[:, 1, 2]]
    return np.asarray(np.stack([*squares, *products], axis=-1), np.float32)


def _ratio(
    encoding: Encoding, colours: CodeValues, norm: Table, lengths: tuple[float, ...]
) -> Table:
    """Largest ratio of the difference to the norm over all changes tried, shape (n,)."""
    measure = Measure(encoding, colours)
    start = colours.astype(np.float32)
    largest = np.zeros(len(colours), np.float32)
    for length in lengths:
        for direction in DIRECTIONS:
            change = np.clip(start + length * direction, 0, 255) - start
            size = np.sqrt(np.maximum(squared(norm, change), LEAST))
            moves = np.abs(change).max(axis=1) > 0
            ratio = np.where(moves, measure.of(change * np.float32(257)) / size, 0)
            np.maximum(largest, ratio, out=largest)
    return largest


def squared(norm: Table, change: Table) -> Table:
    """Squared norm of changes (n, 3) in 8-bit code values by factors (n, 6), shape (n,)."""
    red, green, blue = change[:, 0], change[:, 1], change[:, 2]
    terms = (red * red, green * green, blue * blue, red * green, red * blue, green * blue)
    return np.asarray(sum(norm[:, k] * term for k, term in enumerate(terms)), np.float32)


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

    Returns
    -------
    ndarray of bool, shape (height, width)
    """
    depth = codes.dtype.itemsize * 8
    table = bounds_of(encoding).prepared(codes)
    scale = np.float32(FINE_PER_CODE[depth] / (257 * steps_per_code))
    rounding = np.float32(ROUNDING[depth] / ROUNDING[8])
    near = np.zeros(codes.shape[:2], np.bool_)

    def work(top: int) -> None:
        rows = slice(top, top + ROWS)
        height = min(ROWS, codes.shape[0] - top)
        bound = np.zeros((height, codes.shape[1]), np.float32)
        reach = np.zeros((height, codes.shape[1]), np.float32)
        for part in parts:
            _add_bound(codes[rows], part[rows], table, depth - CELL_BITS, scale, bound, reach)
        _mark_near(
            codes[rows], table, depth - CELL_BITS, np.float32(FINE_PER_CODE[depth] / 257),
            rounding, np.float32(near_bound(cap)), bound, reach, near[rows],
        )  # fmt: skip

    with ThreadPoolExecutor(PROCESSORS) as pool:
        list(pool.map(work, range(0, codes.shape[0], ROWS)))
    return near


@compiled
def _add_bound(codes, difference, table, cell_shift, scale, bound, reach):  # type: ignore[no-untyped-def]
    """Add a difference's bound and its largest channel, in 8-bit code values."""
    for row in range(bound.shape[0]):
        for column in range(bound.shape[1]):
            red = scale * np.float32(difference[row, column, 0])
            green = scale * np.float32(difference[row, column, 1])
            blue = scale * np.float32(difference[row, column, 2])
            if red == 0 and green == 0 and blue == 0:
                continue
            place = cell_of(codes, row, column, cell_shift)
            bound[row, column] += norm_at(table, place, red, green, blue)
            reach[row, column] += max(abs(red), abs(green), abs(blue))


@compiled
def _mark_near(  # type: ignore[no-untyped-def]
    codes, table, cell_shift, code_scale, rounding, near_bound, bound, reach, near
):
    """Set `near` where the bound passes, or the sum leaves the file's range or the table's."""
    white = np.float32(255)
    for row in range(bound.shape[0]):
        for column in range(bound.shape[1]):
            moved = reach[row, column]
            if moved == 0:
                continue
            lowest = min(codes[row, column, 0], codes[row, column, 1], codes[row, column, 2])
            highest = max(codes[row, column, 0], codes[row, column, 1], codes[row, column, 2])
            within = code_scale * np.float32(lowest) - moved >= 0
            within = within and code_scale * np.float32(highest) + moved <= white
            place = cell_of(codes, row, column, cell_shift)
            size = bound[row, column]
            if moved <= SHORTEST_LONG:
                size *= table[place, SHORT_COLUMN]
            size += rounding * table[place, ROUNDING_COLUMN]
            near[row, column] = not (within and moved <= WIDEST and size <= near_bound)


@inlined
def cell_of(codes, row, column, cell_shift):  # type: ignore[no-untyped-def]
    """Row of the table for a pixel's colour."""
    return (
        ((np.int64(codes[row, column, 0]) >> cell_shift) << 2 * CELL_BITS)
        + ((np.int64(codes[row, column, 1]) >> cell_shift) << CELL_BITS)
        + (np.int64(codes[row, column, 2]) >> cell_shift)
    )


@inlined
def norm_at(table, place, red, green, blue):  # type: ignore[no-untyped-def]
    """Bound of a change in 8-bit code values, without rounding."""
    return np.sqrt(
        table[place, 0] * red * red
        + table[place, 1] * green * green
        + table[place, 2] * blue * blue
        + table[place, 3] * red * green
        + table[place, 4] * red * blue
        + table[place, 5] * green * blue
    )
