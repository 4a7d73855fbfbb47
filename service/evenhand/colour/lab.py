"""CIE 1976 L*a*b* under D65, two degrees: the space of caps and of skin typology.

b* moves by about 7 between a D50 and a D65 white: values of this module are D65 throughout.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

from evenhand.colour.in_chunks import Planes, map_pixels
from evenhand.colour.primaries import WHITE_D65_XYZ, WORKING_TO_XYZ

Colours = npt.NDArray[Any]

EPSILON = 216 / 24389
# Below this ratio to white the curve is straight (CIE 15:2018, 8.2.1).

KAPPA = 24389 / 27
# Slope of the straight part, per unit of L* (CIE 15:2018, 8.2.1).

WORKING_TO_RATIO = WORKING_TO_XYZ / WHITE_D65_XYZ[:, None]
# Working light to X/Xn, Y/Yn, Z/Zn.


def lab_of(linear: Colours) -> Colours:
    """L*a*b* under D65 of working light.

    Parameters
    ----------
    linear : ndarray, shape (..., 3)
        Linear light, Rec. 2020 primaries, D65, unbounded.

    Returns
    -------
    ndarray, shape (..., 3)
        L* (0 black, 100 the file's white), a*, b*; float64 for float64, else float32.

    References
    ----------
    CIE 15:2018, Colorimetry, 4th edition, 8.2.1.
    """
    return map_pixels(_lab_planes, linear, channels=3)


def _lab_planes(red: Colours, green: Colours, blue: Colours) -> Planes:
    x, y, z = (_compressed(_weighted(row, red, green, blue)) for row in WORKING_TO_RATIO)
    scale = red.dtype.type
    return y * scale(116) - scale(16), (x - y) * scale(500), (y - z) * scale(200)


def _weighted(weights: Colours, first: Colours, second: Colours, third: Colours) -> Colours:
    """Sum of three planes with a row of a matrix for weights."""
    row = weights.astype(first.dtype)
    total: Colours = first * row[0]
    total += second * row[1]
    total += third * row[2]
    return total


def _compressed(ratio: Colours) -> Colours:
    scale = ratio.dtype.type
    root = np.cbrt(ratio)
    dark = ratio <= scale(EPSILON)
    if dark.any():
        root[dark] = (ratio[dark] * scale(KAPPA) + scale(16)) / scale(116)
    return root
