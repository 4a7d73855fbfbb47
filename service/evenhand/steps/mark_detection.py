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


SOFT, SOFT_WIDTH = 1.8, 0.1
"""Radius at a fifth of a spot's density over that at four fifths from which it fades out as
inflammation does; a mole ends. Half of the step, and how fast it goes."""

LARGE_RADIUS_MM, LARGE_PIXELS, LARGE_WIDTH_MM = 0.95, 3.0, 0.1
"""The same for the radius at half density, and pixels it must have: freckles are smaller, and fewer
pixels show no shape."""

DISTINCT = 10.0
"""Response in deviations from which a spot's shape is told from a crease's."""

REDDER, REDDER_WIDTH = 2.5, 0.5
"""Redness that neither melanin nor shade explains, in deviations of plain skin, from which a spot
is redder. Half of the step, and how fast it goes."""

HIDDEN = (0.4, 0.55)
"""Density of a darkened spot over that of an inflamed one from which blood begins to drown in a
person's melanin, and has: 0.06 on light skin, 0.4 on tan, 0.6 on brown, 0.8 on dark."""

SHAPE_ODDS, SHADE_ODDS = 24.0, 12.0
"""Where blood is drowned: odds that a redder spot of an inflamed one's shape is one and not a
lasting mark, and that a spot of that shape is no shade.

Chosen, with the shapes, on rendered faces of seeds 0 to 7 and the odd photographs.
"""

SHADE = np.array([0.54, 0.58, 0.61])
"""Direction of a shadow on skin, density: grey and a little warm, since skin lights itself.

Between grey and what shade did on seven portraits read while it was chosen, (0.50, 0.58, 0.65).
"""

AROUND, RING_BLUR_MM = 1.6, 0.15
"""Reach of a spot's profile in its diameters, and blur before it is read, millimetres."""

EDGE_MM = 3.0
"""Distance from the mask's edge within which no mark is looked for, millimetres. On the odd
portraits 1.5 finds as many marks, and on a face 1.2 instead of .75 that are none, at lids, brows
and lips."""

DENT_MM, DENT_SHARE = 6.0, 0.3
"""Diameter and mean membership of places amid skin where the mask doubts it for a mark's sake."""

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
    """Find marks between two diameters; None where the photograph does not resolve any.

    Parameters
    ----------
    patch : SkinPatch
    least_mm, largest_mm : float
        Diameters on skin; the least is no finer than `PIXELS_ACROSS` pixels.

    Returns
    -------
    list of Mark or None
        Numbered from 1, from the top down.
    """
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
    response: float
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
            int(row), int(column), diameter_mm, float(amount[row, column]),
            float(response[row, column]), contrast[row, column], noise,
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
    """Skin at least a mark's radius and a margin from its edge, dents of the mask left out."""
    count, labels, stats, _ = cv2.connectedComponentsWithStats((~skin.inside).astype(np.uint8))
    share = np.bincount(labels.ravel(), skin.skin.ravel(), count) / stats[:, cv2.CC_STAT_AREA]
    dents = stats[:, cv2.CC_STAT_AREA] < np.pi / 4 * skin.pixels(DENT_MM) ** 2
    dents &= share > DENT_SHARE
    dents[0] = False
    far = cv2.distanceTransform((skin.inside | dents[labels]).astype(np.uint8), cv2.DIST_L2, 5)
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
    passing, lasting, shade = causes(spot.contrast, spot.noise, pigments, _inflamed(spot, skin))
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
    contrast: npt.NDArray[np.float32], noise: Covariance, pigments: Pigments, inflamed: float
) -> tuple[float, float, float]:
    """Probabilities that a spot is inflamed, pigmented, or shade.

    Each is tried as the sole cause of its density, with Gaussian errors from the skin's own
    variation and from the directions; where several explain a spot, none comes out sure. The more
    the person's own melanin drowns blood, the more count shape and any redness beyond doubt.

    Parameters
    ----------
    contrast : ndarray of float32, shape (3,)
        Density against its surroundings.
    noise : ndarray of float64, shape (3, 3)
        Covariance of the contrast of plain skin.
    pigments : Pigments
        The person's.
    inflamed : float
        How much the spot is shaped like an inflamed one, 0 to 1.

    Returns
    -------
    passing, lasting, shade : float
        They sum to 1.
    """
    error = (MODEL_ERROR * float(np.linalg.norm(contrast))) ** 2 * np.eye(3)
    grey = SHADE / np.linalg.norm(SHADE)
    shaped = inflamed * _hidden(pigments)
    redder = _beyond(_redder(contrast, noise, pigments), REDDER, REDDER_WIDTH)
    tried = (
        (pigments.haemoglobin, pigments.haemoglobin_doubt, shaped * redder * np.log(SHAPE_ODDS)),
        (pigments.melanin, pigments.melanin_doubt, 0.0),
        (grey, np.zeros(3), -shaped * np.log(SHADE_ODDS)),
    )
    scores = []
    for direction, doubt, odds in tried:
        amount = max(0.0, float(contrast @ direction))
        spread = noise + error + amount**2 * np.outer(doubt, doubt)
        rest = np.linalg.solve(spread, np.stack([contrast, direction], axis=-1))
        fitted = max(0.0, float(direction @ rest[:, 0] / (direction @ rest[:, 1])))
        off = contrast - fitted * direction
        misfit = float(off @ np.linalg.solve(spread, off))
        scores.append(odds - (misfit + float(np.linalg.slogdet(spread)[1])) / 2)
    likelihoods = np.exp(np.array(scores) - max(scores))
    passing, lasting, shade = (float(value) for value in likelihoods / likelihoods.sum())
    return passing, lasting, shade


