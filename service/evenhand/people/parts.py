"""What the parser's answer says of one person on a working view: skin, its regions, kept parts."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from evenhand.box import Box
from evenhand.colour.encoding import encoding_of
from evenhand.people import skin_model
from evenhand.people.parser import SKIN_PARTS, Parsing, Part
from evenhand.people.person import Region
from evenhand.people.shapes import disc
from evenhand.people.views import View

Field = npt.NDArray[np.float32]
Codes = npt.NDArray[np.uint8]

SKIN_REGIONS_OF_PARTS = {
    Part.FACE: Region.FACE,
    Part.NECK: Region.NECK,
    Part.EAR: Region.EAR,
    Part.TORSO: Region.TORSO,
    Part.ARM: Region.ARM,
    Part.HAND: Region.HAND,
    Part.LEG: Region.LEG,
}
"""Region of each part that is skin."""

KEPT_REGIONS_OF_PARTS = {
    Region.TEETH: (Part.MOUTH,),
    Region.HAIR: (Part.HAIR,),
    Region.BEARD: (Part.BEARD,),
    Region.JEWELLERY: (Part.JEWELLERY, Part.GLASSES),
}
"""Parts of each kept region that the landmarks do not give."""

FACE_PARTS = {
    Region.EYE: Part.EYE,
    Region.BROW: Part.BROW,
    Region.LIP: Part.LIP,
    Region.NOSTRIL: Part.NOSTRIL,
}
"""Parts of the face that the landmarks give, where there are any."""

FACE_PART_SHARE = 0.2
"""Chance from which such a part is believed, whatever the landmarks say."""

FACE_PART_MARGIN_MM, MESH_PART_MARGIN_MM = 5.0, 0.6
"""Kept around it, where there are no landmarks, and where their own margin is kept already: the
parser's edges are less sure than the landmarks'."""

FACE_PARTS_WITHIN_MM = 8.0
"""Beyond what the landmarks keep, the parser's parts are mistakes, or somebody else's."""

SEED_SHARE = 0.6
"""Chance of face skin from which a pixel teaches the person's own colour."""

FOREIGN_ODDS = 4.6
"""Logarithm of the odds (100 to 1) against a colour that this skin has in no light."""

COLOUR_LIMITS = (0.1, 0.85)
"""Least and most that the likeness of colour may say: shaded skin can be unlike the face's, cloth
and wood can have its colour."""

FEW_SEEDS, MANY_SEEDS = 1000, 4000
"""Pixels of a face from which likeness to it begins to count, and counts in full: a face of 40 px
does not tell what a leg in other light looks like."""

COLOUR_ON_FACE = 0.5
"""Weight of the own colour where the parser sees a face or an ear: it knows faces better
than colour does, which shadows and shine mislead."""

SUREST_PARSER = 0.98
"""Most that the parser alone may say."""

SMALLEST_PATCH_MM2 = 150.0
"""Skin patches smaller than a thumb nail are more often something else."""


@dataclass(frozen=True)
class Parts:
    """Chances on a person's working view.

    Attributes
    ----------
    skin : ndarray of float32, shape of the view
        Chance in [0, 1] that the pixel is bare skin of this person.
    region : ndarray of uint8, shape of the view
        Which region it would be of: index into `tuple(Region)`.
    kept : mapping of Region to ndarray of float32, shape of the view
        Chance that it is one of the kept parts that the landmarks do not give.
    face, hand : ndarray of float32, shape of the view
        Chance that it is skin of the face, or of a hand, of this person.
    """

    skin: Field
    region: Codes
    kept: Mapping[Region, Field]
    face: Field
    hand: Field


def parts_of(
    parsing: Parsing, view: View, own: Field, mm_per_pixel: float, face_box: Box | None = None
) -> Parts:
    """What a person's working view shows.

    Parameters
    ----------
    parsing : Parsing
        Answers that cover the view.
    view : View
    own : ndarray of float32, shape of the view
        1 where the place is this person's, else 0.
    mm_per_pixel : float
        Of the view.
    face_box : Box, optional
        Where the person's face is in the photograph: it teaches the colours of their skin.

    Returns
    -------
    Parts
    """
    chances = {part: _chance(parsing, view, (part,)) for part in SKIN_PARTS}
    by_parser = np.minimum(sum(chances.values()), 1).astype(np.float32)
    face = chances[Part.FACE] + chances[Part.EAR]
    seeds = (chances[Part.FACE] * own > SEED_SHARE) & _inside(face_box, view)
    skin = _weighed_with_own_colour(by_parser, view, seeds, face) * own
    kept = {
        region: _chance(parsing, view, those) * own
        for region, those in KEPT_REGIONS_OF_PARTS.items()
    }
    skin = _without_specks(skin, mm_per_pixel)
    face, hand = (chances[part] * own for part in (Part.FACE, Part.HAND))
    return Parts(skin, _likeliest(chances), kept, face, hand)


