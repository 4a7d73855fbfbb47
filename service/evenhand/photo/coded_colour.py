"""Colour spaces that a file names by codes or numbers instead of an ICC profile, as profiles.

Coded primaries and curves (ITU-T H.273) stand in HEIF, AVIF and PNG files; PNG has numbers of its
own besides; cameras mark Adobe RGB in Exif only (DCF 2.0, section 3.2.2).
"""

from __future__ import annotations

from functools import cache

import imagecodecs
import numpy as np

from evenhand.errors import UnsupportedPhotographError

Chromaticities = tuple[float, float, float, float, float, float]

SRGB: Chromaticities = (0.64, 0.33, 0.30, 0.60, 0.15, 0.06)
_PRIMARIES: dict[int, Chromaticities] = {
    9: (0.708, 0.292, 0.170, 0.797, 0.131, 0.046),
    12: (0.680, 0.320, 0.265, 0.690, 0.150, 0.060),
}
"""Chromaticities of red, green and blue: of sRGB, and by code of Rec. 2020 and Display P3."""

_ADOBE_RGB: Chromaticities = (0.64, 0.33, 0.21, 0.71, 0.15, 0.06)
_ADOBE_GAMMA = 563 / 256
"""Adobe RGB (1998), sections 4.3.1.1 and 4.3.1.2."""

D65 = (0.3127, 0.3290)
"""Chromaticity of the white of all these."""

_DATE, _FIXED_DATE = slice(24, 36), bytes.fromhex("07d000010001000000000000")
"""Where a profile says when it was made (ICC.1:2022, section 7.2.1), and what ours say: always the
same, so that the same photograph gives the same result."""

_LINEAR_CURVE = 8
_HIGH_DYNAMIC_RANGE = {16: "PQ", 18: "HLG"}
"""Transfer characteristics (H.273, table 3)."""


def coded_profile(primaries: int, transfer: int, name: str) -> bytes | None:
    """A profile for coded primaries and curve; None for sRGB and for codes that say nothing.

    Parameters
    ----------
    primaries, transfer : int
        Codes of ITU-T H.273, tables 2 and 3.
    name : str
        The file's name, for messages.

    Returns
    -------
    bytes or None
        An ICC profile.

    Raises
    ------
    UnsupportedPhotographError
        The curve is one of high dynamic range.
    """
    if transfer in _HIGH_DYNAMIC_RANGE:
        raise UnsupportedPhotographError(
            f"{name} is a high dynamic range picture ({_HIGH_DYNAMIC_RANGE[transfer]}).",
            "Save it as an ordinary photograph, or as 16-bit TIFF.",
        )
    if transfer == _LINEAR_CURVE:
        return gamma_profile(_PRIMARIES.get(primaries, SRGB), D65, 1.0)
    if primaries not in _PRIMARIES:
        return None
    return _srgb_curve_profile(_PRIMARIES[primaries])


def adobe_rgb_profile() -> bytes:
    """A profile of Adobe RGB (1998)."""
    return gamma_profile(_ADOBE_RGB, D65, _ADOBE_GAMMA)


@cache
def gamma_profile(primaries: Chromaticities, white: tuple[float, float], gamma: float) -> bytes:
    """A profile of given primaries and white, whose linear light is the code to the `gamma`.

    Parameters
    ----------
    primaries : tuple of six float
        x and y of red, green and blue.
    white : tuple of float
        x and y.
    gamma : float
        1 for linear codes.

    Returns
    -------
    bytes
        An ICC profile, the same bytes every time.
    """
    return with_fixed_date(
        imagecodecs.cms_profile(
            "rgb", whitepoint=(*white, 1.0), primaries=_with_luminance(primaries), gamma=gamma
        )
    )


def with_fixed_date(profile: bytes) -> bytes:
    """A profile that was just made, without the time of it.

    Parameters
    ----------
    profile : bytes

    Returns
    -------
    bytes
    """
    dated = bytearray(profile)
    dated[_DATE] = _FIXED_DATE
    return bytes(dated)


@cache
def _srgb_curve_profile(primaries: Chromaticities) -> bytes:
    code = np.linspace(0, 1, 1024)
    linear = np.where(code <= 0.04045, code / 12.92, ((code + 0.055) / 1.055) ** 2.4)
    return with_fixed_date(
        imagecodecs.cms_profile(
            "rgb",
            whitepoint=(*D65, 1.0),
            primaries=_with_luminance(primaries),
            transferfunction=linear.astype(np.float32),
        )
    )


def _with_luminance(primaries: Chromaticities) -> list[float]:
    return [value for i in range(0, 6, 2) for value in (primaries[i], primaries[i + 1], 1.0)]
