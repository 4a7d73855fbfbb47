"""Which skin is burnt: pieces where belief is sure somewhere, grown to their border.

The belief says where. A piece is decided on as a whole: what is sure in its middle is a burn up to
where belief and redness end together, and a piece that is nowhere sure is none. The photographer's
points come first.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from evenhand.steps.coarse import CoarsePatch
from evenhand.steps.masked_filters import guided

Map = npt.NDArray[np.float32]
Chosen = npt.NDArray[np.bool_]
Places = Sequence[tuple[float, float]]

GROWN = 0.25
"""Belief down to which a piece reaches from where it is sure."""

SUREST_SHARE = 0.2
"""Share of a piece, the surest of it, whose mean belief is how sure the whole piece is."""

LEAST_MM2 = 100.0
"""Pieces smaller than a finger tip are no burns."""

BORDER_MM = 3.0
"""Half the window in which a piece's border is drawn to that of the redness, millimetres."""

BORDER_CONTRAST = 0.03
"""Steps of redness well above this are a border, density."""

POINT_MM = 4.0
"""Radius around a point that is taken for what was pointed at."""

POINTED, POINTED_SHARE = 0.4, 0.6
"""Belief down to which a burn reaches at most once points are told, and the share of the belief at
the points where that is less."""

LEAST_BELIEVED, BETWEEN = 0.15, 0.4
"""Share of a person's skin, the least believed of it, that counts as unburnt once the photographer
has pointed: a point makes the network surer of all skin, of deep skin nearly everywhere. A burn
reaches down to this share of the way from the belief there to that at the points. Chosen on the
odd photographs, where without it unburnt skin moves by 1.05 and .53 of a burn goes: with .35, .4
and .5 it moves by .53, .48 and .39, and .54, .54 and .50 go, with .5 less on deep skin."""


@dataclass(frozen=True)
class Piece:
    """A connected piece of burnt skin.

    Attributes
    ----------
    share : ndarray of float32, shape (height, width)
        How far each place belongs to it, 0 to 1, its border as soft as it is seen.
    sureness : float
        In [0, 1]; 1 where the photographer pointed.
    pointed : bool
        Whether the photographer pointed at it.
    """

    share: Map
    sureness: float
    pointed: bool = False


def burnt_pieces(
    skin: CoarsePatch,
    belief: Map,
    redness: Map,
    burnt: Chosen,
    left: Chosen,
    surely: Chosen,
) -> list[Piece]:
    """Pieces of burnt skin, the surest first.

    Parameters
    ----------
    skin : CoarsePatch
        The person's skin.
    belief : ndarray of float32, shape (height, width)
        How surely skin is burnt, 0 to 1.
    redness : ndarray of float32, shape (height, width)
        Haemoglobin in density, up to a constant.
    burnt : ndarray of bool, shape (height, width)
        Where the photographer says that skin is burnt.
    left : ndarray of bool, shape (height, width)
        What the photographer says is to be left.
    surely : ndarray of bool, shape (height, width)
        What belongs to a piece however low the belief: what was sure before anybody pointed.

    Returns
    -------
    list of Piece
    """
    belief = np.where(skin.inside, belief, 0).astype(np.float32)
    grown = _grown_from(belief, burnt, skin.inside) if burnt.any() else belief > GROWN
    grown |= surely & skin.inside
    if left.any():
        grown &= ~_left_alone(redness, grown | left, burnt, left)
    count, labels = cv2.connectedComponents(grown.astype(np.uint8))
    pieces = []
    for number in range(1, count):
        inside = labels == number
        by_hand = bool((inside & burnt).any())
        large = inside.sum() * skin.mm_per_pixel**2 >= LEAST_MM2
        if not by_hand and (not large or (inside & left).any()):
            continue
        values = np.sort(belief[inside])
        surest = float(values[-max(1, int(SUREST_SHARE * len(values))) :].mean())
        share = _with_border(skin, inside.astype(np.float32), redness)
        pieces.append(Piece(share, 1.0 if by_hand else surest, by_hand))
    return sorted(pieces, key=lambda piece: -piece.sureness)


def around(places: Places, skin: CoarsePatch) -> Chosen:
    """Skin around the places.

    Parameters
    ----------
    places : sequence of (float, float)
        Column and row of the coarse grid.
    skin : CoarsePatch

    Returns
    -------
    ndarray of bool, shape (height, width)
        Discs of `POINT_MM`.
    """
    chosen = np.zeros(skin.skin.shape, np.uint8)
    radius = max(1, round(skin.pixels(POINT_MM)))
    for column, row in places:
        cv2.circle(chosen, (round(column), round(row)), radius, 1, -1)
    return (chosen > 0) & (skin.skin > 0.5)


def _grown_from(belief: Map, burnt: Chosen, inside: Chosen) -> Chosen:
    """What the network, told the points, believes about as much as there."""
    there = float(np.median(belief[burnt]))
    least = float(np.quantile(belief[inside], LEAST_BELIEVED))
    reach = max(min(POINTED, POINTED_SHARE * there), least + BETWEEN * (there - least))
    return (belief > reach) | burnt


def _touched(chosen: Chosen, places: Chosen) -> Chosen:
    """The connected patches of `chosen` that hold any of the places."""
    _, labels = cv2.connectedComponents(chosen.astype(np.uint8))
    touched = np.unique(labels[places])
    return np.isin(labels, touched[touched > 0])


def _left_alone(redness: Map, inside: Chosen, pointed: Chosen, left: Chosen) -> Chosen:
    """The part of a piece that goes with what is to be left, parted where redness has an edge.

    Where nothing beside it was pointed at, that is the whole piece.
    """
    mine = _touched(inside, left)
    if not (pointed & mine).any():
        return mine
    alone = mine & ~_touched(inside, pointed & mine)
    codes = cv2.normalize(redness, None, 0, 255, cv2.NORM_MINMAX).astype(np.uint8)
    markers = np.zeros(inside.shape, np.int32)
    markers[~inside], markers[pointed], markers[left] = 3, 1, 2
    cv2.watershed(cv2.merge([codes, codes, codes]), markers)
    return np.asarray(alone | (mine & (markers != 1)), np.bool_)


def _with_border(skin: CoarsePatch, inside: Map, redness: Map) -> Map:
    """A piece's share with the redness's own border."""
    share = guided(inside, redness, skin.skin, skin.pixels(BORDER_MM), BORDER_CONTRAST)
    return np.asarray(np.clip(share, 0, 1) * (skin.skin > 0), np.float32)
