"""CIEDE2000 between code values of a matrix profile, compiled: from tables to difference at once.

It is the formula of `evenhand.colour.difference` on the L*a*b* of `evenhand.colour.lab`, block by
block in the cache. Loops over blocks have neither branches nor memory in common, so that the
compiler can do several pixels at a time; the few pixels whose hues lie apart or near blue are done
again one by one.
"""

from __future__ import annotations

from functools import lru_cache
from math import atan2, cos, exp, radians, sin

import numpy as np
import numpy.typing as npt

from evenhand.colour.difference import BLUE_HUE, BLUE_TURN, BLUE_WIDTH, CHROMA_KNEE
from evenhand.colour.encoding import CodeValues, MatrixEncoding
from evenhand.colour.lab import EPSILON, KAPPA, WORKING_TO_RATIO
from evenhand.photo.compiling import compiled, inlined

Floats = npt.NDArray[np.float32]

BLOCK = 1024
# Pixels at a time: their planes fit the first-level cache.

ROOT_START = np.int32(709921077)
# Added to a third of a float's bits it gives the bits of its cube root, within 4 %.

AGAIN = np.float32(-1)
# Stands for the difference of a pixel that is to be done again.

EAST_OF_BLUE, NORTH_OF_BLUE = np.float32(cos(BLUE_HUE)), np.float32(sin(BLUE_HUE))
# Unit vector of the hue around which the formula turns.

f32 = np.float32
# Numbers of the compiled loops; anything wider would halve their speed.

LINEAR_SLOPE, LINEAR_START = f32(KAPPA / 116), f32(16 / 116)
DARK = f32(EPSILON)
KNEE = f32(CHROMA_KNEE)
# Of the curve of L*a*b* and of the stretch of greys, as float32.

TINY = f32(np.finfo(np.float32).tiny)
# Keeps divisions by the chroma of greys finite.


def _turned(factor: float, degrees: float) -> tuple[np.float32, np.float32]:
    return f32(factor * cos(radians(degrees))), f32(factor * sin(radians(degrees)))


COS_1, SIN_1 = _turned(-0.17, -30.0)
COS_3, SIN_3 = _turned(0.32, 6.0)
COS_4, SIN_4 = _turned(-0.20, -63.0)
# Terms of T of the formula, for the mean hue, three and four times it (as in `colour.difference`).


def roots_of(encoding: MatrixEncoding, codes: CodeValues) -> Floats:
    """Compressed ratios to white of code values, from which L*a*b* is made, shape (3, n).

    Parameters
    ----------
    encoding : MatrixEncoding
        Of the file.
    codes : ndarray of uint8 or uint16, shape (n, 3)
    """
    roots = np.empty((3, len(codes)), np.float32)
    _roots_of(_ratios(encoding), codes, _fine(codes), roots)
    return roots


def differences(
    encoding: MatrixEncoding, roots: Floats, codes: CodeValues, change: Floats, *, bound: bool
) -> Floats:
    """CIEDE2000 (D65) that a change makes to each pixel, shape (n,).

    Parameters
    ----------
    encoding : MatrixEncoding
        Of the file.
    roots : ndarray of float32, shape (3, n)
        Of the code values, from `roots_of`.
    codes : ndarray of uint8 or uint16, shape (n, 3)
        Code values before the change.
    change : ndarray of float32, shape (n, 3)
        Added to them on the 16-bit scale; the sum is rounded, and clipped to what a file can hold.
    bound : bool
        Take `evenhand.colour.difference.ciede2000_bound` instead of `ciede2000`.
    """
    found = np.empty(len(codes), np.float32)
    _differences_of(_ratios(encoding), roots, codes, _fine(codes), change, bound, found)
    return found


def _fine(codes: CodeValues) -> int:
    """16-bit code values per code value."""
    return 65535 // int(np.iinfo(codes.dtype).max)


@lru_cache(maxsize=8)
def _ratios(encoding: MatrixEncoding) -> Floats:
    """What each 16-bit code value of each channel adds to X/Xn, Y/Yn, Z/Zn, (3, 65536, 3)."""
    light = encoding.light_tables(16).astype(np.float64)
    return np.asarray(light @ WORKING_TO_RATIO.T, np.float32)


@compiled
def _roots_of(ratios, codes, fine, roots):  # type: ignore[no-untyped-def]
    still = np.zeros((BLOCK, 3), np.float32)
    ratio = np.empty((3, BLOCK), np.float32)
    for start in range(0, codes.shape[0], BLOCK):
        count = min(BLOCK, codes.shape[0] - start)
        _look_up(ratios, codes[start : start + count], fine, still, ratio)
        for axis in range(3):
            _compress(ratio[axis, :count], roots[axis, start : start + count])


