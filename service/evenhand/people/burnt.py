"""Where one person's skin is burnt, as a small network of our own believes.

It is given the person's skin with its colour against that of the same person, in optical density
and apart from shading, so that neither tone nor the light's colour has to be guessed; and the
photographer's points, which it grows to the burn they lie in. How it was trained, on what, and
where it fails is told in ``models/burns/README.md``.
"""

from __future__ import annotations

import threading
from collections.abc import Sequence
from dataclasses import replace

import cv2
import numpy as np
import numpy.typing as npt

from evenhand.people.person import Belief
from evenhand.people.views import View, chained
from evenhand.people.weights import network_of

Field = npt.NDArray[np.float32]
Seen = npt.NDArray[np.uint8]
Points = Sequence[tuple[float, float]]

SIDE = 192
"""Pixels of the square that holds a person's skin."""

MARGIN = 0.06
"""Kept around the skin, as a share of its longer side."""

DARKEST = 0.004
"""Linear light that is added before density is taken: noise and flare of a camera."""

LEAST_SKIN = 0.5
"""Chance of skin from which a pixel tells the person's own colour."""

FEWEST = 120
"""Pixels of such skin below which nothing can be told."""

POINT_RADIUS = 2.5
"""Pixels around a point that are marked, as in training."""

CELLS = np.array([[2.0, 0.0, 0.5], [0.0, 2.0, 0.5]])
"""From cells of the answer to pixels of the square."""

_lock = threading.Lock()


def belief_of(view: View, skin: Field, face: Field, hand: Field) -> Belief | None:
    """How surely the skin of a person is burnt.

    Parameters
    ----------
    view : View
        The person's working view.
    skin, face, hand : ndarray of float32, shape of the view
        Chance of this person's skin, and of that of face and hands.

    Returns
    -------
    Belief or None
        None where too little skin is seen.

    Raises
    ------
    MissingNetworkError
        If the weights are absent or damaged.
    """
    to_view = _square(skin)
    if to_view is None:
        return None

    def drawn(values: npt.NDArray[np.generic], border: int) -> npt.NDArray[np.generic]:
        flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
        step = to_view[0, 0]
        if step > 1:  # averaged, so that nothing between the points of a coarse grid is missed
            values = cv2.GaussianBlur(values, (0, 0), 0.4 * step)
        size = (SIDE, SIDE)
        return np.asarray(cv2.warpAffine(values, to_view, size, flags=flags, borderMode=border))

    masks = np.stack([drawn(mask, cv2.BORDER_CONSTANT) for mask in (skin, face, hand)], axis=-1)
    codes = np.rint(np.clip(np.asarray(masks, np.float32), 0, 1) * 255).astype(np.uint8)
    picture = np.asarray(drawn(view.pixels, cv2.BORDER_REPLICATE), np.uint8)
    seen = np.concatenate([picture, codes], axis=-1)
    chance = _answer(seen, np.zeros((SIDE, SIDE, 2), np.float32))
    if chance is None:
        return None
    return Belief(chance, chained(view.to_photograph, chained(to_view, CELLS)), seen)


def pointed(belief: Belief, burnt_at: Points, leave_at: Points) -> Belief:
    """The belief once more, told what the photographer points at.

    Parameters
    ----------
    belief : Belief
        Without points.
    burnt_at, leave_at : sequence of (column, row)
        Points of the photograph that are burnt, and that are to be left. Those that lie off the
        person's skin tell nothing.

    Returns
    -------
    Belief
        The same where nothing is pointed at.
    """
    if belief.seen is None:
        return belief
    to_square = np.linalg.inv(np.vstack([belief.to_photograph, [0, 0, 1]]))[:2]
    marked = np.zeros((SIDE, SIDE, 2), np.float32)
    for channel, points in enumerate((burnt_at, leave_at)):
        for point in points:
            cell = to_square @ np.array([*point, 1.0])
            marked[..., channel] = np.maximum(marked[..., channel], _disc(_pixel(cell)))
    marked *= belief.seen[..., 3:4] > LEAST_SKIN * 255
    if not marked.any():
        return belief
    chance = _answer(belief.seen, marked)
    return belief if chance is None else replace(belief, chance=chance)


def _pixel(cell: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """Pixel of the square of a (fractional) cell of the answer."""
    return np.asarray(CELLS[:, :2] @ cell + CELLS[:, 2], np.float64)


def _disc(middle: npt.NDArray[np.float64]) -> Field:
    step = np.arange(SIDE)
    away = (step[None, :] - round(middle[0])) ** 2 + (step[:, None] - round(middle[1])) ** 2
    return np.asarray(away <= POINT_RADIUS**2, np.float32)


def _answer(seen: Seen, points: Field) -> Field | None:
    """What the network says; None where too little skin is seen."""
    given = features(seen, points)
    if given is None:
        return None
    with _lock:  # the network holds its activations: one person at a time
        network = network_of("burns", "burns.onnx")
        network.setInput(given[None])
        return np.asarray(network.forward()[0, 0].copy(), np.float32)


def features(seen: Seen, points: Field) -> Field | None:
    """What the network is given, as in ``models/burns/features.py``.

    Parameters
    ----------
    seen : ndarray of uint8, shape (S, S, 6)
        sRGB code values, then the chance of this person's skin, of face and of hands, 255 for 1.
    points : ndarray of float32, shape (S, S, 2)
        1 around points that are burnt, and around those that are to be left.

    Returns
    -------
    ndarray of float32, shape (14, S, S), or None
        None where too little skin is seen.
    """
    density = -np.log(_LINEAR[seen[..., :3]] + np.float32(DARKEST))
    skin, face, hand = np.moveaxis(seen[..., 3:].astype(np.float32) / 255, -1, 0)
    sure = skin > LEAST_SKIN
    if sure.sum() < FEWEST:
        return None
    # the lower of the two middle values where their number is even, as in training
    tone = np.percentile(density[sure], 50, axis=0, method="lower").astype(np.float32)
    red, green, blue = np.moveaxis(density - tone, -1, 0)
    own = np.stack([green - red, blue - green, (red + green + blue) / 3])
    own = np.clip(own, -1, 1) * skin
    around = np.moveaxis(density, -1, 0) / np.float32(2.5) - 1
    constant = np.broadcast_to((tone / 2.5 - 1)[:, None, None], around.shape)
    marks = np.moveaxis(points, -1, 0)
    planes = [skin[None], 2 * own, face[None], hand[None], around, constant, marks]
    return np.asarray(np.concatenate(planes), np.float32)


def _linear_table() -> Field:
    value = np.arange(256) / 255
    high = ((value + 0.055) / 1.055) ** 2.4
    return np.asarray(np.where(value <= 0.04045, value / 12.92, high), np.float32)


_LINEAR = _linear_table()
"""Linear light of each 8-bit sRGB code value, IEC 61966-2-1."""


def _square(skin: Field) -> npt.NDArray[np.float64] | None:
    """Affine map from a square around the skin to the view; None without skin."""
    sure = skin > LEAST_SKIN
    rows, columns = np.flatnonzero(sure.any(axis=1)), np.flatnonzero(sure.any(axis=0))
    if not len(rows):
        return None
    middle = np.array([columns[0] + columns[-1], rows[0] + rows[-1]]) / 2
    longest = max(columns[-1] - columns[0], rows[-1] - rows[0]) + 1
    step = longest * (1 + 2 * MARGIN) / SIDE
    corner = middle - step * (SIDE - 1) / 2
    return np.array([[step, 0, corner[0]], [0, step, corner[1]]])
