"""Marks as spots in scale space, and whether the pigment they add is passing or lasting."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import cv2
import numpy as np
import numpy.typing as npt

from evenhand.people.person import SKIN_REGIONS, Region
from evenhand.steps.coarse import CoarsePatch, coarse
from evenhand.steps.masked_filters import blur
from evenhand.steps.patch import SkinPatch
from evenhand.steps.pigments import Pigments, pigments_of

Map = npt.NDArray[np.float32]
Covariance = npt.NDArray[np.float64]

GRID_MM = 0.25
"""Pixels of the coarse grid on skin: a quarter of the smallest mark looked for."""

PIXELS_ACROSS = 2.5
"""Pixels that a mark must cover to be told from noise."""

SCALE_STEP = 1.35
"""Ratio of neighbouring scales."""

NOISE_TIMES, NOISE_TIMES_IF_LARGE = 10.0, 6.0
"""Response in deviations of the skin's own contrast at the same scale that makes a spot.

Of marks drawn on seven photographed faces 73 % were found with 10 for all, 93 % with 6 for large
ones, at no more false proposals; with 5 there were twice as many. Those faces were read while this
was chosen: they do not prove it.
"""

LARGE_MM = 2.2
"""Diameter from which a spot is larger than pores, freckles and stubble, millimetres."""

LEAST_CONTRAST = 0.06
"""Density by which a spot must stand out all the same; less is blotch."""

LEAST_PIXELS = 50
"""Coarse pixels of skin below which no variation can be measured."""

PLAIN_TIMES = 3.0
"""Contrast in medians of itself above which skin is not plain."""

LEAST_NOISE = 0.003
"""Deviation of contrast that is always reckoned with, density."""

ROUNDNESS = 0.5
"""Least ratio of a spot's two curvatures; hairs, folds and shadow edges have less."""

MODEL_ERROR = 0.09
"""Share of a spot's density by which the pigment directions may be wrong."""


SHADE = np.array([0.54, 0.58, 0.61])
"""Direction of a shadow on skin, density: grey and a little warm, since skin lights itself.

Between grey and what shade did on seven portraits read while it was chosen, (0.50, 0.58, 0.65).
"""

EDGE_MM = 1.5
"""Distance from the mask's edge within which no mark is looked for, millimetres."""

CROWD_MM = 7.0
"""Distance within which spots are neighbours, millimetres."""

CROWD = 5
"""Neighbours from which spots are hair, stubble or texture and not marks."""


class MarkKind(StrEnum):
    """Whether a mark will be gone in some weeks."""

    PASSING = "passing"
    LASTING = "lasting"


@dataclass(frozen=True)
class Mark:
    """A spot on skin.

    Attributes
    ----------
    number : int
        From 1, in reading order.
    row, column : float
        Centre in pixels of the patch.
    size_mm : float
        Diameter, millimetres.
    kind : MarkKind
        Passing or lasting.
    confidence : float
        In the kind, 0 to 1.
    region : Region
        Where it lies.
    """

    number: int
    row: float
    column: float
    size_mm: float
    kind: MarkKind
    confidence: float
    region: Region

    @property
    def passing(self) -> bool:
        """Whether it is a passing mark."""
        return self.kind is MarkKind.PASSING


def find_marks(patch: SkinPatch, least_mm: float, largest_mm: float) -> list[Mark] | None:
    """Find marks between two diameters; None where the photograph does not resolve any."""
    least_mm = max(least_mm, PIXELS_ACROSS * patch.mm_per_pixel)
    if least_mm > largest_mm or not (patch.skin > 0.9).any():
        return None
    skin = coarse(patch, GRID_MM)
    pigments = pigments_of(skin)
    diameters = [least_mm]
    while diameters[-1] * SCALE_STEP <= largest_mm:
        diameters.append(diameters[-1] * SCALE_STEP)
    spots = [spot for diameter in diameters for spot in _spots(skin, pigments, diameter)]
    spots = _apart(_distinct(spots, skin.mm_per_pixel), skin.mm_per_pixel)
    marks = [mark for spot in spots if (mark := _marked(spot, skin, pigments, patch))]
    marks.sort(key=lambda mark: (round(mark.row), mark.column))
    return [
        Mark(i, m.row, m.column, m.size_mm, m.kind, m.confidence, m.region)
        for i, m in enumerate(marks, start=1)
    ]


@dataclass(frozen=True)
class _Spot:
    """A local extreme of the response, in coarse pixels."""

    row: int
    column: int
    diameter_mm: float
    amount: float
    contrast: npt.NDArray[np.float32]
    noise: Covariance


def _spots(skin: CoarsePatch, pigments: Pigments, diameter_mm: float) -> list[_Spot]:
    """Spots of one diameter: centre minus surround, well above the skin's own variation."""
    sigma = skin.pixels(diameter_mm) / (2 * np.sqrt(2))
    contrast = blur(skin.density, skin.skin, 0.8 * sigma) - blur(
        skin.density, skin.skin, 1.6 * sigma
    )
    inside = _well_inside(skin, diameter_mm)
    if inside.sum() < LEAST_PIXELS:
        return []
    noise = _own_variation(contrast[inside])
    amount, response = _along_pigments(contrast, noise, pigments)
    step = max(1, round(sigma))
    peak = response >= cv2.dilate(response, np.ones((2 * step + 1, 2 * step + 1), np.uint8))
    times = NOISE_TIMES if diameter_mm < LARGE_MM else NOISE_TIMES_IF_LARGE
    strong = (response > times) & (amount > LEAST_CONTRAST)
    return [
        _Spot(
            int(row), int(column), diameter_mm, float(amount[row, column]), contrast[row, column],
            noise,
        )
        for row, column in np.argwhere(peak & strong & inside)
        if _roundness(response, row, column, step) >= ROUNDNESS
    ]  # fmt: skip


