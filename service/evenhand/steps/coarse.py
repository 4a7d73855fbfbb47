"""A patch at a coarser grid of a fixed size on skin, where tone and blotch are computed."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property

import cv2
import numpy as np
import numpy.typing as npt

from evenhand.box import Box
from evenhand.colour.encoding import MatrixEncoding
from evenhand.people.person import SKIN_REGIONS, Alpha, Mask, Region
from evenhand.steps.averaging import mean_light, mean_share
from evenhand.steps.patch import CodedLight, SkinPatch

Map = npt.NDArray[np.float32]

DARKEST = 1e-4
"""Linear light below which density is not followed: a third of the darkest 8-bit sRGB step."""

MOST_PIXELS = 600_000
"""Pixels of the coarse grid at most, so that a step's cost stays bounded on any photograph."""

LEAST_SKIN = 1e-3
"""Skin share of a coarse pixel below which its colour says nothing about skin."""

WELL_INSIDE = 0.9
"""Skin share of a coarse pixel from which on its colour is measured."""


@dataclass(frozen=True)
class CoarsePatch:
    """Skin averaged over coarse pixels.

    Attributes
    ----------
    density : ndarray of float32, shape (height, width, 3)
        ``-ln`` of the skin's mean linear light in each coarse pixel.
    skin : ndarray of float32, shape (height, width)
        Skin share of each coarse pixel.
    regions : mapping of Region to ndarray of float32
        Each skin region's share.
    mm_per_pixel : float
        Size of a coarse pixel.
    """

    density: Map
    skin: Alpha
    regions: Mapping[Region, Alpha]
    mm_per_pixel: float

    @cached_property
    def inside(self) -> npt.NDArray[np.bool_]:
        """Coarse pixels that are skin nearly throughout."""
        return self.skin > WELL_INSIDE

    def pixels(self, mm: float) -> float:
        """Coarse pixels that a length on skin covers.

        Parameters
        ----------
        mm : float

        Returns
        -------
        float
        """
        return mm / self.mm_per_pixel


class RegionShares(Mapping[Region, Alpha]):
    """Share of each skin region in coarse pixels, each worked out when it is asked for.

    Parameters
    ----------
    patch : SkinPatch
    size : tuple of int
        Columns and rows of the coarse grid.
    """

    def __init__(self, patch: SkinPatch, size: tuple[int, int]) -> None:
        self._patch = patch
        self._size = size
        self._known: dict[Region, Alpha] = {}

    def __contains__(self, region: object) -> bool:
        return region in SKIN_REGIONS and region in self._patch.masks

    def __getitem__(self, region: Region) -> Alpha:
        if region not in self:
            raise KeyError(region)
        if region not in self._known:
            height, width = self._patch.light.shape[:2]
            mask = self._patch.mask(region)
            self._known[region] = mean_share(mask, (height, width), self._size)
        return self._known[region]

    def __iter__(self) -> Iterator[Region]:
        return (region for region in SKIN_REGIONS if region in self)

    def __len__(self) -> int:
        return sum(1 for _ in self)


def coarse(patch: SkinPatch, mm_per_pixel: float) -> CoarsePatch:
    """Average a patch over pixels of at least `mm_per_pixel`; never finer than the photograph.

    Parameters
    ----------
    patch : SkinPatch
    mm_per_pixel : float
        Of the coarse pixels.

    Returns
    -------
    CoarsePatch
    """
    height, width = patch.skin.shape
    finest = patch.mm_per_pixel * np.sqrt(height * width / MOST_PIXELS)
    factor = max(1.0, mm_per_pixel / patch.mm_per_pixel, finest / patch.mm_per_pixel)
    size = (max(1, round(width / factor)), max(1, round(height / factor)))
    whole = Mask(Box(0, 0, height, width), patch.skin)
    skin = mean_share(whole, (height, width), size)
    light = _skin_light(patch, size)
    light /= np.maximum(skin, LEAST_SKIN)[..., None]
    density = -np.log(np.maximum(light, DARKEST))
    if patch.evened is not None:
        density -= cv2.resize(patch.evened, size, interpolation=cv2.INTER_LINEAR)
    return CoarsePatch(
        density=density,
        skin=np.where(skin > LEAST_SKIN, skin, 0).astype(np.float32),
        regions=RegionShares(patch, size),
        mm_per_pixel=patch.mm_per_pixel * width / size[0],
    )


def by_region(skin: CoarsePatch, strengths: Mapping[Region, float]) -> Map:
    """Strength of each place by its region, shape (height, width); 1 where none is given.

    Parameters
    ----------
    skin : CoarsePatch
    strengths : mapping of Region to float
        In [0, 1].

    Returns
    -------
    ndarray of float32, shape (height, width)
        In [0, 1].
    """
    strength = np.ones(skin.skin.shape, np.float32)
    for region, chosen in strengths.items():
        if region in skin.regions:
            share = skin.regions[region] / np.maximum(skin.skin, LEAST_SKIN)
            strength -= (1 - np.float32(chosen)) * share
    return np.clip(strength, 0, 1)


def _skin_light(patch: SkinPatch, size: tuple[int, int]) -> Map:
    """Mean of light times skin in each coarse pixel."""
    light = patch.light
    if isinstance(light, CodedLight) and isinstance(light.encoding, MatrixEncoding):
        tables = light.encoding.light_tables(light.codes.dtype.itemsize * 8)
        return mean_light(light.codes, tables, patch.skin, size)
    weighted = cv2.multiply(patch.linear, cv2.merge([patch.skin] * 3))
    if (weighted.shape[1], weighted.shape[0]) == size:
        return np.asarray(weighted, np.float32)
    return np.asarray(cv2.resize(weighted, size, interpolation=cv2.INTER_AREA), np.float32)
