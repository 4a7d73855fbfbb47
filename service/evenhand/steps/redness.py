"""The redness step: burnt skin goes back to the person's own unburnt colour, or is left alone.

Where comes from what a network believes and the photographer points at; how much is measured in
optical density, where blood adds a fixed direction whatever the light: its excess over the person's
unburnt skin nearby is taken off, over the whole of a piece of burnt skin. Everyday flush of a face
is eased a little. What would harm is weakened before it leaves the step.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Annotated, Any

import cv2
import numpy as np
import numpy.typing as npt
from pydantic import BaseModel, ConfigDict, Field

from evenhand.box import Box
from evenhand.people.burnt import pointed
from evenhand.people.person import Belief, Region
from evenhand.people.regions import MIDDLE_OF_FACE
from evenhand.steps.blood import MOTTLE_MM, nuisance, own_direction, redness_map
from evenhand.steps.burns import LEAST_BELIEVED, Piece, Places, around, burnt_pieces
from evenhand.steps.coarse import CoarsePatch, by_region, coarse
from evenhand.steps.gain import Gain
from evenhand.steps.harm import Line, Verdict, unharmed
from evenhand.steps.masked_filters import blur, guided
from evenhand.steps.patch import Change, ReferenceSkin, SkinPatch
from evenhand.steps.pigments import Direction, pigments_of
from evenhand.steps.reference import Compared, compared

Map = npt.NDArray[np.float32]
Chosen = npt.NDArray[np.bool_]
Point = tuple[int, int]
Share = Annotated[float, Field(ge=0, le=1, allow_inf_nan=False)]

GRID_MM = 0.5
"""Pixels of the coarse grid on skin: finer than any burn's edge, coarser than pores."""

EVEN_MM = 4.0
"""Half the window in which redness is evened out before it is judged, millimetres."""

EVEN_CONTRAST = 0.025
"""Steps of redness well above this are edges and stay, density."""

SURE, SURE_BESIDE, DOUBTFUL = 0.8, 0.7, 0.75
"""Sureness from which a piece is taken off whole, the same where another piece of that person is
sure (who is burnt in one place is likelier to be in another), and from which it is eased. Chosen on
the odd photographs of people without a burn, each in eleven variations (mirrored, warmer, colder,
lighter, darker, softer, more colourful, with a wider and a narrower mask): the surest mistakes were
0.73 and 0.66, as they are 0.53. What is less sure is never touched without a point."""

MOSTLY = 0.5
"""Share from which a place belongs to a piece, or a piece to a region, rather than not. What lies
mostly on an ear is left without a point: light shines red through ears. The surest four mistakes on
the odd photographs were ears."""

TOLD, TOLD_EXCESS = 0.35, 0.2
"""Sureness, and mean excess in density, from which redness that is left is told of."""

EASED = 0.3
"""Share of a doubtful piece's excess that is taken off, evenly."""

UNBURNT = 0.1
"""Belief below which skin counts as unburnt."""

NEARBY_MM = 50.0
"""Deviation of the surroundings in which unburnt skin is compared with, millimetres."""

THINNED = 8
"""Coarse pixels along the side of the squares by which wide averages are taken."""

LEAST_UNBURNT_MM2 = 400.0
"""Unburnt skin below which there is nothing to compare with."""

SHADE_MM = 2.0
"""Blur of the darkness by which shade is told, millimetres."""

MOST_TILT = 0.6
"""Redness per density of shade at most that is put down to light and not to blood."""

FLUSH_MM = 8.0
"""Deviation over which everyday flush is followed: it has no edges."""

MOST_FLUSH = 0.08
"""Density of flush at most that is taken off: about a CIEDE2000 of 2."""


