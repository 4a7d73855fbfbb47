"""Where and how much pigment a skin change adds: burns, flush, blotches, tan and marks.

Each function draws doses of blood and melanin as volume shares over a skin of `shape` pixels.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

import cv2
import numpy as np
import numpy.typing as npt

from tests.optics.skin import Skin

Map = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Dose:
    """Pigment to add at each pixel, volume shares, shape (height, width) each."""

    blood: Map
    melanin: Map

    def __add__(self, other: Dose) -> Dose:
        return Dose(self.blood + other.blood, self.melanin + other.melanin)

    def apply(self, clean: npt.NDArray[np.floating], skin: Skin, alpha: Map) -> Map:
        """Linear light of `clean` with the pigment added where `alpha` says skin."""
        ratio = skin.ratio(self.blood * alpha, self.melanin * alpha)
        return np.asarray(clean * ratio, np.float64)


class MarkKind(Enum):
    """Kinds of marks and whether they pass."""

    PIMPLE = ("pimple", True)
    SCAB = ("scab", True)
    BITE = ("insect bite", True)
    PRESSURE = ("pressure mark", True)
    FRECKLE = ("freckle", False)
    MOLE = ("mole", False)

    def __init__(self, label: str, passing: bool) -> None:
        self.label = label
        self.passing = passing


@dataclass(frozen=True)
class TrueMark:
    """A mark that was drawn: kind, centre in pixels and diameter in mm."""

    kind: MarkKind
    row: float
    column: float
    diameter_mm: float


def nothing(shape: tuple[int, int]) -> Dose:
    """No change."""
    return Dose(np.zeros(shape), np.zeros(shape))


def smooth_noise(shape: tuple[int, int], sigma: float, rng: np.random.Generator) -> Map:
    """Gaussian noise blurred to `sigma` pixels, mean 0, deviation 1."""
    coarse = max(1.0, sigma / 3)
    small = rng.standard_normal([int(np.ceil(n / coarse)) + 8 for n in shape])
    small = cv2.GaussianBlur(small, (0, 0), sigma / coarse)
    noise = cv2.resize(small, None, fx=coarse, fy=coarse, interpolation=cv2.INTER_CUBIC)
    noise = noise[: shape[0], : shape[1]]
    return np.asarray((noise - noise.mean()) / noise.std(), np.float64)


def sunburn(
    where: Map, severity: float, skin: Skin, mm_per_pixel: float, rng: np.random.Generator
) -> Dose:
    """Erythema with the darkening that comes with it.

    Parameters
    ----------
    where : ndarray
        How much of the burn each place has, in [0, 1]; soft or sharp edges as drawn.
    severity : float
        0.3 slight, 1 strong: erythema raises blood several fold (Tsumura et al. 2003 model UV-B
        erythema as haemoglobin alone). Pigment darkens with it in proportion to the skin's own
        melanin, which makes light skin gain chroma and dark skin lose lightness and chroma
        (as measured on 47 people at 8 sites; from memory).
    """
    mottled = 1 + 0.12 * smooth_noise(where.shape, 4 / mm_per_pixel, rng)
    return Dose(0.03 * severity * where * mottled, 0.12 * severity * skin.melanin * where)


def strapped(
    shape: tuple[int, int], mm_per_pixel: float, edge_mm: float, strap_mm: float = 22.0
) -> Map:
    """A burnt area with a slanted unburnt strap and an unburnt half, edges `edge_mm` wide."""
    rows, columns = np.mgrid[: shape[0], : shape[1]] * mm_per_pixel
    width, height = shape[1] * mm_per_pixel, shape[0] * mm_per_pixel
    strap = np.abs((columns - 0.62 * width) + 0.25 * (rows - height / 2)) - strap_mm / 2
    border = columns - 0.35 * width + 4 * np.sin(rows / 17)
    inside = np.minimum(strap, border)
    return np.asarray(np.clip(inside / max(edge_mm, mm_per_pixel) + 0.5, 0, 1), np.float64)


def flush(shape: tuple[int, int], mm_per_pixel: float, skin: Skin) -> Dose:
    """A soft round flush of 40 mm, as a cheek has."""
    rows, columns = np.mgrid[: shape[0], : shape[1]] * mm_per_pixel
    far = np.hypot(rows - rows.max() * 0.4, columns - columns.max() * 0.3)
    return Dose(0.008 * np.exp(-((far / 20) ** 2)), np.zeros(shape))


def blotches(shape: tuple[int, int], mm_per_pixel: float, rng: np.random.Generator) -> Dose:
    """Uneven colour between 1.5 and 10 mm: blood mostly, a little melanin."""
    blood = smooth_noise(shape, 1.6 / mm_per_pixel, rng) + smooth_noise(
        shape, 3 / mm_per_pixel, rng
    )
    return Dose(0.0022 * np.maximum(blood, -1.5), 0.0 * blood)


def tan(where: Map, skin: Skin) -> Dose:
    """A tan: melanin half as much again, no blood."""
    return Dose(np.zeros_like(where), 0.5 * skin.melanin * where)


def _disc(shape: tuple[int, int], mark: TrueMark, mm_per_pixel: float, edge: float) -> Map:
    """Membership of a round mark; `edge` is its soft share of the radius."""
    radius = mark.diameter_mm / 2 / mm_per_pixel
    rows, columns = np.mgrid[: shape[0], : shape[1]]
    angle = np.arctan2(rows - mark.row, columns - mark.column)
    wobble = 1 + 0.12 * np.sin(2 * angle + mark.row) + 0.06 * np.sin(3 * angle + mark.column)
    far = np.hypot(rows - mark.row, columns - mark.column) / (radius * wobble)
    falloff = np.clip((1 - far) / edge + 0.5, 0, 1)
    return np.asarray(falloff * falloff * (3 - 2 * falloff), np.float64)


def mark_dose(shape: tuple[int, int], mark: TrueMark, skin: Skin, mm_per_pixel: float) -> Dose:
    """Pigment of one mark."""
    none = np.zeros(shape)
    if mark.kind is MarkKind.PIMPLE:
        return Dose(0.030 * _disc(shape, mark, mm_per_pixel, 0.9), none)
    if mark.kind is MarkKind.BITE:
        return Dose(0.018 * _disc(shape, mark, mm_per_pixel, 0.7), none)
    if mark.kind is MarkKind.PRESSURE:
        return Dose(0.014 * _disc(shape, mark, mm_per_pixel, 0.8), none)
    if mark.kind is MarkKind.SCAB:
        disc = _disc(shape, mark, mm_per_pixel, 0.35)
        return Dose(0.09 * disc, 0.06 * disc)
    if mark.kind is MarkKind.FRECKLE:
        return Dose(none, (0.03 + 0.25 * skin.melanin) * _disc(shape, mark, mm_per_pixel, 0.8))
    return Dose(none, (0.15 + 0.5 * skin.melanin) * _disc(shape, mark, mm_per_pixel, 0.4))


DIAMETERS_MM = {
    MarkKind.PIMPLE: (1.5, 4.0),
    MarkKind.SCAB: (1.2, 4.0),
    MarkKind.BITE: (4.0, 8.0),
    MarkKind.PRESSURE: (3.0, 6.0),
    MarkKind.FRECKLE: (1.0, 2.5),
    MarkKind.MOLE: (2.0, 5.0),
}
"""Smallest and largest diameter drawn; freckles of 1 to 2 mm, moles under 6 mm (from memory)."""


def scatter_marks(
    inside: npt.NDArray[np.bool_],
    kinds: list[MarkKind],
    mm_per_pixel: float,
    rng: np.random.Generator,
) -> list[TrueMark]:
    """Places for marks inside skin, at least 4 mm from its edge and 3 mm from each other."""
    room = cv2.distanceTransform(inside.astype(np.uint8), cv2.DIST_L2, 5) * mm_per_pixel
    marks: list[TrueMark] = []
    for kind in kinds:
        diameter = float(rng.uniform(*DIAMETERS_MM[kind]))
        free = np.argwhere(room > diameter / 2 + 3)
        if not len(free):
            continue
        row, column = free[rng.integers(len(free))]
        marks.append(TrueMark(kind, float(row), float(column), diameter))
        taken = cv2.circle(
            np.ones(room.shape, np.uint8),
            (int(column), int(row)),
            int(np.ceil((diameter / 2 + 3) / mm_per_pixel)),
            0,
            -1,
        )
        room = np.minimum(room, cv2.distanceTransform(taken, cv2.DIST_L2, 5) * mm_per_pixel)
    return marks
