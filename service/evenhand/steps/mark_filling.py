"""Filling a mark: its tone from its surroundings, its detail from its own or from near skin."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from evenhand.people.shapes import disc
from evenhand.steps.coarse import DARKEST
from evenhand.steps.mark_detection import Mark
from evenhand.steps.masked_filters import FWHM
from evenhand.steps.patch import LinearLight, SkinPatch

Map = npt.NDArray[np.float32]
Inside = npt.NDArray[np.bool_]

REACH = 1.4
"""Farthest that a mark is followed from its centre, in the diameters it was found at."""

FADED = 0.15
"""Share of a mark's density at its middle down to which it is followed outwards."""

MARGIN_MM = 0.2
"""Skin around a mark that is filled with it, millimetres."""

GRAIN_MM = 1.2
"""Size up to which near skin gives its detail; what is larger is tone and comes from the rim."""

DETAIL_MM = 0.35
"""Blur before a mark is followed, so that pores do not fray it, millimetres."""

OWN_MM = 0.15
"""Blur of the pigment taken off a mark: less and noise comes in, more and the edge shows."""

LEAST_COLOUR = 0.2
"""Share of a mark's density that is no shading, below which its pigment is not told from pores."""

ALIKE = (0.5, 1.4)
"""Deviation of a mark's own detail in that of the skin around it, for it to be skin's."""

MOST_GRAIN = 1.0
"""Factor at most by which copied detail is made as strong as that around the mark."""

FADING_MM = 0.8
"""Way from the rim inwards over which copied detail sets in, so that it meets the rim exactly."""

DIRECTIONS = 16
"""Directions in which near skin is looked for."""

DISTANCES = (0.6, 0.9, 1.3, 1.8, 2.5, 3.5, 5.0)
"""Distances of near skin, in widths of the mark's window."""

RING = 16
"""Places around a mark at which near skin's light is compared."""

SOLVED_PIXELS = 40
"""Pixels across the disc at most when the tone is solved; it is smooth, so more tell nothing."""


def fill(patch: SkinPatch, chosen: list[Mark], found: list[Mark]) -> LinearLight:
    """Fill marks one after another.

    Pores that show through a mark stay: what the mark's pigment adds is taken off them. Where what
    is under it is no plain skin, detail is copied from near skin. Either is joined by a membrane
    over the difference at the rim (Perez, Gangnet, Blake, ACM TOG 22(3), 313, 2003), in optical
    density so that shade scales it.

    Parameters
    ----------
    patch : SkinPatch
        One person's skin.
    chosen : list of Mark
        Marks to fill.
    found : list of Mark
        All marks: none of them is copied from.

    Returns
    -------
    ndarray of float32, shape (height, width, 3)
        Linear light of the patch.
    """
    fills = [_area(patch, mark) for mark in found]
    free = (patch.skin > 0.9).astype(np.uint8)
    for area in fills:
        free[area.window][area.alpha > 0] = 0
    wanted = patch.linear.copy()
    for mark, area in zip(found, fills, strict=True):
        if mark in chosen:
            _fill_one(wanted, patch, area, free)
    return wanted


@dataclass(frozen=True)
class _Area:
    """Where a mark is: its window in the patch, its middle, its edge-feathered area, what it adds.

    `added` is the density that the mark adds at its middle, shape (3,).
    """

    window: tuple[slice, slice]
    row: int
    column: int
    reach: int
    alpha: Map
    added: Map

    @property
    def hole(self) -> Inside:
        """Pixels that are filled."""
        return self.alpha > 0


