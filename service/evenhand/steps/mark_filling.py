"""Filling a mark with the gradients of near skin, its tone set by the mark's surroundings."""

from __future__ import annotations

import cv2
import numpy as np
import numpy.typing as npt
from scipy.sparse import csr_matrix
from scipy.sparse.linalg import spsolve

from evenhand.steps.coarse import DARKEST
from evenhand.steps.mark_detection import Mark
from evenhand.steps.patch import LinearLight, SkinPatch

Map = npt.NDArray[np.float32]
Inside = npt.NDArray[np.bool_]

GROWTH = 1.5
"""Diameters of the filled disc: marks fade outwards beyond the scale they are found at."""

DIRECTIONS = 16
"""Directions in which near skin is looked for."""

DISTANCES = (1.3, 1.8, 2.5, 3.5)
"""Distances of near skin, in diameters of the filled disc."""

SOLVED_PIXELS = 40
"""Pixels across the disc at most when the tone is solved; it is smooth, so more tell nothing."""


def fill(patch: SkinPatch, chosen: list[Mark], found: list[Mark]) -> LinearLight:
    """Fill marks one after another.

    Near skin is copied as gradients and joined by a membrane over the difference at the rim
    (Perez, Gangnet, Blake, ACM TOG 22(3), 313, 2003), in optical density so that shade scales it.

    Parameters
    ----------
    patch : SkinPatch
        One person's skin.
    chosen : list of Mark
        Marks to fill.
    found : list of Mark
        All marks: none of them is copied from.
    """
    marked = np.zeros(patch.skin.shape, np.uint8)
    for mark in found:
        cv2.circle(marked, *_disc(mark, patch), 1, -1)
    free = ((patch.skin > 0.9) & (marked == 0)).astype(np.uint8)
    wanted = patch.linear.copy()
    for mark in chosen:
        _fill_one(wanted, patch, mark, free)
    return wanted


def _disc(mark: Mark, patch: SkinPatch) -> tuple[tuple[int, int], int]:
    """Centre (column, row) and radius of the filled disc in pixels."""
    radius = max(2, round(GROWTH * mark.size_mm / patch.mm_per_pixel / 2))
    return (round(mark.column), round(mark.row)), radius


def _fill_one(
    wanted: LinearLight, patch: SkinPatch, mark: Mark, free: npt.NDArray[np.uint8]
) -> None:
    (column, row), radius = _disc(mark, patch)
    reach = radius + 3
    offset = _near_skin(patch, free, row, column, reach)
    rows, columns = _window(row, reach, free.shape[0]), _window(column, reach, free.shape[1])
    grid_rows, grid_columns = np.ogrid[rows, columns]
    far = np.hypot(grid_rows - row, grid_columns - column)
    alpha = patch.skin[rows, columns] * np.clip((radius - far) / max(1.0, 0.15 * radius), 0, 1)
    here = -np.log(np.maximum(patch.linear[rows, columns], DARKEST))
    if offset is None:
        near = np.zeros_like(here)
    else:
        near_rows = slice(rows.start + offset[0], rows.stop + offset[0])
        near_columns = slice(columns.start + offset[1], columns.stop + offset[1])
        near = -np.log(np.maximum(patch.linear[near_rows, near_columns], DARKEST))
    inside = (far < radius) & (patch.skin[rows, columns] > 0)
    filled = near + membrane(here - near, inside)
    light = np.exp(-filled) * alpha[..., None] + wanted[rows, columns] * (1 - alpha[..., None])
    wanted[rows, columns] = np.where(alpha[..., None] > 0, light, wanted[rows, columns])


def _window(centre: int, reach: int, size: int) -> slice:
    return slice(max(0, centre - reach), min(size, centre + reach + 1))


