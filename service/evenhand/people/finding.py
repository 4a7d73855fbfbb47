"""Finds everybody in a photograph and draws their masks at its own resolution."""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import cv2
import numpy as np
from pydantic import BaseModel, ConfigDict, Field

from evenhand.people import bodies, parser, regions
from evenhand.people.bodies import Body
from evenhand.people.drawing import joined, kept_mask, masks_of, on_view
from evenhand.people.evidence import evidence_of, face_parts, place_of
from evenhand.people.faceless import faceless_people
from evenhand.people.faces import Head, find_heads
from evenhand.people.looks import further_heads, looks_at
from evenhand.people.parser import Parse, Parsing
from evenhand.people.person import Mask, Person, Region, Scale
from evenhand.people.pointed import SkinPlace, pointed_person
from evenhand.people.scale import scale_of
from evenhand.photo.photograph import Photograph


class PeopleSettings(BaseModel):
    """How people are found."""

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
    """
    settings = settings or PeopleSettings()
    if skin_at:
        return [pointed_person(photograph, skin_at, settings.pointed_mm_per_pixel)]
    with ThreadPoolExecutor(1) as thread:
        look = thread.submit(parser.look, photograph, photograph.frame)
        heads = find_heads(photograph)
    frame = look.result()
    heads = _chosen(heads + further_heads(frame, heads, photograph.frame), settings)
    scales = [scale_of(head.face) for head in heads]
    found = [
        bodies.body_of(photograph, head, scale) for head, scale in zip(heads, scales, strict=True)
    ]
    if not heads:
        return faceless_people(photograph, frame, settings.pointed_mm_per_pixel)
    return [
        _person_of(photograph, frame, head, scale, index, found)
        for index, (head, scale) in enumerate(zip(heads, scales, strict=True))
    ]


def _chosen(heads: list[Head], settings: PeopleSettings) -> list[Head]:
    """Heads sure enough, at most so many, from left to right."""
    sure = [head for head in heads if head.face.confidence >= settings.least_confidence]
    largest = sorted(sure, key=lambda head: -head.face.box.area)[: settings.most_people]
    return sorted(largest, key=lambda head: head.face.box.left + head.face.box.right)


def _person_of(
    photograph: Photograph,
    frame: Parse,
    head: Head,
    scale: Scale,
    index: int,
    found: list[Body],
) -> Person:
    """The person of one head, with masks."""
    body = found[index]
    parsing = looks_at(frame, photograph, head, body)
    parts = _face_parts(photograph, parsing, head, scale, body)
    evidence = evidence_of(place_of(body), parsing, on_view(parts, body.view))
    own = bodies.ending(body, photograph.frame)
    others = found[:index] + found[index + 1 :]
    if others:
        own *= bodies.to_view(bodies.owned(body, others), body, cv2.INTER_NEAREST)
    evidence = replace(evidence, skin=evidence.skin * own)
    return Person(index, head.face, scale, masks_of(photograph, body.view, evidence, parts))


def _face_parts(
    photograph: Photograph, parsing: Parsing, head: Head, scale: Scale, body: Body
) -> dict[Region, Mask]:
    """Eyes, brows, lips and nostrils by the mesh and by the parser, widely where only by that."""
    face = head.face
    masks, known = {}, {}
    if len(face.landmarks):
        masks = regions.kept_parts(face.landmarks, scale.mm_per_pixel, photograph.frame, face.yaw)
        known = {region: on_view({region: mask}, body.view) for region, mask in masks.items()}
    elif np.ptp(head.points, axis=0).any():
        masks = regions.kept_discs(head.points, scale.mm_per_pixel, photograph.frame)
    for region, chance in face_parts(body.view, body.mm_per_pixel, parsing, known).items():
        mask = kept_mask(photograph, body.view, chance, ())
        if mask is not None:
            masks[region] = joined(mask, masks[region]) if region in masks else mask
    return masks
