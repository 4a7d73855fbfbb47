"""How a file's code values map to linear light and back, from its ICC profile."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property, lru_cache, partial
from typing import Protocol

import numpy as np
import numpy.typing as npt

from evenhand.colour.icc import ToneCurve, matrix_parts
from evenhand.colour.in_chunks import Planes, map_pixels
from evenhand.colour.inverse_table import InverseTable
from evenhand.colour.primaries import (
    D50_TO_D65,
    PRIMARIES_SRGB,
    WHITE_D65_XY,
    XYZ_TO_WORKING,
    rgb_to_xyz,
)
from evenhand.errors import UnreadablePhotographError, UnsupportedPhotographError

CodeValues = npt.NDArray[np.uint8] | npt.NDArray[np.uint16]

SRGB_CURVE = ToneCurve(np.empty(0), (2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045, 0.0, 0.0))
# Tone curve of sRGB (IEC 61966-2-1:1999).


class Encoding(Protocol):
    """Two-way map between a file's RGB code values and the working space.

    The working space is linear light on Rec. 2020 primaries with a D65 white, float32, 1.0 for the
    file's white, neither clipped below 0 nor above 1.
    """

    def to_linear(self, code_values: CodeValues) -> npt.NDArray[np.float32]:
        """Linear light of uint8 or uint16 code values, shape (..., 3).

        Parameters
        ----------
        code_values : ndarray of uint8 or uint16, shape (..., 3)

        Returns
        -------
        ndarray of float32, shape (..., 3)

        Raises
        ------
        TypeError
            The code values are of another type.
        """
        ...

    def from_linear(self, linear: npt.NDArray[np.float32], white: int) -> npt.NDArray[np.float32]:
        """Real-valued code values in [0, white] nearest to `linear`, not rounded, (..., 3).

        Parameters
        ----------
        linear : ndarray of float32, shape (..., 3)
            Working light, unbounded.
        white : int
            Largest code value: 255 or 65535.

        Returns
        -------
        ndarray of float32, shape (..., 3)
        """
        ...

    def __hash__(self) -> int:
        """Tables worked out for an encoding are kept by it."""
        ...


@lru_cache(maxsize=8)
def encoding_of(profile: bytes | None) -> Encoding:
    """Encoding for an ICC profile; sRGB where there is none.

    Parameters
    ----------
    profile : bytes or None
        An ICC profile of RGB data, matrix or table.

    Returns
    -------
    Encoding
        A `MatrixEncoding` for a matrix profile and for none, else by the profile's tables.

    Raises
    ------
    UnreadablePhotographError
        The profile is broken.
    UnsupportedPhotographError
        The profile is sound but describes other data than RGB.
    """
    if profile is None:
        return MatrixEncoding(
            (SRGB_CURVE,) * 3, XYZ_TO_WORKING @ rgb_to_xyz(PRIMARIES_SRGB, WHITE_D65_XY)
        )
    if len(profile) >= 40 and profile[36:40] == b"acsp" and profile[16:20] != b"RGB ":
        kind = profile[16:20].decode("latin-1").strip()
        raise UnsupportedPhotographError(
            f"The colour profile is for {kind} data, not for RGB.",
            "Convert the photograph to RGB and embed the matching profile.",
        )
    try:
        parts = matrix_parts(profile)
        if parts is not None:
            curves, colorants = parts
            return MatrixEncoding(curves, XYZ_TO_WORKING @ D50_TO_D65 @ colorants)
        from evenhand.colour.table_encoding import TableEncoding

        return TableEncoding(profile)
    except ValueError as fault:
        raise UnreadablePhotographError(
            f"The colour profile in the file is broken ({fault}).",
            "Embed a sound profile, or take the profile out so that sRGB is assumed.",
        ) from fault


@dataclass(frozen=True, eq=False)
class MatrixEncoding:
    """An encoding of three tone curves and one matrix.

    Attributes
    ----------
    curves : tuple of three ToneCurve
        From device values in [0, 1] to linear light of the file's own primaries.
    matrix : ndarray of float64, shape (3, 3)
        From linear light of the file's own primaries to the working space.
    """

    curves: tuple[ToneCurve, ...]
    matrix: npt.NDArray[np.float64]

    def to_linear(self, code_values: CodeValues) -> npt.NDArray[np.float32]:
        """Linear light of uint8 or uint16 code values, shape (..., 3).

        Parameters
        ----------
        code_values : ndarray of uint8 or uint16, shape (..., 3)

        Returns
        -------
        ndarray of float32, shape (..., 3)

        Raises
        ------
        TypeError
            The code values are of another type.
        """
        if code_values.dtype not in (np.uint8, np.uint16):
            raise TypeError(f"code values must be uint8 or uint16, not {code_values.dtype}")
        tables = self.light_tables(code_values.dtype.itemsize * 8)
        linear: npt.NDArray[np.float32] = tables[0].take(code_values[..., 0], axis=0, mode="clip")
        linear += tables[1].take(code_values[..., 1], axis=0, mode="clip")
        linear += tables[2].take(code_values[..., 2], axis=0, mode="clip")
        return linear

    def light_tables(self, depth: int) -> npt.NDArray[np.float32]:
        """What each code value of each channel adds to the working colour, (3, codes, 3).

        Parameters
        ----------
        depth : int
            Bits per channel, 8 or 16.

        Returns
        -------
        ndarray of float32, shape (3, 2 ** depth, 3)
            By channel, code value, working primary; a pixel's light is the sum over its channels.
        """
        return self._tables8 if depth == 8 else self._tables16

    def from_linear(self, linear: npt.NDArray[np.float32], white: int) -> npt.NDArray[np.float32]:
        """Real-valued code values in [0, white] nearest to `linear`, not rounded, (..., 3).

        Parameters
        ----------
        linear : ndarray of float32, shape (..., 3)
            Working light, unbounded.
        white : int
            Largest code value: 255 or 65535.

        Returns
        -------
        ndarray of float32, shape (..., 3)

        Raises
        ------
        ValueError
            The last axis is not 3 long.
        """
        return map_pixels(partial(self._code_planes, np.float32(white)), linear, channels=3)

    def _code_planes(self, white: np.float32, *light: npt.NDArray[np.float32]) -> Planes:
        """Code values of the three planes of working light."""
        own = [row[0] * light[0] + row[1] * light[1] + row[2] * light[2] for row in self._to_own]
        tables = self._inverses
        return tuple(white * table.device(plane) for table, plane in zip(tables, own, strict=True))

    @cached_property
    def _to_own(self) -> npt.NDArray[np.float32]:
        return np.linalg.inv(self.matrix).astype(np.float32)

    @cached_property
    def _tables8(self) -> npt.NDArray[np.float32]:
        return self._tables(256)

    @cached_property
    def _tables16(self) -> npt.NDArray[np.float32]:
        return self._tables(65536)

    def _tables(self, codes: int) -> npt.NDArray[np.float32]:
        device = np.linspace(0.0, 1.0, codes)
        light = [
            np.outer(curve.linear(device), column)
            for curve, column in zip(self.curves, self.matrix.T, strict=True)
        ]
        return np.stack(light).astype(np.float32)

    @cached_property
    def _inverses(self) -> tuple[InverseTable, ...]:
        by_curve = {id(curve): InverseTable(curve) for curve in self.curves}
        return tuple(by_curve[id(curve)] for curve in self.curves)
