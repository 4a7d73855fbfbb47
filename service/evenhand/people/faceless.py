"""People of whom no head is seen: arms, legs and backs, found where parser, matte and pose agree.

Something that merely has skin's colours, such as fur, wood or leather, must not be taken for
somebody; so a doubtful place is left out, and skin can still be pointed at.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import cv2
import numpy as np
import numpy.typing as npt

from evenhand.box import Box
from evenhand.people import bodies, parser
from evenhand.people.drawing import kept_mask, masks_of, on_view
from evenhand.people.evidence import Place, evidence_of, face_parts
from evenhand.people.networks import body_pose
from evenhand.people.parser import SKIN_PARTS, Parse, Parsing, Part
from evenhand.people.person import Person, Region, Scale, ScaleSource
from evenhand.people.skin_model import falling
from evenhand.people.views import View, chained, inverse, reduced
from evenhand.photo.photograph import Photograph

Field = npt.NDArray[np.float32]
Chosen = npt.NDArray[np.bool_]

WORKING_SIZE = 512
"""Pixels along the longer side of the view on which the skin is looked for and judged."""

BARE_PARTS = tuple(part for part in SKIN_PARTS if part is not Part.FACE)
"""Parts by which somebody without a head is known: a face that was not found is left alone."""

SEEN, PERSON = 0.6, 0.5
"""Chance of bare skin, and of being a person, from which a pixel counts."""

LEAST_SHARE = 0.02
"""Share of the photograph that such pixels must fill."""

SURE_WITH_POSE, SURE_ALONE = 0.8, 0.92
"""Mean chance of skin over these pixels: where the pose network sees a body too, and where it does
not. Cat's fur, coffee, wood and the back of an eye reach 0.82, without a body."""

LEAST_VISIBLE = 12
"""Points of the pose that must be visible for a body to count as seen."""

TOGETHER = 0.05
"""Share of the longer side within which patches belong to one person."""

TEACHING = 0.8
"""Chance of skin from which a pixel teaches the person's colour."""

NEAR_SHARE = (0.08, 0.15)
"""Distance from these pixels up to which skin is looked for fully, and at all, as a share of the
longer side."""

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

VISIBLE = 0.5
"""Least visibility of a pose point to be used."""


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
    """
    view = reduced(photograph, photograph.frame, WORKING_SIZE)
    chance = _drawn(frame, view, BARE_PARTS)
    seen = chance > SEEN
    if seen.mean() < LEAST_SHARE:
        return []
    seen &= bodies.person_in(view) > PERSON
    if seen.mean() < LEAST_SHARE:
        return []
    pose = body_pose(view.pixels)
    body_seen = pose is not None and np.sum(pose.visibility > VISIBLE) >= LEAST_VISIBLE
    surest = SURE_WITH_POSE if body_seen else SURE_ALONE
    groups = [group for group in _groups(seen) if chance[group].mean() >= surest]
    if not groups:
        return []
    scale = _scale(frame, view, np.logical_or.reduce(groups), mm_per_pixel)
    people = []
    for index, group in enumerate(groups):
        near = _near(group, groups[:index] + groups[index + 1 :])
        people.append(_person(photograph, frame, view, (group, near), scale, index))
    return people


def _drawn(frame: Parse, view: View, parts: Iterable[Part]) -> Field:
    """The parser's chance of any of the parts on the view."""
    height, width = view.pixels.shape[:2]
    return frame.drawn(parts, view.to_photograph, (height, width))[0]


def _groups(seen: Chosen) -> list[Chosen]:
    """Patches that lie close together, the small ones left out, from left to right."""
    reach = max(1, round(TOGETHER * max(seen.shape) / 2))
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * reach + 1, 2 * reach + 1))
    _, labels = cv2.connectedComponents(cv2.dilate(seen.astype(np.uint8), disc))
    groups = [seen & (labels == number) for number in range(1, int(labels.max()) + 1)]
    large = [group for group in groups if group.mean() >= LEAST_SHARE]
    return sorted(large, key=lambda group: float(np.nonzero(group)[1].mean()))