def _area(patch: SkinPatch, mark: Mark) -> _Area:
    """Follow a mark outwards from its middle until it has faded into its surroundings."""
    row, column = round(mark.row), round(mark.column)
    reach = max(4, round(REACH * mark.size_mm / patch.mm_per_pixel))
    window = _window(row, reach, patch.skin.shape[0]), _window(column, reach, patch.skin.shape[1])
    rows, columns = np.ogrid[window]
    far = np.hypot(rows - row, columns - column)
    density = -np.log(np.maximum(patch.linear[window], DARKEST))
    smooth = cv2.GaussianBlur(density, (0, 0), max(0.5, DETAIL_MM / patch.mm_per_pixel))
    rim = (far > 0.75 * reach) & (far < reach) & (patch.skin[window] > 0.9)
    added = smooth - (_plane(smooth, rim) if rim.sum() > 12 else smooth)
    middle = added[far <= max(1.0, 0.25 * mark.size_mm / patch.mm_per_pixel)].mean(axis=0)
    share = added @ (middle / max(float(middle @ middle), 1e-9))
    inside = ((share > FADED) & (far < 0.75 * reach)).astype(np.uint8)
    inside[far < 0.4 * mark.size_mm / patch.mm_per_pixel] = 1
    labels = cv2.connectedComponents(inside, connectivity=4)[1]
    inside = (labels == labels[row - window[0].start, column - window[1].start]).astype(np.uint8)
    margin = max(1, round(MARGIN_MM / patch.mm_per_pixel))
    grown = cv2.dilate(inside, disc(margin)).astype(np.float32)
    feather = cv2.blur(grown, (margin + 1, margin + 1)) * grown
    return _Area(window, row, column, reach, feather * (patch.skin[window] > 0), middle)


def _plane(values: Map, rim: Inside) -> Map:
    """Plane through the rim of a window, channel by channel: shade without the mark."""
    rows, columns = np.indices(rim.shape)
    design = np.stack([np.ones(rim.shape), rows, columns], axis=-1)
    fitted = np.linalg.lstsq(design[rim], values[rim], rcond=None)[0]
    return np.asarray(design @ fitted, np.float32)


def _fill_one(
    wanted: LinearLight, patch: SkinPatch, area: _Area, free: npt.NDArray[np.uint8]
) -> None:
    here = -np.log(np.maximum(wanted[area.window], DARKEST))
    detail = _own_detail(here, patch, area)
    if detail is None:
        detail = _near_detail(here, patch, area, free)
    filled = detail + membrane(here - detail, area.hole)
    alpha = (area.alpha * patch.skin[area.window])[..., None]
    light = np.exp(-filled) * alpha + wanted[area.window] * (1 - alpha)
    wanted[area.window] = np.where(alpha > 0, light, wanted[area.window])


def _own_detail(here: Map, patch: SkinPatch, area: _Area) -> Map | None:
    """Detail under a mark, its pigment taken off; None where that is not plain skin.

    Pores are shade and the mark is colour: its amount is read where shading does not count.
    """
    coloured = area.added - area.added.mean()
    power = float(coloured @ coloured)
    if power <= LEAST_COLOUR**2 * float(area.added @ area.added):
        return None
    smooth = cv2.GaussianBlur(here, (0, 0), max(0.5, OWN_MM / FWHM / patch.mm_per_pixel))
    added = (smooth - membrane(smooth, area.hole)) * area.hole[..., None]
    amount = added @ (coloured / power)
    powers = np.stack([amount, amount * amount], axis=-1)
    fitted = np.linalg.lstsq(powers[area.hole], added[area.hole], rcond=None)[0]
    detail = _fine(here - powers @ fitted.astype(np.float32), patch.mm_per_pixel)
    around = ~area.hole & (patch.skin[area.window] > 0.9)
    if not around.any():
        return None
    alike = detail[area.hole].std(axis=0) / np.maximum(detail[around].std(axis=0), 1e-6)
    return detail if (alike > ALIKE[0]).all() and (alike < ALIKE[1]).all() else None


