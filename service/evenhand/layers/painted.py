"""A layer's strength in places: what a photographer painted less, or more again."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import reduce

import numpy as np

from evenhand.box import Box
from evenhand.layers.layer import Layer
from evenhand.people.person import Alpha, Mask

LESS, MORE = "less", "more"
"""A stroke takes from what is there, or gives back of what was taken."""


@dataclass(frozen=True)
class StrengthStroke:
    """A stroke over a layer.

    Attributes
    ----------
    paint : str
        `LESS` or `MORE`.
    amount : float
        In (0, 1]: the share of what is there that is taken, or of what was taken that comes back.
    mask : Mask
        How strongly each pixel was painted.
    """

    paint: str
    amount: float
    mask: Mask


def strength_map(strokes: Sequence[StrengthStroke], box: Box) -> Alpha:
    """Share of a layer that is left at each pixel of a box, after all strokes in order.

    Parameters
    ----------
    strokes : sequence of StrengthStroke
    box : Box
        In the photograph.

    Returns
    -------
    ndarray of float32, shape (box.height, box.width)
        In [0, 1]; 1 where nothing was painted.
    """
    share = np.ones((box.height, box.width), np.float32)
    for stroke in strokes:
        shared = stroke.mask.box.intersection(box)
        if not shared.area:
            continue
        part = share[shared.within(box)]
        painted = np.float32(stroke.amount) * stroke.mask.alpha[shared.within(stroke.mask.box)]
        if stroke.paint == LESS:
            part *= 1 - painted
        else:
            part += (1 - part) * painted
    return np.clip(share, 0, 1, out=share)


def with_strength(layer: Layer, strokes: Sequence[StrengthStroke]) -> Layer:
    """The layer with its differences as strong in each place as was painted; never stronger.

    Parameters
    ----------
    layer : Layer
        As computed.
    strokes : sequence of StrengthStroke
        In order.

    Returns
    -------
    Layer
        The same where nothing was painted on it.
    """
    painted = [stroke.mask.box for stroke in strokes]
    box = reduce(Box.union, painted, Box(0, 0, 0, 0)).intersection(layer.box)
    if not box.area:
        return layer
    difference = layer.difference.copy()
    part = difference[box.within(layer.box)]
    part[...] = np.rint(part * strength_map(strokes, box)[..., None])
    return replace(layer, difference=difference)
