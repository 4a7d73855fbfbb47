"""The other side of a face: what one side has and the other has not is no natural redness."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt
from scipy.interpolate import RBFInterpolator

from evenhand.people.person import Region
from evenhand.steps.coarse import CoarsePatch
from evenhand.steps.masked_filters import blur
from evenhand.steps.patch import SkinPatch

Map = npt.NDArray[np.float32]
Places = npt.NDArray[np.intp]

RIGHT = (
    33, 133, 61, 50, 205, 234, 172, 136, 150, 149, 176, 148, 132, 58, 93, 127, 162, 21, 54, 103, 67,
    109, 48, 129,
)  # fmt: skip
LEFT = (
    263, 362, 291, 280, 425, 454, 397, 365, 379, 378, 400, 377, 361, 288, 323, 356, 389, 251, 284,
    332, 297, 338, 278, 358,
)  # fmt: skip
MIDDLE = (10, 151, 9, 8, 168, 6, 197, 195, 5, 4, 1, 2, 164, 0, 17, 18, 200, 152)
"""Points of the face mesh: those of one side, the same of the other, those between."""

STEP = 4
"""Coarse pixels between places whose counterpart is worked out; others lie between."""

EVENED_MM = 2.0
"""Blur of redness before two sides are compared, millimetres: mesh and pores do not fit better."""

LEAST_PAIRS = 400
"""Places with a counterpart in the face's skin, below which sides are not compared."""

LOPSIDED = 0.67
"""Deviation of half the sides' difference in that of their mean from which one side is burnt.

On the faces of seven portraits 0.39 to 0.62, on six of seven with a burn simulated on them 0.71 to
1.25, on one 0.51. Read while this was chosen: they do not prove it.
"""

LEAST_BURN = 0.25
"""Density between the sides below which the difference is left as it is."""

BURNT_QUANTILE = 0.7
"""Quantile of the sides' difference above which it shows the burn; half of that is burnt skin."""

NEAR_MM = 10.0
"""Deviation of the neighbourhood whose natural redness a place takes, millimetres."""

UNKNOWN = 0.02
"""Share of the densest known neighbourhood that the face's own middle counts for."""


@dataclass(frozen=True)
class Pairs:
    """Places of the face and their counterparts on its other side, coarse pixels.

    Attributes
    ----------
    here, there : tuple of ndarray of int, shape (pairs,)
        Rows and columns.
    """

    here: tuple[Places, Places]
    there: tuple[Places, Places]


def pairs_of(patch: SkinPatch, skin: CoarsePatch) -> Pairs | None:
    """Places of the face that are seen on both sides; None where there are too few.

    Sides are matched by a thin-plate spline through the face mesh (Bookstein, IEEE TPAMI 11(6),
    567, 1989), so that turned faces match too.
    """
    share = skin.regions.get(Region.FACE)
    if patch.face is None or len(patch.face.landmarks) < 468 or share is None:
        return None
    corner = [patch.box.left, patch.box.top]
    points = (patch.face.landmarks[:, :2] - corner) * (patch.mm_per_pixel / skin.mm_per_pixel)
    this, other = [*RIGHT, *LEFT, *MIDDLE], [*LEFT, *RIGHT, *MIDDLE]
    inside = (share > 0.9) & skin.inside
    rows, columns = np.nonzero(inside[::STEP, ::STEP])
    if len(rows) < LEAST_PAIRS / STEP:
        return None
    rows, columns = rows * STEP, columns * STEP
    spline = RBFInterpolator(points[this], points[other], smoothing=1.0)
    across, down = np.rint(spline(np.stack([columns, rows], axis=-1))).astype(np.intp).T
    down, across = (
        np.clip(down, 0, inside.shape[0] - 1),
        np.clip(across, 0, inside.shape[1] - 1),
    )
    seen = inside[down, across]
    if seen.sum() * STEP**2 < LEAST_PAIRS:
        return None
    return Pairs((rows[seen], columns[seen]), (down[seen], across[seen]))


@dataclass(frozen=True)
class OneSided:
    """What a face shows that is burnt on one side.

    Attributes
    ----------
    natural : ndarray of float32, shape (height, width)
        Redness of unburnt skin at each place of the face, from the less red of the two sides.
    burn : float
        Redness that the burnt side has more than the other.
    """

    natural: Map
    burn: float


def one_sided(skin: CoarsePatch, redness: Map, pairs: Pairs) -> OneSided | None:
    """Natural redness of a face burnt on one side; None where its sides are alike.

    Cheeks, nose and chin are as red on one side as on the other, so that a natural face differs
    over its two sides by less than along them, and a burn with an unburnt counterpart shows.

    Parameters
    ----------
    skin : CoarsePatch
        The person's skin.
    redness : ndarray of float32, shape (height, width)
        In density, up to a constant.
    pairs : Pairs
        Places of the face's two sides.
    """
    even = blur(redness, skin.skin, skin.pixels(EVENED_MM))
    here, there = even[pairs.here], even[pairs.there]
    differs = _without_light(here - there, skin, pairs)
    apart = np.abs(differs)
    burn = float(np.median(apart[apart > np.quantile(apart, BURNT_QUANTILE)]))
    if np.std(differs) < LOPSIDED * np.std(here + there) or burn < LEAST_BURN:
        return None
    differ = apart > burn / 2
    less, weight = np.zeros_like(even), np.zeros_like(even)
    less[pairs.here], weight[pairs.here] = np.minimum(here, there), differ
    known = cv2.GaussianBlur(weight, (0, 0), skin.pixels(NEAR_MM))
    trust = known / (known + UNKNOWN * known.max())
    middle = float(np.median(np.minimum(here, there)[differ]))
    near = trust * blur(less, weight, skin.pixels(NEAR_MM)) + (1 - trust) * middle
    return OneSided(np.asarray(near, np.float32), burn)


def _without_light(differs: Map, skin: CoarsePatch, pairs: Pairs) -> Map:
    """Difference of redness less what comes with the brighter side: sun is redder than sky.

    A burn darkens, so that a side which is redder for being burnt is not brighter for it.
    """
    shade = blur(skin.density.mean(axis=-1), skin.skin, skin.pixels(EVENED_MM))
    darker = shade[pairs.here] - shade[pairs.there]
    slope = float(differs @ darker) / max(float(darker @ darker), 1e-6)
    return np.asarray(differs - np.float32(min(slope, 0.0)) * darker)
