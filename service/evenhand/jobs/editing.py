"""Masks with what the photographer painted in or out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from evenhand.people.person import KEPT_REGIONS, SKIN_REGIONS, Alpha, Mask, Person, Region, union

IN, OUT = "in", "out"
"""Painting adds to a mask or takes from it."""

Edit = tuple[Region, str, Mask]
"""Region, `IN` or `OUT`, and how strongly each pixel was painted."""


def edited(person: Person, edits: Sequence[Edit]) -> Person:
    """The person with masks as painted, in order.

    What is painted into a skin region is taken out of the kept parts and the other way round, so
    that a pixel is one or the other.

    Parameters
    ----------
    person : Person
        As found.
    edits : sequence of (Region, str, Mask)
        Region, `IN` or `OUT`, and what was painted.

    Returns
    -------
    Person
    """
    masks = dict(person.masks)
    for region, paint, painted in edits:
        others = KEPT_REGIONS if region in SKIN_REGIONS else SKIN_REGIONS
        if paint == IN:
            masks[region] = _added(masks.get(region), painted)
            for other in others:
                if other in masks:
                    masks[other] = _taken(masks[other], painted)
        elif region in masks:
            masks[region] = _taken(masks[region], painted)
    return replace(person, masks=masks)


def _added(mask: Mask | None, painted: Mask) -> Mask:
    if mask is None:
        return painted
    box = mask.box.union(painted.box)
    return Mask(box, union([mask, painted], box))


def _taken(mask: Mask, painted: Mask) -> Mask:
    left: Alpha = mask.alpha * (np.float32(1) - painted.cut(mask.box))
    return Mask(mask.box, left)
