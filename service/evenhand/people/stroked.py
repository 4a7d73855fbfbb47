"""Skin under a rough stroke: what looks like its middle, up to the picture's own edges.

A brush is wider than an arm. What lies along the middle of the stroke is taken for skin; of the
rest that is kept which the picture's colours and edges put with it [1]_.

References
----------
.. [1] C. Rother, V. Kolmogorov, A. Blake, "GrabCut", ACM TOG 23(3), 309-314, 2004; OpenCV's
   implementation.
"""

from __future__ import annotations

import cv2
import numpy as np
import numpy.typing as npt

from evenhand.people import edges
from evenhand.people.drawing import on_view
from evenhand.people.person import Mask, Region
from evenhand.people.views import View, reduced
from evenhand.photo.photograph import Photograph

Chosen = npt.NDArray[np.bool_]

WORKING_SIZE = 400
"""Pixels along the longer side of the view on which skin is told from what is beside it."""

MARGIN = 0.15
"""Kept around the stroke, as a share of its longer side: what is beside it must be seen."""

MIDDLE = 0.6
"""Share of the brush's radius from the edge of the stroke beyond which lies its middle."""

LEAST_PIXELS = 9
"""Working pixels of the middle, and of what is unlike it, that colours are learnt from."""

ROUNDS = 3
"""Times that colours and cut are found in turn."""


def skin_under(photograph: Photograph, stroke: Mask) -> Mask:
    """The part of a stroke that is skin, as far as its middle is.

    Parameters
    ----------
    photograph : Photograph
    stroke : Mask
        How strongly each pixel was painted.

    Returns
    -------
    Mask
        Nowhere more than the stroke; the stroke itself where nothing there is unlike its middle.
    """
    margin = max(8, round(MARGIN * max(stroke.box.height, stroke.box.width)))
    box = stroke.box.grown(margin, photograph.shape)
    view = reduced(photograph, box, WORKING_SIZE)
    painted = on_view({Region.ARM: stroke}, view) > 0.5
    framed = np.pad(painted.astype(np.uint8), 1)  # a brush is as round beyond the frame
    away = cv2.distanceTransform(framed, cv2.DIST_L2, 5)[1:-1, 1:-1]
    middle = painted & (away >= MIDDLE * away.max())
    if middle.sum() < LEAST_PIXELS:
        return stroke
    like = _like(view, middle)
    if (~like).sum() < LEAST_PIXELS:
        return stroke
    skin = _cut(view, middle & like, like, painted)
    coarse = cv2.GaussianBlur(skin.astype(np.float32), (0, 0), 1.0)
    area = cv2.dilate(skin.astype(np.uint8), np.ones((3, 3), np.uint8)) > 0
    alpha = edges.refined(coarse, area, view, stroke.box, photograph)
    return Mask(stroke.box, np.minimum(alpha, stroke.alpha))


def _like(view: View, middle: Chosen) -> Chosen:
    """Where colour, lightness apart, is as near to the middle's as three quarters of that are."""
    lab = cv2.cvtColor(view.pixels, cv2.COLOR_RGB2LAB).astype(np.float32)[..., 1:]
    centre = np.median(lab[middle], axis=0)
    usual = np.percentile(np.linalg.norm(lab[middle] - centre, axis=-1), 75)
    like: Chosen = np.linalg.norm(lab - centre, axis=-1) < 3 * usual + 4
    return like


def _cut(view: View, middle: Chosen, like: Chosen, painted: Chosen) -> Chosen:
    """What colours and edges put with the middle, and hangs together with it."""
    model = np.where(like, cv2.GC_PR_FGD, np.where(painted, cv2.GC_PR_BGD, cv2.GC_BGD))
    model = model.astype(np.uint8)
    model[middle] = cv2.GC_FGD
    colours = np.zeros((1, 65)), np.zeros((1, 65))
    cv2.setRNGSeed(0)  # its clustering draws by chance; the same stroke is cut the same way
    cv2.grabCut(view.pixels, model, None, *colours, ROUNDS, cv2.GC_INIT_WITH_MASK)
    skin = np.isin(model, (cv2.GC_FGD, cv2.GC_PR_FGD))
    _, labels = cv2.connectedComponents(skin.astype(np.uint8))
    own = np.unique(labels[middle])
    return np.asarray(np.isin(labels, own[own > 0]))
