"""How the pages show a file's codes: they paint in sRGB, the file may have any profile."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

from evenhand.colour.encoding import Encoding, MatrixEncoding
from evenhand.colour.primaries import WORKING_TO_SRGB
from evenhand.web.models import DisplayColoursOut

STEPS = 33
"""Steps of each channel in a table; 17 left a demo portrait three codes off, these one."""

SAME = 0.5
"""A file whose colours lie within so many codes of sRGB is shown as it is."""

Floats = npt.NDArray[np.float64]


def display_colours(encoding: Encoding) -> DisplayColoursOut:
    """How codes of an encoding become sRGB, as the pages compute it.

    Light of three curves and a matrix adds up, channel by channel, so that a page is exact with
    three small tables; a profile of tables is sampled.

    Parameters
    ----------
    encoding : Encoding

    Returns
    -------
    DisplayColoursOut
        Nothing but its kind where codes are sRGB already.
    """
    steps = np.rint(np.linspace(0, 65535, STEPS)).astype(np.uint16)
    blue, green, red = np.meshgrid(steps, steps, steps, indexing="ij")
    grid = np.stack([red, green, blue], axis=-1)
    shown = _encoded(encoding.to_linear(grid) @ WORKING_TO_SRGB.T)
    if np.abs(np.clip(shown, 0, 1) - grid / 65535).max() <= SAME / 255:
        return DisplayColoursOut(kind="same", values=[])
    if isinstance(encoding, MatrixEncoding):
        return DisplayColoursOut(kind="light", values=_listed(_light(encoding), 8))
    return DisplayColoursOut(kind="table", values=_listed(shown, 4))


def _light(encoding: MatrixEncoding) -> Floats:
    light: Floats = encoding.light_tables(8) @ WORKING_TO_SRGB.T
    return light


def _encoded(light: Floats) -> Floats:
    """Values of sRGB, 0 to 1 and beyond (IEC 61966-2-1, carried on below zero by symmetry)."""
    size = np.abs(light)
    encoded = np.where(size <= 0.0031308, 12.92 * size, 1.055 * size ** (1 / 2.4) - 0.055)
    signed: Floats = np.copysign(encoded, light)
    return signed


def _listed(values: Floats, places: int) -> list[Any]:
    listed: list[Any] = values.round(places).ravel().tolist()
    return listed
