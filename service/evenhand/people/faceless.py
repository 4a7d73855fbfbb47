"""People of whom no head is seen: arms, legs and backs, where the parser is sure of bare skin.

Something that merely has skin's colours, such as fur, wood or leather, must not be taken for
somebody; so a doubtful place is left out, and skin can still be pointed at.
"""

from __future__ import annotations

import cv2
import numpy as np
import numpy.typing as npt

from evenhand.people import parser
from evenhand.people.burnt import belief_of
from evenhand.people.drawing import kept_mask, masks_of
from evenhand.people.edges import moved
from evenhand.people.parser import SKIN_PARTS, Parse, Parsing, Part
from evenhand.people.parts import face_parts, parts_of
from evenhand.people.person import Person, Region, Scale, ScaleSource
from evenhand.people.shapes import disc
from evenhand.people.views import View, box_around, reduced
from evenhand.photo.photograph import Photograph

Field = npt.NDArray[np.float32]
Chosen = npt.NDArray[np.bool_]

WORKING_SIZE = 512
"""Pixels along the longer side of the view on which the skin is looked for and judged."""

BARE_PARTS = tuple(part for part in SKIN_PARTS if part is not Part.FACE)
"""Parts by which somebody without a head is known: a face that was not found is left alone."""

SEEN = 0.6
"""Chance of bare skin from which a pixel counts."""

LEAST_SHARE = 0.02
"""Share of the photograph that such pixels must fill."""

SURE = 0.9
"""Mean chance of skin over these pixels from which they are somebody."""

TOGETHER = 0.05
"""Share of the longer side within which patches belong to one person."""

MARGIN_SHARE = 0.08
"""Kept around them in the working view, as a share of the longer side."""

CLOSER_SHARE = 0.6
"""Share of the photograph's longer side below which the parser looks at the place again."""

WIDTHS_MM = {
    Part.ARM: 85.0,
    Part.LEG: 130.0,
    Part.HAND: 80.0,
    Part.NECK: 115.0,
    Part.TORSO: 160.0,
}
"""Width of each part of an adult's body where it is widest, of a torso what cloth leaves of it;
from memory, good to a third."""

SHOWN_WHOLE = np.array([1.0, 1.0, 0.5, 0.2, 0.1], np.float32)
"""How much the width of each of these parts is to be trusted: cloth and the picture's edge leave
less of a neck or a torso than of a limb."""


def faceless_people(
    photograph: Photograph, frame: Parse, mm_per_pixel: float | None
) -> list[Person]:
    """People without a head in the photograph, from left to right; usually none.

    Parameters
    ----------
    photograph : Photograph
        In which no head was found.
    frame : Parse
        The parser's answer for the whole photograph.
    mm_per_pixel : float or None
        Given scale; None takes it from the width of the limbs, which is good to a third.

    Returns
    -------
    list of Person
    """
    view = reduced(photograph, photograph.frame, WORKING_SIZE)
    height, width = view.pixels.shape[:2]
    chance = frame.chance(BARE_PARTS, view.to_photograph, (height, width))
    seen = chance > SEEN
    groups = [group for group in _groups(seen) if chance[group].mean() >= SURE]
    if not groups:
        return []
    scale = _scale(frame, view, np.logical_or.reduce(groups), mm_per_pixel)
    return [
        _person(photograph, frame, _near(group, groups), view, scale, index)
        for index, group in enumerate(groups)
    ]


def _groups(seen: Chosen) -> list[Chosen]:
    """Patches that lie close together, the small ones left out, from left to right."""
    reach = disc(TOGETHER * max(seen.shape) / 2)
    _, labels = cv2.connectedComponents(cv2.dilate(seen.astype(np.uint8), reach))
    groups = [seen & (labels == number) for number in range(1, int(labels.max()) + 1)]
    large = [group for group in groups if group.mean() >= LEAST_SHARE]
    return sorted(large, key=lambda group: float(np.nonzero(group)[1].mean()))


def _near(group: Chosen, groups: list[Chosen]) -> Chosen:
    """Pixels nearer to a group than to any other one."""
    away = [cv2.distanceTransform((~one).astype(np.uint8), cv2.DIST_L2, 5) for one in groups]
    own = next(k for k, one in enumerate(groups) if one is group)
    nearest = np.argmin(away, axis=0) == own
    near: Chosen = nearest & (away[own] < 2 * MARGIN_SHARE * max(group.shape))
    return near


def _scale(frame: Parse, view: View, seen: Chosen, mm_per_pixel: float | None) -> Scale:
    """Given, or from the width of the part that is seen most."""
    if mm_per_pixel is not None:
        return Scale(mm_per_pixel, ScaleSource.GIVEN)
    height, width = view.pixels.shape[:2]
    chances = np.stack(
        [frame.chance((part,), view.to_photograph, (height, width)) for part in WIDTHS_MM]
    )
    likeliest = np.where(seen, chances.argmax(axis=0), -1)
    areas = np.bincount(likeliest[seen], minlength=len(WIDTHS_MM))
    most = int((areas * SHOWN_WHOLE).argmax())
    inside = cv2.distanceTransform((likeliest == most).astype(np.uint8), cv2.DIST_L2, 5)
    widest = 2 * float(inside.max()) * view.pixel_size
    return Scale(tuple(WIDTHS_MM.values())[most] / widest, ScaleSource.LIMBS)


def _person(
    photograph: Photograph, frame: Parse, near: Chosen, whole: View, scale: Scale, index: int
) -> Person:
    """The person of a group of patches, with masks; never a face."""
    margin = round(MARGIN_SHARE * max(photograph.shape))
    box = box_around(near, whole.to_photograph).grown(margin, photograph.shape)
    view = reduced(photograph, box, WORKING_SIZE)
    closer: tuple[Parse, ...] = ()
    if max(box.height, box.width) < CLOSER_SHARE * max(photograph.shape):
        closer = (parser.look(photograph, box),)
    parsing = Parsing(frame, closer, ())
    mm_per_pixel = scale.mm_per_pixel * view.pixel_size
    kept = {
        region: mask
        for region, chance in face_parts(view, mm_per_pixel, parsing, {}).items()
        if (mask := kept_mask(photograph, view, chance, ())) is not None
    }
    own = moved(near.astype(np.float32), whole.to_photograph, view)
    parts = parts_of(parsing, view, own, mm_per_pixel)
    masks = masks_of(photograph, view, parts, kept)
    masks.pop(Region.FACE, None)
    burnt = belief_of(view, parts.skin, parts.face, parts.hand)
    return Person(index, None, scale, masks, burnt)
