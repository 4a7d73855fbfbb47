"""What no retouch may do to skin, measured before a layer is made.

A change is compared with the picture it is made from in Oklab [1]_: it must draw no edge in colour
that was not there, and must not leave the colours of the person's own unburnt skin. One that does
is weakened evenly until it does not.

References
----------
.. [1] B. Ottosson, "A perceptual color space for image processing", 2020.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from evenhand.colour.oklab import oklab_of
from evenhand.steps.coarse import CoarsePatch
from evenhand.steps.masked_filters import blur

Map = npt.NDArray[np.float32]
Chosen = npt.NDArray[np.bool_]

EDGE_MM = 1.5
"""Deviation of the scale at which edges in colour are looked for, millimetres."""

NEAR_MM = 3.0
"""An edge of the original within this distance accounts for one of the result."""

EDGE = 0.004
"""Oklab chroma per millimetre from which an edge is seen: a third of a just noticeable step (0.02)
over two millimetres."""

BEYOND = 0.008
"""Oklab: how far a colour may lie beyond the paler tenth of unburnt skin."""

UNUSUAL = 0.10
"""Share of unburnt skin, the palest and greenest of it, that does not count as usual."""

MOST_HARMED = 0.02
"""Share of the changed skin that may be harmed."""

CHANGED = 0.01
"""Density from which skin counts as changed."""

STEP, ROUNDS = 0.8, 8
"""A change is weakened by this factor, so many times at most; then it is not made."""


@dataclass(frozen=True)
class Verdict:
    """A change and how far it had to be weakened.

    Attributes
    ----------
    kept : float
        Share of the wanted change that is left, 0 to 1.
    new_edges, beyond : float
        Shares of the changed skin at which the whole wanted change would have drawn an edge, and
        left the colours of unburnt skin.
    """

    kept: float
    new_edges: float
    beyond: float


def unharmed(skin: CoarsePatch, log_gain: Map, unburnt: Chosen) -> Verdict:
    """How much of a change may be made.

    Parameters
    ----------
    skin : CoarsePatch
        The person's skin as it is.
    log_gain : ndarray of float32, shape (height, width, 3)
        The wanted change: logarithm of a gain.
    unburnt : ndarray of bool, shape (height, width)
        Skin that is believed to be unburnt.
    """
    changed = skin.inside & (np.abs(log_gain).max(axis=-1) > CHANGED)
    if not changed.any():
        return Verdict(1.0, 0.0, 0.0)
    before = oklab_of(np.exp(-skin.density))
    edges = cv2.dilate(_edges(skin, before), _disc(skin.pixels(NEAR_MM)))
    palest = _palest(before, unburnt)

    def harmed(share: float) -> tuple[float, float]:
        after = oklab_of(np.exp(share * log_gain - skin.density))
        new = _edges(skin, after) > edges + EDGE
        beyond = (after[..., 1] < palest - BEYOND) & (after[..., 1] < before[..., 1])
        return float(new[changed].mean()), float(beyond[changed].mean())

    whole = harmed(1.0)
    share, worst = 1.0, max(whole)
    for _ in range(ROUNDS):
        if worst <= MOST_HARMED:
            return Verdict(share, *whole)
        share *= STEP
        worst = max(harmed(share))
    return Verdict(0.0, *whole)


def _palest(before: Map, unburnt: Chosen) -> float:
    """Oklab's a (green to red) that nearly all of the unburnt skin exceeds."""
    if not unburnt.any():
        return -np.inf
    return float(np.quantile(before[..., 1][unburnt], UNUSUAL))


def _edges(skin: CoarsePatch, colour: Map) -> Map:
    """Change of Oklab's a and b for a millimetre, amid the skin."""
    steepest = np.zeros(colour.shape[:2], np.float32)
    for axis in (1, 2):
        smooth = blur(np.ascontiguousarray(colour[..., axis]), skin.skin, skin.pixels(EDGE_MM))
        down, across = np.gradient(smooth, skin.mm_per_pixel)
        steepest += down**2 + across**2
    return np.asarray(np.sqrt(steepest) * skin.inside, np.float32)


def _disc(radius: float) -> npt.NDArray[np.uint8]:
    side = 2 * max(1, round(radius)) + 1
    return np.asarray(cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (side, side)), np.uint8)
