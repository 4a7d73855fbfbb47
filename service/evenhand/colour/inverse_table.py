"""Fast inverse of a tone curve: a table whose cells are as fine in the dark as in the light."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from evenhand.colour.icc import ToneCurve

CELL_BITS = 11
# A doubling of light has 2^11 cells: even a tone curve of 1024 rounded entries errs by under 0.1
# of a 16-bit code value.

DARKEST = 2.0**-40
# Light at which the table begins; a 16-bit gamma of 2.2 has its first code at 2^-35.


SHIFT = 23 - CELL_BITS
# Bits of a float32 below those that count cells.

FIRST_CELL = int(np.float32(DARKEST).view(np.int32)) >> SHIFT
# Upper bits of the darkest light.


class InverseTable:
    """Device values of linear light, looked up by the bits of the float and interpolated.

    The upper bits of a positive float32 count cells of equal ratio, so the index costs a shift.

    Attributes
    ----------
    start, slope : ndarray of float32, shape (cells,)
        Device value where a cell begins, and its growth for each step of the float's lower bits.
    """

    def __init__(self, curve: ToneCurve) -> None:
        last = int(np.float32(1.0).view(np.int32)) >> SHIFT
        edges = np.arange(FIRST_CELL, last + 2, dtype=np.int32) << SHIFT
        device = curve.device(edges.view(np.float32).astype(np.float64))
        device[0] = curve.device(np.zeros(1))[0]
        self.start = device[:-1].astype(np.float32)
        self.slope = (np.diff(device) * 2.0**-SHIFT).astype(np.float32)

    def device(self, linear: npt.NDArray[np.float32]) -> npt.NDArray[np.float32]:
        """Device values in [0, 1] of linear light, any shape; light is clipped, NaN kept.

        Parameters
        ----------
        linear : ndarray of float32

        Returns
        -------
        ndarray of float32, same shape
        """
        clipped = np.clip(linear, np.float32(DARKEST), np.float32(1.0))
        bits = clipped.view(np.int32)
        cell = (bits >> SHIFT) - FIRST_CELL
        within = (bits & ((1 << SHIFT) - 1)).astype(np.float32)
        within *= self.slope.take(cell, mode="clip")
        within += self.start.take(cell, mode="clip")
        np.minimum(within, np.float32(1.0), out=within)
        within[np.isnan(linear)] = np.nan
        return within
