"""Individual typology angle: how light skin is, from its own colour and nobody's looks."""

from __future__ import annotations

from enum import StrEnum
from typing import Any

import numpy as np
import numpy.typing as npt

Colours = npt.NDArray[Any]


class Typology(StrEnum):
    """Groups of constitutive skin colour by individual typology angle."""

    VERY_LIGHT = "very light"
    LIGHT = "light"
    INTERMEDIATE = "intermediate"
    TAN = "tan"
    BROWN = "brown"
    DARK = "dark"


LOWER_BOUNDS = (
    (Typology.VERY_LIGHT, 55.0),
    (Typology.LIGHT, 41.0),
    (Typology.INTERMEDIATE, 28.0),
    (Typology.TAN, 10.0),
    (Typology.BROWN, -30.0),
)
# Degrees above which skin belongs to a group (Chardon, Cretois, Hourseau, Int. J. Cosmet. Sci. 13,
# 191-208, 1991; Del Bino, Bernerd, Br. J. Dermatol. 169 s3, 33-40, 2013).


def typology_angle(lab: Colours) -> Colours:
    """Individual typology angle in degrees, shape (...).

    Parameters
    ----------
    lab : ndarray, shape (..., 3)
        L*a*b* under D65.

    Notes
    -----
    The angle is ``atan2(L* - 50, b*)``; the published form divides and needs b* > 0, which skin
    has. It does not convert to the six phototypes, which ask how skin takes the sun.
    """
    angle: Colours = np.degrees(np.arctan2(lab[..., 0] - 50, lab[..., 2]))
    return angle


def typology(angle: float) -> Typology:
    """Group of an individual typology angle in degrees.

    Raises
    ------
    ValueError
        The angle is not a number.
    """
    if np.isnan(angle):
        raise ValueError("the typology angle is not a number")
    for group, bound in LOWER_BOUNDS:
        if angle > bound:
            return group
    return Typology.DARK
