"""What no retouch may do to skin, measured before a layer is made.

A change is compared with the picture it is made from in Oklab [1]_: it must draw no edge in colour
that was not there, must not leave the colours of the person's own unburnt skin, and must not make
left and right of a face differ where they did not. One that does is weakened evenly until it does
not.

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
from evenhand.people.person import Region
from evenhand.people.shapes import disc
from evenhand.steps.coarse import CoarsePatch
from evenhand.steps.masked_filters import blur

Map = npt.NDArray[np.float32]
Chosen = npt.NDArray[np.bool_]
Line = npt.NDArray[np.float32]

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

BANDS = 4
"""Parts of a face from the forehead to the chin in each of which left and right are compared."""

MIDDLE_MM = 4.0
"""Distance from a face's middle within which skin is neither left nor right, millimetres."""

LEAST_SIDE_MM2 = 100.0
"""Skin of a side below which there is nothing to compare."""

MOST_APART = 0.01
"""Oklab's a and b by which left and right of a face may move apart: half a just noticeable step."""

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
    apart : float
        Oklab's a and b by which left and right of the face would have moved apart.
    """

    kept: float
    new_edges: float = 0.0
    beyond: float = 0.0
    apart: float = 0.0


def unharmed(
    skin: CoarsePatch, log_gain: Map, unburnt: Chosen, middle: Line | None = None
) -> Verdict:
    """How much of a change may be made.

    Parameters
    ----------
    skin : CoarsePatch
        The person's skin as it is.
    log_gain : ndarray of float32, shape (height, width, 3)
        The wanted change: logarithm of a gain.
    unburnt : ndarray of bool, shape (height, width)
        Skin that is believed to be unburnt.
    middle : ndarray of float32, shape (points, 2), optional
        Middle of the person's face from the forehead to the chin, (column, row) of the coarse grid.

    Returns
    -------
    Verdict
        The share in [0, 1], and what the whole change would have done.
    """
    changed = skin.inside & (np.abs(log_gain).max(axis=-1) > CHANGED)
    if not changed.any():
        return Verdict(1.0)
    before = oklab_of(np.exp(-skin.density))
    edges = cv2.dilate(_edges(skin, before), disc(skin.pixels(NEAR_MM)))
    palest = _palest(before, unburnt)
    halves = [] if middle is None else _halves(skin, middle)
    were_apart = _apart(before, halves)

    def harm(share: float) -> tuple[float, float, float]:
        after = oklab_of(np.exp(share * log_gain - skin.density))
        new = _edges(skin, after) > edges + EDGE
        beyond = (after[..., 1] < palest - BEYOND) & (after[..., 1] < before[..., 1])
        apart = float(np.max(_apart(after, halves) - were_apart, initial=0.0))
        return float(new[changed].mean()), float(beyond[changed].mean()), apart

    whole = found = harm(1.0)
    share = 1.0
    for _ in range(ROUNDS):
        if max(found[:2]) <= MOST_HARMED and found[2] <= MOST_APART:
            return Verdict(share, *whole)
        share *= STEP
        found = harm(share)
    return Verdict(0.0, *whole)


def _halves(skin: CoarsePatch, middle: Line) -> list[tuple[Chosen, Chosen]]:
    """Left and right of the face in each of its bands that shows enough of both."""
    none = np.zeros(skin.skin.shape, np.float32)
    face = skin.inside & (skin.regions.get(Region.FACE, none) > 0.5)
    top, down = middle[0], middle[-1] - middle[0]
    height = max(float(np.linalg.norm(down)), 1.0)
    down = down / height
    across = np.array([-down[1], down[0]])
    rows, columns = np.indices(skin.skin.shape)
    from_top = np.stack([columns, rows], axis=-1) - top
    along, aside = from_top @ down, from_top @ across
    order = np.argsort((middle - top) @ down)
    line = (middle - top)[order]
    aside = aside - np.interp(along, line @ down, line @ across)
    far, least = skin.pixels(MIDDLE_MM), LEAST_SIDE_MM2 / skin.mm_per_pixel**2
    halves = []
    for band in range(BANDS):
        here = face & (along >= band * height / BANDS) & (along < (band + 1) * height / BANDS)
        left, right = here & (aside < -far), here & (aside > far)
        if min(left.sum(), right.sum()) >= least:
            halves.append((left, right))
    return halves


def _apart(colour: Map, halves: list[tuple[Chosen, Chosen]]) -> npt.NDArray[np.float64]:
    """How far the mean a and b of left and right lie apart in each band, shape (bands,)."""
    between = [
        np.linalg.norm(colour[left][:, 1:].mean(axis=0) - colour[right][:, 1:].mean(axis=0))
        for left, right in halves
    ]
    return np.array(between, np.float64)


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