def _near_detail(here: Map, patch: SkinPatch, area: _Area, free: npt.NDArray[np.uint8]) -> Map:
    """Detail of near skin, as strong as that around the mark; none where no skin is near."""
    offset = _near_skin(patch, free, area)
    around = ~area.hole & (patch.skin[area.window] > 0.9)
    if offset is None or not around.any():
        return np.zeros_like(here)
    rows, columns = (
        slice(pixels.start + moved, pixels.stop + moved)
        for pixels, moved in zip(area.window, offset, strict=True)
    )
    near = _fine(-np.log(np.maximum(patch.linear[rows, columns], DARKEST)), patch.mm_per_pixel)
    strength = _fine(here, patch.mm_per_pixel)[around].std() / max(near[area.hole].std(), 1e-6)
    hole = area.hole.astype(np.uint8)
    inwards = cv2.distanceTransform(hole, cv2.DIST_L2, 5) * patch.mm_per_pixel / FADING_MM
    window = np.minimum(inwards, 1) * min(strength, MOST_GRAIN)
    return np.asarray(near * window[..., None], np.float32)


def _fine(density: Map, mm_per_pixel: float) -> Map:
    """Detail up to `GRAIN_MM`."""
    sigma = GRAIN_MM / FWHM / mm_per_pixel
    return np.asarray(density - cv2.GaussianBlur(density, (0, 0), sigma), np.float32)


def _window(centre: int, reach: int, size: int) -> slice:
    return slice(max(0, centre - reach), min(size, centre + reach + 1))


def _near_skin(
    patch: SkinPatch, free: npt.NDArray[np.uint8], area: _Area
) -> tuple[int, int] | None:
    """Offset to near free skin whose light is most like the mark's surroundings, if any."""
    needed = area.hole
    ring = _ring(patch, area.row, area.column, area.reach)
    rows, columns = area.window
    best, best_cost = None, np.inf
    for distance in DISTANCES:
        for turn in range(DIRECTIONS):
            angle = 2 * np.pi * turn / DIRECTIONS
            down = round(distance * 2 * area.reach * np.sin(angle))
            across = round(distance * 2 * area.reach * np.cos(angle))
            if not _is_free(free, needed, rows.start + down, columns.start + across):
                continue
            difference = _ring(patch, area.row + down, area.column + across, area.reach) - ring
            cost = float(np.abs(difference).mean() + 2 * difference.std(axis=0).mean())
            if cost < best_cost:
                best, best_cost = (down, across), cost
        if best is not None:
            return best
    return None


def _is_free(free: npt.NDArray[np.uint8], needed: Inside, top: int, left: int) -> bool:
    """Whether all needed pixels of a window moved to `top`, `left` are free skin."""
    height, width = needed.shape
    if min(top, left) < 0 or top + height > free.shape[0] or left + width > free.shape[1]:
        return False
    return bool(free[top : top + height, left : left + width][needed].all())


def _ring(patch: SkinPatch, row: int, column: int, reach: int) -> Map:
    """Density in `RING` places around a disc, each averaged over its own small square."""
    half = max(1, reach // 4)
    height, width = patch.skin.shape
    values = []
    for turn in range(RING):
        angle = 2 * np.pi * turn / RING
        r = min(max(round(row + reach * np.sin(angle)), 0), height - 1)
        c = min(max(round(column + reach * np.cos(angle)), 0), width - 1)
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

    Returns
    -------
    ndarray of float32, shape of `difference`
    """
    height, width = inside.shape
    factor = max(1.0, max(height, width) / SOLVED_PIXELS)
    size = (round(width / factor), round(height / factor))
    outside = cv2.resize((~inside).astype(np.float32), size, interpolation=cv2.INTER_AREA)
    values = cv2.resize(difference * ~inside[..., None], size, interpolation=cv2.INTER_AREA)
    known = cv2.GaussianBlur(outside, (0, 0), 1.0)
    # OpenCV leaves a last axis of one out.
    values = cv2.GaussianBlur(values, (0, 0), 1.0).reshape(*outside.shape, difference.shape[2])
    values /= np.maximum(known, 1e-6)[..., None]
    unknown = outside < 0.5
    solved = _laplace(values, unknown)
    surface = cv2.resize(solved, (width, height), interpolation=cv2.INTER_LINEAR)
    return np.asarray(surface).reshape(difference.shape)


def _laplace(values: Map, unknown: Inside) -> Map:
    from scipy.sparse import csr_matrix
    from scipy.sparse.linalg import spsolve

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
