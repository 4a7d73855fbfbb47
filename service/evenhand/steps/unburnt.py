"""How red a person's skin is where it is not burnt, region by region, and how much that varies."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from evenhand.people.person import SKIN_REGIONS, Region
from evenhand.steps.coarse import CoarsePatch
from evenhand.steps.masked_filters import blur

Map = npt.NDArray[np.float32]
Amounts = npt.NDArray[np.float32]

LEAST_AREA_MM2 = 150.0
"""Skin of a region below which it takes the whole person's level."""

LEAST_SHARE = 0.03
"""Share of a group of skin below which it is not taken for skin of its own."""

SEPARATION = 0.72
"""Share of the variance that lies between two groups of skin from which they are two.

Otsu's measure of separability: 0.64 for one Gaussian group, 0.75 for an even spread, 1 for two
groups without width. On the faces of seven portraits without burns it was 0.59 to 0.68, on twenty
simulated burns of five skins, soft-edged ones among them, 0.82 to 0.96. Those portraits were read
while this was chosen: they do not prove it.
"""

VALLEY = 0.75
"""Height between two groups in the lower one's height below which they are two: 0.01 to 0.38 on
those burns, 0.95 and more on those portraits."""

BINS = 48
"""Steps in which redness is counted."""

NATURALLY_REDDER = {Region.FACE: 0.10, Region.EAR: 0.14, Region.HAND: 0.10}
"""Density by which a region may be redder than the palest one and still be unburnt.

Sites differ in a*, the forehead highest, the inner arm lowest (Xiao et al. 2017); the amounts are
common practice without a source.
"""

OTHERWISE_REDDER = 0.07
"""The same for regions not named, density."""

BORDER_MM = 10.0
"""Width over which one region's level passes into the next one's."""


GROUP_LEAST = 0.25
"""Distance between two groups from which skin is burnt in part; twice that, in full."""

GENTLE = 0.05
"""Density taken off at most where no burnt group stands apart: flush is eased, not removed."""

FREE = 10.0
"""The same where one does: no limit."""

EVEN_BY_NATURE = (Region.NECK, Region.ARM, Region.HAND, Region.TORSO, Region.LEG)
"""Regions without the natural unevenness of a face: what stands out there is burnt.

On faces without burns, cheeks, nose and warm reflected light reach as far as a burn does.
"""

PALE_SHARE = 0.25
"""Quantile of such a region's redness that stands for its unburnt skin, however much is burnt."""

PALE_LEAST = 0.12
"""Excess there from which skin is burnt in part, density; twice that, in full."""

REGION_SEPARATION = 0.78
"""Separation from which a region of a person who is of one kind as a whole is two groups."""

ONE_GROUP_LEAST = 1.5
"""The same in deviations, where all skin is one group."""


@dataclass(frozen=True)
class Level:
    """Redness of unburnt skin, density.

    Attributes
    ----------
    middle : float
        Median of unburnt skin.
    least : float
        Excess above it from which skin counts as burnt in part; twice that, in full.
    most : float
        Density to take off at most.
    split : float or None
        Where the burnt group begins, None where there is one group.
    separation : float
        Share of the variance between the two groups, see `SEPARATION`.
    """

    middle: float
    least: float
    most: float = GENTLE
    split: float | None = None
    separation: float = 0.0


@dataclass(frozen=True)
class Levels:
    """The same at each place, smooth over the regions' borders.

    Attributes
    ----------
    middle, least, most : ndarray of float32, shape (height, width)
        As in `Level`.
    """

    middle: Map
    least: Map
    most: Map


