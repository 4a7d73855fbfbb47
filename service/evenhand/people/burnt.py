"""Where one person's skin is burnt, as a small network of our own believes.

It is given the person's skin with its colour against that of the same person, in optical density
and apart from shading, so that neither tone nor the light's colour has to be guessed. How it was
trained, on what, and where it fails is told in ``models/burns/README.md``.
"""

from __future__ import annotations

import threading

import cv2
import numpy as np
import numpy.typing as npt

from evenhand.people.person import Belief
from evenhand.people.views import View, chained
from evenhand.people.weights import network_of

Field = npt.NDArray[np.float32]

SIDE = 128
"""Pixels of the square that holds a person's skin."""

MARGIN = 0.06
"""Kept around the skin, as a share of its longer side."""

DARKEST = 0.004
"""Linear light that is added before density is taken: noise and flare of a camera."""

LEAST_SKIN = 0.5
"""Chance of skin from which a pixel tells the person's own colour."""

FEWEST = 60
"""Pixels of such skin below which nothing can be told."""

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

    picture = drawn(view.pixels, cv2.BORDER_REPLICATE)
    masks = [drawn(mask, cv2.BORDER_CONSTANT) for mask in (skin, face, hand)]
    given = features(np.asarray(picture, np.uint8), *(np.asarray(m, np.float32) for m in masks))
    if given is None:
        return None
    with _lock:  # the network holds its activations: one person at a time
        network = network_of("burns", "burns.onnx")
        network.setInput(given[None])
        belief = network.forward()[0, 0].copy()
    return Belief(belief, chained(view.to_photograph, chained(to_view, CELLS)))


def features(picture: npt.NDArray[np.uint8], skin: Field, face: Field, hand: Field) -> Field | None:
    """What the network is given, as in ``models/burns/features.py``.

    Parameters
    ----------
    picture : ndarray of uint8, shape (S, S, 3)
        sRGB code values.
    skin, face, hand : ndarray of float32, shape (S, S)

    Returns
    -------
    ndarray of float32, shape (12, S, S), or None
        None where too little skin is seen.
    """
    density = -np.log(_LINEAR[picture] + np.float32(DARKEST))
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
    planes = [skin[None], 2 * own, face[None], hand[None], around, constant]
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