def _own_variation(contrast: npt.NDArray[np.float32]) -> Covariance:
    """Covariance of the contrast of plain skin, spots left out, shape (3, 3)."""
    size = np.abs(contrast).sum(axis=1)
    plain = contrast[size < PLAIN_TIMES * np.median(size)].astype(np.float64)
    return np.asarray(plain.T @ plain / max(1, len(plain)) + LEAST_NOISE**2 * np.eye(3))


def _along_pigments(contrast: Map, noise: Covariance, pigments: Pigments) -> tuple[Map, Map]:
    """Density along the pigment that answers more, and the same in deviations of plain skin.

    The matched filter of each pigment: the weights that tell it best from the skin's variation.
    """
    amounts, responses = [], []
    for direction in (pigments.haemoglobin, pigments.melanin):
        weights = np.linalg.solve(noise, direction)
        power = float(direction @ weights)
        amounts.append(contrast @ (weights / power).astype(np.float32))
        responses.append(amounts[-1] * np.float32(np.sqrt(power)))
    blood = responses[0] >= responses[1]
    return (
        np.where(blood, amounts[0], amounts[1]),
        np.where(blood, responses[0], responses[1]),
    )


def _well_inside(skin: CoarsePatch, diameter_mm: float) -> npt.NDArray[np.bool_]:
    """Skin at least a mark's radius and a margin from its edge."""
    far = cv2.distanceTransform(skin.inside.astype(np.uint8), cv2.DIST_L2, 5)
    return np.asarray(far > skin.pixels(diameter_mm / 2 + EDGE_MM), np.bool_)


def _roundness(darkness: Map, row: int, column: int, step: int) -> float:
    """Smaller over larger curvature of the response around a peak."""
    rows, columns = darkness.shape
    if not (step <= row < rows - step and step <= column < columns - step):
        return 0.0
    around = darkness[row - step : row + step + 1 : step, column - step : column + step + 1 : step]
    down = 2 * around[1, 1] - around[0, 1] - around[2, 1]
    across = 2 * around[1, 1] - around[1, 0] - around[1, 2]
    mixed = (around[0, 0] + around[2, 2] - around[0, 2] - around[2, 0]) / 4
    half, root = (down + across) / 2, np.hypot((down - across) / 2, mixed)
    return float((half - root) / max(half + root, 1e-9))


def _distinct(spots: list[_Spot], mm_per_pixel: float) -> list[_Spot]:
    """Strongest spots first, those overlapping a stronger one left out."""
    chosen: list[_Spot] = []
    for spot in sorted(spots, key=lambda s: (-s.amount, s.row, s.column)):
        reach = spot.diameter_mm / 2
        if all(
            np.hypot(spot.row - other.row, spot.column - other.column) * mm_per_pixel
            > max(reach, other.diameter_mm / 2) * 1.2
            for other in chosen
        ):
            chosen.append(spot)
    return chosen


def _apart(spots: list[_Spot], mm_per_pixel: float) -> list[_Spot]:
    """Spots without a crowd of others of their kind around them."""
    places = np.array([(spot.row, spot.column) for spot in spots]) * mm_per_pixel
    return [
        spot
        for spot, place in zip(spots, places, strict=True)
        if (np.hypot(*(places - place).T) < CROWD_MM).sum() <= CROWD
    ]


def _marked(spot: _Spot, skin: CoarsePatch, pigments: Pigments, patch: SkinPatch) -> Mark | None:
    """The mark that a spot is; None for a shadow, and on an ear, whose folds are lit through."""
    factor = skin.mm_per_pixel / patch.mm_per_pixel
    passing, lasting, shade = causes(spot.contrast, spot.noise, pigments)
    if shade > max(passing, lasting):
        return None
    region = max(
        (r for r in SKIN_REGIONS if r in skin.regions),
        key=lambda r: float(skin.regions[r][spot.row, spot.column]),
    )
    if region is Region.EAR:
        return None
    return Mark(
        number=0,
        row=(spot.row + 0.5) * factor - 0.5,
        column=(spot.column + 0.5) * factor - 0.5,
        size_mm=spot.diameter_mm,
        kind=MarkKind.PASSING if passing > lasting else MarkKind.LASTING,
        confidence=max(passing, lasting),
        region=region,
    )


def causes(
    contrast: npt.NDArray[np.float32], noise: Covariance, pigments: Pigments
) -> tuple[float, float, float]:
    """Probabilities that a spot's density comes from haemoglobin, from melanin, or from shade.

    Each is tried as the sole cause, with Gaussian errors from the skin's own variation and from
    the directions; where several explain a spot, none comes out sure.
    """
    error = (MODEL_ERROR * float(np.linalg.norm(contrast))) ** 2
    tried = (
        (pigments.haemoglobin, pigments.haemoglobin_doubt),
        (pigments.melanin, pigments.melanin_doubt),
        (SHADE / np.linalg.norm(SHADE), np.zeros(3)),
    )
    scores = []
    for direction, doubt in tried:
        amount = max(0.0, float(contrast @ direction))
        spread = noise + error * np.eye(3) + amount**2 * np.outer(doubt, doubt)
        rest = np.linalg.solve(spread, np.stack([contrast, direction], axis=-1))
        fitted = max(0.0, float(direction @ rest[:, 0] / (direction @ rest[:, 1])))
        off = contrast - fitted * direction
        scores.append(
            float(off @ np.linalg.solve(spread, off)) + float(np.linalg.slogdet(spread)[1])
        )
    likelihoods = np.exp(-(np.array(scores) - min(scores)) / 2)
    passing, lasting, shade = (float(value) for value in likelihoods / likelihoods.sum())
    return passing, lasting, shade
