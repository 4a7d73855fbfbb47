"""Finds everybody in a photograph and draws their masks at its own resolution."""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import cv2
import numpy as np
import numpy.typing as npt
from pydantic import BaseModel, ConfigDict, Field

from evenhand.box import Box
from evenhand.people import bodies, edges, parser, regions
from evenhand.people.bodies import Body
from evenhand.people.evidence import Evidence, evidence_of, face_parts
from evenhand.people.faces import Head, find_heads
from evenhand.people.looks import further_heads, looks_at
from evenhand.people.parser import Parse, Parsing
from evenhand.people.person import SKIN_REGIONS, Alpha, Mask, Person, Region, Scale, union
from evenhand.people.pointed import SkinPlace, pointed_person
from evenhand.people.scale import scale_of
from evenhand.photo.photograph import Photograph

LEAST_SKIN = 0.05
"""Chance of skin below which the working view's pixel is left out of a mask's box."""

LEAST_KEPT = 0.3
"""Chance of a kept region below which the working view's pixel is left out of its box."""

BOX_MARGIN = 3
"""Working pixels around a region's coarse area, so that its refined edge lies in the box."""


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
        description="Millimetres per pixel where only skin is pointed at; None assumes that the "
        "photograph's longer side shows 600 mm.",
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
        Empty if nobody is found, which is an ordinary result. Skin masks are free of kept parts,
        and a pixel is skin of one person at most.

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
    return [
        Person(index, head.face, scale, _masks(photograph, frame, head, scale, index, found))
        for index, (head, scale) in enumerate(zip(heads, scales, strict=True))
    ]


def _chosen(heads: list[Head], settings: PeopleSettings) -> list[Head]:
    """Heads sure enough, at most so many, from left to right."""
    sure = [head for head in heads if head.face.confidence >= settings.least_confidence]
    largest = sorted(sure, key=lambda head: -head.face.box.area)[: settings.most_people]
    return sorted(largest, key=lambda head: head.face.box.left + head.face.box.right)


def _masks(
    photograph: Photograph,
    frame: Parse,
    head: Head,
    scale: Scale,
    index: int,
    found: list[Body],
) -> dict[Region, Mask]:
    body = found[index]
    parsing = looks_at(frame, photograph, head, body)
    masks = _kept_parts(photograph, parsing, head, scale, body)
    evidence = evidence_of(body, parsing, _on_view(masks, body))
    evidence = replace(evidence, skin=evidence.skin * bodies.ending(body, photograph.frame))
    others = found[:index] + found[index + 1 :]
    if others:
        mine = bodies.to_view(bodies.owned(body, others), body, cv2.INTER_NEAREST)
        evidence = replace(evidence, skin=evidence.skin * mine)
    kept = list(masks.values())
    for region, area in _areas(evidence):
        mask = _skin_mask(photograph, body, evidence.skin, area, kept)
        if mask is not None:
            masks[region] = mask
    skin = [masks[region] for region in SKIN_REGIONS if region in masks]
    for region, chance in evidence.kept.items():
        mask = _kept_mask(photograph, body, chance, skin)
        if mask is not None:
            masks[region] = mask
    return masks


def _kept_parts(
    photograph: Photograph, parsing: Parsing, head: Head, scale: Scale, body: Body
) -> dict[Region, Mask]:
    """Eyes, brows, lips and nostrils by the mesh and by the parser, widely where only by that."""
    face = head.face
    masks, known = {}, {}
    if len(face.landmarks):
        masks = regions.kept_parts(face.landmarks, scale.mm_per_pixel, photograph.frame, face.yaw)
        known = {region: _on_view({region: mask}, body) for region, mask in masks.items()}
    elif np.ptp(head.points, axis=0).any():
        masks = regions.kept_discs(head.points, scale.mm_per_pixel, photograph.frame)
    for region, chance in face_parts(body, parsing, known).items():
        mask = _kept_mask(photograph, body, chance, ())
        if mask is not None:
            masks[region] = _joined(mask, masks[region]) if region in masks else mask
    return masks


def _joined(mask: Mask, other: Mask) -> Mask:
    """The union of two masks of one region."""
    box = mask.box.union(other.box)
    return Mask(box, union((mask, other), box))


def _on_view(masks: dict[Region, Mask], body: Body) -> Alpha:
    """Union of masks at the working view's resolution."""
    height, width = body.view.pixels.shape[:2]
    total = np.zeros((height, width), np.float32)
    for mask in masks.values():
        moved = body.view.to_photograph.copy()
        moved[:, 2] -= (mask.box.left, mask.box.top)
        flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
        np.maximum(total, cv2.warpAffine(mask.alpha, moved, (width, height), flags=flags), total)
    return total


def _areas(evidence: Evidence) -> list[tuple[Region, npt.NDArray[np.bool_]]]:
    """For each region, where the working view shows this person's skin of it."""
    shown = evidence.skin > LEAST_SKIN
    codes = np.unique(evidence.region[shown])
    return [(tuple(Region)[code], shown & (evidence.region == code)) for code in codes]


def _skin_mask(
    photograph: Photograph,
    body: Body,
    skin: Alpha,
    area: npt.NDArray[np.bool_],
    kept: Sequence[Mask],
) -> Mask | None:
    """One region's skin at full resolution, free of kept parts; None if nothing is left."""
    box = _box_of(area, body, photograph.frame)
    if not box.area:
        return None
    alpha = edges.refined(skin, area, body.view, box, photograph)
    _leave_out(alpha, box, kept)
    return Mask(box, alpha) if alpha.any() else None


def _kept_mask(
    photograph: Photograph, body: Body, chance: Alpha, skin: Sequence[Mask]
) -> Mask | None:
    """A kept region that only the parser knows, where there is no skin; None if there is none."""
    area = chance > LEAST_KEPT
    if not area.any():
        return None
    box = _box_of(area, body, photograph.frame)
    alpha = edges.enlarged(chance, body.view, box)
    _leave_out(alpha, box, skin)
    return Mask(box, alpha) if alpha.any() else None


def _leave_out(alpha: Alpha, box: Box, masks: Sequence[Mask]) -> None:
    """Lower the membership in `box` to what `masks` leave, in place."""
    for mask in masks:
        shared = mask.box.intersection(box)
        if shared.area:
            part = alpha[shared.within(box)]
            np.minimum(part, 1 - mask.alpha[shared.within(mask.box)], out=part)


def _box_of(area: npt.NDArray[np.bool_], body: Body, frame: Box) -> Box:
    """Box in the photograph around an area of the working view."""
    rows, columns = np.flatnonzero(area.any(axis=1)), np.flatnonzero(area.any(axis=0))
    top, bottom = rows[0] - BOX_MARGIN, rows[-1] + BOX_MARGIN
    left, right = columns[0] - BOX_MARGIN, columns[-1] + BOX_MARGIN
    corners = np.array([[left, top], [right, top], [right, bottom], [left, bottom]], np.float32)
    placed = body.view.in_photograph(corners)
    least, most = np.floor(placed.min(axis=0)).astype(int), np.ceil(placed.max(axis=0)).astype(int)
    return Box(int(least[1]), int(least[0]), int(most[1]) + 1, int(most[0]) + 1).intersection(frame)
