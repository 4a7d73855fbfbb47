"""CIEDE2000, the colour difference in which every cap is stated."""

from __future__ import annotations

import math
from functools import partial
from typing import Any

import numpy as np
import numpy.typing as npt

from evenhand.colour.in_chunks import map_pixels

Colours = npt.NDArray[Any]

CHROMA_KNEE = 25.0**7
# Chroma to the seventh power at which greys stop being stretched (Luo, Cui and Rigg 2001).

BLUE_HUE = math.radians(275.0)
# Hue around which chroma and hue differences are turned into each other (same source).

BLUE_WIDTH = math.radians(25.0)
# Width of that turn (same source).

BLUE_TURN = math.radians(60.0)
# Twice the largest turn (same source).


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

    References
    ----------
    M. R. Luo, G. Cui, B. Rigg, Color Res. Appl. 26(5), 340-350, 2001; as G. Sharma, W. Wu,
    E. N. Dalal, Color Res. Appl. 30(1), 21-30, 2005, settle its corner cases.
    """
    return map_pixels(partial(_planes, bound=False), lab_1, lab_2, channels=1)


def ciede2000_bound(lab_1: Colours, lab_2: Colours) -> Colours:
    """No less than CIEDE2000, and without its jump where hues are opposite; for caps.

    The mean of two opposite hues is the one or the other hue at right angles to them, and the
    formula jumps between the two. Where hues are more than a right angle apart this is the larger
    of both values; elsewhere it is CIEDE2000 itself. Parameters and result as for `ciede2000`.
    """
    return map_pixels(partial(_planes, bound=True), lab_1, lab_2, channels=1)


def _planes(
    lightness_1: Colours, a_1: Colours, b_1: Colours,
    lightness_2: Colours, a_2: Colours, b_2: Colours,
    *, bound: bool,
) -> Colours:  # fmt: skip
    """CIEDE2000 or its bound for separate planes of one dtype and shape."""
    stretch = _grey_stretch(a_1, b_1, a_2, b_2)
    a_1, a_2 = a_1 * stretch, a_2 * stretch
    chroma_1, chroma_2 = np.sqrt(a_1 * a_1 + b_1 * b_1), np.sqrt(a_2 * a_2 + b_2 * b_2)
    chroma = (chroma_1 + chroma_2) * 0.5
    hue_step, cosine, sine = _hues(a_1, b_1, chroma_1, a_2, b_2, chroma_2)

    centred = (lightness_1 + lightness_2) * 0.5 - 50
    centred *= centred
    lightness_step = (lightness_2 - lightness_1) / (centred * 0.015 / np.sqrt(centred + 20) + 1)
    chroma_step = (chroma_2 - chroma_1) / (chroma * 0.045 + 1)
    square = _chroma_and_hue(chroma, chroma_step, hue_step, cosine, sine)
    if bound:
        apart = np.flatnonzero(a_1 * a_2 + b_1 * b_2 < 0)
        steps = chroma[apart], chroma_step[apart], -hue_step[apart]
        other_side = _chroma_and_hue(*steps, -cosine[apart], -sine[apart])
        square[apart] = np.maximum(square[apart], other_side)
    square += lightness_step * lightness_step
    difference: Colours = np.sqrt(np.maximum(square, 0))
    return difference


def _chroma_and_hue(
    chroma: Colours, chroma_step: Colours, hue_step: Colours, cosine: Colours, sine: Colours
) -> Colours:
    """Part of the squared difference that is not lightness, for a mean chroma and hue."""
    hue_step = hue_step / (chroma * 0.015 * _hue_weight(cosine, sine) + 1)
    square: Colours = chroma_step * chroma_step + hue_step * hue_step
    _turn_near_blue(square, cosine, sine, chroma, chroma_step * hue_step)
    return square


def _grey_stretch(a_1: Colours, b_1: Colours, a_2: Colours, b_2: Colours) -> Colours:
    """Factor 1 + G by which a* is stretched, most for greys."""
    chroma = (np.sqrt(a_1 * a_1 + b_1 * b_1) + np.sqrt(a_2 * a_2 + b_2 * b_2)) * 0.5
    stretch: Colours = 1.5 - 0.5 * np.sqrt(_saturation(chroma))
    return stretch


def _saturation(chroma: Colours) -> Colours:
    """Seventh power of chroma over itself plus the knee, in [0, 1)."""
    square = chroma * chroma
    seventh = square * square * square * chroma
    share: Colours = seventh / (seventh + CHROMA_KNEE)
    return share


def _hues(
    a_1: Colours, b_1: Colours, chroma_1: Colours, a_2: Colours, b_2: Colours, chroma_2: Colours
) -> tuple[Colours, Colours, Colours]:
    """Hue difference Delta H', and cosine and sine of the mean hue."""
    tiny = np.finfo(a_1.dtype).tiny
    inverse_1, inverse_2 = 1 / np.maximum(chroma_1, tiny), 1 / np.maximum(chroma_2, tiny)
    east_1, north_1 = a_1 * inverse_1, b_1 * inverse_1
    east_2, north_2 = a_2 * inverse_2, b_2 * inverse_2
    east_step, north_step = east_2 - east_1, north_2 - north_1
    chord = np.sqrt(east_step * east_step + north_step * north_step)
    cross = east_1 * north_2 - north_1 * east_2
    hue_step = np.copysign(np.sqrt(chroma_1 * chroma_2) * chord, cross)

    east, north = east_1 + east_2, north_1 + north_2
    length = np.sqrt(east * east + north * north)
    opposite = (length == 0) & (chroma_1 > 0)
    if opposite.any():
        first = np.where(north_1 > 0, True, (north_1 == 0) & (east_1 > 0))[opposite]
        sign = np.where(first, 1, -1).astype(a_1.dtype)
        east[opposite], north[opposite] = -north_1[opposite] * sign, east_1[opposite] * sign
        hue_step[opposite] = np.abs(hue_step[opposite]) * sign
        length[opposite] = 1
    length = np.maximum(length, tiny)
    return hue_step, east / length, north / length