def unburnt_levels(skin: CoarsePatch, redness: Map, lit: npt.NDArray[np.bool_]) -> Levels:
    """Redness of unburnt skin at each place.

    A region that holds unburnt and burnt skin gives its own level. One that is of one kind is
    unburnt if it is not much redder than the person's palest region, else burnt all over, and
    then takes that region's level with the natural difference of the two.

    Parameters
    ----------
    skin : CoarsePatch
        The person's skin.
    redness : ndarray of float32, shape (height, width)
        Redness in density, up to a constant.
    lit : ndarray of bool, shape (height, width)
        Skin in ordinary light, neither gloss nor deep shadow, that levels are taken from.
    """
    everywhere = unburnt_level(redness[lit])
    levels: dict[Region, Level] = {}
    for region in SKIN_REGIONS:
        share = skin.regions.get(region)
        if share is None:
            continue
        amounts = redness[(share > 0.9) & lit]
        if len(amounts) * skin.mm_per_pixel**2 >= LEAST_AREA_MM2:
            one_kind = everywhere.split is None
            level = unburnt_level(amounts, REGION_SEPARATION if one_kind else SEPARATION)
            if level.split is None and region in EVEN_BY_NATURE:
                level = _pale_level(amounts)
            levels[region] = level if one_kind else _within(level, region, everywhere)
    palest = min((level.middle for level in levels.values()), default=everywhere.middle)
    total = np.zeros((*redness.shape, 3), np.float32)
    weight = np.zeros_like(redness)
    for region in SKIN_REGIONS:
        if region in skin.regions:
            level = levels.get(region, everywhere)
            reddest = palest + _naturally_redder(region)
            values = np.array([min(level.middle, reddest), level.least, level.most], np.float32)
            total += skin.regions[region][..., None] * values
            weight += skin.regions[region]
    elsewhere = np.array([everywhere.middle, everywhere.least, everywhere.most], np.float32)
    inside = weight[..., None] > 0
    values = np.where(inside, total / np.maximum(weight, 1e-6)[..., None], elsewhere)
    values = blur(values, np.minimum(weight, 1), skin.pixels(BORDER_MM / 2))
    return Levels(values[..., 0], values[..., 1], values[..., 2])


def _pale_level(amounts: Amounts) -> Level:
    """Level of the palest part of a region whose skin passes from unburnt to burnt by degrees."""
    return Level(float(np.quantile(amounts, PALE_SHARE)), PALE_LEAST, FREE)


def _naturally_redder(region: Region) -> float:
    return NATURALLY_REDDER.get(region, OTHERWISE_REDDER)


def _within(level: Level, region: Region, everywhere: Level) -> Level:
    """A region's level where the person as a whole is burnt in part and unburnt in part."""
    if level.split is not None:
        return level
    middle = min(level.middle, everywhere.middle + _naturally_redder(region))
    return Level(middle, min(level.least, everywhere.least), FREE)


def unburnt_level(amounts: Amounts, separation: float = SEPARATION) -> Level:
    """Level of the lower of two groups of skin, or of all of it where there is only one.

    Otsu's threshold (IEEE SMC 9(1), 1979) parts the skin in two. The parts are two groups where
    they lie far apart and few amounts lie between them.

    Parameters
    ----------
    amounts : ndarray of float32, shape (pixels,)
        Redness in density.
    separation : float
        Separation from which there are two groups, see `SEPARATION`.
    """
    low, high = (float(value) for value in np.quantile(amounts, [0.005, 0.995]))
    counts, edges = np.histogram(amounts, BINS, (low, high + 1e-6))
    middles = (edges[1:] + edges[:-1]) / 2
    below, sums = np.cumsum(counts), np.cumsum(counts * middles)
    above = below[-1] - below
    means = sums / np.maximum(below, 1), (sums[-1] - sums) / np.maximum(above, 1)
    place = int(np.argmax(below * above * (means[0] - means[1]) ** 2))
    split = float(edges[place + 1])
    lower, upper = amounts[amounts <= split], amounts[amounts > split]
    between = below[place] * above[place] * (means[0][place] - means[1][place]) ** 2
    whole = (counts * (middles - sums[-1] / below[-1]) ** 2).sum() * below[-1]
    found = float(between / max(whole, 1e-12))
    enough = min(len(lower), len(upper)) >= LEAST_SHARE * len(amounts)
    if not enough or found < separation or not _has_valley(counts, place):
        middle = float(np.median(amounts))
        deviation = 1.4826 * float(np.median(np.abs(amounts - middle)))
        return Level(middle, ONE_GROUP_LEAST * deviation, separation=found)
    middle = float(np.median(lower))
    least = GROUP_LEAST * (float(np.median(upper)) - middle)
    return Level(middle, least, FREE, split, found)


def _has_valley(counts: npt.NDArray[np.int64], place: int) -> bool:
    """Whether the counts, smoothed, sink between the peaks on both sides of a place."""
    smooth = np.convolve(np.pad(counts, 2, mode="edge"), [0.1, 0.2, 0.4, 0.2, 0.1], "valid")
    left = int(np.argmax(smooth[: place + 1]))
    right = place + 1 + int(np.argmax(smooth[place + 1 :]))
    return bool(smooth[left : right + 1].min() < VALLEY * min(smooth[left], smooth[right]))
