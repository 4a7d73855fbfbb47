"""What is known of a person in a photograph: face, scale, regions and their masks."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from enum import StrEnum

import cv2
import numpy as np
import numpy.typing as npt

from evenhand.box import Box

Alpha = npt.NDArray[np.float32]


class Region(StrEnum):
    """A named part of a person: regions of skin, which steps may change, and kept parts.

    Examples
    --------
    >>> Region("arm").name, Region.FACE.value
    ('ARM', 'face-skin')
    """

    FACE = "face-skin"
    NECK = "neck"
    EAR = "ear"
    ARM = "arm"
    HAND = "hand"
    TORSO = "torso"
    LEG = "leg"
    EYE = "eye"
    BROW = "brow"
    LIP = "lip"
    NOSTRIL = "nostril"
    HAIR = "hair"
    BEARD = "beard"
    TEETH = "teeth"
    JEWELLERY = "jewellery"
    CLOTH = "cloth"


SKIN_REGIONS = (
    Region.FACE,
    Region.NECK,
    Region.EAR,
    Region.ARM,
    Region.HAND,
    Region.TORSO,
    Region.LEG,
)
"""Regions that steps may change, where their masks say so."""

KEPT_REGIONS = tuple(region for region in Region if region not in SKIN_REGIONS)
"""Regions that no step of skin may touch."""


@dataclass(frozen=True)
class Mask:
    """How much each pixel belongs to a region; zero outside the box.

    Attributes
    ----------
    box : Box
        Where `alpha` lies in the upright photograph.
    alpha : ndarray of float32, shape (box.height, box.width)
        Membership in [0, 1] at the photograph's own resolution.

    Examples
    --------
    >>> import evenhand
    >>> arm = people[0].masks[evenhand.Region.ARM]
    >>> arm.alpha.shape == (arm.box.height, arm.box.width)
    True
    """

    box: Box
    alpha: Alpha

    def cut(self, box: Box) -> Alpha:
        """Membership inside another box, zero where this mask does not reach.

        Parameters
        ----------
        box : Box
            In the photograph.

        Returns
        -------
        ndarray of float32, shape (box.height, box.width)
        """
        cut = np.zeros((box.height, box.width), np.float32)
        shared = self.box.intersection(box)
        if shared.area:
            cut[shared.within(box)] = self.alpha[shared.within(self.box)]
        return cut


def union(masks: Iterable[Mask], box: Box) -> Alpha:
    """Largest membership of any of `masks` at each pixel of `box`, float32 in [0, 1].

    Parameters
    ----------
    masks : iterable of Mask
    box : Box
        In the photograph.

    Returns
    -------
    ndarray of float32, shape (box.height, box.width)
    """
    total = np.zeros((box.height, box.width), np.float32)
    for mask in masks:
        shared = mask.box.intersection(box)
        if shared.area:
            part = total[shared.within(box)]
            np.maximum(part, mask.alpha[shared.within(mask.box)], out=part)
    return total


def mask_arrays(people: Iterable[Person], shape: tuple[int, int]) -> Iterator[tuple[str, Alpha]]:
    """Masks of everybody over the whole photograph, one after the other, for the memory they take.

    Parameters
    ----------
    people : iterable of Person
        From `find_people`.
    shape : (int, int)
        Height and width of the photograph (`Photograph.shape`).

    Yields
    ------
    str
        ``skin`` and ``kept`` for everybody together, ``person-0.face-skin`` and so on for one
        person's regions.
    ndarray of float32, shape (height, width)
        Membership in [0, 1].

    Examples
    --------
    >>> import evenhand
    >>> masks = dict(evenhand.mask_arrays(people, photo.shape))
    >>> sorted(masks)
    ['kept', 'person-0.arm', 'person-0.eye', 'person-0.face-skin', 'skin']
    >>> masks["skin"].shape == photo.shape
    True
    """
    frame = Box(0, 0, *shape)
    for name, masks in _named(list(people)).items():
        yield name, union(masks, frame)


def mask_names(people: Iterable[Person]) -> list[str]:
    """Names of the masks that `mask_arrays` gives, in order.

    Parameters
    ----------
    people : iterable of Person

    Returns
    -------
    list of str
    """
    return list(_named(list(people)))


def _named(people: list[Person]) -> dict[str, list[Mask]]:
    """Masks by name, everybody's together first."""
    named = {
        "skin": [p.masks[r] for p in people for r in SKIN_REGIONS if r in p.masks],
        "kept": [p.masks[r] for p in people for r in KEPT_REGIONS if r in p.masks],
    }
    for person in people:
        for region, mask in person.masks.items():
            named[f"person-{person.index}.{region.value}"] = [mask]
    return named


