"""What a step is given and what it gives back: a cut of one person's skin, and a wanted change."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np
import numpy.typing as npt

from evenhand.box import Box
from evenhand.people.person import KEPT_REGIONS, SKIN_REGIONS, Alpha, Face, Person, Region
from evenhand.photo.photograph import Photograph

LinearLight = npt.NDArray[np.float32]


@dataclass(frozen=True)
class SkinPatch:
    """One person's skin with its surroundings, cut from the photograph.

    Attributes
    ----------
    box : Box
        Where the patch lies in the upright photograph.
    linear : ndarray of float32, shape (height, width, 3)
        Linear light, Rec. 2020 primaries, D65 white, 1.0 = the file's white; not clipped.
    masks : mapping of Region to ndarray of float32, shape (height, width)
        The person's masks inside the box.
    mm_per_pixel : float
        Millimetres that one pixel covers on this person.
    face : Face or None
        Landmarks in the photograph's coordinates (not the patch's).
    evened : ndarray of float32, shape (rows, columns, 3), or None
        Natural logarithm of the gain by which steps before have evened the skin, on any grid over
        the box; `linear` is without it.
    """

    box: Box
    linear: LinearLight
    masks: Mapping[Region, Alpha]
    mm_per_pixel: float
    face: Face | None = None
    evened: LinearLight | None = None

    @cached_property
    def skin(self) -> Alpha:
        """Union of the skin masks."""
        return self._union(SKIN_REGIONS)

    @cached_property
    def kept(self) -> Alpha:
        """Union of the kept parts' masks."""
        return self._union(KEPT_REGIONS)

    def _union(self, regions: tuple[Region, ...]) -> Alpha:
        total = np.zeros(self.linear.shape[:2], np.float32)
        for region in regions:
            if region in self.masks:
                np.maximum(total, self.masks[region], out=total)
        return total


@dataclass(frozen=True)
class Change:
    """What a step wants, before any cap.

    Attributes
    ----------
    wanted : ndarray of float32, shape (height, width, 3)
        Linear light of the patch as the step would have it at strength 1. Equal to the patch's
        own, bit for bit, wherever the step wants nothing.
    facts : mapping
        Plain values for the report (redness before and after, texture kept, marks...).
    """

    wanted: LinearLight
    facts: Mapping[str, Any] = field(default_factory=dict)


def patch_of(photograph: Photograph, person: Person, margin_mm: float = 10.0) -> SkinPatch:
    """Cut one person's skin with `margin_mm` of surroundings from the photograph."""
    margin = int(np.ceil(person.scale.pixels(margin_mm)))
    box = person.skin_box.grown(margin, photograph.shape)
    return SkinPatch(
        box=box,
        linear=photograph.encoding.to_linear(photograph.pixels[box.slices]),
        masks={region: mask.cut(box) for region, mask in person.masks.items()},
        mm_per_pixel=person.scale.mm_per_pixel,
        face=person.face,
    )
