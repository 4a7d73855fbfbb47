"""Averages of skin over coarse pixels, straight from code values and masks in one compiled pass.

The same as averaging with `cv2.resize` and ``INTER_AREA``, pixels that lie in two coarse ones
counting in part, but nothing is laid out at full resolution, and what is no skin costs nothing.
"""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import numpy.typing as npt

from evenhand.colour.encoding import CodeValues
from evenhand.compiling import compiled
from evenhand.people.person import Alpha, Mask
from evenhand.processors import PROCESSORS

Map = npt.NDArray[np.float32]
Places = npt.NDArray[np.int32]

ROWS = 16
"""Coarse rows that a thread works on at a time."""


def mean_light(codes: CodeValues, tables: Map, skin: Alpha, size: tuple[int, int]) -> Map:
    """Mean of light times skin in each coarse pixel, shape (rows, columns, 3).

    Parameters
    ----------
    codes : ndarray of uint8 or uint16, shape (height, width, 3)
        Code values.
    tables : ndarray of float32, shape (3, codes, 3)
        Light of each code value (`evenhand.colour.encoding.MatrixEncoding.light_tables`).
    skin : ndarray of float32, shape (height, width)
        Share of skin in each pixel.
    size : tuple of int
        Columns and rows of the coarse grid, at most as many as pixels.

    Returns
    -------
    ndarray of float32, shape (rows, columns, 3)
        Linear light times the share of skin.
    """
    columns, rows = size
    across, down = _parted(skin.shape[1], columns), _parted(skin.shape[0], rows)
    total = np.zeros((rows, columns, 3), np.float32)

    def work(top: int, bottom: int, first: int, last: int) -> None:
        pixels = slice(first, last)
        _add_light(
            codes[pixels], tables, skin[pixels], *across, down[0][pixels] - top, down[1][pixels],
            np.empty((columns + 1, 3), np.float32), total[top:bottom],
        )  # fmt: skip

    _in_bands(work, down[0], rows)
    total *= np.float32(rows * columns / skin.size)
    return total


def mean_share(mask: Mask, shape: tuple[int, int], size: tuple[int, int]) -> Map:
    """Mean membership in each coarse pixel, shape (rows, columns).

    Parameters
    ----------
    mask : Mask
        Inside a patch, in its coordinates.
    shape : tuple of int
        Height and width of the patch.
    size : tuple of int
        Columns and rows of the coarse grid over it.

    Returns
    -------
    ndarray of float32, shape (rows, columns)
        In [0, 1].
    """
    columns, rows = size
    across, down = _parted(shape[1], columns), _parted(shape[0], rows)
    total = np.zeros((rows, columns), np.float32)
    wide, high = (slice(mask.box.left, mask.box.right), slice(mask.box.top, mask.box.bottom))
    across = across[0][wide], across[1][wide]
    down = down[0][high], down[1][high]

    def work(top: int, bottom: int, first: int, last: int) -> None:
        pixels = slice(first, last)
        own = down[0][pixels] - top, down[1][pixels]
        line = np.empty(columns + 1, np.float32)
        _add_share(mask.alpha[pixels], *across, *own, line, total[top:bottom])

    _in_bands(work, down[0], rows)
    total *= np.float32(rows * columns / (shape[0] * shape[1]))
    return total


def _parted(pixels: int, cells: int) -> tuple[Places, Map]:
    """For each pixel of an axis the first coarse one it lies in, and its share in that."""
    per_cell = pixels / cells
    start = np.arange(pixels)
    first = np.minimum((start / per_cell + 1e-9).astype(np.int32), cells - 1)
    share = np.clip((first + 1) * per_cell - start, 0, 1)
    share[first == cells - 1] = 1
    return first, share.astype(np.float32)


def _in_bands(work: Callable[[int, int, int, int], None], cells: Places, rows: int) -> None:
    """Run `work` on bands of coarse rows: top, bottom, and first and last pixel that reach in."""
    bands = []
    for top in range(0, rows, ROWS):
        bottom = min(top + ROWS, rows)
        first, last = np.searchsorted(cells, [top - 1, bottom])
        if first < last:
            bands.append((top, bottom, int(first), int(last)))
    with ThreadPoolExecutor(PROCESSORS) as pool:
        list(pool.map(lambda band: work(*band), bands))


@compiled
def _add_light(codes, tables, skin, column, in_column, row, in_row, line, total):  # type: ignore[no-untyped-def]
    """Add light times skin to the coarse rows of a band; `row` counts from its first."""
    cells = total.shape[1]
    for y in range(skin.shape[0]):
        line[:] = 0
        any_skin = False
        for x in range(skin.shape[1]):
            share = skin[y, x]
            if share == 0:
                continue
            any_skin = True
            r, g, b = codes[y, x, 0], codes[y, x, 1], codes[y, x, 2]
            cell, part = column[x], in_column[x]
            for c in range(3):
                light = share * (tables[0, r, c] + tables[1, g, c] + tables[2, b, c])
                line[cell, c] += part * light
                line[cell + 1, c] += (1 - part) * light
        if not any_skin:
            continue
        for shift in range(2):
            band_row = row[y] + shift
            weight = in_row[y] if shift == 0 else 1 - in_row[y]
            if 0 <= band_row < total.shape[0] and weight > 0:
                for cell in range(cells):
                    for c in range(3):
                        total[band_row, cell, c] += weight * line[cell, c]


@compiled
def _add_share(alpha, column, in_column, row, in_row, line, total):  # type: ignore[no-untyped-def]
    """Add membership to the coarse rows of a band; `row` counts from its first."""
    cells = total.shape[1]
    for y in range(alpha.shape[0]):
        line[:] = 0
        for x in range(alpha.shape[1]):
            share = alpha[y, x]
            if share != 0:
                line[column[x]] += in_column[x] * share
                line[column[x] + 1] += (1 - in_column[x]) * share
        for shift in range(2):
            band_row = row[y] + shift
            weight = in_row[y] if shift == 0 else 1 - in_row[y]
            if 0 <= band_row < total.shape[0] and weight > 0:
                for cell in range(cells):
                    total[band_row, cell] += weight * line[cell]
