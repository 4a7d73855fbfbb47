"""What speaks for skin on a person's working view: the parser, the own colour, and the votes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from evenhand.colour.encoding import encoding_of
from evenhand.people import bodies, colour_votes, skin_model
from evenhand.people.bodies import Body
from evenhand.people.parser import SKIN_PARTS, Parsing, Part
from evenhand.people.person import Region
from evenhand.people.skin_model import SkinModel
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

CUTS: tuple[tuple[tuple[Part, ...], float, float], ...] = (
    ((Part.HAIR, Part.MOUTH), 0.45, 0.7),
    ((Part.BEARD,), 0.55, 0.75),
    ((Part.CLOTH,), 0.5, 0.75),
    ((Part.JEWELLERY, Part.INK), 0.1, 0.3),
)
"""Parts that cut skin, since they cannot all be told from it by colour; chance from which it is
believed less, and not at all. The parser is never sure of jewellery, tattoos and paint (which are
on skin, but kept as they are), and often sees a beard in the shadow below a chin."""

GLASSES_SHARE = (0.1, 0.3)
"""The same for glasses."""

SMALLEST_GLASSES_MM2, SEEN_GLASSES = 600.0, 0.3
"""Patches of glasses smaller than half a lens are a shadowed eye; chance from which they count."""

FACE_PARTS = {
    Region.EYE: Part.EYE,
    Region.BROW: Part.BROW,
    Region.LIP: Part.LIP,
    Region.NOSTRIL: Part.NOSTRIL,
}
"""Parts of the face that the landmarks give, where there are any."""

FACE_PART_SHARE = 0.1
"""Chance from which such a part is believed, whatever the landmarks say."""

FACE_PART_MARGIN_MM, MESH_PART_MARGIN_MM = 5.0, 1.0
"""Kept around it, where there are no landmarks, and where their own margin is kept already: the
parser's edges are less sure than the landmarks'."""

FACE_PARTS_WITHIN_MM = 8.0
"""Beyond what the landmarks keep, the parser's parts are mistakes, or somebody else's."""

SURE_BEYOND = (0.75, 0.9)
"""The parser's chance of skin at which a place beyond the limbs that the pose network saw begins to
be believed, and is: it overlooks hidden and bent limbs."""

BEYOND_MM = (150.0, 350.0)
"""How far beyond them."""

SUREST_VOTED = 0.99
"""Most that is believed of a chance before it is weighed with another one."""

PERSON_SHARE = (0.25, 0.6)
"""Chance of being a person at which skin begins to be believed, and is."""

SEED_SHARE = 0.6
"""Chance of face skin from which a pixel of the face teaches the person's colour."""

COLOUR_LIMITS = (0.1, 0.85)
"""Least and most that the likeness of colour alone may say: shaded skin can be unlike the face's,
cloth and wood can have its colour. What is unlike tells more than what is like."""

FOREIGN_ODDS = 4.6
"""Logarithm of the odds (100 to 1) against a colour that this skin has in no light."""

COLOUR_ON_FACE, VOTES_ON_FACE = 0.5, 0.3
"""Weight of the own colour's likeness and of the votes where the parser sees a face or an ear: it
knows faces better than colour does, which shadows and shine mislead."""

SUREST_PARSER = 0.98
"""Most that the parser alone may say."""

ROUGH = (2.5, 4.5)
"""Local contrast, in that of the rougher parts of the face, from which a place looks like hair or
woven cloth, and does."""

LEAST_ROUGHNESS = 0.05
"""Density: local contrast that noise and pores give to any skin."""

SMALLEST_PATCH_MM2 = 150.0
"""Skin patches smaller than a thumb nail are more often something else."""


@dataclass(frozen=True)
class Place:
    """Where a person's skin is judged.

    Attributes
    ----------
    view : View
        The person's surroundings.
    mm_per_pixel : float
        Of the view.
    person : ndarray of float32, shape of the view
        Chance that the pixel belongs to a person at all.
    near : ndarray of float32, shape of the view
        1 where this person may be, falling to 0 too far away.
    beyond : ndarray of float32, shape of the view
        The same for where the parser is sure.
    taught_by : ndarray of bool, shape of the view
        Where the parser's surest skin teaches the person's own colour.
    """

    view: View
    mm_per_pixel: float
    person: Field
    near: Field
    beyond: Field
    taught_by: npt.NDArray[np.bool_]