@dataclass(frozen=True)
class Belief:
    """How surely skin is burnt, as the burn network sees it on a person's working view.

    Attributes
    ----------
    chance : ndarray of float32, shape (height, width)
        In [0, 1].
    to_photograph : ndarray of float64, shape (2, 3)
        Affine map from (column, row) of `chance` to the photograph.
    seen : ndarray of uint8, shape (side, side, 6), or None
        What the network was given, to be asked again with the photographer's points.
    """

    chance: Alpha
    to_photograph: npt.NDArray[np.float64]
    seen: npt.NDArray[np.uint8] | None = None

    def on(self, box: Box, shape: tuple[int, int]) -> Alpha:
        """The belief on a grid of some (rows, columns) over a box of the photograph.

        Parameters
        ----------
        box : Box
        shape : tuple of int
            Rows and columns of the grid.

        Returns
        -------
        ndarray of float32, shape (rows, columns)
            In [0, 1]; 0 where nothing was looked at.
        """
        rows, columns = shape
        down, across = box.height / rows, box.width / columns
        there = np.array([[across, 0, box.left + (across - 1) / 2],
                          [0, down, box.top + (down - 1) / 2], [0, 0, 1]])  # fmt: skip
        to_view = np.linalg.inv(np.vstack([self.to_photograph, [0, 0, 1]])) @ there
        flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
        drawn: Alpha = cv2.warpAffine(self.chance, to_view[:2], (columns, rows), flags=flags)
        return drawn


class ScaleSource(StrEnum):
    """What the scale was measured from."""

    IRIS = "visible iris"
    PUPILS = "distance between the pupils"
    FACE = "height of the face"
    LIMBS = "width of the limbs"
    GIVEN = "given"


@dataclass(frozen=True)
class Scale:
    """Size of a pixel on this person's skin.

    Attributes
    ----------
    mm_per_pixel : float
        Millimetres that one pixel covers.
    source : ScaleSource
        What it was measured from.
    """

    mm_per_pixel: float
    source: ScaleSource

    def pixels(self, mm: float) -> float:
        """Length in pixels of a length on skin in millimetres.

        Parameters
        ----------
        mm : float

        Returns
        -------
        float
        """
        return mm / self.mm_per_pixel


@dataclass(frozen=True)
class Face:
    """A face that was found.

    Attributes
    ----------
    box : Box
        Around the face, brow to chin, ear to ear.
    landmarks : ndarray of float32, shape (478, 2) or (0, 2)
        Points of the face mesh with irises in pixels (column, row) of the upright photograph;
        empty where the face is in profile and no mesh fits.
    roll, yaw : float
        Turn in the picture plane and sideways, degrees; zero for an upright frontal face.
    confidence : float
        In [0, 1].
    """

    box: Box
    landmarks: npt.NDArray[np.float32]
    roll: float
    yaw: float
    confidence: float


@dataclass(frozen=True)
class Person:
    """Somebody found in a photograph.

    Attributes
    ----------
    index : int
        Number in the photograph, from 0, left to right.
    face : Face or None
        None where no head is seen, or only skin was pointed at.
    scale : Scale
        Size of a pixel on this person.
    masks : mapping of Region to Mask
        Skin regions and kept parts. A pixel's skin masks are already free of the kept parts.
    burnt : Belief or None
        Where skin is burnt; None where no network looked.

    Examples
    --------
    >>> person = people[0]
    >>> person.scale.mm_per_pixel, len(person.masks)
    (0.6, 3)
    >>> person.skin(person.skin_box).max()
    1.0
    """

    index: int
    face: Face | None
    scale: Scale
    masks: Mapping[Region, Mask] = field(default_factory=dict)
    burnt: Belief | None = None

    @property
    def skin_box(self) -> Box:
        """Smallest box around all skin masks, empty if there is none."""
        box = Box(0, 0, 0, 0)
        for region in SKIN_REGIONS:
            if region in self.masks:
                box = box.union(self.masks[region].box)
        return box

    def skin(self, box: Box) -> Alpha:
        """Union of the skin masks inside `box`.

        Parameters
        ----------
        box : Box
            In the photograph.

        Returns
        -------
        ndarray of float32, shape (box.height, box.width)
            In [0, 1].
        """
        return union((self.masks[r] for r in SKIN_REGIONS if r in self.masks), box)

    def kept(self, box: Box) -> Alpha:
        """Union of the kept parts' masks inside `box`.

        Parameters
        ----------
        box : Box
            In the photograph.

        Returns
        -------
        ndarray of float32, shape (box.height, box.width)
            In [0, 1].
        """
        return union((self.masks[r] for r in KEPT_REGIONS if r in self.masks), box)
