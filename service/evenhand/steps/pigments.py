"""The directions that haemoglobin and melanin take in one person's skin, in optical density."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
import numpy.typing as npt

from evenhand.colour.optics import haemoglobin_direction, melanin_direction, skin_density
from evenhand.steps.coarse import CoarsePatch

Map = npt.NDArray[np.float32]
Direction = npt.NDArray[np.float64]

SURFACE_REFLECTION = 0.018
"""Light that the skin's surface returns without entering it, seen off the mirror direction.

About two thirds of Fresnel's reflection of an index of 1.4, 0.028. It carries no pigment: on dark
skin, where it is much of the blue light, it hides what pigments do there.
"""

SURFACE_DOUBT = 0.010
"""How far the surface's reflection may be off: from hardly any to all of Fresnel's."""

BRIGHT_SHARE = 0.7
"""Quantile of the skin's light that stands for skin in full light."""

MELANOSOMES = np.geomspace(0.005, 0.45, 24)
"""Melanosome shares among which a person's is looked up by how light the skin is."""

BLOOD = 0.01
"""Share of blood in unburnt to slightly reddened skin, around which directions are taken."""

INFLAMED_BLOOD = 0.04
"""Share of blood in an inflamed spot: erythema raises blood several fold."""

DARKENED = 1.2
"""Factor of melanin in a spot that inflammation has darkened; by guess."""


@dataclass(frozen=True)
class Pigments:
    """Directions in optical density of one person's skin, unit vectors, Rec. 2020.

    Attributes
    ----------
    haemoglobin, melanin : ndarray of float64, shape (3,)
        What more of the pigment adds.
    haemoglobin_doubt, melanin_doubt : ndarray of float64, shape (3,)
        Deviation of those that comes from not knowing the surface's reflection; large on dark
        skin.
    inflamed, darkened : ndarray of float64, shape (3,)
        Density that the blood of an inflamed spot adds, and that the melanin of a darkened one
        does: the less the first is against the second, the less does colour tell of blood.
    """

    haemoglobin: Direction
    melanin: Direction
    haemoglobin_doubt: Direction
    melanin_doubt: Direction
    inflamed: Direction
    darkened: Direction

    def amounts(self, density: npt.NDArray[Any]) -> tuple[Map, Map]:
        """Haemoglobin and melanin in density along their directions, shading left out.

        The grey part of density is dropped, since light and shadow change nothing else; what is
        left is a plane, in which the two directions are solved for.

        Parameters
        ----------
        density : ndarray of floats, shape (..., 3)
            Optical density.

        Returns
        -------
        haemoglobin, melanin : ndarray, shape (...)
            In units of their directions.
        """
        directions = np.stack([self.haemoglobin, self.melanin])
        solve = np.linalg.pinv(directions - directions.mean(axis=1, keepdims=True))
        amounts = density @ (solve - solve.mean(axis=0)).astype(np.float32)
        return amounts[..., 0], amounts[..., 1]


def pigments_of(skin: CoarsePatch, surface: float = SURFACE_REFLECTION) -> Pigments:
    """Directions for a person, from published spectra and how light the person's skin is.

    Only the green light is compared: a warm or cold cast changes it least, and it follows melanin.

    Parameters
    ----------
    skin : CoarsePatch
        The person's skin.
    surface : float
        Light that the surface returns, see `SURFACE_REFLECTION`.

    Returns
    -------
    Pigments
    """
    green = float(np.exp(-np.quantile(skin.density[..., 1][skin.inside], 1 - BRIGHT_SHARE)))
    share = float(np.interp(green - surface, _greens()[::-1], MELANOSOMES[::-1]))
    below = np.exp(-skin_density(share, BLOOD))
    blood, melanin = haemoglobin_direction(share, BLOOD), melanin_direction(share, BLOOD)

    def seen(direction: npt.NDArray[np.float32], returned: float) -> Direction:
        return _unit(direction * below / (below + returned))

    def added(melanosomes: float, more_blood: float) -> Direction:
        light = np.exp(-skin_density(melanosomes, more_blood))
        return np.asarray(-np.log((light + surface) / (below + surface)))

    less, more = max(0.0, surface - SURFACE_DOUBT), surface + SURFACE_DOUBT
    return Pigments(
        seen(blood, surface),
        seen(melanin, surface),
        (seen(blood, more) - seen(blood, less)) / 2,
        (seen(melanin, more) - seen(melanin, less)) / 2,
        added(share, INFLAMED_BLOOD),
        added(DARKENED * share, BLOOD),
    )


@lru_cache(maxsize=1)
def _greens() -> list[float]:
    """Green light of unburnt skin for each of `MELANOSOMES`."""
    return [float(np.exp(-skin_density(share, BLOOD)[1])) for share in MELANOSOMES]


def _unit(vector: npt.NDArray[Any]) -> Direction:
    return np.asarray(vector / np.linalg.norm(vector), np.float64)
