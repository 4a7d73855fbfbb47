"""How a file's code values map to linear light and back, from its ICC profile."""

from __future__ import annotations

from typing import Protocol

import numpy as np
import numpy.typing as npt


class Encoding(Protocol):
    """Two-way map between a file's RGB code values and the working space.

    The working space is linear light on Rec. 2020 primaries with a D65 white, float32, 1.0 for the
    file's white, neither clipped below 0 nor above 1.
    """

    def to_linear(self, code_values: npt.NDArray[np.generic]) -> npt.NDArray[np.float32]:
        """Linear light of uint8 or uint16 code values, shape (..., 3)."""
        ...

    def from_linear(
        self, linear: npt.NDArray[np.float32], white: int
    ) -> npt.NDArray[np.float32]:
        """Real-valued code values in [0, white] nearest to `linear`, not rounded, (..., 3)."""
        ...


def encoding_of(profile: bytes | None) -> Encoding:
    """Encoding for an ICC profile; sRGB where there is none."""
    raise NotImplementedError