def _hue_weight(cosine: Colours, sine: Colours) -> Colours:
    """T of the formula, from multiples of the mean hue."""
    cosine_2, sine_2 = 2 * cosine * cosine - 1, 2 * sine * cosine
    cosine_3, sine_3 = cosine_2 * cosine - sine_2 * sine, sine_2 * cosine + cosine_2 * sine
    cosine_4, sine_4 = 2 * cosine_2 * cosine_2 - 1, 2 * sine_2 * cosine_2
    weight: Colours = 0.24 * cosine_2 + 1
    for factor, degrees, cos, sin in (
        (-0.17, -30.0, cosine, sine),
        (0.32, 6.0, cosine_3, sine_3),
        (-0.20, -63.0, cosine_4, sine_4),
    ):
        turn = math.radians(degrees)
        weight += (factor * math.cos(turn)) * cos - (factor * math.sin(turn)) * sin
    return weight


def _turn_near_blue(
    square: Colours, cosine: Colours, sine: Colours, chroma: Colours, product: Colours
) -> None:
    """Add R_T times chroma and hue steps to `square`, in place.

    Ninety degrees from blue the turn is below 1e-6, so the other half of the circle is spared.
    """
    east, north = math.cos(BLUE_HUE), math.sin(BLUE_HUE)
    near = np.flatnonzero(cosine * east + sine * north > 0)
    if not near.size:
        return
    cosine, sine = cosine[near], sine[near]
    away = np.arctan2(sine * east - cosine * north, cosine * east + sine * north) / BLUE_WIDTH
    turn = np.sin(BLUE_TURN * np.exp(-away * away))
    square[near] -= 2 * np.sqrt(_saturation(chroma[near])) * turn * product[near]