def face_parts(
    view: View, mm_per_pixel: float, parsing: Parsing, known: Mapping[Region, Field]
) -> dict[Region, Field]:
    """Eyes, brows, lips and nostrils of a head on the working view as the parser sees them.

    Parameters
    ----------
    view : View
    mm_per_pixel : float
        Of the view.
    parsing : Parsing
    known : mapping of Region to ndarray of float32, shape of the view
        What the landmarks keep, empty if there are none: the parser then speaks close by only.

    Returns
    -------
    dict of Region to ndarray of float32, shape of the view
        In [0, 1].
    """
    parts = {}
    margin = (MESH_PART_MARGIN_MM if known else FACE_PART_MARGIN_MM) / mm_per_pixel
    within = disc(FACE_PARTS_WITHIN_MM / mm_per_pixel)
    for region, part in FACE_PARTS.items():
        seen = (_chance(parsing, view, (part,)) > FACE_PART_SHARE).astype(np.float32)
        parts[region] = np.zeros_like(seen)
        there = _around(seen, 2 * len(disc(margin)) + len(within))
        if known and region not in known:
            continue
        wide = cv2.dilate(seen[there], disc(margin))
        if known:
            wide *= cv2.dilate(known[region][there], within)
        parts[region][there] = cv2.GaussianBlur(wide, (0, 0), max(0.5, margin / 4))
    return parts


def _around(seen: Field, margin: int) -> tuple[slice, slice]:
    """Rows and columns of what is seen at all, and so many pixels around it."""
    rows, columns = np.flatnonzero(seen.any(axis=1)), np.flatnonzero(seen.any(axis=0))
    if not len(rows):
        return slice(0, 1), slice(0, 1)
    return (
        slice(max(rows[0] - margin, 0), rows[-1] + 1 + margin),
        slice(max(columns[0] - margin, 0), columns[-1] + 1 + margin),
    )


def _chance(parsing: Parsing, view: View, parts: tuple[Part, ...]) -> Field:
    """The parser's chance of any of the parts on the working view."""
    height, width = view.pixels.shape[:2]
    return parsing.on(parts, view.to_photograph, (height, width))


def _likeliest(chances: Mapping[Part, Field]) -> Codes:
    """The likeliest region of skin at each pixel, index into `tuple(Region)`."""
    regions = tuple(Region)
    codes = np.array([regions.index(SKIN_REGIONS_OF_PARTS[part]) for part in chances], np.uint8)
    likeliest: Codes = codes[np.argmax(list(chances.values()), axis=0)]
    return likeliest


def _inside(box: Box | None, view: View) -> npt.NDArray[np.bool_]:
    """Where a box of the photograph lies in the view; nowhere without one."""
    area = np.zeros(view.pixels.shape[:2], np.uint8)
    if box is not None:
        columns, rows = (box.left, box.right), (box.top, box.bottom)
        corners = view.in_view(np.array([(c, r) for c in columns for r in rows]))
        hull = cv2.convexHull(np.rint(corners).astype(np.int32))
        cv2.fillConvexPoly(area, hull, 1)
    return area > 0


def _weighed_with_own_colour(
    by_parser: Field, view: View, seeds: npt.NDArray[np.bool_], face: Field
) -> Field:
    """The parser's chance together with what the colour of the seeds' skin says of a place.

    Logarithms of odds are added. Without a face there is nothing to learn from.
    """
    linear = encoding_of(None).to_linear(view.pixels)
    model = skin_model.learn(linear, seeds)
    if model is None:
        return by_parser
    bounded = np.clip(by_parser, 1 - SUREST_PARSER, SUREST_PARSER)
    odds = np.log(bounded / (1 - bounded))
    likeness, foreign = skin_model.compared(model, linear)
    alike = np.clip(likeness, *COLOUR_LIMITS)
    known = np.clip((seeds.sum() - FEW_SEEDS) / (MANY_SEEDS - FEW_SEEDS), 0, 1)
    told = known * np.log(alike / (1 - alike)) - FOREIGN_ODDS * foreign
    odds += (1 - (1 - COLOUR_ON_FACE) * face) * told
    chance: Field = 1 / (1 + np.exp(-odds))
    return chance


def _without_specks(skin: Field, mm_per_pixel: float) -> Field:
    """Skin without patches too small to be any."""
    least_area = SMALLEST_PATCH_MM2 / mm_per_pixel**2
    _, labels, facts, _ = cv2.connectedComponentsWithStats((skin > 0.5).astype(np.uint8))
    large = facts[:, cv2.CC_STAT_AREA] >= least_area
    large[0] = False
    reach: Codes = cv2.dilate(large[labels].astype(np.uint8), np.ones((5, 5), np.uint8))
    kept: Field = skin * reach
    return kept
