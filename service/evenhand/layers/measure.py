"""What a change of code values comes to in CIEDE2000."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np
import numpy.typing as npt

from evenhand.colour.difference import (
    ASK_AGAIN,
    ciede2000,
    ciede2000_bound,
    difference,
    plain_difference,
)
from evenhand.colour.encoding import CodeValues, Encoding, MatrixEncoding
from evenhand.colour.lab import EPSILON, KAPPA, WORKING_TO_RATIO, lab_of
from evenhand.compiling import compiled, part_of_compiled

Floats = npt.NDArray[np.float32]

FINE_PER_CODE = {8: 257, 16: 1}
# 16-bit code values per code value of a file of that depth: caps are measured on this scale.

BLOCK = 1024
# Pixels at a time: their planes fit the first-level cache.

ROOT_START = np.int32(709921077)
# Added to a third of a float's bits it gives the bits of its cube root, within 4 %.

DARK, SLOPE, START = np.float32(EPSILON), np.float32(KAPPA / 116), np.float32(16 / 116)
# The straight part of L*a*b*'s curve, as float32.


@dataclass(frozen=True)
class Measure:
    """CIEDE2000 (D65) of differences added to given code values.

    Attributes
    ----------
    encoding : Encoding
        Of the file.
    codes : ndarray of uint8 or uint16, shape (n, 3)
        The original's code values.
    """

    encoding: Encoding
    codes: CodeValues

    @property
    def depth(self) -> int:
        """Bits per channel, 8 or 16."""
        return self.codes.dtype.itemsize * 8

    @cached_property
    def lab(self) -> Floats:
        """The original's L*a*b*, D65."""
        return lab_of(self.encoding.to_linear(self.codes))

    def of(self, change: Floats) -> Floats:
        """Bound of the difference to the original of a change on the 16-bit scale, shape (n,).

        Parameters
        ----------
        change : ndarray of float32, shape (n, 3)
            Of code values on the 16-bit scale; what leaves the file's range is clipped.

        Returns
        -------
        ndarray of float32, shape (n,)
            `ciede2000_bound`, 0 or more.
        """
        return self._differences(change, bound=True)

    def exactly(self, change: Floats) -> Floats:
        """CIEDE2000 itself of a change on the 16-bit scale, shape (n,).

        Parameters
        ----------
        change : ndarray of float32, shape (n, 3)
            Of code values on the 16-bit scale; what leaves the file's range is clipped.

        Returns
        -------
        ndarray of float32, shape (n,)
            0 or more.
        """
        return self._differences(change, bound=False)

    def at(self, where: npt.NDArray[np.intp]) -> Measure:
        """The same for some of the pixels.

        Parameters
        ----------
        where : ndarray of int, shape (m,)
            Indices into `codes`.

        Returns
        -------
        Measure
            Of m pixels, in that order.
        """
        return Measure(self.encoding, self.codes.take(where, axis=0))

    def _differences(self, change: Floats, *, bound: bool) -> Floats:
        fine = FINE_PER_CODE[self.depth]
        if isinstance(self.encoding, MatrixEncoding):
            found = np.empty(len(self.codes), np.float32)
            before, after = np.empty((2, 3, BLOCK), np.float32)
            tables = _ratios(self.encoding)
            _differences(tables, self.codes, fine, change, bound, before, after, found)
            return found
        after = np.clip(self.codes.astype(np.float32) * np.float32(fine) + change, 0, 65535)
        formula = ciede2000_bound if bound else ciede2000
        lab = lab_of(self.encoding.to_linear(np.rint(after).astype(np.uint16)))
        return np.asarray(formula(self.lab, lab), np.float32)


@lru_cache(maxsize=8)
def _ratios(encoding: MatrixEncoding) -> Floats:
    """What each 16-bit code value of each channel adds to X/Xn, Y/Yn, Z/Zn, (3, 65536, 3)."""
    light = encoding.light_tables(16).astype(np.float64)
    return np.asarray(light @ WORKING_TO_RATIO.T, np.float32)


@compiled
def _differences(
    ratios: Floats,
    codes: CodeValues,
    fine: int,
    change: Floats,
    bound: bool,
    before: Floats,
    after: Floats,
    found: Floats,
) -> None:
    """From tables to difference, block by block in the cache, most pixels several at a time."""
    for start in range(0, found.size, BLOCK):
        end = min(start + BLOCK, found.size)
        count = end - start
        _look_up(ratios, codes[start:end], fine, change[start:end], before, after)
        for axis in range(3):
            _compress(before[axis, :count])
            _compress(after[axis, :count])
        for i in range(count):
            found[start + i] = plain_difference(*_lab(before, i), *_lab(after, i))
        for i in range(count):
            if found[start + i] == ASK_AGAIN:
                found[start + i] = difference(*_lab(before, i), *_lab(after, i), bound)


@part_of_compiled
def _lab(roots: Floats, i: int) -> tuple[float, float, float]:
    x, y, z = roots[0, i], roots[1, i], roots[2, i]
    return 116 * y - 16, 500 * (x - y), 200 * (y - z)


@part_of_compiled
def _look_up(
    ratios: Floats, codes: CodeValues, fine: int, change: Floats, before: Floats, after: Floats
) -> None:
    """Ratios to white before and after, code values clipped to what a file can hold."""
    low, high = np.float32(0), np.float32(65535)
    for i in range(codes.shape[0]):
        r, g, b = codes[i, 0] * fine, codes[i, 1] * fine, codes[i, 2] * fine
        for axis in range(3):
            before[axis, i] = ratios[0, r, axis] + ratios[1, g, axis] + ratios[2, b, axis]
        r = np.int32(np.rint(min(max(np.float32(r) + change[i, 0], low), high)))
        g = np.int32(np.rint(min(max(np.float32(g) + change[i, 1], low), high)))
        b = np.int32(np.rint(min(max(np.float32(b) + change[i, 2], low), high)))
        for axis in range(3):
            after[axis, i] = ratios[0, r, axis] + ratios[1, g, axis] + ratios[2, b, axis]


@part_of_compiled
def _compress(ratio: Floats) -> None:
    """Cube root, straight in the dark (CIE 15:2018, 8.2.1), in place.

    Two steps of Halley's from a guess by the float's bits, as no library's root is done several at
    a time.
    """
    for i in range(ratio.size):
        value = ratio[i]
        lit = np.float32(max(value, DARK))
        bits = np.int32(np.int32(lit.view(np.int32) * np.float32(1 / 3)) + ROOT_START)
        root = bits.view(np.float32)
        for _ in range(2):
            cube = root * root * root
            root *= (cube + lit + lit) / (cube + cube + lit)
        ratio[i] = root if value > DARK else value * SLOPE + START