@dataclass(frozen=True)
class Evidence:
    """Chances on a person's working view.

    Attributes
    ----------
    skin : ndarray of float32, shape of the view
        Chance in [0, 1] that the pixel is bare skin of this person.
    region : ndarray of uint8, shape of the view
        Which region it would be of: index into `tuple(Region)`.
    kept : mapping of Region to ndarray of float32, shape of the view
        Chance that it is one of the kept parts that the landmarks do not give.
    """

    skin: Field
    region: Codes
    kept: Mapping[Region, Field]


def place_of(body: Body) -> Place:
    """Around a head: near its limbs, taught by its face."""
    _, distance = bodies.regions_of(body)
    near = skin_model.falling(distance, bodies.FARTHEST_MM / 2, bodies.FARTHEST_MM)
    beyond = skin_model.falling(distance, *BEYOND_MM)
    return Place(
        view=body.view,
        mm_per_pixel=body.mm_per_pixel,
        person=body.person,
        near=bodies.to_view(near, body, cv2.INTER_LINEAR),
        beyond=bodies.to_view(beyond, body, cv2.INTER_LINEAR),
        taught_by=_face_area(body),
    )


def evidence_of(place: Place, parsing: Parsing, kept: Field) -> Evidence:
    """Judge what is skin of one person.

    The parser's answer and the likeness to the person's own colour are weighed together (sum of
    logarithms of odds), bounded by person and pose, then put to the vote of the picture's colours.

    Parameters
    ----------
    place : Place
    parsing : Parsing
        The parser's answers that cover the place.
    kept : ndarray of float32, shape of the view
        Eyes, brows, lips and nostrils: never seeds.
    """
    linear = encoding_of(None).to_linear(place.view.pixels)
    parts = {part: _chance(parsing, place.view, (part,)) for part in SKIN_PARTS}
    by_parser = np.minimum(sum(parts.values()), 1).astype(np.float32)
    seeds = place.taught_by & (by_parser > SEED_SHARE) & (kept == 0)
    face = parts[Part.FACE] + parts[Part.EAR]
    skin = _weighed_with_own_colour(by_parser, linear, seeds, face)
    skin *= np.maximum(place.near, skin_model.rising(by_parser, *SURE_BEYOND) * place.beyond)
    skin *= skin_model.rising(place.person, *PERSON_SHARE)
    skin = _voted_on(skin, linear, place, kept, face)
    for those, least, most in CUTS:
        skin *= skin_model.falling(_chance(parsing, place.view, those), least, most)
    skin *= skin_model.falling(_glasses(parsing, place), *GLASSES_SHARE)
    chances = {
        region: _chance(parsing, place.view, those)
        for region, those in KEPT_REGIONS_OF_PARTS.items()
    }
    return Evidence(_without_specks(skin, place.mm_per_pixel), _nearest(parts), chances)


def _glasses(parsing: Parsing, place: Place) -> Field:
    """The parser's chance of glasses, where enough of them is seen."""
    chance = _chance(parsing, place.view, (Part.GLASSES,))
    large = _large_patches(chance > SEEN_GLASSES, SMALLEST_GLASSES_MM2 / place.mm_per_pixel**2)
    glasses: Field = chance * large
    return glasses


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
    """
    parts = {}
    margin = (MESH_PART_MARGIN_MM if known else FACE_PART_MARGIN_MM) / mm_per_pixel
    within = _disc(FACE_PARTS_WITHIN_MM / mm_per_pixel)
    for region, part in FACE_PARTS.items():
        seen = (_chance(parsing, view, (part,)) > FACE_PART_SHARE).astype(np.float32)
        seen = cv2.dilate(seen, _disc(margin))
        if known:
            seen *= cv2.dilate(known[region], within) if region in known else 0
        parts[region] = cv2.GaussianBlur(seen, (0, 0), max(0.5, margin / 4))
    return parts


def _disc(radius: float) -> Codes:
    """Shape to dilate by, at least a pixel."""
    side = 2 * max(1, round(radius)) + 1
    disc: Codes = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (side, side))
    return disc


def _chance(parsing: Parsing, view: View, parts: tuple[Part, ...]) -> Field:
    """The parser's chance of any of the parts on the working view."""
    height, width = view.pixels.shape[:2]
    return parsing.on(parts, view.to_photograph, (height, width))


