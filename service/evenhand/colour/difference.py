"""CIEDE2000, the colour difference in which every cap is stated."""

from __future__ import annotations

from math import atan2, cos, exp, radians, sin, sqrt
from typing import Any

import numpy as np
import numpy.typing as npt

from evenhand.compiling import compiled, part_of_compiled

Colours = npt.NDArray[Any]

CHROMA_KNEE = 25.0**7
# Chroma to the seventh power at which greys stop being stretched (Luo, Cui and Rigg 2001).

BLUE_EAST, BLUE_NORTH = cos(radians(275.0)), sin(radians(275.0))
# Unit vector of the hue around which chroma and hue differences are turned into each other (same
# source).

BLUE_WIDTH = radians(25.0)
# Width of that turn (same source).

BLUE_TURN = radians(60.0)
# Twice the largest turn (same source).

ASK_AGAIN = -1.0
# Stands for a difference that only the whole formula tells.

TINY = float(np.finfo(np.float32).tiny)
# Keeps divisions by the chroma of greys finite.


def ciede2000(lab_1: Colours, lab_2: Colours) -> Colours:
    """CIEDE2000 difference with kL = kC = kH = 1.

    Hues are compared as unit vectors, so no angle is taken but near blue, where the formula
    asks for one.

    Parameters
    ----------
    lab_1, lab_2 : ndarray, shape (..., 3)
        L*a*b* under one and the same white (`evenhand.colour.lab` gives D65).

    Returns
    -------
    ndarray, shape (...)
        Difference, 0 or more; float64 if either input is, else float32 (within 2e-4 of float64).
        NaN where an input is.

    Raises
    ------
    ValueError
        A last axis is not 3 long.

    References
    ----------
    M. R. Luo, G. Cui, B. Rigg, Color Res. Appl. 26(5), 340-350, 2001; as G. Sharma, W. Wu,
    E. N. Dalal, Color Res. Appl. 30(1), 21-30, 2005, settle its corner cases.

    Examples
    --------
    The first pair of the table of Sharma et al.:

    >>> import numpy as np
    >>> round(float(ciede2000(np.array([50, 2.6772, -79.7751]), np.array([50, 0, -82.7485]))), 4)
    2.0425
    """
    return _mapped(lab_1, lab_2, bound=False)


def ciede2000_bound(lab_1: Colours, lab_2: Colours) -> Colours:
    """No less than CIEDE2000, and without its jump where hues are opposite; for caps.

    The mean of two opposite hues is the one or the other hue at right angles to them, and the
    formula jumps between the two. Where hues are more than a right angle apart this is the larger
    of both values; elsewhere it is CIEDE2000 itself.

    Parameters
    ----------
    lab_1, lab_2 : ndarray, shape (..., 3)
        L*a*b* under one and the same white.

    Returns
    -------
    ndarray, shape (...)
        0 or more; float64 if either input is, else float32. NaN where an input is.

    Raises
    ------
    ValueError
        A last axis is not 3 long.
    """
    return _mapped(lab_1, lab_2, bound=True)


def _mapped(lab_1: Colours, lab_2: Colours, *, bound: bool) -> Colours:
    pair = np.broadcast_arrays(lab_1, lab_2)
    if pair[0].ndim == 0 or pair[0].shape[-1] != 3:
        raise ValueError(f"colours need a last axis of 3, not shape {pair[0].shape}")
    dtype = np.float64 if any(lab.dtype == np.float64 for lab in pair) else np.float32
    flat = [np.ascontiguousarray(lab.reshape(-1, 3), dtype) for lab in pair]
    found = np.empty(len(flat[0]), dtype)
    _differences(flat[0], flat[1], bound, found)
    return found.reshape(pair[0].shape[:-1])


@compiled
def _differences(lab_1: Colours, lab_2: Colours, bound: bool, found: Colours) -> None:
    for i in range(found.size):
        found[i] = difference(
            lab_1[i, 0], lab_1[i, 1], lab_1[i, 2], lab_2[i, 0], lab_2[i, 1], lab_2[i, 2], bound
        )


@part_of_compiled
def difference(
    lightness_1: float, a_1: float, b_1: float, lightness_2: float, a_2: float, b_2: float,
    bound: bool,
) -> float:  # fmt: skip
    """CIEDE2000 of one pair of colours, or its bound; for compiled loops.

    Parameters
    ----------
    lightness_1, a_1, b_1, lightness_2, a_2, b_2 : float
        L*a*b* of both colours, under one and the same white.
    bound : bool
        Give what `ciede2000_bound` gives instead.

    Returns
    -------
    float
        0 or more.
    """
    chroma_1, chroma_2, east_1, north_1, east_2, north_2, lightness = _parts(
        lightness_1, a_1, b_1, lightness_2, a_2, b_2
    )
    chord = sqrt((east_2 - east_1) ** 2 + (north_2 - north_1) ** 2)
    hue_step = sqrt(chroma_1 * chroma_2) * chord
    if east_1 * north_2 < north_1 * east_2:
        hue_step = -hue_step
    east, north = east_1 + east_2, north_1 + north_2
    length = sqrt(east * east + north * north)
    if length == 0 and chroma_1 > 0:  # opposite hues: the mean is at right angles to both
        first = north_1 > 0 or (north_1 == 0 and east_1 > 0)
        east, north = (-north_1, east_1) if first else (north_1, -east_1)
        hue_step, length = abs(hue_step) if first else -abs(hue_step), 1.0
    east, north = east / max(length, TINY), north / max(length, TINY)
    chroma = (chroma_1 + chroma_2) / 2
    chroma_step = (chroma_2 - chroma_1) / (1 + 0.045 * chroma)
    square = _chroma_and_hue(chroma, chroma_step, hue_step, east, north)
    if bound and east_1 * east_2 + north_1 * north_2 < 0:
        square = max(square, _chroma_and_hue(chroma, chroma_step, -hue_step, -east, -north))
    square += lightness
    return 0.0 if square < 0 else sqrt(square)


