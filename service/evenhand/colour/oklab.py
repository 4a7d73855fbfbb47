"""Oklab under D65: a perceptual space whose hues stay even when chroma changes."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

from evenhand.colour.in_chunks import Planes, map_pixels
from evenhand.colour.primaries import WORKING_TO_XYZ

Colours = npt.NDArray[Any]

XYZ_TO_CONES = np.array(
    [
        [0.8189330101, 0.3618667424, -0.1288597137],
        [0.0329845436, 0.9293118715, 0.0361456387],
        [0.0482003018, 0.2643662691, 0.6338517070],
    ]
)
# M1 of B. Ottosson, "A perceptual color space for image processing", 2020.

ROOTS_TO_OKLAB = np.array(
    [
        [0.2104542553, 0.7936177850, -0.0040720468],
        [1.9779984951, -2.4285922050, 0.4505937099],
        [0.0259040371, 0.7827717662, -0.8086757660],
    ]
)
# M2 of the same.

WORKING_TO_CONES = XYZ_TO_CONES @ WORKING_TO_XYZ
# Working light to cone responses.


def oklab_of(linear: Colours) -> Colours:
    """Oklab of working light.

    Parameters
    ----------
    linear : ndarray, shape (..., 3)
        Linear light, Rec. 2020 primaries, D65, unbounded.

    Returns
    -------
    ndarray, shape (..., 3)
        L (0 black, 1 the file's white), a, b; float64 for float64, else float32.

    References
    ----------
    B. Ottosson, "A perceptual color space for image processing", 2020,
    https://bottosson.github.io/posts/oklab/.
    """
    return map_pixels(_oklab_planes, linear, channels=3)


def _oklab_planes(red: Colours, green: Colours, blue: Colours) -> Planes:
    cones = _times(WORKING_TO_CONES, red, green, blue)
    return _times(ROOTS_TO_OKLAB, *(np.cbrt(cone) for cone in cones))


def _times(matrix: npt.NDArray[np.float64], *planes: Colours) -> Planes:
    rows = matrix.astype(planes[0].dtype)
    return tuple(row[0] * planes[0] + row[1] * planes[1] + row[2] * planes[2] for row in rows)