def _nearest(parts: Mapping[Part, Field]) -> Codes:
    """The likeliest region of skin at each pixel, index into `tuple(Region)`."""
    regions = tuple(Region)
    codes = np.array([regions.index(SKIN_REGIONS_OF_PARTS[part]) for part in parts], np.uint8)
    nearest: Codes = codes[np.argmax(list(parts.values()), axis=0)]
    return nearest


def _weighed_with_own_colour(
    by_parser: Field, linear: Field, seeds: npt.NDArray[np.bool_], face: Field
) -> Field:
    """The parser's chance together with the likeness to the colour of the seeds."""
    model = skin_model.learn(linear, seeds)
    if model is None:
        return by_parser.copy()
    odds = _log_odds(by_parser, 1 - SUREST_PARSER, SUREST_PARSER)
    weight = 1 - (1 - COLOUR_ON_FACE) * face
    unlike = FOREIGN_ODDS * skin_model.foreign(model, linear)
    odds += weight * (_log_odds(like_skin(model, linear, seeds), *COLOUR_LIMITS) - unlike)
    return _chance_of(odds)


def _voted_on(skin: Field, linear: Field, place: Place, kept: Field, face: Field) -> Field:
    """The first judgement weighed with the votes of the picture's colours, less so on faces."""
    near_person = cv2.dilate((place.person > PERSON_SHARE[0]).astype(np.float32), np.ones((9, 9)))
    voted = colour_votes.weighed(skin, linear, near_person * (kept < 0.5), place.mm_per_pixel)
    weight = 1 - (1 - VOTES_ON_FACE) * face
    odds = weight * _log_odds(voted, 1 - SUREST_VOTED, SUREST_VOTED)
    odds += (1 - weight) * _log_odds(skin, 1 - SUREST_VOTED, SUREST_VOTED)
    return _chance_of(odds)


def _chance_of(odds: Field) -> Field:
    """Chance whose logarithm of odds is given."""
    chance: Field = 1 / (1 + np.exp(-odds))
    return chance


def _log_odds(chance: Field, least: float, most: float) -> Field:
    bounded = np.clip(chance, np.float32(least), np.float32(most))
    odds: Field = np.log(bounded / (1 - bounded))
    return odds


def like_skin(model: SkinModel, linear: Field, seeds: npt.NDArray[np.bool_]) -> Field:
    """Chance of skin from colour and smoothness alone, as learnt at the seeds."""
    rough = skin_model.roughness(linear)
    usual = max(LEAST_ROUGHNESS, float(np.percentile(rough[seeds], 80)))
    alike: Field = skin_model.likeness(model, linear)
    alike = alike * (1 - skin_model.rising(rough / usual, *ROUGH))
    smooth: Field = cv2.GaussianBlur(alike, (0, 0), 1.0)
    return smooth


def _face_area(body: Body) -> npt.NDArray[np.bool_]:
    """Whether each pixel of the view is inside the face, a little off its outline."""
    area = np.zeros(body.view.pixels.shape[:2], np.uint8)
    cv2.fillPoly(area, [np.rint(body.outline).astype(np.int32)], 1)
    inside: npt.NDArray[np.bool_] = cv2.erode(area, np.ones((5, 5), np.uint8)) > 0
    return inside


def _without_specks(skin: Field, mm_per_pixel: float) -> Field:
    """Skin without patches too small to be any."""
    kept: Field = skin * _large_patches(skin > 0.5, SMALLEST_PATCH_MM2 / mm_per_pixel**2)
    return kept


def _large_patches(chosen: npt.NDArray[np.bool_], least_area: float) -> Codes:
    """1 on and just around connected patches of at least so many pixels."""
    _, labels, facts, _ = cv2.connectedComponentsWithStats(chosen.astype(np.uint8))
    large = facts[:, cv2.CC_STAT_AREA] >= least_area
    large[0] = False
    reach: Codes = cv2.dilate(large[labels].astype(np.uint8), np.ones((5, 5), np.uint8))
    return reach