def _hidden(pigments: Pigments) -> float:
    """How far a person's melanin drowns blood, 0 to 1: a spot's colour tells less of its cause."""
    share = np.linalg.norm(pigments.darkened) / np.linalg.norm(pigments.inflamed)
    return float(np.clip((share - HIDDEN[0]) / (HIDDEN[1] - HIDDEN[0]), 0, 1))


def _redder(contrast: npt.NDArray[np.float32], noise: Covariance, pigments: Pigments) -> float:
    """What of a spot neither melanin nor shade explains, towards blood, in deviations of noise."""
    axis = np.cross(pigments.melanin, SHADE)
    axis *= np.sign(axis @ pigments.haemoglobin)
    return float(axis @ contrast / np.sqrt(axis @ noise @ axis))


def _inflamed(spot: _Spot, skin: CoarsePatch) -> float:
    """How much a spot's outline is that of inflammation: it fades out, and is no freckle's."""
    if spot.response < DISTINCT:
        return 0.0
    radii = _radii(spot, skin)
    soft = _beyond(radii[2] / max(radii[0], 0.5 * skin.mm_per_pixel), SOFT, SOFT_WIDTH)
    least = max(LARGE_RADIUS_MM, LARGE_PIXELS * skin.mm_per_pixel)
    return soft * _beyond(radii[1], least, LARGE_WIDTH_MM)


def _beyond(value: float, step: float, width: float) -> float:
    """0 well below a step, 1 well above it: the logistic function."""
    return float(0.5 + 0.5 * np.tanh((value - step) / (2 * width)))


def _radii(spot: _Spot, skin: CoarsePatch) -> tuple[float, float, float]:
    """Millimetres from the middle at which four fifths, half and a fifth of the density are left.

    Density is read along the contrast's own direction, in rings, against that around the spot.
    """
    reach = int(np.ceil(skin.pixels(AROUND * spot.diameter_mm))) + 1
    rows, columns = (
        slice(max(0, middle - reach), min(middle + reach + 1, size))
        for middle, size in zip((spot.row, spot.column), skin.skin.shape, strict=True)
    )
    weights = np.linalg.solve(spot.noise, spot.contrast.astype(np.float64))
    density = skin.density[rows, columns] @ weights.astype(np.float32)
    density = cv2.GaussianBlur(density, (0, 0), max(0.5, skin.pixels(RING_BLUR_MM)))
    down, across = np.ogrid[rows, columns]
    far = np.hypot(down - spot.row, across - spot.column) * skin.mm_per_pixel
    inside = skin.skin[rows, columns] > DENT_SHARE
    ring = max(GRID_MM, skin.mm_per_pixel)
    number = (far / ring).astype(int)
    last = int(AROUND * spot.diameter_mm / ring)
    rings = [k for k in range(last + 1) if (inside & (number == k)).any()]
    medians = [np.median(density[inside & (number == k)]) for k in rings]
    profile = np.interp(np.arange(last + 1), rings, medians)
    around = np.median(profile[int(0.75 * last) :])
    left = (profile - around) / max(np.max(profile[:2]) - around, 1e-9)
    middles = (np.arange(last + 1) + 0.5) * ring

    def radius(share: float) -> float:
        below = np.flatnonzero(left < share)
        if not len(below) or below[0] == 0:
            return float(middles[0 if len(below) else -1])
        k = int(below[0])
        step = (left[k - 1] - share) / max(left[k - 1] - left[k], 1e-9)
        return float(middles[k - 1] + step * ring)

    return radius(0.8), radius(0.5), radius(0.2)
