"""Carries a mask from the working view to the photograph's pixels, along the picture's edges."""

from __future__ import annotations

import cv2
import numpy as np
import numpy.typing as npt

from evenhand.box import Box
from evenhand.people.person import Alpha
from evenhand.people.views import View
from evenhand.photo.photograph import Photograph

GUIDE_SIZE = 2.0
"""Radius of the guided filter in working pixels: the staircase that it has to smooth away."""

SMOOTHNESS = 60.0
"""Variance in squared 8-bit code values below which the picture counts as flat: noise and pores."""

FASTEST = 0.25
"""Least share of the size at which the filter's coefficients, which are smooth, are reckoned."""

SURE_LOW, SURE_HIGH = 0.15, 0.85
"""Memberships stretched to 0 and 1 after filtering, so that the inside is wholly inside."""


def refined(coarse: Alpha, view: View, box: Box, photograph: Photograph) -> Alpha:
    """A mask in the photograph's pixels inside `box`, its edges drawn to those of the picture.

    Guided filter, He, Sun and Tang, "Guided image filtering", IEEE TPAMI 35 (2013) 1397-1409, with
    coefficients at reduced size as in He and Sun, "Fast guided filter", arXiv:1505.00996.

    Parameters
    ----------
    coarse : ndarray of float32, shape of the view
        Membership in [0, 1].
    view : View
        Where `coarse` lies.
    box : Box
        Wanted part of the photograph.
    photograph : Photograph

    Returns
    -------
    ndarray of float32, shape (box.height, box.width)
        In [0, 1].
    """
    enlarged = at_full_size(coarse, view, box)
    guide = photograph.pixels[box.slices]
    if photograph.white > 255:
        guide = cv2.convertScaleAbs(guide, alpha=255.0 / photograph.white)
    radius = max(2, round(GUIDE_SIZE * view.pixel_size))
    share = float(np.clip(2 / radius, FASTEST, 1))
    filtered = cv2.ximgproc.guidedFilter(
        np.ascontiguousarray(guide), enlarged, radius, SMOOTHNESS, scale=share
    )
    stretched = (filtered - SURE_LOW) / (SURE_HIGH - SURE_LOW)
    alpha: Alpha = np.clip(stretched, 0, 1).astype(np.float32)
    return alpha


def at_full_size(coarse: npt.NDArray[np.float32], view: View, box: Box) -> Alpha:
    """A view's field in the photograph's pixels inside `box`, without regard to the picture."""
    moved = view.to_photograph.copy()
    moved[:, 2] -= (box.left, box.top)
    alpha: Alpha = cv2.warpAffine(
        coarse, moved, (box.width, box.height), borderMode=cv2.BORDER_REPLICATE
    )
    return alpha