def _near(group: Chosen, others: Sequence[Chosen]) -> Field:
    """1 close to a group and closer than to any other one, falling to 0 away from it."""
    away = _distance_from(group)
    near: Field = falling(away / max(group.shape), *NEAR_SHARE)
    for other in others:
        near = near * (away < _distance_from(other))
    return near


def _distance_from(chosen: Chosen) -> Field:
    """Distance to the nearest chosen pixel."""
    distance: Field = cv2.distanceTransform((~chosen).astype(np.uint8), cv2.DIST_L2, 5)
    return distance


def _scale(frame: Parse, view: View, seen: Chosen, mm_per_pixel: float | None) -> Scale:
    """Given, or from the width of the part that is seen most."""
    if mm_per_pixel is not None:
        return Scale(mm_per_pixel, ScaleSource.GIVEN)
    chances = np.stack([_drawn(frame, view, (part,)) for part in WIDTHS_MM])
    likeliest = np.where(seen, chances.argmax(axis=0), -1)
    areas = np.bincount(likeliest[seen], minlength=len(WIDTHS_MM))
    most = int((areas * SHOWN_WHOLE).argmax())
    inside = cv2.distanceTransform((likeliest == most).astype(np.uint8), cv2.DIST_L2, 5)
    widest = 2 * float(inside.max()) * view.pixel_size
    return Scale(tuple(WIDTHS_MM.values())[most] / widest, ScaleSource.LIMBS)


def _person(
    photograph: Photograph,
    frame: Parse,
    whole: View,
    group_and_near: tuple[Chosen, Field],
    scale: Scale,
    index: int,
) -> Person:
    group, near = group_and_near
    box = _box_around(group, whole, photograph.frame)
    view = reduced(photograph, box, WORKING_SIZE)
    closer: tuple[Parse, ...] = ()
    if max(box.height, box.width) < CLOSER_SHARE * max(photograph.shape):
        closer = (parser.look(photograph, box),)
    parsing = Parsing(frame, closer, ())
    mm = scale.mm_per_pixel * view.pixel_size
    parts = {
        region: mask
        for region, chance in face_parts(view, mm, parsing, {}).items()
        if (mask := kept_mask(photograph, view, chance, ())) is not None
    }
    seen = _moved(group.astype(np.float32), whole, view)
    height, width = view.pixels.shape[:2]
    surely = parsing.on(BARE_PARTS, view.to_photograph, (height, width)) > TEACHING
    near_here = _moved(near, whole, view)
    place = Place(
        view=view,
        mm_per_pixel=mm,
        person=np.maximum(bodies.person_in(view), seen),
        near=near_here,
        beyond=near_here,
        taught_by=(seen > SEEN) & surely,
    )
    evidence = evidence_of(place, parsing, on_view(parts, view))
    masks = masks_of(photograph, view, evidence, parts)
    return Person(index, None, scale, {r: m for r, m in masks.items() if r is not Region.FACE})


def _moved(field: Field, whole: View, view: View) -> Field:
    """A field on the view of the whole photograph, on a closer one."""
    height, width = view.pixels.shape[:2]
    to_whole = chained(inverse(whole.to_photograph), view.to_photograph)
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    moved: Field = cv2.warpAffine(field, to_whole, (width, height), flags=flags)
    return moved


def _box_around(group: Chosen, view: View, frame: Box) -> Box:
    """Box in the photograph around what was seen, with a margin."""
    rows, columns = np.nonzero(group)
    ends = np.array([[columns.min(), rows.min()], [columns.max() + 1, rows.max() + 1]], np.float32)
    (left, top), (right, bottom) = view.in_photograph(ends)
    margin = MARGIN_SHARE * max(frame.height, frame.width)
    box = Box(
        round(top - margin), round(left - margin), round(bottom + margin), round(right + margin)
    )
    return box.intersection(frame)
