"""The parts of an ICC profile that a matrix profile consists of: tone curves and colorants."""

from __future__ import annotations

import struct
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Reals = npt.NDArray[np.float64]

HEADER_BYTES = 128
# Length of the header, after which the tag table begins (ICC.1:2022, 7.2).

SIGNATURE_AT = 36
# Where the header says "acsp" (ICC.1:2022, 7.2).

CURVE_TAGS = (b"rTRC", b"gTRC", b"bTRC")
# Tone curves of the three channels (ICC.1:2022, 9.2).

COLORANT_TAGS = (b"rXYZ", b"gXYZ", b"bXYZ")
# XYZ of the three channels at full value, D50 (ICC.1:2022, 9.2).

TABLE_TAGS = (b"A2B0", b"A2B1", b"D2B0", b"D2B1")
# A profile with one of these is read by its table, not by its matrix (ICC.1:2022, 8.10).

PARAMETRIC_COUNTS = {0: 1, 1: 3, 2: 4, 3: 5, 4: 7}
# Number of parameters of each parametric curve (ICC.1:2022, 10.18, table 68).


@dataclass(frozen=True)
class ToneCurve:
    """Monotone map from a device value in [0, 1] to linear light.

    Attributes
    ----------
    samples : ndarray of float64, shape (n,)
        Linear light at n evenly spaced device values; empty for a parametric curve.
    parameters : tuple of float
        ``g, a, b, c, d, e, f`` of ``(a x + b)^g + e`` for x >= d, else ``c x + f``.
    """

    samples: Reals
    parameters: tuple[float, float, float, float, float, float, float] = (1, 1, 0, 0, 0, 0, 0)

    def linear(self, device: Reals) -> Reals:
        """Linear light of device values in [0, 1], any shape.

        Parameters
        ----------
        device : ndarray of float64

        Returns
        -------
        ndarray of float64, same shape
            In [0, 1].
        """
        if self.samples.size:
            positions = np.linspace(0.0, 1.0, self.samples.size)
            return np.interp(device, positions, self.samples)
        g, a, b, c, d, e, f = self.parameters
        power = np.maximum(a * device + b, 0.0) ** g + e
        return np.clip(np.where(device >= d, power, c * device + f), 0.0, 1.0)

    def device(self, linear: Reals) -> Reals:
        """Device value in [0, 1] of linear light, any shape; the inverse of `linear`.

        Parameters
        ----------
        linear : ndarray of float64
            Light outside the curve's range is taken as its nearest end.

        Returns
        -------
        ndarray of float64, same shape
        """
        if self.samples.size:
            positions = np.linspace(0.0, 1.0, self.samples.size)
            return np.interp(linear, self.samples, positions)
        g, a, b, c, d, e, f = self.parameters
        power = (np.maximum(linear - e, 0.0) ** (1.0 / g) - b) / a
        straight = (linear - f) / c if c else np.zeros_like(linear)
        threshold = np.maximum(a * d + b, 0.0) ** g + e
        return np.clip(np.where(linear >= threshold, power, straight), 0.0, 1.0)

    @property
    def usable(self) -> bool:
        """Whether the curve rises from dark to light and can be inverted."""
        linear = self.linear(np.linspace(0.0, 1.0, 4097))
        return bool(
            np.isfinite(linear).all() and (np.diff(linear) >= 0).all() and linear[-1] > linear[0]
        )


def tags_of(profile: bytes) -> dict[bytes, bytes]:
    """Tags of an ICC profile by signature; those that point outside the profile are left out.

    Parameters
    ----------
    profile : bytes

    Returns
    -------
    dict of bytes to bytes
        Signature of four bytes, and the tag's data with its type.

    Raises
    ------
    ValueError
        Where the bytes are no ICC profile.
    """
    if len(profile) < HEADER_BYTES + 4 or profile[SIGNATURE_AT : SIGNATURE_AT + 4] != b"acsp":
        raise ValueError("no ICC profile")
    (count,) = struct.unpack_from(">I", profile, HEADER_BYTES)
    tags = {}
    for at in range(HEADER_BYTES + 4, min(HEADER_BYTES + 4 + 12 * count, len(profile) - 11), 12):
        signature, offset, size = struct.unpack_from(">4sII", profile, at)
        if offset + size <= len(profile):
            tags[signature] = profile[offset : offset + size]
    return tags


def matrix_parts(profile: bytes) -> tuple[tuple[ToneCurve, ...], Reals] | None:
    """Tone curves and colorants of a matrix profile, None for a profile of another kind.

    Parameters
    ----------
    profile : bytes

    Returns
    -------
    curves : tuple of three ToneCurve
    colorants : ndarray of float64, shape (3, 3)
        Column c is the XYZ (D50) of channel c at full value.

    Raises
    ------
    ValueError
        The bytes are no ICC profile.
    """
    tags = tags_of(profile)
    wanted = (*CURVE_TAGS, *COLORANT_TAGS)
    if profile[20:24] != b"XYZ " or any(tag in tags for tag in TABLE_TAGS):
        return None
    if any(tag not in tags for tag in wanted):
        return None
    try:
        by_bytes = {tags[tag]: _tone_curve(tags[tag]) for tag in CURVE_TAGS}
        curves = tuple(by_bytes[tags[tag]] for tag in CURVE_TAGS)
        colorants = np.stack([_colorant(tags[tag]) for tag in COLORANT_TAGS], axis=1)
    except (ValueError, struct.error):
        return None
    if abs(np.linalg.det(colorants)) < 1e-4 or not all(curve.usable for curve in curves):
        return None
    return curves, colorants


def _tone_curve(tag: bytes) -> ToneCurve:
    kind = tag[:4]
    if kind == b"curv":
        (count,) = struct.unpack_from(">I", tag, 8)
        entries = np.array(struct.unpack_from(f">{count}H", tag, 12), np.float64)
        if count == 0:
            return ToneCurve(np.empty(0))
        if count == 1:
            return ToneCurve(np.empty(0), (entries[0] / 256.0, 1, 0, 0, 0, 0, 0))
        return ToneCurve(entries / 65535.0)
    if kind != b"para":
        raise ValueError("unknown kind of tone curve")
    (function,) = struct.unpack_from(">H", tag, 8)
    if function not in PARAMETRIC_COUNTS:
        raise ValueError("unknown parametric curve")
    given = [v / 65536.0 for v in struct.unpack_from(f">{PARAMETRIC_COUNTS[function]}i", tag, 12)]
    return ToneCurve(np.empty(0), _parameters(function, given))


def _parameters(
    function: int, given: list[float]
) -> tuple[float, float, float, float, float, float, float]:
    """Parameters of every parametric curve in the form of the last one."""
    g = given[0]
    if function == 0:
        return g, 1, 0, 0, 0, 0, 0
    a, b = given[1:3]
    if g <= 0 or a <= 0:
        raise ValueError("parametric curve that cannot be inverted")
    if function == 1:
        return g, a, b, 0, -b / a, 0, 0
    if function == 2:
        return g, a, b, 0, -b / a, given[3], given[3]
    c, d = given[3:5]
    e, f = given[5:7] if function == 4 else (0.0, 0.0)
    return g, a, b, c, d, e, f


def _colorant(tag: bytes) -> Reals:
    if tag[:4] != b"XYZ ":
        raise ValueError("colorant is not XYZ")
    return np.array(struct.unpack_from(">3i", tag, 8), np.float64) / 65536.0
