"""The few values that are needed from an Exif block (CIPA DC-008, Exif 2.32)."""

from __future__ import annotations

from typing import Any

ORIENTATION_TAG = 0x0112
"""Tag that says how the stored picture must be turned (Exif and TIFF)."""

_EXIF_DIRECTORY, _INTEROPERABILITY_DIRECTORY, _INDEX_TAG = 0x8769, 0xA005, 1
"""Where the interoperability index stands (Exif 2.32, section 4.6.3)."""


def orientation_of(exif: bytes | None) -> int:
    """Orientation from an Exif block (TIFF header onwards), 1 where it holds none.

    Parameters
    ----------
    exif : bytes or None
        A broken block counts as none.

    Returns
    -------
    int
        1 to 8.
    """
    return valid_orientation(_value(exif, ORIENTATION_TAG))


def valid_orientation(value: object) -> int:
    """`value` where it is one of the eight orientations, else 1.

    Parameters
    ----------
    value : object
        What a file says.

    Returns
    -------
    int
        1 to 8.
    """
    return value if isinstance(value, int) and 1 <= value <= 8 else 1


def interoperability_of(exif: bytes | None) -> str | None:
    """The interoperability index: R98 for sRGB, R03 for Adobe RGB, None where there is none.

    Parameters
    ----------
    exif : bytes or None
        From the TIFF header onwards; a broken block counts as none.

    Returns
    -------
    str or None
    """
    value = _value(exif, _INDEX_TAG, _EXIF_DIRECTORY, _INTEROPERABILITY_DIRECTORY)
    return value.strip("\x00 ") if isinstance(value, str) else None


def _value(exif: bytes | None, tag: int, *directories: int) -> Any:
    """A tag's value in the main directory, or in one below it; None if anything is wrong."""
    if not exif:
        return None
    from PIL import Image

    block = Image.Exif()
    try:
        block.load(exif)
        values: Any = block
        for directory in directories:
            values = block.get_ifd(directory)
        return values.get(tag)
    except Exception:  # the parser raises whatever its arithmetic meets
        return None
