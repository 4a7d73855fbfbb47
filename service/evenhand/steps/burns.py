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
from evenhand.steps.masked_filters import blur, guided

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

LIKE_POINT = ((0.3, 0.35), (0.6, 0.55))
"""How far redness may fall from that of a point and still be of its burn, as a share of what the
point is redder than the palest skin: little where that is little, as on deep skin, whose mottle is
as large. Density and share, straight between; chosen on the rendered people of `tests/scenes`."""

SURELY_PALE = 0.15
"""Share of the way from the palest skin to the point below which skin is surely unburnt."""

SURELY_BURNT = 0.55
"""Share of the fall that a burn may have within which skin that hangs together with the point is
surely burnt. Chosen on burns simulated on the odd portraits: without it a sixth of a burn went."""

EDGE_MM = 1.0
"""Blur of the redness in which a burn's border is drawn, millimetres."""

CODES, CUTS = (40, 160), 4
"""Code values of the palest skin, and from there to the point, in the picture that is cut; times
that colours and cut are found in turn."""

LEAST_FALL = 0.06
"""Density by which skin may always be less red than a point: mottle."""

PALEST = 0.1
"""Quantile of redness that stands for a person's palest skin."""


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


@dataclass(frozen=True)
class Pointed:
    """What the photographer points at as burnt; empty without points.

    Attributes
    ----------
    places : ndarray of bool, shape (height, width)
        Skin around the points.
    as_red : ndarray of bool, shape (height, width)
        Skin that is nearly as red, wherever it lies.
    """

    places: Chosen
    as_red: Chosen


def burnt_pieces(
    skin: CoarsePatch, belief: Map, redness: Map, burnt: Pointed, left: Chosen
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
    burnt : Pointed
        Where the photographer says that skin is burnt, and what is as red.
    left : ndarray of bool, shape (height, width)
        What the photographer says is to be left.
    """
    belief = np.where(skin.inside, belief, 0).astype(np.float32)
    grown = (belief > GROWN) | _touched(burnt.as_red | burnt.places, burnt.places)
    if left.any():
        grown &= ~_left_alone(redness, grown | left, burnt.places, left)
    count, labels = cv2.connectedComponents(grown.astype(np.uint8))
    pieces = []
    for number in range(1, count):
        inside = labels == number
        by_hand = bool((inside & burnt.places).any())
        large = inside.sum() * skin.mm_per_pixel**2 >= LEAST_MM2
        if not by_hand and (not large or (inside & left).any()):
            continue
        values = np.sort(belief[inside])
        surest = float(values[-max(1, int(SUREST_SHARE * len(values))) :].mean())
        share = _with_border(skin, inside.astype(np.float32), redness)
        pieces.append(Piece(share, 1.0 if by_hand else surest, by_hand))
    return sorted(pieces, key=lambda piece: -piece.sureness)


def around(places: Places, skin: CoarsePatch) -> Chosen:
    """Skin around the places."""
    chosen = np.zeros(skin.skin.shape, np.uint8)
    radius = max(1, round(skin.pixels(POINT_MM)))
    for column, row in places:
        cv2.circle(chosen, (round(column), round(row)), radius, 1, -1)
    return (chosen > 0) & (skin.skin > 0.5)


def pointed_at(skin: CoarsePatch, redness: Map, burnt_at: Places) -> Pointed:
    """What the photographer points at as burnt, and all skin that is as red."""
    places = around(burnt_at, skin)
    return Pointed(places, _as_red_as(skin, redness, places))


def _as_red_as(skin: CoarsePatch, redness: Map, pointed: Chosen) -> Chosen:
    """Skin that is nearly as red as what was pointed at, wherever it lies; none without points.

    A burn parts a person's skin in two by redness (Otsu, IEEE SMC 9(1), 62, 1979); from there its
    border is drawn along edges of redness (Rother, Kolmogorov, Blake, ACM TOG 23(3), 309, 2004).
    """
    if not pointed.any():
        return np.zeros_like(pointed)
    even = blur(redness, skin.skin, skin.pixels(BORDER_MM))
    palest = float(np.quantile(even[skin.inside], PALEST))
    there = float(np.median(even[pointed]))
    redder = max(there - palest, LEAST_FALL)
    differences, shares = np.transpose(LIKE_POINT)
    fall = float(np.interp(redder, differences, shares))
    like = even > max(there - fall * redder, _parting(even[skin.inside], there))
    model = np.where(like, cv2.GC_PR_FGD, cv2.GC_PR_BGD).astype(np.uint8)
    model[(even < palest + SURELY_PALE * redder) | ~skin.inside] = cv2.GC_BGD
    surely = skin.inside & like & (even > there - SURELY_BURNT * fall * redder)
    model[_touched(surely | pointed, pointed)] = cv2.GC_FGD
    fine = blur(redness, skin.skin, skin.pixels(EDGE_MM))
    codes = np.clip((fine - palest) / redder * CODES[1] + CODES[0], 0, 255).astype(np.uint8)
    if (model == cv2.GC_PR_FGD).any() and (model == cv2.GC_PR_BGD).any():
        colours = np.zeros((1, 65)), np.zeros((1, 65))
        cv2.setRNGSeed(0)  # its clustering draws by chance; the same burn is cut the same way
        cv2.grabCut(cv2.merge([codes] * 3), model, None, *colours, CUTS, cv2.GC_INIT_WITH_MASK)
    return np.asarray(np.isin(model, (cv2.GC_FGD, cv2.GC_PR_FGD)) & skin.inside)


def _parting(redness: Map, there: float) -> float:
    """Redness that parts skin in two best, not above what was pointed at."""
    low, high = np.quantile(redness, [0.01, 0.99])
    codes = np.clip((redness - low) / max(float(high - low), 1e-6) * 255, 0, 255).astype(np.uint8)
    code, _ = cv2.threshold(codes, 0, 255, cv2.THRESH_BINARY | cv2.THRESH_OTSU)
    return min(float(low + (code + 0.5) / 255 * (high - low)), there - LEAST_FALL)


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
