"""Skin and masks by hand: what a photographer painted into them or out of them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import cv2
import numpy as np

from evenhand.box import Box
from evenhand.people.person import (
    KEPT_REGIONS,
    SKIN_REGIONS,
    Alpha,
    Mask,
    Person,
    Region,
    union,
)

IN, OUT = "in", "out"
"""Painting adds to a mask or takes from it."""

Stroke = tuple[Region | None, str, Mask]
"""Region, None for all skin at once (only `OUT`), `IN` or `OUT`, and how strongly each pixel was
painted."""


def painted(person: Person, strokes: Sequence[Stroke]) -> Person:
    """The person with masks as painted, in order.

    What is painted into a skin region is taken out of the kept parts and the other way round, so
    that a pixel is one or the other.

    Parameters
    ----------
    person : Person
    strokes : sequence of Stroke

    Returns
    -------
    Person
        Without a belief in burns where skin was painted: it was of other skin (see
        `evenhand.people.finding.looked_again`).
    """
    masks = dict(person.masks)
    skin = False
    for region, paint, mask in strokes:
        of_skin = region is None or region in SKIN_REGIONS
        skin |= of_skin or paint == IN
        taken: tuple[Region, ...] = SKIN_REGIONS if region is None else (region,)
        if region is not None and paint == IN:
            masks[region] = _added(masks.get(region), mask)
            taken = KEPT_REGIONS if of_skin else SKIN_REGIONS
        for one in taken:
            if one in masks:
                masks[one] = _taken(masks[one], mask)
    return replace(person, masks=masks, burnt=None if skin else person.burnt)


def painted_together(
    people: Sequence[Person], strokes: Mapping[int, Sequence[Stroke]]
) -> list[Person]:
    """Everybody in a photograph with masks as painted; skin given to one is taken from the others.

    Parameters
    ----------
    people : sequence of Person
    strokes : mapping of int to sequence of Stroke
        By person's index, in order.

    Returns
    -------
    list of Person
        Where two were given the same skin, both keep it.
    """
    given = {index: _skin_given(those) for index, those in strokes.items()}
    result = []
    for person in people:
        own = given.get(person.index, [])
        others = [mask for index, masks in given.items() if index != person.index for mask in masks]
        taken: list[Stroke] = []
        for mask in others:
            left = _taken(mask, Mask(mask.box, union(own, mask.box)))
            if person.skin_box.intersection(mask.box).area and left.alpha.any():
                taken.append((None, OUT, left))
        result.append(painted(person, [*taken, *strokes.get(person.index, ())]))
    return result


def region_beside(person: Person, mask: Mask, reach: int) -> Region:
    """Of which region skin is that was painted: of that which it lies on or beside most.

    Parameters
    ----------
    person : Person
        With masks as painted before.
    mask : Mask
        What was painted.
    reach : int
        Pixels from it within which a region is beside it.

    Returns
    -------
    Region
        An arm where it is beside no skin of theirs: sleeves part arms from the rest.
    """
    size = np.ones((2 * reach + 1, 2 * reach + 1), np.uint8)
    box = Box(
        mask.box.top - reach, mask.box.left - reach, mask.box.bottom + reach, mask.box.right + reach
    )
    around = cv2.dilate(mask.cut(box), size)
    shared = {
        region: float((person.masks[region].cut(box) * around).sum())
        for region in SKIN_REGIONS
        if region in person.masks
    }
    return max(shared, key=lambda region: shared[region]) if any(shared.values()) else Region.ARM


def _skin_given(strokes: Sequence[Stroke]) -> list[Mask]:
    return [mask for region, paint, mask in strokes if paint == IN and region in SKIN_REGIONS]


def _added(mask: Mask | None, painted: Mask) -> Mask:
    if mask is None:
        return painted
    box = mask.box.union(painted.box)
    return Mask(box, union([mask, painted], box))


def _taken(mask: Mask, painted: Mask) -> Mask:
    left: Alpha = mask.alpha * (1 - painted.cut(mask.box))
    return Mask(mask.box, left)