class RednessSettings(BaseModel):
    """What the redness step may do.

    Examples
    --------
    >>> RednessSettings(by_region={"arm": 0.5}).cap
    16.0
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    strength: float = Field(
        1.0, ge=0, le=1, description="How much of a burn's redness is taken off, 0 to 1."
    )
    cap: float = Field(
        16.0, gt=0, le=40, description="Largest change of any pixel, CIEDE2000 (D65)."
    )
    flush: float = Field(
        0.2,
        ge=0,
        le=1,
        description="Share of the everyday flush of cheeks, nose and ears that is eased, 0 to 1.",
    )
    burnt_at: tuple[Point, ...] = Field(
        (), description="Points (column, row) of the upright photograph that are burnt."
    )
    leave_at: tuple[Point, ...] = Field(
        (), description="Points (column, row) of the upright photograph that are to be left."
    )
    by_region: dict[Region, Share] = Field(
        default_factory=dict,
        description="Strength of single regions of skin, 0 to 1, beside the whole.",
    )


class Action(StrEnum):
    """What was done about a burn."""

    TAKEN_OFF = "taken off"
    EASED = "eased"
    LEFT = "left"


def redness(patch: SkinPatch, settings: RednessSettings) -> Change | Gain:
    """Take a person's burns off.

    Parameters
    ----------
    patch : SkinPatch
        One person's skin.
    settings : RednessSettings
        What may be done.

    Returns
    -------
    Change or Gain
        What is wanted at strength 1, and facts: `burns`, a list of `regions`, `action`, `at` (a
        place in it, column and row of the photograph), `sureness` and mean `excess` in density;
        `kept`, the share of the wanted change that does no harm; `looked`, whether a network could
        look; `left_at`, the regions of what was to be left; with an earlier portrait `before`: the
        `regions` it shows and those `missing`, what its light was `balanced_by`, and the `doubt`
        that is left, in density.

    Examples
    --------
    >>> import evenhand
    >>> patch = evenhand.patch_of(photo, people[0])
    >>> change = evenhand.redness(patch, evenhand.RednessSettings(burnt_at=[(70, 85)]))
    >>> change.wanted.shape == patch.linear.shape
    True
    """
    sight = seen_in(patch)
    if sight is None:
        return Change(patch.linear, {"burns": [], "kept": 1.0, "looked": False})
    skin, earlier, direction = sight.skin, sight.earlier, sight.direction
    belief, pieces, burnt_at, left = _pieces(sight, settings)
    burnt = np.max([piece.share for piece in pieces], axis=0, initial=0.0)
    unburnt = _unburnt(skin, belief, burnt, burnt_at)
    excess = _excess(skin, sight.red, unburnt, direction)
    if earlier is not None:
        unburnt &= (earlier.belief == 0) & (earlier.excess <= earlier.doubt)
        excess = _against(earlier, excess)
    sure = _sure(pieces)
    done = [_Done(piece, _action(piece, sure, excess)) for piece in pieces]
    amount = _amount(skin, done, excess)
    flush = settings.flush * _flush(skin, excess, amount)
    own = own_direction(skin, amount, direction)
    log_gain = amount[..., None] * own.astype(np.float32)
    log_gain += flush[..., None] * direction.astype(np.float32)
    log_gain *= by_region(skin, settings.by_region)[..., None]
    middle = None if left.any() else _middle_of_face(patch, skin)  # what is to be left may differ
    verdict = unharmed(skin, log_gain, unburnt, middle)
    facts = _facts(patch, skin, done, excess, verdict)
    facts["looked"] = patch.burnt is not None
    facts["left_at"] = _regions_of(left, skin)
    if patch.before is not None and earlier is not None:
        facts["before"] = _earlier_facts(patch.before, earlier, skin)
    return Gain(patch, np.float32(verdict.kept) * log_gain, facts)


@dataclass(frozen=True)
class Sight:
    """A person's skin as burns are looked for on it: what no point and no setting changes.

    Attributes
    ----------
    box : Box
        Of the patch, in the upright photograph.
    skin : CoarsePatch
    direction : ndarray of float64, shape (3,)
        Of haemoglobin, density.
    red : ndarray of float32, shape of the coarse grid
        Haemoglobin in density, up to a constant.
    ear : ndarray of bool, shape of the coarse grid
        Where skin is an ear's.
    burnt : Belief or None
        Where skin is believed to be burnt, without points.
    earlier : Compared or None
        What a portrait taken before the burn tells.
    """

    box: Box
    skin: CoarsePatch
    direction: Direction
    red: Map
    ear: Chosen
    burnt: Belief | None
    earlier: Compared | None


def seen_in(patch: SkinPatch) -> Sight | None:
    """Look at a person's skin once, to be asked about burns as often as points are given.

    Parameters
    ----------
    patch : SkinPatch

    Returns
    -------
    Sight or None
        None where there is no skin to look at.
    """
    skin = coarse(patch, GRID_MM)
    if not skin.inside.any():
        return None
    pigments = pigments_of(skin)
    mottle = skin.density - blur(skin.density, skin.skin, skin.pixels(MOTTLE_MM))
    direction, others = pigments.haemoglobin, nuisance(mottle[skin.inside], pigments)
    red = redness_map(skin.density, direction, others)
    earlier = None if patch.before is None else compared(skin, patch.before, pigments, others)
    ear = skin.regions.get(Region.EAR, np.zeros_like(red)) > MOSTLY
    return Sight(patch.box, skin, direction, red, ear, patch.burnt, earlier)


def burns_in(sight: Sight, settings: RednessSettings) -> Map:
    """Where redness would be taken off or eased, told the points; not how much.

    Parameters
    ----------
    sight : Sight
        From `seen_in`.
    settings : RednessSettings
        Only its points are heeded.

    Returns
    -------
    ndarray of float32, shape of the coarse grid over `sight.box`
        How far each place belongs to such a burn, 0 to 1.
    """
    _, pieces, _, _ = _pieces(sight, settings)
    least = min(_sure(pieces), DOUBTFUL)
    shares = [piece.share for piece in pieces if piece.sureness >= least]
    return np.max(shares, axis=0, initial=0.0) if shares else np.zeros_like(sight.red)


def _pieces(sight: Sight, settings: RednessSettings) -> tuple[Map, list[Piece], Chosen, Chosen]:
    """The belief, pieces of burnt skin, and where was pointed at as burnt and as to be left."""
    skin = sight.skin
    burnt_at = around(_placed(settings.burnt_at, sight), skin)
    left = around(_placed(settings.leave_at, sight), skin)
    belief = _belief(sight, settings.burnt_at, settings.leave_at)
    surely = np.zeros_like(left)
    if burnt_at.any():  # a point takes nothing away from what is sure without it
        alone = _belief(sight, (), ())
        for piece in _sure_ones(_found(sight, alone, surely, left, surely)):
            surely = surely | (piece.share > MOSTLY)
        belief = np.where(surely, np.maximum(belief, alone), belief)
    pieces = _found(sight, belief, burnt_at, left, surely)
    return belief, pieces, burnt_at, left


def _found(
    sight: Sight, belief: Map, burnt_at: Chosen, left: Chosen, surely: Chosen
) -> list[Piece]:
    """Pieces of burnt skin; those on an ear are told of, and left without a point."""
    pieces = []
    for piece in burnt_pieces(sight.skin, belief, sight.red, burnt_at, left, surely):
        doubted = not piece.pointed and (piece.share * sight.ear).sum() > MOSTLY * piece.share.sum()
        pieces.append(replace(piece, sureness=min(piece.sureness, TOLD)) if doubted else piece)
    return sorted(pieces, key=lambda piece: -piece.sureness)


def _sure_ones(pieces: Sequence[Piece]) -> list[Piece]:
    """Pieces that are taken off whole."""
    return [piece for piece in pieces if piece.sureness >= _sure(pieces)]


def _sure(pieces: Sequence[Piece]) -> float:
    """Sureness from which a piece is taken off whole."""
    return SURE_BESIDE if any(piece.sureness >= SURE for piece in pieces) else SURE


@dataclass(frozen=True)
class _Done:
    """A piece of burnt skin and what is done about it."""

    piece: Piece
    action: Action

    @property
    def share(self) -> float:
        """Share of the excess that is taken off."""
        return {Action.TAKEN_OFF: 1.0, Action.EASED: EASED, Action.LEFT: 0.0}[self.action]


def _action(piece: Piece, sure: float, excess: Map | None) -> Action:
    if excess is None or piece.sureness < min(sure, DOUBTFUL):
        return Action.LEFT
    return Action.TAKEN_OFF if piece.sureness >= sure else Action.EASED


def _belief(sight: Sight, burnt_at: Sequence[Point], leave_at: Sequence[Point]) -> Map:
    """The belief on the coarse grid, told the points and what an earlier portrait tells."""
    shape = sight.skin.skin.shape
    belief = np.zeros(shape, np.float32)
    if sight.burnt is not None:
        belief = pointed(sight.burnt, burnt_at, leave_at).on(sight.box, (shape[0], shape[1]))
    return belief if sight.earlier is None else np.maximum(belief, sight.earlier.belief)


def _placed(points: Sequence[Point], sight: Sight) -> Places:
    """Points of the photograph on the coarse grid, those on the patch."""
    box = sight.box
    share = sight.skin.skin.shape[1] / box.width
    return [
        ((column - box.left) * share, (row - box.top) * share)
        for column, row in points
        if box.left <= column < box.right and box.top <= row < box.bottom
    ]


def _unburnt(skin: CoarsePatch, belief: Map, burnt: Map, burnt_at: Chosen) -> Chosen:
    """Skin that counts as unburnt."""
    unburnt = skin.inside & (belief < UNBURNT) & (burnt < UNBURNT)
    if not burnt_at.any():
        return unburnt
    least = skin.inside & (belief <= np.quantile(belief[skin.inside], LEAST_BELIEVED))
    return np.asarray(unburnt | (least & ~burnt_at), np.bool_)


def _middle_of_face(patch: SkinPatch, skin: CoarsePatch) -> Line | None:
    """Middle of the face on the coarse grid, from the forehead to the chin; None without a mesh."""
    if patch.face is None or not len(patch.face.landmarks):
        return None
    share = np.float32(patch.mm_per_pixel / skin.mm_per_pixel)
    corner = np.array([patch.box.left, patch.box.top], np.float32)
    return np.asarray((patch.face.landmarks[list(MIDDLE_OF_FACE)] - corner) * share, np.float32)


def _excess(skin: CoarsePatch, red: Map, unburnt: Chosen, direction: Direction) -> Map | None:
    """Redness over that of unburnt skin nearby in the same shade; None without such skin."""
    if unburnt.sum() * skin.mm_per_pixel**2 < LEAST_UNBURNT_MM2:
        return None
    shade = blur(skin.density.mean(axis=-1), skin.skin, skin.pixels(SHADE_MM))
    shade = shade - np.median(shade[unburnt])
    tilt = _tilt(red[unburnt], shade[unburnt])
    even = guided(red, red, skin.skin, skin.pixels(EVEN_MM), EVEN_CONTRAST)
    level = _nearby(skin, red - np.float32(tilt) * shade, unburnt)
    # a burn darkens too: what was put down to shade there is given back
    back = 1 - tilt * float(direction.mean())
    return np.asarray((even - np.float32(tilt) * shade - level) / np.float32(back), np.float32)


def _against(earlier: Compared, nearby: Map | None) -> Map:
    """The excess where an earlier portrait speaks; elsewhere that over unburnt skin nearby.

    Where both speak, what is as red as unburnt skin nearby was not so before, or was pointed at:
    then the earlier portrait says how much may go at most.
    """
    if nearby is None:
        return earlier.known * earlier.excess
    seen = np.maximum(earlier.excess, np.minimum(nearby, earlier.most))
    return np.asarray(nearby + earlier.known * (seen - nearby), np.float32)


def _tilt(red: Map, shade: Map) -> float:
    """Redness that comes with shade on unburnt skin, per density."""
    x, y = shade - shade.mean(), red - red.mean()
    return float(np.clip((x * y).sum() / max(float((x * x).sum()), 1e-6), 0, MOST_TILT))


def _nearby(skin: CoarsePatch, values: Map, chosen: Chosen) -> Map:
    """Wide average of the chosen values around each place; far from all of them, their median."""
    rows, columns = values.shape
    size = max(1, columns // THINNED), max(1, rows // THINNED)
    weight = chosen.astype(np.float32)
    few = cv2.resize(weight, size, interpolation=cv2.INTER_AREA)
    total = cv2.resize(values * weight, size, interpolation=cv2.INTER_AREA)
    sigma = skin.pixels(NEARBY_MM) / THINNED
    few, total = cv2.GaussianBlur(few, (0, 0), sigma), cv2.GaussianBlur(total, (0, 0), sigma)
    least = np.float32(1e-3)
    level = (total + least * np.median(values[chosen])) / (few + least)
    return np.asarray(cv2.resize(level, (columns, rows), interpolation=cv2.INTER_LINEAR))


def _amount(skin: CoarsePatch, done: Sequence[_Done], excess: Map | None) -> Map:
    """Density of blood that is taken off."""
    amount = np.zeros(skin.skin.shape, np.float32)
    if excess is None:
        return amount
    for one in done:
        np.maximum(amount, one.share * one.piece.share * np.maximum(excess, 0), out=amount)
    return amount


def _flush(skin: CoarsePatch, excess: Map | None, amount: Map) -> Map:
    """Everyday flush of face and ears that is left after burns, without any edge."""
    if excess is None:
        return np.zeros(skin.skin.shape, np.float32)
    face = sum(
        (skin.regions[region] for region in (Region.FACE, Region.EAR) if region in skin.regions),
        np.zeros(skin.skin.shape, np.float32),
    )
    if not (face > 0.5).any():
        return np.zeros(skin.skin.shape, np.float32)
    left = blur(excess - amount, skin.skin, skin.pixels(FLUSH_MM))
    over = left - np.median(left[face > 0.5])
    smooth = blur(face, skin.skin, skin.pixels(FLUSH_MM))
    return np.asarray(smooth * MOST_FLUSH * np.tanh(np.maximum(over, 0) / MOST_FLUSH), np.float32)


def _facts(
    patch: SkinPatch, skin: CoarsePatch, done: Sequence[_Done], excess: Map | None, verdict: Verdict
) -> dict[str, Any]:
    burns = []
    for one in done:
        inside = one.piece.share > 0.5
        mean = 0.0 if excess is None or not inside.any() else float(excess[inside].mean())
        told = one.piece.sureness >= TOLD and (excess is None or mean >= TOLD_EXCESS)
        if not inside.any() or (one.action is Action.LEFT and not told):
            continue
        burns.append(
            {
                "regions": _regions_of(inside, skin),
                "action": one.action.value,
                "at": _amid(inside, patch, skin),
                "pointed_at": one.piece.pointed,
                "sureness": round(one.piece.sureness, 3),
                "excess": None if excess is None else round(mean, 4),
            }
        )
    return {
        "burns": burns,
        "kept": round(verdict.kept, 3),
        "new_edges": round(verdict.new_edges, 4),
        "beyond_unburnt": round(verdict.beyond, 4),
        "sides_apart": round(verdict.apart, 4),
    }


def _regions_of(inside: Chosen, skin: CoarsePatch) -> list[str]:
    """Regions that a piece of skin lies in."""
    size = 0.05 * inside.sum()
    return [region.value for region, share in skin.regions.items() if (share * inside).sum() > size]


def _earlier_facts(before: ReferenceSkin, earlier: Compared, skin: CoarsePatch) -> dict[str, Any]:
    """What the earlier portrait said, for the report."""
    shown = [region for region in skin.regions if (skin.regions[region] > 0.5).any()]
    return {
        "regions": [region.value for region in shown if region in before.regions],
        "missing": [region.value for region in shown if region not in before.regions],
        "balanced_by": list(before.balanced_by),
        "doubt": round(earlier.doubt, 4),
    }


def _amid(inside: Chosen, patch: SkinPatch, skin: CoarsePatch) -> list[int]:
    """Column and row of the photograph well inside a piece."""
    within = cv2.distanceTransform(inside.astype(np.uint8), cv2.DIST_L2, 5)
    row, column = np.unravel_index(int(within.argmax()), within.shape)
    size = skin.mm_per_pixel / patch.mm_per_pixel
    return [
        int(patch.box.left + (column + 0.5) * size),
        int(patch.box.top + (row + 0.5) * size),
    ]
