"""A gain of skin turned into differences of code values, pixel by pixel in one pass.

For matrix profiles: light by table, gain between the cells of its grid, code values by table, and
the bound of `evenhand.layers.cap` that tells which pixels need a closer look.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from evenhand.box import Box
from evenhand.colour.inverse_table import DARKEST, FIRST_CELL, SHIFT, InverseTable
from evenhand.compiling import compiled, part_of_compiled
from evenhand.layers.cap import ROUNDED, WIDE, bound_of, cell_of, near_table
from evenhand.layers.layer import CodeDifferences
from evenhand.layers.measure import FINE_PER_CODE
from evenhand.processors import PROCESSORS

if TYPE_CHECKING:
    from evenhand.colour.encoding import MatrixEncoding
    from evenhand.people.person import Alpha
    from evenhand.photo.photograph import Photograph

Floats = npt.NDArray[np.float32]
Numbers = npt.NDArray[np.int32]

ROWS = 64
# Rows that a thread works on at a time.

LOG2_E = np.float32(1.4426950408889634)
LN2_HIGH, LN2_LOW = np.float32(0.693359375), np.float32(-2.12194440e-4)
# Logarithms; that of 2 in two parts, the first exact in few bits (Cody and Waite 1980).

LARGEST_EXPONENT = 80.0
# Natural logarithm of a gain beyond which it is taken as this: any light is white or black then.


@dataclass(frozen=True)
class Gained:
    """Differences of code values that a gain comes to.

    Attributes
    ----------
    difference : ndarray of int16 or int32, shape (height, width, 3)
        In units of ``1 / steps_per_code`` code values, inside the file's range.
    near : ndarray of bool, shape (height, width)
        Pixels whose difference may come near the cap.
    rows, columns : ndarray of bool, shapes (height,) and (width,)
        Which of them hold a pixel that changes.
    """

    difference: CodeDifferences
    near: npt.NDArray[np.bool_]
    rows: npt.NDArray[np.bool_]
    columns: npt.NDArray[np.bool_]


def gained(
    photograph: Photograph,
    encoding: MatrixEncoding,
    box: Box,
    inner: Box,
    skin: Alpha,
    log_gain: Floats,
    steps_per_code: int,
    cap: float,
) -> Gained:
    """Differences that a gain of the skin comes to.

    Parameters
    ----------
    photograph : Photograph
        The original.
    encoding : MatrixEncoding
        Its encoding.
    box : Box
        Where the grid lies.
    inner : Box
        Part of it, in its own coordinates, outside which there is no skin.
    skin : ndarray of float32, shape (inner.height, inner.width)
        Share of skin in each pixel: the gain applies in proportion.
    log_gain : ndarray of float32, shape (rows, columns, 3)
        Natural logarithm of the gain in Rec. 2020, on a grid over the box.
    steps_per_code : int
        64 or 1.
    cap : float
        Largest CIEDE2000, for `near`.

    Returns
    -------
    Gained
        Over `inner`.
    """
    found = _empty(skin.shape, np.zeros((*skin.shape, 3), np.int16))
    chosen = photograph, encoding, box, inner, skin, log_gain, steps_per_code, cap
    if _fill(found, *chosen) > np.iinfo(np.int16).max:
        found = _empty(skin.shape, np.zeros((*skin.shape, 3), np.int32))
        _fill(found, *chosen)
    return found


def _empty(shape: tuple[int, ...], difference: CodeDifferences) -> Gained:
    """No change anywhere."""
    height, width = shape
    near, rows, columns = np.zeros(shape, bool), np.zeros(height, bool), np.zeros(width, bool)
    return Gained(difference, near, rows, columns)


def _fill(
    found: Gained,
    photograph: Photograph,
    encoding: MatrixEncoding,
    box: Box,
    inner: Box,
    skin: Alpha,
    log_gain: Floats,
    steps_per_code: int,
    cap: float,
) -> float:
    """Fill the differences in, and give the largest, which has to fit their integers."""
    codes = photograph.pixels[box.slices][inner.slices]
    depth = codes.dtype.itemsize * 8
    tables = _tables(encoding, depth)
    scale = np.float32(FINE_PER_CODE[depth] / (257 * steps_per_code))
    near = near_table(encoding, depth, cap)
    across = _places(box.width, log_gain.shape[1])[inner.left : inner.right]
    down = _places(box.height, log_gain.shape[0])[inner.top : inner.bottom]

    def work(top: int) -> float:
        rows = slice(top, top + ROWS)
        largest: float = _gain_rows(
            codes[rows], skin[rows], log_gain, across, down[rows],
            tables.light, tables.to_own, tables.base, tables.starts, tables.slopes,
            FIRST_CELL, SHIFT, np.float32(photograph.white), np.float32(steps_per_code),
            scale, *near,
            found.difference[rows], found.near[rows], found.rows[rows], found.columns,
            *_scratch(log_gain.shape[1], skin.shape[1]),
        )  # fmt: skip
        return largest

    with ThreadPoolExecutor(PROCESSORS) as pool:
        return max(pool.map(work, range(0, skin.shape[0], ROWS)), default=0.0)


def _scratch(cells: int, width: int) -> tuple[Floats, Numbers, Floats, Floats, Numbers]:
    """Room for a row, made here as numba takes long to compile what makes it."""
    own = np.empty((3, width), np.float32)
    line, gain = np.empty((cells, 3), np.float32), np.empty((3, width), np.float32)
    return line, np.empty(width, np.int32), gain, own, own.view(np.int32)


@dataclass(frozen=True)
class Tables:
    """An encoding laid out for the compiled pass.

    Attributes
    ----------
    light : ndarray of float32, shape (3, codes, 3)
        What each code value of each channel adds to the working colour.
    to_own : ndarray of float32, shape (3, 3)
        From the working space to the file's own primaries.
    base : ndarray of float32, shape (3, codes)
        Code values that the way back makes of each code value's own light.
    starts, slopes : ndarray of float32, shape (3, cells)
        Of the inverse tone curves (`evenhand.colour.inverse_table`).
    """

    light: Floats
    to_own: Floats
    base: Floats
    starts: Floats
    slopes: Floats


@lru_cache(maxsize=8)
def _tables(encoding: MatrixEncoding, depth: int) -> Tables:
    codes = 1 << depth
    device = np.linspace(0.0, 1.0, codes)
    inverses = [InverseTable(curve) for curve in encoding.curves]
    own = [curve.linear(device) for curve in encoding.curves]
    base = [
        inverse.device(plane.astype(np.float32)) * (codes - 1)
        for inverse, plane in zip(inverses, own, strict=True)
    ]
    return Tables(
        light=encoding.light_tables(depth),
        to_own=np.linalg.inv(encoding.matrix).astype(np.float32),
        base=np.stack(base).astype(np.float32),
        starts=np.stack([inverse.start for inverse in inverses]),
        slopes=np.stack([inverse.slope for inverse in inverses]),
    )


def _places(pixels: int, cells: int) -> Floats:
    """Where pixels of an axis lie on the grid, middles of cells at whole numbers, within it."""
    middles = (np.arange(pixels) + 0.5) * (cells / pixels) - 0.5
    return np.clip(middles, 0, cells - 1).astype(np.float32)


@compiled
def _gain_rows(  # type: ignore[no-untyped-def]
    codes, skin, log_gain, across, down, light, to_own, base, starts, slopes, first_cell, shift,
    white, steps, scale, table, cell_shift, limit,
    difference, near, rows, columns, line, lit, gain, own, bits,
):  # fmt: skip
    """Fill some rows; gives the largest difference, which must fit the integers of `difference`."""
    largest = np.float32(0)
    one, mask = np.float32(1), (1 << shift) - 1
    for row in range(skin.shape[0]):
        _line_between(log_gain, down[row], line)
        count = _exponents(line, skin[row], across, lit, gain)
        if count == 0:
            continue
        for c in range(3):
            _exponentiate(gain[c, :count])
        for k in range(count):
            first, second, third = codes[row, lit[k]]
            for c in range(3):
                gain[c, k] *= light[0, first, c] + light[1, second, c] + light[2, third, c]
        for c in range(3):
            _weigh(to_own[c], gain, own[c, :count])
        for k in range(count):
            column = lit[k]
            changes = False
            for c in range(3):
                code = codes[row, column, c]
                cell = (bits[c, k] >> shift) - first_cell
                device = starts[c, cell] + slopes[c, cell] * np.float32(bits[c, k] & mask)
                step = np.rint((min(device, one) * white - base[c, code]) * steps)
                lowest = -np.float32(code) * steps
                step = min(max(step, lowest), white * steps + lowest)
                own[c, k] = step * scale
                if step != 0:
                    largest = max(largest, abs(step))
                    difference[row, column, c] = np.int32(step)
                    changes = True
            if changes:
                rows[row] = True
                columns[column] = True
                limits = table[cell_of(codes[row, column], cell_shift)]
                r, g, b = own[0, k], own[1, k], own[2, k]
                size = bound_of(limits, r, g, b) + limits[ROUNDED]
                near[row, column] = max(abs(r), abs(g), abs(b)) > WIDE or size > limit
    return largest


@part_of_compiled
def _line_between(log_gain, place, line):  # type: ignore[no-untyped-def]
    """The grid's values at a place between two of its rows."""
    upper = min(int(place), log_gain.shape[0] - 1)
    lower = min(upper + 1, log_gain.shape[0] - 1)
    weight = place - np.float32(upper)
    for cell in range(line.shape[0]):
        for c in range(3):
            start = log_gain[upper, cell, c]
            line[cell, c] = start + weight * (log_gain[lower, cell, c] - start)


