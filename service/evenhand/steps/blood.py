"""Haemoglobin of skin in optical density, read apart from shading."""

from __future__ import annotations

import cv2
import numpy as np
import numpy.typing as npt

from evenhand.steps.coarse import CoarsePatch
from evenhand.steps.masked_filters import blur
from evenhand.steps.pigments import Direction, Pigments

Map = npt.NDArray[np.float32]
Covariance = npt.NDArray[np.float64]

WITHOUT_SHADING = np.array([[1.0, -1.0, 0.0], [1.0, 1.0, -2.0]]) / np.sqrt([[2.0], [6.0]])
"""Two axes of density that shading leaves alone, orthonormal."""

MOTTLE_MM = 3.0
"""Size below which differences count as mottle and noise, millimetres."""

MELANIN_SPREAD = 0.03
"""Deviation of melanin over unburnt skin that is reckoned with, density."""

NEAR_MM, FAR_MM = 1.5, 6.0
"""Deviations between which a burn's border is compared with its two sides, millimetres."""

LEAST_STEP = 0.03
"""Steps of redness that count as a border, density."""

PRIOR_WEIGHT = 10.0
"""Sum over the border of squared steps times area, density squared times mm2, that the published
direction counts for."""

MOST_TURN = 20.0
"""Degrees by which a person's own direction may differ from the published one."""

LENGTHS = (0.5, 1.6)
"""Least and most that a unit of redness may come to along it."""

REWEIGHTED = 10
"""Times that places of the border are weighted anew by how well they agree."""

LEAST_SPREAD = 0.005
"""Deviation of density that is always reckoned with."""


def nuisance(mottle: Map, pigments: Pigments) -> Covariance:
    """Covariance of density, shape (3, 3), of what is not a burn: noise, mottle, melanin.

    Parameters
    ----------
    mottle : ndarray of float32, shape (pixels, 3)
        Density against its surroundings.
    pigments : Pigments
        The person's.

    Returns
    -------
    ndarray of float64, shape (3, 3)
    """
    mottle64 = mottle.astype(np.float64)
    spread = mottle64.T @ mottle64 / max(1, len(mottle))
    melanin = MELANIN_SPREAD * pigments.melanin
    return np.asarray(spread + np.outer(melanin, melanin) + LEAST_SPREAD**2 * np.eye(3))


def redness_map(density: Map, direction: Direction, others: Covariance) -> Map:
    """Haemoglobin in density along `direction`, up to a constant, shape (...).

    Parameters
    ----------
    density : ndarray of float32, shape (..., 3)
        Optical density.
    direction : ndarray of float64, shape (3,)
        Of haemoglobin in density, unit length.
    others : ndarray of float64, shape (3, 3)
        Covariance of what is not a burn, from `nuisance`.

    Returns
    -------
    ndarray of float32, shape (...)
    """
    axis = redness_axis(direction, others)
    return np.asarray(density @ axis.astype(np.float32), np.float32)


def redness_axis(direction: Direction, others: Covariance) -> npt.NDArray[np.float64]:
    """The axis of density, shape (3,), along which haemoglobin is read.

    It answers one to `direction`, nothing to shading, and least to `others`: the linear estimate of
    least variance (Gauss, Markov).

    Parameters
    ----------
    direction : ndarray of float64, shape (3,)
        Of haemoglobin in density, unit length.
    others : ndarray of float64, shape (3, 3)
        Covariance of what is not a burn, from `nuisance`.

    Returns
    -------
    ndarray of float64, shape (3,)
    """
    plane = WITHOUT_SHADING
    answer = np.linalg.solve(plane @ others @ plane.T, plane @ direction)
    return np.asarray((answer / (answer @ plane @ direction)) @ plane, np.float64)


def own_direction(skin: CoarsePatch, amount: Map, published: Direction) -> Direction:
    """What a unit of a person's burn adds to density, read across its border.

    The published direction is a guess of how much blood darkens; where a burn ends on skin, light
    is the same on both sides and the skin itself tells.

    Parameters
    ----------
    skin : CoarsePatch
        The person's skin.
    amount : ndarray of float32, shape (height, width)
        Excess of redness, zero on unburnt skin.
    published : ndarray of float64, shape (3,)
        Direction from published spectra, unit length.

    Returns
    -------
    ndarray of float64, shape (3,)
        Near unit length; `published` where no border tells, or what it tells is not credible.
    """
    near, far = skin.pixels(NEAR_MM), skin.pixels(FAR_MM)
    step, change = (
        blur(values, skin.skin, near) - blur(values, skin.skin, far)
        for values in (amount, skin.density)
    )
    amid = cv2.distanceTransform(skin.inside.astype(np.uint8), cv2.DIST_L2, 5) > far
    border = amid & (np.abs(step) > LEAST_STEP)
    if not border.any():
        return published
    x, y = step[border].astype(np.float64), change[border].astype(np.float64)
    prior = PRIOR_WEIGHT / skin.mm_per_pixel**2
    weight = np.ones(len(x))
    for _ in range(REWEIGHTED):
        power = (weight * x) @ x + prior
        own = (y.T @ (weight * x) + prior * published) / power
        off = np.linalg.norm(y - x[:, None] * own, axis=1)
        weight = 1 / (1 + (off / max(1.5 * float(np.median(off)), 0.01)) ** 2)  # Cauchy's weights
    length = float(np.linalg.norm(own))
    if not LENGTHS[0] < length < LENGTHS[1]:
        return published
    if own @ published < length * np.cos(np.radians(MOST_TURN)):
        return published
    return np.asarray(own, np.float64)
