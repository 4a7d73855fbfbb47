"""White points, primaries and the matrices between them; everything in two degrees, Y = 1."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

Matrix = npt.NDArray[np.float64]

WHITE_D65_XY = (0.3127, 0.3290)
# Chromaticity of D65 as ITU-R BT.2020 and IEC 61966-2-1 give it.

WHITE_D50_XYZ = np.array([0.9642, 1.0, 0.8249])
# White of the ICC connection space (ICC.1:2022, 7.2.16).

PRIMARIES_REC2020 = ((0.708, 0.292), (0.170, 0.797), (0.131, 0.046))
# Chromaticities of the working space (ITU-R BT.2020-2, table 3).

PRIMARIES_SRGB = ((0.640, 0.330), (0.300, 0.600), (0.150, 0.060))
# Chromaticities of sRGB (IEC 61966-2-1:1999, ITU-R BT.709).

BRADFORD = np.array(
    [[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]]
)
# Cone responses for chromatic adaptation (ICC.1:2022, annex E).


def xyz_of_white(xy: tuple[float, float]) -> Matrix:
    """XYZ with Y = 1 of a chromaticity, shape (3,).

    Parameters
    ----------
    xy : tuple of float
        CIE 1931 x and y; y above 0.

    Returns
    -------
    ndarray of float64, shape (3,)
    """
    x, y = xy
    return np.array([x / y, 1.0, (1.0 - x - y) / y])


def rgb_to_xyz(primaries: tuple[tuple[float, float], ...], white: tuple[float, float]) -> Matrix:
    """Matrix from linear RGB to XYZ, shape (3, 3) (SMPTE RP 177-1993).

    Parameters
    ----------
    primaries : tuple of three (x, y)
        Chromaticities of red, green and blue.
    white : tuple of float
        Chromaticity of R = G = B = 1.

    Returns
    -------
    ndarray of float64, shape (3, 3)
        Column c is the XYZ of channel c at 1; white has Y = 1.
    """
    columns = np.stack([xyz_of_white(xy) for xy in primaries], axis=1)
    return columns * np.linalg.solve(columns, xyz_of_white(white))


def adaptation(source: Matrix, target: Matrix) -> Matrix:
    """Bradford matrix that carries XYZ under white `source` to XYZ under white `target`.

    Parameters
    ----------
    source, target : ndarray of float64, shape (3,)
        XYZ of the whites, Y = 1.

    Returns
    -------
    ndarray of float64, shape (3, 3)
    """
    gain = (BRADFORD @ target) / (BRADFORD @ source)
    adapted: Matrix = np.linalg.solve(BRADFORD, gain[:, None] * BRADFORD)
    return adapted


WHITE_D65_XYZ = xyz_of_white(WHITE_D65_XY)
# XYZ of the working space's white.

WORKING_TO_XYZ = rgb_to_xyz(PRIMARIES_REC2020, WHITE_D65_XY)
# Working space to XYZ under D65.

XYZ_TO_WORKING = np.linalg.inv(WORKING_TO_XYZ)
# XYZ under D65 to the working space.

WORKING_TO_SRGB = np.linalg.inv(rgb_to_xyz(PRIMARIES_SRGB, WHITE_D65_XY)) @ WORKING_TO_XYZ
# Linear light of the working space to that of sRGB, neither clipped.

D50_TO_D65 = adaptation(WHITE_D50_XYZ, WHITE_D65_XYZ)
# ICC connection space to XYZ under D65.
