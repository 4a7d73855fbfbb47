"""Lets the picture's own colours vote: a colour mostly judged skin here is skin here.

Whoever judges skin first is wrong in places, but rarely wherever a colour occurs. So the first
judgement, spread over some millimetres, is weighed against how often each colour was judged skin
and not skin in this very picture, as in the colour term of interactive segmentation [1]_.

References
----------
.. [1] Y. Boykov, M.-P. Jolly, "Interactive graph cuts for optimal boundary and region segmentation
   of objects in N-D images", ICCV 2001.
"""

from __future__ import annotations

import cv2
import numpy as np
import numpy.typing as npt

from evenhand.people.skin_model import in_plane

Field = npt.NDArray[np.float32]
Counts = npt.NDArray[np.float64]

BINS = (32, 32, 20)
"""Bins along both pigment coordinates and the mean density."""

BIN_SIZES = (0.06, 0.06, 0.3)
"""Density across one bin."""

FIRST_BIN = (-0.6, -0.8, 0.0)
"""Density at the lower end of the bins: blue and green cloth, and white."""

RARE = 1e-5
"""Share of all pixels below which a colour's vote hardly counts."""

STRONGEST_VOTE = 4.0
"""Most that a colour can say, as the logarithm of odds."""

REACH_MM = 12.0
"""How far the first judgement is spread: the uncertainty of its place."""

SUREST = 0.02
"""Least chance that the first judgement is wrong."""


def weighed(skin: Field, linear: Field, around: Field, mm_per_pixel: float) -> Field:
    """The chance of skin, weighed with the votes of the picture's colours.

    Parameters
    ----------
    skin : ndarray of float32, shape (height, width)
        First judgement, chance in [0, 1].
    linear : ndarray of float32, shape (height, width, 3)
        Linear light.
    around : ndarray of float32, shape (height, width)
        Weight of each pixel's vote: 1 on and close to the person, 0 far away.
    mm_per_pixel : float

    Returns
    -------
    ndarray of float32, shape (height, width)
        Chance in [0, 1].
    """
    colour = _bins_of(linear)
    for_skin = _counted(colour, skin * around)
    against = _counted(colour, (1 - skin) * around)
    if not for_skin.sum() or not against.sum():
        return skin
    rare = RARE * (for_skin.sum() + against.sum())
    balance = np.log(for_skin.sum() / against.sum())
    votes = np.log((for_skin + rare) / (against + rare)) - balance
    votes = np.clip(votes, -STRONGEST_VOTE, STRONGEST_VOTE).astype(np.float32)
    vote = cv2.GaussianBlur(votes.ravel()[colour], (0, 0), 1.0)
    spread = cv2.GaussianBlur(skin, (0, 0), max(0.6, REACH_MM / mm_per_pixel))
    prior = np.clip(spread, SUREST, 1 - SUREST)
    odds = np.log(prior / (1 - prior)) + vote
    chance: Field = (1 / (1 + np.exp(-odds))).astype(np.float32)
    return chance


def _bins_of(linear: Field) -> npt.NDArray[np.int32]:
    """Number of each pixel's bin."""
    plane, mean = in_plane(linear)
    number = np.zeros(mean.shape, np.int32)
    coordinates = (plane[..., 0], plane[..., 1], mean)
    for values, first, size, bins in zip(coordinates, FIRST_BIN, BIN_SIZES, BINS, strict=True):
        number *= bins
        number += np.clip((values - first) / size, 0, bins - 1).astype(np.int32)
    return number


def _counted(colour: npt.NDArray[np.int32], weights: Field) -> Counts:
    """Weight of the pixels of each colour, blurred over neighbouring bins."""
    from scipy.ndimage import gaussian_filter

    counts = np.bincount(colour.ravel(), weights.ravel(), minlength=int(np.prod(BINS)))
    blurred: Counts = gaussian_filter(counts.reshape(BINS), 1.0)
    return blurred