@compiled
def _differences_of(ratios, roots, codes, fine, change, bound, found):  # type: ignore[no-untyped-def]
    ratio = np.empty((3, BLOCK), np.float32)
    moved = np.empty((3, BLOCK), np.float32)
    for start in range(0, codes.shape[0], BLOCK):
        end = min(start + BLOCK, codes.shape[0])
        count = end - start
        _look_up(ratios, codes[start:end], fine, change[start:end], ratio)
        for axis in range(3):
            _compress(ratio[axis, :count], moved[axis, :count])
        x, y, z = roots[0, start:end], roots[1, start:end], roots[2, start:end]
        after = moved[0, :count], moved[1, :count], moved[2, :count]
        _measure(x, y, z, after[0], after[1], after[2], found[start:end])
        for i in range(count):
            if found[start + i] == AGAIN:
                found[start + i] = _measure_one(
                    x[i], y[i], z[i], after[0][i], after[1][i], after[2][i], bound
                )


@compiled
def _look_up(ratios, codes, fine, change, ratio):  # type: ignore[no-untyped-def]
    """Ratios to white of changed code values."""
    low, high = f32(0), f32(65535)
    for i in range(codes.shape[0]):
        r = np.int32(np.rint(min(max(f32(codes[i, 0] * fine) + change[i, 0], low), high)))
        g = np.int32(np.rint(min(max(f32(codes[i, 1] * fine) + change[i, 1], low), high)))
        b = np.int32(np.rint(min(max(f32(codes[i, 2] * fine) + change[i, 2], low), high)))
        for axis in range(3):
            ratio[axis, i] = ratios[0, r, axis] + ratios[1, g, axis] + ratios[2, b, axis]


@compiled
def _compress(ratio, root):  # type: ignore[no-untyped-def]
    """Cube root, straight in the dark: two steps of Halley's from a guess by the float's bits."""
    for i in range(ratio.shape[0]):
        value = ratio[i]
        lit = np.float32(max(value, DARK))
        third = np.int32(f32(lit.view(np.int32)) * f32(1 / 3))
        bits = np.int32(third + ROOT_START)
        near = bits.view(np.float32)
        cube = near * near * near
        near = near * ((cube + lit + lit) / (cube + cube + lit))
        cube = near * near * near
        near = near * ((cube + lit + lit) / (cube + cube + lit))
        root[i] = near if value > DARK else value * LINEAR_SLOPE + LINEAR_START


@compiled
def _measure(x_1, y_1, z_1, x_2, y_2, z_2, found):  # type: ignore[no-untyped-def]
    """Differences of hues less than a right angle apart and not near blue; else `AGAIN`."""
    half, one = f32(0.5), f32(1)
    for i in range(found.shape[0]):
        a_1, b_1 = f32(500) * (x_1[i] - y_1[i]), f32(200) * (y_1[i] - z_1[i])
        a_2, b_2 = f32(500) * (x_2[i] - y_2[i]), f32(200) * (y_2[i] - z_2[i])
        mean = (np.sqrt(a_1 * a_1 + b_1 * b_1) + np.sqrt(a_2 * a_2 + b_2 * b_2)) * half
        stretch = f32(1.5) - half * np.sqrt(_saturation(mean))
        a_1, a_2 = a_1 * stretch, a_2 * stretch
        chroma_1, chroma_2 = np.sqrt(a_1 * a_1 + b_1 * b_1), np.sqrt(a_2 * a_2 + b_2 * b_2)
        inverse_1, inverse_2 = one / max(chroma_1, TINY), one / max(chroma_2, TINY)
        east_1, north_1 = a_1 * inverse_1, b_1 * inverse_1
        east_2, north_2 = a_2 * inverse_2, b_2 * inverse_2
        east_step, north_step = east_2 - east_1, north_2 - north_1
        chord = east_step * east_step + north_step * north_step
        east, north = east_1 + east_2, north_1 + north_2
        length = one / np.sqrt(max(east * east + north * north, TINY))
        east, north = east * length, north * length
        chroma = (chroma_1 + chroma_2) * half
        hue = one + f32(0.015) * chroma * _hue_weight(east, north)
        chroma_step = (chroma_2 - chroma_1) / (one + f32(0.045) * chroma)
        plain = chroma_step * chroma_step + chroma_1 * chroma_2 * chord / (hue * hue)
        lightness = _lightness_step(y_1[i], y_2[i])
        simple = a_1 * a_2 + b_1 * b_2 > 0 and east * EAST_OF_BLUE + north * NORTH_OF_BLUE <= 0
        found[i] = np.sqrt(plain + lightness * lightness) if simple else AGAIN


