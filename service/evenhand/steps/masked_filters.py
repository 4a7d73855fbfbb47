"""Filters that look at skin only: averages weighted by a mask, nothing leaks over its edge."""

from __future__ import annotations

import cv2
import numpy as np
import numpy.typing as npt

Map = npt.NDArray[np.float32]

FWHM = 2.3548
"""Width of a Gaussian at half its height in deviations: a band's limit in mm over this is sigma."""

LEAST_WEIGHT = 1e-6
"""Added to sums of weights, so that places without any skin give zero and not a division by it."""


def blur(values: Map, weight: Map, sigma: float) -> Map:
    """Gaussian average of `values` weighted by `weight`, both (height, width[, channels]).

    Parameters
    ----------
    values : ndarray of float32, shape (height, width) or (height, width, channels)
    weight : ndarray of float32, shape (height, width)
        0 or more.
    sigma : float
        Pixels; 0 gives the values themselves.

    Returns
    -------
    ndarray of float32, shape of `values`
        0 where no weight is near.
    """
    if sigma <= 0:
        return values
    weights = weight if values.ndim == 2 else weight[..., None]
    size = _side(3 * sigma)
    total = cv2.GaussianBlur(np.ascontiguousarray(values * weights), (size, size), sigma)
    mass = cv2.GaussianBlur(weight, (size, size), sigma) + LEAST_WEIGHT
    return np.asarray(total / (mass if values.ndim == 2 else mass[..., None]), np.float32)


def guided(values: Map, guide: Map, weight: Map, radius: float, contrast: float) -> Map:
    """Guided filter (He, Sun, Tang, TPAMI 35(6), 2013) with averages weighted by a mask.

    Parameters
    ----------
    values : ndarray of float32, shape (height, width)
        What is smoothed.
    guide : ndarray of float32, shape (height, width)
        Whose edges are kept.
    weight : ndarray of float32, shape (height, width)
        Weight of each pixel, 0 to 1.
    radius : float
        Pixels, rounded, that the window reaches from its middle, which is not counted; 1 at least.
    contrast : float
        Differences in `guide` well below this are smoothed, well above it kept.

    Returns
    -------
    ndarray of float32, shape (height, width)
    """
    size = _side(radius)

    def mean(product: Map) -> Map:
        means = cv2.boxFilter(product, -1, (size, size), borderType=cv2.BORDER_REFLECT)
        return np.asarray(means, np.float32)

    mass = mean(weight) + LEAST_WEIGHT
    mean_guide = mean(guide * weight) / mass
    mean_values = mean(values * weight) / mass
    spread: Map = mean(guide * guide * weight) / mass - mean_guide * mean_guide
    shared: Map = mean(guide * values * weight) / mass - mean_guide * mean_values
    slope: Map = shared / (np.maximum(spread, 0) + contrast * contrast)
    offset: Map = mean_values - slope * mean_guide
    slope = mean(slope * weight) / mass
    offset = mean(offset * weight) / mass
    return np.asarray(slope * guide + offset, np.float32)


def _side(radius: float) -> int:
    """Side of a window that reaches so many pixels, rounded, from its middle: always odd."""
    return 2 * max(1, round(radius)) + 1
