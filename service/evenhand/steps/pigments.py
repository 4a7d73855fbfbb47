"""Amounts of haemoglobin and melanin in skin, apart from shading, on the coarse grid."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from evenhand.steps.coarse import CoarsePatch

Map = npt.NDArray[np.float32]
Direction = npt.NDArray[np.float64]

DIRECTIONS_BY_GREEN = np.array(
    [
        [0.03, 0.58, 0.80, 0.15, 0.76, 0.64, 0.14],
        [0.06, 0.48, 0.84, 0.27, 0.63, 0.69, 0.37],
        [0.12, 0.41, 0.77, 0.49, 0.48, 0.61, 0.63],
        [0.20, 0.38, 0.71, 0.60, 0.40, 0.54, 0.74],
        [0.30, 0.36, 0.66, 0.66, 0.35, 0.49, 0.80],
        [0.45, 0.36, 0.64, 0.68, 0.34, 0.48, 0.81],
    ]
)
"""Skin's green reflectance, its haemoglobin and its melanin direction in density, Rec. 2020."""


@dataclass(frozen=True)
class Pigments:
    """Directions in optical density of one person's skin, unit vectors, Rec. 2020."""

    haemoglobin: Direction
    melanin: Direction

    def amounts(self, density: npt.NDArray[np.floating]) -> tuple[Map, Map]:
        """Haemoglobin and melanin in density along their directions, shading left out.

        The grey part of density is dropped, since light and shadow change nothing else; what is
        left is a plane, in which the two directions are solved for.
        """
        plane = np.stack([self.haemoglobin, self.melanin]) - [
            [self.haemoglobin.mean()],
            [self.melanin.mean()],
        ]
        solve = np.linalg.pinv(plane).astype(np.float32)
        solve -= solve.mean(axis=0, keepdims=True)
        amounts = density @ solve
        return amounts[..., 0], amounts[..., 1]


def pigments_of(skin: CoarsePatch) -> Pigments:
    """Directions for a person, from how light their skin is."""
    inside = skin.skin > 0.9
    green = float(np.exp(-np.quantile(skin.density[..., 1][inside], 0.3)))
    row = [
        float(np.interp(green, DIRECTIONS_BY_GREEN[:, 0], DIRECTIONS_BY_GREEN[:, i]))
        for i in range(1, 7)
    ]
    return Pigments(_unit(np.array(row[:3])), _unit(np.array(row[3:])))


def _unit(vector: Direction) -> Direction:
    return np.asarray(vector / np.linalg.norm(vector), np.float64)