def _near_skin(
    patch: SkinPatch, free: npt.NDArray[np.uint8], row: int, column: int, reach: int
) -> tuple[int, int] | None:
    """Offset to the near disc of free skin whose light is most like the mark's surroundings."""
    ring = _ring(patch, row, column, reach)
    best, best_cost = None, np.inf
    height, width = free.shape
    for distance in DISTANCES:
        for turn in range(DIRECTIONS):
            angle = 2 * np.pi * turn / DIRECTIONS
            down = round(distance * 2 * reach * np.sin(angle))
            across = round(distance * 2 * reach * np.cos(angle))
            top, left = row + down - reach, column + across - reach
            if (
                min(top, left) < 0
                or top + 2 * reach + 1 > height
                or left + 2 * reach + 1 > width
                or min(row, column) < reach
                or row + reach >= height
                or column + reach >= width
                or not free[top : top + 2 * reach + 1, left : left + 2 * reach + 1].all()
            ):
                continue
            there = _ring(patch, row + down, column + across, reach)
            difference = there - ring
            cost = float(np.abs(difference).mean() + 2 * difference.std(axis=0).mean())
            if cost < best_cost:
                best, best_cost = (down, across), cost
        if best is not None:
            return best
    return None


def _ring(patch: SkinPatch, row: int, column: int, reach: int) -> Map:
    """Density in sixteen places around a disc, each averaged over its own small square."""
    half = max(1, reach // 4)
    values = []
    for turn in range(16):
        angle = 2 * np.pi * turn / 16
        r, c = round(row + reach * np.sin(angle)), round(column + reach * np.cos(angle))
        square = patch.linear[max(0, r - half) : r + half + 1, max(0, c - half) : c + half + 1]
        values.append(-np.log(np.maximum(square.mean(axis=(0, 1)), DARKEST)))
    return np.asarray(values, np.float32)


def membrane(difference: Map, inside: Inside) -> Map:
    """Smoothest surface inside that meets `difference` at the rim: Laplace's equation.

    Parameters
    ----------
    difference : ndarray of float32, shape (height, width, channels)
        Values to meet outside.
    inside : ndarray of bool, shape (height, width)
        Where the surface is unknown.
    """
    height, width = inside.shape
    factor = max(1.0, max(height, width) / SOLVED_PIXELS)
    size = (round(width / factor), round(height / factor))
    outside = cv2.resize((~inside).astype(np.float32), size, interpolation=cv2.INTER_AREA)
    values = cv2.resize(difference * ~inside[..., None], size, interpolation=cv2.INTER_AREA)
    known = cv2.GaussianBlur(outside, (0, 0), 1.0)
    values = cv2.GaussianBlur(values, (0, 0), 1.0) / np.maximum(known, 1e-6)[..., None]
    unknown = outside < 0.5
    solved = _laplace(values, unknown)
    return cv2.resize(solved, (width, height), interpolation=cv2.INTER_LINEAR)


def _laplace(values: Map, unknown: Inside) -> Map:
    index = np.full(unknown.shape, -1)
    index[unknown] = np.arange(unknown.sum())
    places = np.argwhere(unknown)
    rows: list[int] = []
    columns: list[int] = []
    weights: list[float] = []
    right = np.zeros((len(places), values.shape[2]))
    for here, (row, column) in enumerate(places):
        neighbours = [
            (row + down, column + across)
            for down, across in ((-1, 0), (1, 0), (0, -1), (0, 1))
            if 0 <= row + down < unknown.shape[0] and 0 <= column + across < unknown.shape[1]
        ]
        rows.append(here)
        columns.append(here)
        weights.append(float(len(neighbours)))
        for place in neighbours:
            if unknown[place]:
                rows.append(here)
                columns.append(int(index[place]))
                weights.append(-1.0)
            else:
                right[here] += values[place]
    matrix = csr_matrix((weights, (rows, columns)), shape=(len(places), len(places)))
    solved = values.copy()
    solved[unknown] = spsolve(matrix, right).reshape(-1, values.shape[2])
    return solved