@part_of_compiled
def _exponents(line, skin, across, lit, gain):  # type: ignore[no-untyped-def]
    """Columns of a row with a gain other than one, packed, and its logarithm; gives how many."""
    count, last = 0, line.shape[0] - 1
    for column in range(skin.size):
        share = skin[column]
        if not share > 0:
            continue
        left = int(across[column])
        right = min(left + 1, last)
        weight = across[column] - np.float32(left)
        size = np.float32(0)
        for c in range(3):
            gain[c, count] = share * (line[left, c] + weight * (line[right, c] - line[left, c]))
            size += abs(gain[c, count])
        if 0 < size < np.inf:
            lit[count] = column
            count += 1
    return count


@part_of_compiled
def _exponentiate(values):  # type: ignore[no-untyped-def]
    """Put e to the power of each value in its place, within 2e-7: 2^n of the bits, a series."""
    low, high = np.float32(-LARGEST_EXPONENT), np.float32(LARGEST_EXPONENT)
    for k in range(values.size):
        value = min(max(values[k], low), high)
        whole = np.rint(value * LOG2_E)
        x = (value - whole * LN2_HIGH) - whole * LN2_LOW
        power = np.float32(np.int32((np.int32(whole) + 127) << 23).view(np.float32))
        series = np.float32(1 / 120) + x * np.float32(1 / 720)
        series = np.float32(1 / 6) + x * (np.float32(1 / 24) + x * series)
        values[k] = power * (
            np.float32(1) + x * (np.float32(1) + x * (np.float32(0.5) + x * series))
        )


@part_of_compiled
def _weigh(weights, light, own):  # type: ignore[no-untyped-def]
    """Working light in one of the file's own primaries, as far as its inverse curve goes."""
    darkest, one = np.float32(DARKEST), np.float32(1)
    for k in range(own.size):
        value = weights[0] * light[0, k] + weights[1] * light[1, k] + weights[2] * light[2, k]
        own[k] = min(max(value, darkest), one)