@part_of_compiled
def plain_difference(
    lightness_1: float, a_1: float, b_1: float, lightness_2: float, a_2: float, b_2: float
) -> float:  # fmt: skip
    """The same where hues are less than a right angle apart and not near blue; else `ASK_AGAIN`.

    It has no branches, so that a compiler can work on several pixels at a time.

    Parameters
    ----------
    lightness_1, a_1, b_1, lightness_2, a_2, b_2 : float
        L*a*b* of both colours, under one and the same white.

    Returns
    -------
    float
        CIEDE2000, 0 or more, or `ASK_AGAIN`, which is negative.
    """
    chroma_1, chroma_2, east_1, north_1, east_2, north_2, lightness = _parts(
        lightness_1, a_1, b_1, lightness_2, a_2, b_2
    )
    chord = (east_2 - east_1) ** 2 + (north_2 - north_1) ** 2
    east, north = east_1 + east_2, north_1 + north_2
    length = max(sqrt(east * east + north * north), TINY)
    east, north = east / length, north / length
    chroma = (chroma_1 + chroma_2) / 2
    chroma_step = (chroma_2 - chroma_1) / (1 + 0.045 * chroma)
    hue = 1 + 0.015 * chroma * _hue_weight(east, north)
    square = lightness + chroma_step * chroma_step + chroma_1 * chroma_2 * chord / (hue * hue)
    near = east_1 * east_2 + north_1 * north_2 > 0
    plain = near & (east * BLUE_EAST + north * BLUE_NORTH <= 0)
    return sqrt(square) if plain else ASK_AGAIN


@part_of_compiled
def _parts(
    lightness_1: float, a_1: float, b_1: float, lightness_2: float, a_2: float, b_2: float
) -> tuple[float, float, float, float, float, float, float]:  # fmt: skip
    """Chromas, hues as unit vectors, and the squared step of lightness over its weight."""
    grey = (sqrt(a_1 * a_1 + b_1 * b_1) + sqrt(a_2 * a_2 + b_2 * b_2)) / 2
    stretch = 1.5 - 0.5 * sqrt(_saturation(grey))
    a_1, a_2 = a_1 * stretch, a_2 * stretch
    chroma_1, chroma_2 = sqrt(a_1 * a_1 + b_1 * b_1), sqrt(a_2 * a_2 + b_2 * b_2)
    inverse_1, inverse_2 = 1 / max(chroma_1, TINY), 1 / max(chroma_2, TINY)
    centred = (lightness_1 + lightness_2) / 2 - 50
    centred *= centred
    step = (lightness_2 - lightness_1) / (1 + 0.015 * centred / sqrt(20 + centred))
    hues = a_1 * inverse_1, b_1 * inverse_1, a_2 * inverse_2, b_2 * inverse_2
    return chroma_1, chroma_2, hues[0], hues[1], hues[2], hues[3], step * step


@part_of_compiled
def _saturation(chroma: float) -> float:
    """Seventh power of chroma over itself plus the knee, in [0, 1)."""
    square = chroma * chroma
    seventh = square * square * square * chroma
    return seventh / (seventh + CHROMA_KNEE)


@part_of_compiled
def _chroma_and_hue(
    chroma: float, chroma_step: float, hue_step: float, east: float, north: float
) -> float:
    """Part of the squared difference that is not lightness, for a mean chroma and hue."""
    hue_step = hue_step / (1 + 0.015 * chroma * _hue_weight(east, north))
    square = chroma_step * chroma_step + hue_step * hue_step
    along = east * BLUE_EAST + north * BLUE_NORTH
    if along <= 0:  # a right angle from blue the turn is below 1e-6
        return square
    away = atan2(north * BLUE_EAST - east * BLUE_NORTH, along) / BLUE_WIDTH
    turn = sin(BLUE_TURN * exp(-away * away))
    return square - 2 * sqrt(_saturation(chroma)) * turn * chroma_step * hue_step


@part_of_compiled
def _hue_weight(cos_1: float, sin_1: float) -> float:
    """T of the formula, from the mean hue's cosine and sine."""
    cos_2, sin_2 = cos_1 * cos_1 - sin_1 * sin_1, 2 * sin_1 * cos_1
    cos_3, sin_3 = cos_2 * cos_1 - sin_2 * sin_1, sin_2 * cos_1 + cos_2 * sin_1
    cos_4, sin_4 = cos_2 * cos_2 - sin_2 * sin_2, 2 * sin_2 * cos_2
    weight = 1 - 0.17 * (cos_1 * cos(radians(30.0)) + sin_1 * sin(radians(30.0)))
    weight += 0.24 * cos_2
    weight += 0.32 * (cos_3 * cos(radians(6.0)) - sin_3 * sin(radians(6.0)))
    return weight - 0.20 * (cos_4 * cos(radians(63.0)) + sin_4 * sin(radians(63.0)))
