"""The same steps as a textbook has them, on the whole frame at full resolution.

Redness: the skin's a* is pulled towards its median. Smoothing: Gaussian frequency separation, the
low band smoothed by an edge-preserving filter, the high band put back. Blend: through the mask.
Cap: where CIEDE2000 exceeds it, the change is scaled down. Once with scikit-image, once with plain
OpenCV; neither reads or writes files, and both are given Evenhand's own masks.
"""

from __future__ import annotations

import cv2
import numpy as np
import numpy.typing as npt
import skimage.color
import skimage.filters
import skimage.restoration

LOW_SIGMA = 8.0
"""Of the Gaussian that parts texture from tone, pixels: common practice for a face this large."""

REDNESS = 0.5
SMOOTHING = 0.5
"""Shares of the redness and of the blotch that are taken away."""

CAP = 8.0
"""Largest CIEDE2000."""

Frame = npt.NDArray[np.uint8]
Alpha = npt.NDArray[np.float32]


def with_scikit_image(frame: Frame, skin: Alpha) -> Frame:
    """Redness, smoothing, cap and blend with scikit-image."""
    lab = skimage.color.rgb2lab(frame)
    evened = lab.copy()
    evened[..., 1] -= REDNESS * (lab[..., 1] - np.median(lab[..., 1][skin > 0.5]))
    low = skimage.filters.gaussian(evened, LOW_SIGMA, channel_axis=-1)
    even = skimage.filters.gaussian(low, 2 * LOW_SIGMA, channel_axis=-1)
    evened += SMOOTHING * (even - low)
    difference = skimage.color.deltaE_ciede2000(lab, evened)
    share = skin * np.minimum(1.0, CAP / np.maximum(difference, 1e-6))
    result = skimage.color.lab2rgb(lab + (evened - lab) * share[..., None])
    return np.rint(result * 255).astype(np.uint8)


def with_opencv(frame: Frame, skin: Alpha) -> Frame:
    """Redness, smoothing, cap (CIE76, OpenCV has no CIEDE2000) and blend with plain OpenCV."""
    lab = cv2.cvtColor(frame.astype(np.float32) / 255, cv2.COLOR_RGB2LAB)
    evened = lab.copy()
    evened[..., 1] -= REDNESS * (lab[..., 1] - np.median(lab[..., 1][skin > 0.5]))
    low = cv2.GaussianBlur(evened, None, LOW_SIGMA)
    even = cv2.GaussianBlur(low, None, 2 * LOW_SIGMA)
    evened += SMOOTHING * (even - low)
    change = evened - lab
    difference = np.sqrt((change * change).sum(axis=-1))
    share = skin * np.minimum(1, CAP / np.maximum(difference, 1e-6))
    result = cv2.cvtColor(lab + change * share[..., None], cv2.COLOR_LAB2RGB)
    return np.rint(result * 255).astype(np.uint8)
