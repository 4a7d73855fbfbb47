"""How red a person's skin is where it is not burnt, region by region."""

from __future__ import annotations

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

GROUP_DISTANCE = 4.0
"""Distance of two groups in the lower one's deviations that makes them two."""

NATURALLY_REDDER = {Region.FACE: 0.10, Region.EAR: 0.14, Region.HAND: 0.10}
"""Density by which a region may be redder than the palest one and still be unburnt.

Sites differ in a*, the forehead highest, the inner arm lowest (Xiao et al. 2017); the amounts are
common practice without a source.
"""

OTHERWISE_REDDER = 0.07
"""The same for regions not named, density."""

BORDER_MM = 10.0
"""Width over which one region's level passes into the next one's."""


def unburnt_levels(skin: CoarsePatch, redness: Map) -> Map:
    """Level of unburnt skin at each place, smooth over the regions' borders, (height, width).

    A region that holds unburnt and burnt skin gives its own level. One that is of one kind is
    unburnt if it is not much redder than the person's palest region, else burnt all over, and
    then takes that region's level with the natural difference of the two.
    """
    everywhere = unburnt_level(redness[skin.inside])
    levels: dict[Region, float] = {}
    for region in SKIN_REGIONS:
        share = skin.regions.get(region)
        if share is None:
            continue
        amounts = redness[(share > 0.9) & skin.inside]
        if len(amounts) * skin.mm_per_pixel**2 >= LEAST_AREA_MM2:
            levels[region] = unburnt_level(amounts)
    if not levels:
        return np.full(redness.shape, everywhere, np.float32)
    palest = min(levels.values())
    level, weight = np.zeros_like(redness), np.zeros_like(redness)
    for region in SKIN_REGIONS:
        if region in skin.regions:
            most = palest + NATURALLY_REDDER.get(region, OTHERWISE_REDDER)
            level += skin.regions[region] * min(levels.get(region, everywhere), most)
            weight += skin.regions[region]
    known = np.minimum(weight, 1)
    level = np.where(weight > 0, level / np.maximum(weight, 1e-6), everywhere).astype(np.float32)
    return blur(level, known, skin.pixels(BORDER_MM / 2))


def unburnt_level(amounts: Amounts) -> float:
    """Level of the lower of two groups of skin, or of all of it where there is only one.

    Otsu's threshold (IEEE SMC 9(1), 1979) parts the skin in two.

    Parameters
    ----------
    amounts : ndarray of float32, shape (pixels,)
        Redness in density.
    """
    low, high = (float(value) for value in np.quantile(amounts, [0.005, 0.995]))
    counts, edges = np.histogram(amounts, 128, (low, high + 1e-6))
    middles = (edges[1:] + edges[:-1]) / 2
    below, sums = np.cumsum(counts), np.cumsum(counts * middles)
    above = below[-1] - below
    means = sums / np.maximum(below, 1), (sums[-1] - sums) / np.maximum(above, 1)
    split = middles[int(np.argmax(below * above * (means[0] - means[1]) ** 2))]
    lower, upper = amounts[amounts <= split], amounts[amounts > split]
    if min(len(lower), len(upper)) < LEAST_SHARE * len(amounts):
        return float(np.median(amounts))
    middle = float(np.median(lower))
    spread = 1.4826 * float(np.median(np.abs(lower - middle)))
    if float(np.median(upper)) - middle < GROUP_DISTANCE * spread:
        return float(np.median(amounts))
    return middle