@compiled
def _measure_one(x_1, y_1, z_1, x_2, y_2, z_2, bound):  # type: ignore[no-untyped-def]
    """The difference, or its bound, of one pixel of any hue."""
    a_1, b_1 = f32(500) * (x_1 - y_1), f32(200) * (y_1 - z_1)
    a_2, b_2 = f32(500) * (x_2 - y_2), f32(200) * (y_2 - z_2)
    mean = (np.sqrt(a_1 * a_1 + b_1 * b_1) + np.sqrt(a_2 * a_2 + b_2 * b_2)) * f32(0.5)
    stretch = f32(1.5) - f32(0.5) * np.sqrt(_saturation(mean))
    a_1, a_2 = a_1 * stretch, a_2 * stretch
    chroma_1, chroma_2 = np.sqrt(a_1 * a_1 + b_1 * b_1), np.sqrt(a_2 * a_2 + b_2 * b_2)
    inverse_1, inverse_2 = f32(1) / max(chroma_1, TINY), f32(1) / max(chroma_2, TINY)
    east_1, north_1 = a_1 * inverse_1, b_1 * inverse_1
    east_2, north_2 = a_2 * inverse_2, b_2 * inverse_2
    chord = np.sqrt((east_2 - east_1) ** 2 + (north_2 - north_1) ** 2)
    hue_step = np.sqrt(chroma_1 * chroma_2) * chord
    if east_1 * north_2 < north_1 * east_2:
        hue_step = -hue_step
    east, north = east_1 + east_2, north_1 + north_2
    length = np.sqrt(east * east + north * north)
    if length == 0 and chroma_1 > 0:  # opposite hues: the mean is at right angles to both
        first = north_1 > 0 or (north_1 == 0 and east_1 > 0)
        east, north = (-north_1, east_1) if first else (north_1, -east_1)
        hue_step, length = abs(hue_step) if first else -abs(hue_step), f32(1)
    length = f32(1) / max(length, TINY)
    east, north = east * length, north * length
    chroma = (chroma_1 + chroma_2) * f32(0.5)
    chroma_step = (chroma_2 - chroma_1) / (f32(1) + f32(0.045) * chroma)
    square = _chroma_and_hue(chroma, chroma_step, hue_step, east, north)
    if bound and a_1 * a_2 + b_1 * b_2 < 0:
        square = max(square, _chroma_and_hue(chroma, chroma_step, -hue_step, -east, -north))
    lightness = _lightness_step(y_1, y_2)
    return f32(np.sqrt(max(square + lightness * lightness, f32(0))))


@inlined
def _saturation(chroma):  # type: ignore[no-untyped-def]
    square = chroma * chroma
    seventh = square * square * square * chroma
    return seventh / (seventh + KNEE)


@inlined
def _lightness_step(y_1, y_2):  # type: ignore[no-untyped-def]
    """L* step over its weight."""
    centred = f32(58) * (y_1 + y_2) - f32(66)
    centred = centred * centred
    return f32(116) * (y_2 - y_1) / (f32(1) + f32(0.015) * centred / np.sqrt(f32(20) + centred))


@inlined
def _hue_weight(cos_1, sin_1):  # type: ignore[no-untyped-def]
    """T of the formula, from the mean hue's cosine and sine."""
    cos_2, sin_2 = cos_1 * cos_1 - sin_1 * sin_1, f32(2) * sin_1 * cos_1
    cos_3, sin_3 = cos_2 * cos_1 - sin_2 * sin_1, sin_2 * cos_1 + cos_2 * sin_1
    cos_4, sin_4 = cos_2 * cos_2 - sin_2 * sin_2, f32(2) * sin_2 * cos_2
    weight = f32(1) + f32(0.24) * cos_2 + COS_1 * cos_1 - SIN_1 * sin_1
    return weight + COS_3 * cos_3 - SIN_3 * sin_3 + COS_4 * cos_4 - SIN_4 * sin_4


@compiled
def _chroma_and_hue(chroma, chroma_step, hue_step, east, north):  # type: ignore[no-untyped-def]
    """Part of the squared difference that is not lightness, turned near blue."""
    hue_step = hue_step / (f32(1) + f32(0.015) * chroma * _hue_weight(east, north))
    square = chroma_step * chroma_step + hue_step * hue_step
    along = east * EAST_OF_BLUE + north * NORTH_OF_BLUE
    if along <= 0:  # a right angle from blue the turn is below 1e-6
        return square
    away = atan2(north * EAST_OF_BLUE - east * NORTH_OF_BLUE, along) / BLUE_WIDTH
    turn = sin(BLUE_TURN * exp(-away * away))
    return f32(square - 2 * np.sqrt(_saturation(chroma)) * turn * chroma_step * hue_step)
