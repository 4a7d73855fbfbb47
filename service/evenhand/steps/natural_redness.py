"""How red skin is by nature: smooth, alike on a face's two sides, and with the colour of shade."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import cv2
import numpy as np
import numpy.typing as npt

from evenhand.people.person import SKIN_REGIONS, Region
from evenhand.steps.coarse import CoarsePatch
from evenhand.steps.masked_filters import blur

Map = npt.NDArray[np.float32]
Values = npt.NDArray[np.float64]

MOST_SAMPLES = 2500
"""Places at most at which redness is looked at."""

SPACING_MM = 15.0
"""Distance of the bumps that natural redness is made of on a face, and their deviation."""

BODY_SPACING_MM = 25.0
"""The same on the rest of the body."""

MOST_BUMPS = 250
"""Bumps at most on face or body; the distance grows until they suffice."""

ALIKE, UNLIKE = 0.15, 0.05
"""Deviation of a bump that a face has on both sides alike, and of one that differs, density."""

BODY, REGION = 0.05, 0.15
"""Deviation of a bump on the body, and of a region as a whole, density."""

WITH_SHADE = 0.3
"""Deviation of the redness that comes with a density of shade, and with its square."""

MOTTLE = 0.10
"""Deviation of what the skin's own mottle leaves over, density."""

LEAST_MOTTLE = 0.03
"""The same on the most even skin that is reckoned with."""

MOTTLE_MM2 = 30.0
"""Area over which that is one and the same, square millimetres."""

EVENED_MM = 1.5
"""Blur before redness is looked at: noise and pores."""

BURN, BURN_SPREAD = 0.5, 0.3
"""Redness expected of a burn and its deviation, density."""

DARK = 1.0
"""Density below ordinary light from which redness says nothing; 0.6 above it, it says all."""

BRIGHT = -0.8
"""Density at which gloss says a tenth; 0.4 below it says all."""

AT_EDGE = 0.1
"""Trust in skin at the mask's edge, and in gloss."""


class Fit(NamedTuple):
    """Redness split into natural and burn.

    `natural` at the samples; `burn`, density where the share is 1; `misfit`, twice the negative
    logarithm of the probability, up to a constant, and `misfit_if_even`, the same where mottle is
    as much as is left over and not as much as on any skin.
    """

    natural: Values
    burn: float
    misfit: float
    misfit_if_even: float


