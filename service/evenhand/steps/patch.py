"""What a step is given and what it gives back: a cut of one person's skin, and a wanted change."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np
import numpy.typing as npt

from evenhand.box import Box
from evenhand.colour.encoding import CodeValues, Encoding
from evenhand.people.person import (
    KEPT_REGIONS,
    SKIN_REGIONS,
    Alpha,
    Belief,
    Face,
    Mask,
    Person,
    Region,
    union,
)
from evenhand.photo.photograph import Photograph

LinearLight = npt.NDArray[np.float32]
Colours = npt.NDArray[np.float64]


@dataclass(frozen=True)
class CodedLight:
    """Light of a cut of a photograph, worked out only where it is asked for.

    Attributes
    ----------
    codes : ndarray of uint8 or uint16, shape (height, width, 3)
        The photograph's own code values.
    encoding : Encoding
        Of the file.
    """

    codes: CodeValues
    encoding: Encoding

    @property
    def shape(self) -> tuple[int, ...]:
        """Height, width and 3."""
        return self.codes.shape

    @cached_property
    def whole(self) -> LinearLight:
        """All of it, kept."""
        return self.encoding.to_linear(self.codes)

    def window(self, rows: slice, columns: slice) -> LinearLight:
        """A window of it.

        Parameters
        ----------
        rows, columns : slice

        Returns
        -------
        ndarray of float32, shape (rows, columns, 3)
        """
        return self.encoding.to_linear(self.codes[rows, columns])


class CutMasks(Mapping[Region, Alpha]):
    """A person's masks inside a box, each cut to the whole box only when it is asked for.

    Parameters
    ----------
    masks : mapping of Region to Mask
        In the photograph's coordinates.
    box : Box
        Of the patch.
    """

    def __init__(self, masks: Mapping[Region, Mask], box: Box) -> None:
        self._box = box
        self._masks = {
            region: Mask(mask.box.intersection(box), mask.alpha[_part(mask.box, box)])
            for region, mask in masks.items()
        }
        self._cut: dict[Region, Alpha] = {}
        self._unions: dict[tuple[Region, ...], Alpha] = {}

    def __getitem__(self, region: Region) -> Alpha:
        if region not in self._cut:
            self._cut[region] = self._masks[region].cut(self._box)
        return self._cut[region]

    def __contains__(self, region: object) -> bool:
        return region in self._masks

    def __iter__(self) -> Iterator[Region]:
        return iter(self._masks)

    def __len__(self) -> int:
        return len(self._masks)

    def placed(self, region: Region) -> Mask:
        """A mask as far as it reaches into the box, in the box's coordinates.

        Parameters
        ----------
        region : Region

        Returns
        -------
        Mask
            A view of the person's own; it may be empty.

        Raises
        ------
        KeyError
            The person has no such region.
        """
        mask = self._masks[region]
        return Mask(_moved(mask.box, -self._box.top, -self._box.left), mask.alpha)

    def union(self, regions: tuple[Region, ...]) -> Alpha:
        """Union of some of the masks over the whole box, kept.

        Parameters
        ----------
        regions : tuple of Region
            Those that the person lacks add nothing.

        Returns
        -------
        ndarray of float32, shape of the box
            In [0, 1].
        """
        if regions not in self._unions:
            masks = (self._masks[region] for region in regions if region in self._masks)
            self._unions[regions] = union(masks, self._box)
        return self._unions[regions]


@dataclass(frozen=True)
class RegionSkin:
    """Colour of one region of skin.

    Attributes
    ----------
    density : ndarray of float64, shape (3,)
        Median in ordinary light, Rec. 2020.
    spread : ndarray of float64, shape (3, 3)
        Covariance over the region, shading left out.
    """

    density: Colours
    spread: Colours


@dataclass(frozen=True)
class ReferenceSkin:
    """Unburnt skin of a person as it would look in the light of the portrait in hand.

    Attributes
    ----------
    regions : mapping of Region to RegionSkin
        Those that the earlier portrait shows.
    doubt : ndarray of float64, shape (3, 3)
        Covariance of what is not known about the difference of light, density.
    balanced_by : tuple of str
        What told the difference of light; empty where nothing did.
    """

    regions: Mapping[Region, RegionSkin]
    doubt: Colours
    balanced_by: tuple[str, ...]


@dataclass(frozen=True)
class SkinPatch:
    """One person's skin with its surroundings, cut from the photograph.

    Attributes
    ----------
    box : Box
        Where the patch lies in the upright photograph.
    light : ndarray of float32, shape (height, width, 3), or CodedLight
        Linear light, Rec. 2020 primaries, D65 white, 1.0 = the file's white; not clipped.
    masks : mapping of Region to ndarray of float32, shape (height, width)
        The person's masks inside the box.
    mm_per_pixel : float
        Millimetres that one pixel covers on this person.
    face : Face or None
        Landmarks in the photograph's coordinates (not the patch's).
    burnt : Belief or None
        Where skin is believed to be burnt, in the photograph's coordinates.
    before : ReferenceSkin or None
        The same person's skin in a portrait taken before the burn.
    evened : ndarray of float32, shape (rows, columns, 3), or None
        Natural logarithm of the gain by which steps before have evened the skin, on any grid over
        the box; `light` is without it.

    Examples
    --------
    >>> import evenhand
    >>> patch = evenhand.patch_of(photo, people[0])
    >>> patch.linear.dtype, patch.mm_per_pixel
    (dtype('float32'), 0.6)
    """

    box: Box
    light: LinearLight | CodedLight
    masks: Mapping[Region, Alpha]
    mm_per_pixel: float
    face: Face | None = None
    burnt: Belief | None = None
    before: ReferenceSkin | None = None
    evened: LinearLight | None = None

    @property
    def linear(self) -> LinearLight:
        """All of `light` as an array."""
        return self.light.whole if isinstance(self.light, CodedLight) else self.light

    def window(self, rows: slice, columns: slice) -> LinearLight:
        """`light` of a window as an array.

        Parameters
        ----------
        rows, columns : slice

        Returns
        -------
        ndarray of float32, shape (rows, columns, 3)
        """
        if isinstance(self.light, CodedLight):
            return self.light.window(rows, columns)
        return self.light[rows, columns]

    def mask(self, region: Region) -> Mask:
        """A region's mask in the patch's coordinates, no larger than it has to be.

        Parameters
        ----------
        region : Region

        Returns
        -------
        Mask

        Raises
        ------
        KeyError
            The person has no such region.
        """
        if isinstance(self.masks, CutMasks):
            return self.masks.placed(region)
        height, width = self.light.shape[:2]
        return Mask(Box(0, 0, height, width), self.masks[region])

    @cached_property
    def skin(self) -> Alpha:
        """Union of the skin masks."""
        return self._union(SKIN_REGIONS)

    @cached_property
    def kept(self) -> Alpha:
        """Union of the kept parts' masks."""
        return self._union(KEPT_REGIONS)

    def _union(self, regions: tuple[Region, ...]) -> Alpha:
        if isinstance(self.masks, CutMasks):
            return self.masks.union(regions)
        height, width = self.light.shape[:2]
        masks = (self.mask(region) for region in regions if region in self.masks)
        return union(masks, Box(0, 0, height, width))


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

    Examples
    --------
    >>> import evenhand
    >>> patch = evenhand.patch_of(photo, people[0])
    >>> evenhand.Change(patch.linear, {"note": "nothing is wanted"}).facts
    {'note': 'nothing is wanted'}
    """

    wanted: LinearLight
    facts: Mapping[str, Any] = field(default_factory=dict)


def patch_of(photograph: Photograph, person: Person, margin_mm: float = 10.0) -> SkinPatch:
    """Cut one person's skin with its surroundings from the photograph.

    Parameters
    ----------
    photograph : Photograph
        The original.
    person : Person
        Whose skin.
    margin_mm : float
        Surroundings on every side, millimetres, as far as the photograph reaches.

    Returns
    -------
    SkinPatch
        What every step takes.

    Examples
    --------
    >>> import evenhand
    >>> patch = evenhand.patch_of(photo, people[0])
    >>> patch.linear.shape[:2] == patch.skin.shape
    True
    """
    margin = int(np.ceil(person.scale.pixels(margin_mm)))
    return _cut(photograph, person, person.skin_box.grown(margin, photograph.shape))


def frame_of(photograph: Photograph, person: Person) -> SkinPatch:
    """The whole photograph as a patch of one person's skin.

    Parameters
    ----------
    photograph : Photograph
        The original.
    person : Person

    Returns
    -------
    SkinPatch
    """
    return _cut(photograph, person, photograph.frame)


def _cut(photograph: Photograph, person: Person, box: Box) -> SkinPatch:
    return SkinPatch(
        box=box,
        light=CodedLight(photograph.pixels[box.slices], photograph.encoding),
        masks=CutMasks(person.masks, box),
        mm_per_pixel=person.scale.mm_per_pixel,
        face=person.face,
        burnt=person.burnt,
    )


def _part(mask: Box, box: Box) -> tuple[slice, slice]:
    """Rows and columns of a mask's pixels that lie in a box."""
    return mask.intersection(box).within(mask)


def _moved(box: Box, down: int, right: int) -> Box:
    return Box(box.top + down, box.left + right, box.bottom + down, box.right + right)
