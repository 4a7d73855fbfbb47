"""Finds everybody in a photograph and draws their masks at its own resolution."""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import numpy as np
import numpy.typing as npt
from pydantic import BaseModel, ConfigDict, Field

from evenhand.people import edges, parser, regions
from evenhand.people.burnt import belief_of
from evenhand.people.drawing import joined, kept_mask, masks_of, on_view
from evenhand.people.faceless import faceless_people
from evenhand.people.faces import Head, find_heads
from evenhand.people.looks import confirmed, further_heads, looked_at
from evenhand.people.ownership import owners
from evenhand.people.parser import Parsing
from evenhand.people.parts import face_parts, parts_of
from evenhand.people.person import SKIN_REGIONS, Mask, Person, Region, Scale
from evenhand.people.pointed import SkinPlace, pointed_person
from evenhand.people.scale import scale_of
from evenhand.people.views import Affine, View, box_around, quarter_turned, reduced
from evenhand.photo.photograph import Photograph

WORKING_SIZE = 640
"""Pixels along the longer side of the view on which one person's parts are put together."""

MARGIN = 0.02
"""Kept around what belongs to a person, as a share of the photograph's longer side."""


class PeopleSettings(BaseModel):
    """How people are found.

    Examples
    --------
    >>> PeopleSettings(most_people=2).least_confidence
    0.5
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    least_confidence: float = Field(
        0.5, ge=0, le=1, description="Faces the detector is less sure of are left out, 0 to 1."
    )
    most_people: int = Field(
        20, ge=1, le=200, description="At most this many people, the largest faces first."
    )
    pointed_mm_per_pixel: float | None = Field(
        None,
        gt=0,
        le=10,
        description="Millimetres per pixel where no head is seen; None takes it from the width of "
        "the limbs, or, where skin is pointed at, assumes that the longer side shows 600 mm.",
    )


def find_people(
    photograph: Photograph,
    settings: PeopleSettings | None = None,
    skin_at: Sequence[SkinPlace] | None = None,
) -> list[Person]:
    """Everybody in the photograph, left to right, with scale and masks.

    Parameters
    ----------
    photograph : Photograph
        Upright.
    settings : PeopleSettings, optional
        How sure, and how many.
    skin_at : sequence of (column, row) or Box, optional
        Points or boxes on skin in upright pixels, for a photograph without a face. If given, faces
        are not searched for, and one person without a face is returned.

    Returns
    -------
    list of Person
        Empty if nobody is found, which is an ordinary result. Where no head is seen, arms, legs and
        backs are listed as people without a face, unless it is doubtful that they are any. Skin
        masks are free of kept parts, and a pixel is skin of one person at most.

    Raises
    ------
    WrongSettingError
        A place in `skin_at` lies outside the photograph.
    MissingNetworkError
        The installation lacks a network's weights.

    Examples
    --------
    Skin pointed at, on the made-up face of the examples:

    >>> import evenhand
    >>> [person] = evenhand.find_people(photo, skin_at=[(70, 35)])
    >>> person.face is None, person.skin_box.area > 1000
    (True, True)
    """
    settings = settings or PeopleSettings()
    if skin_at:
        return [pointed_person(photograph, skin_at, settings.pointed_mm_per_pixel)]
    with ThreadPoolExecutor(1) as thread:
        look = thread.submit(parser.look, photograph, photograph.frame)
        heads = find_heads(photograph)
    frame = look.result()
    heads = confirmed(frame, heads)
    heads = _chosen(heads + further_heads(frame, heads, photograph.frame), settings)
    if not heads:
        return faceless_people(photograph, frame, settings.pointed_mm_per_pixel)
    parsing = looked_at(photograph, frame, heads)
    owner, to_photograph = owners(parsing, heads, photograph.frame)
    people = [
        _person_of(photograph, parsing, head, index, (owner == index, to_photograph))
        for index, head in enumerate(heads)
    ]
    return without_shared_skin(people)


def without_shared_skin(people: list[Person]) -> list[Person]:
    """The people, each pixel of skin left to the first of them alone, in place.

    Parameters
    ----------
    people : list of Person
        Whose skin masks are changed.

    Returns
    -------
    list of Person
        The same list.
    """
    for index, person in enumerate(people):
        own = [person.masks[region] for region in SKIN_REGIONS if region in person.masks]
        for other in people[:index]:
            for taken in (other.masks[r] for r in SKIN_REGIONS if r in other.masks):
                for mask in own:
                    shared = mask.box.intersection(taken.box)
                    if shared.area:
                        part = mask.alpha[shared.within(mask.box)]
                        part[taken.alpha[shared.within(taken.box)] > 0] = 0
    return people


def looked_again(photograph: Photograph, person: Person) -> Person:
    """The person with a belief in burns on the skin that their masks show.

    Parameters
    ----------
    photograph : Photograph
    person : Person
        The same person is given back where a belief is there, or no skin.

    Returns
    -------
    Person

    Raises
    ------
    MissingNetworkError
        If the network's weights are absent or damaged.
    """
    if person.burnt is not None or not person.skin_box.area:
        return person
    margin = round(MARGIN * max(photograph.shape)) + 1
    box = person.skin_box.grown(margin, photograph.shape)
    turns = round(person.face.roll / 90) % 4 if person.face else 0
    view = quarter_turned(reduced(photograph, box, WORKING_SIZE), turns)

    def shown(*regions: Region) -> npt.NDArray[np.float32]:
        masks = {one: person.masks[one] for one in regions if one in person.masks}
        return on_view({one: mask for one, mask in masks.items() if mask.box.area}, view)

    burnt = belief_of(view, shown(*SKIN_REGIONS), shown(Region.FACE), shown(Region.HAND))
    return replace(person, burnt=burnt)


def _chosen(heads: list[Head], settings: PeopleSettings) -> list[Head]:
    """Heads sure enough, at most so many, from left to right."""
    sure = [head for head in heads if head.face.confidence >= settings.least_confidence]
    largest = sorted(sure, key=lambda head: -head.face.box.area)[: settings.most_people]
    return sorted(largest, key=lambda head: head.face.box.left + head.face.box.right)


def _person_of(
    photograph: Photograph,
    parsing: Parsing,
    head: Head,
    index: int,
    owned: tuple[npt.NDArray[np.bool_], Affine],
) -> Person:
    """The person of one head, with masks."""
    scale = scale_of(head.face)
    own, to_photograph = owned
    margin = round(MARGIN * max(photograph.shape)) + 1
    box = box_around(own, to_photograph).union(head.face.box).grown(margin, photograph.shape)
    turns = round(head.face.roll / 90) % 4
    view = quarter_turned(reduced(photograph, box, WORKING_SIZE), turns)
    mm_per_pixel = scale.mm_per_pixel * view.pixel_size
    with ThreadPoolExecutor(1) as beside:
        kept = beside.submit(_face_parts, photograph, parsing, head, scale, view)
        mine = edges.moved(own.astype(np.float32), to_photograph, view)
        parts = parts_of(parsing, view, mine, mm_per_pixel, head.face.box)
        burnt = beside.submit(belief_of, view, parts.skin, parts.face, parts.hand)
        masks = masks_of(photograph, view, parts, kept.result())
    return Person(index, head.face, scale, masks, burnt.result())


def _face_parts(
    photograph: Photograph, parsing: Parsing, head: Head, scale: Scale, view: View
) -> dict[Region, Mask]:
    """Eyes, brows, lips and nostrils by the mesh and by the parser, widely where only by that."""
    face = head.face
    masks, known = {}, {}
    if len(face.landmarks):
        masks = regions.kept_parts(face.landmarks, scale.mm_per_pixel, photograph.frame, face.yaw)
        known = {region: on_view({region: mask}, view) for region, mask in masks.items()}
    elif np.ptp(head.points, axis=0).any():
        masks = regions.kept_discs(head.points, scale.mm_per_pixel, photograph.frame)
    mm_per_pixel = scale.mm_per_pixel * view.pixel_size
    for region, chance in face_parts(view, mm_per_pixel, parsing, known).items():
        mask = kept_mask(photograph, view, chance, ())
        if mask is not None:
            masks[region] = joined(mask, masks[region]) if region in masks else mask
    return masks