@dataclass(frozen=True)
class NaturalRedness:
    """A model of unburnt redness at samples of the skin, solved for any share of burnt skin.

    Ridge regression: bumps, regions and shade with Gaussian amounts, mottle as noise.

    Attributes
    ----------
    rows, columns : ndarray of int, shape (samples,)
        In cells of `step` coarse pixels.
    step : int
        Coarse pixels to a cell.
    redness, weight : ndarray of float64, shape (samples,)
        Redness in density, and inverse of its variance.
    terms : ndarray of float64, shape (samples, terms)
        What natural redness is made of.
    precision : ndarray of float64, shape (terms,)
        Inverse variance of each term's amount.
    inverse : ndarray of float64, shape (terms, terms)
        Of the regression's matrix.
    """

    rows: npt.NDArray[np.intp]
    columns: npt.NDArray[np.intp]
    step: int
    redness: Values
    weight: Values
    terms: Values
    precision: Values
    inverse: Values

    def fit(self, share: Values) -> Fit:
        """Natural redness and the burn that explain the samples best.

        Parameters
        ----------
        share : ndarray of float64, shape (samples,)
            How much of a burn each sample has, 0 to 1.
        """
        given = np.stack([self.redness, share], axis=-1)
        weighted = given * self.weight[:, None]
        amounts = self.inverse @ (self.terms.T @ weighted)
        rest = given - self.terms @ amounts
        prior = 1 / BURN_SPREAD**2
        burn = (weighted[:, 1] @ rest[:, 0] + prior * BURN) / (weighted[:, 1] @ rest[:, 1] + prior)
        natural = self.terms @ (amounts @ [1, -burn])
        left = self.redness - natural - burn * share
        misfit = float(weighted @ [1, -burn] @ left + prior * (burn - BURN) ** 2)
        mottle = float(self.weight @ left**2)
        pieces = float(self.weight.sum()) * MOTTLE**2
        variance = max(mottle / pieces, (LEAST_MOTTLE / MOTTLE) ** 2)
        return Fit(natural, float(burn), misfit, misfit - mottle + pieces * float(np.log(variance)))

    def laid_out(self, values: Values, shape: tuple[int, int]) -> Map:
        """Samples as a map of coarse pixels, those between and beyond filled in."""
        cells = -(-shape[0] // self.step), -(-shape[1] // self.step)
        known, map_ = np.zeros(cells, np.float32), np.zeros(cells, np.float32)
        known[self.rows, self.columns], map_[self.rows, self.columns] = 1, values
        size = cells[1] * self.step, cells[0] * self.step
        whole = cv2.resize(blur(map_, known, 0.8), size, interpolation=cv2.INTER_LINEAR)
        return np.asarray(whole[: shape[0], : shape[1]])


def natural_redness(
    skin: CoarsePatch, redness: Map, shade: Map, counterparts: Map | None
) -> NaturalRedness:
    """Model of a person's unburnt redness.

    Parameters
    ----------
    skin : CoarsePatch
        The person's skin.
    redness : ndarray of float32, shape (height, width)
        In density, up to a constant.
    shade : ndarray of float32, shape (height, width)
        Density below ordinary light.
    counterparts : ndarray of float32, shape (height, width, 2), or None
        Row and column of each place of the face on its other side.
    """
    step = max(2, int(np.ceil(np.sqrt(skin.inside.sum() / MOST_SAMPLES))))
    middle = step // 2
    rows, columns = np.nonzero(skin.inside[middle::step, middle::step])
    here = rows * step + middle, columns * step + middle
    weight = _trust(skin, shade)[here] / MOTTLE**2
    weight *= min(1.0, (step * skin.mm_per_pixel) ** 2 / MOTTLE_MM2)
    groups = [*_plain_terms(skin, shade, here), *_bumps(skin, here, counterparts)]
    terms = np.concatenate([values for values, _ in groups], axis=1)
    precision = np.concatenate([np.full(v.shape[1], spread**-2.0) for v, spread in groups])
    matrix = (terms * weight[:, None]).T @ terms + np.diag(precision)
    evened = blur(redness, skin.skin, skin.pixels(EVENED_MM))[here].astype(np.float64)
    inverse = np.linalg.inv(matrix)
    return NaturalRedness(rows, columns, step, evened, weight, terms, precision, inverse)


def _trust(skin: CoarsePatch, shade: Map) -> Values:
    """Share of redness that says something: less at the mask's edge, in gloss and deep shadow."""
    far = cv2.distanceTransform(skin.inside.astype(np.uint8), cv2.DIST_L2, 5) * skin.mm_per_pixel
    lit = np.clip((DARK - shade) / 0.6, 0, 1) * np.clip((shade - BRIGHT) / 0.4, AT_EDGE, 1)
    return np.asarray(lit * np.clip((far - 1) / 3, AT_EDGE, 1), np.float64)


Places = tuple[npt.NDArray[np.intp], npt.NDArray[np.intp]]
Terms = list[tuple[Values, float]]


def _plain_terms(skin: CoarsePatch, shade: Map, here: Places) -> Terms:
    """Skin as such, each region, and shade with its square, apart for light and dark."""
    s = shade[here].astype(np.float64)
    shades = np.stack([s, np.maximum(s, 0) ** 2, np.maximum(-s, 0) ** 2], axis=-1)
    regions = [skin.regions[region][here] for region in SKIN_REGIONS if region in skin.regions]
    whole = np.ones((len(s), 1))
    return [(whole, 100.0), (shades, WITH_SHADE), (np.stack(regions, axis=-1, dtype=float), REGION)]


def _bumps(skin: CoarsePatch, here: Places, counterparts: Map | None) -> Terms:
    """Gaussian bumps over face and body; a face's in pairs, alike and unlike on its sides."""
    places = np.stack(here, axis=-1) * skin.mm_per_pixel
    face = np.zeros(len(places), bool)
    terms: Terms = []
    if counterparts is not None:
        share = skin.regions[Region.FACE]
        face = share[here] > 0.5
        middles, spread = _middles(share, skin.mm_per_pixel, SPACING_MM)
        there = counterparts[here] * skin.mm_per_pixel
        near, far = (_bump(at, middles, spread) * face[:, None] for at in (places, there))
        terms += [((near + far) / 2, ALIKE), ((near - far) / 2, UNLIKE)]
    rest = skin.skin if counterparts is None else skin.skin - skin.regions[Region.FACE]
    middles, spread = _middles(rest, skin.mm_per_pixel, BODY_SPACING_MM)
    return [*terms, (_bump(places, middles, spread) * ~face[:, None], BODY)]


def _bump(places: Values, middles: Values, spread: float) -> Values:
    away = ((places[:, None] - middles) ** 2).sum(axis=-1)
    return np.asarray(np.exp(-away / (2 * spread**2)), np.float64)


def _middles(share: Map, mm_per_pixel: float, spacing_mm: float) -> tuple[Values, float]:
    """Middles of bumps wherever skin is near, millimetres, and their distance."""
    area = float(share.sum()) * mm_per_pixel**2
    spacing_mm = max(spacing_mm, np.sqrt(2 * area / MOST_BUMPS))
    spacing = spacing_mm / mm_per_pixel
    near = cv2.GaussianBlur(np.ascontiguousarray(share, np.float32), (0, 0), spacing / 2)
    rows, columns = (
        np.minimum(np.arange(spacing / 2, size + spacing / 2, spacing), size - 1).astype(np.intp)
        for size in share.shape
    )
    place = np.argwhere(near[np.ix_(rows, columns)] > 0.1)
    middles = np.stack([rows[place[:, 0]], columns[place[:, 1]]], axis=-1) * mm_per_pixel
    return np.asarray(middles, np.float64).reshape(-1, 2), float(spacing_mm)
