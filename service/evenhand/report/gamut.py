"""Whether sRGB, a screen's space, can show the colours of a photograph: a check for the report."""

from __future__ import annotations

import math

import numpy as np

from evenhand.colour.primaries import WORKING_TO_SRGB
from evenhand.photo.photograph import Photograph

SAMPLED = 100_000
"""Pixels looked at, evenly spread over the frame; own choice, a few milliseconds."""

TOLERANCE = 0.004
"""Linear light outside 0 to 1 that rounding to 8 bits hides: a code at white; own choice."""

TOLD = 0.001
"""Share of the pixels from which it is worth a note; own choice."""


def share_beyond_srgb(photograph: Photograph) -> float:
    """Share of the photograph's pixels, 0 to 1, whose colours lie outside sRGB.

    Parameters
    ----------
    photograph : Photograph
        Of a large one an even sample of pixels is looked at.

    Returns
    -------
    float
    """
    if photograph.profile is None:
        return 0.0
    step = max(1, math.ceil(math.sqrt(photograph.frame.area / SAMPLED)))
    codes = np.ascontiguousarray(photograph.pixels[::step, ::step])
    light = photograph.encoding.to_linear(codes) @ WORKING_TO_SRGB.T
    beyond = (light < -TOLERANCE) | (light > 1 + TOLERANCE)
    return float(beyond.any(axis=-1).mean())


def gamut_notes(photograph: Photograph) -> list[str]:
    """What to say of colours that pictures for the screen cannot show; nothing where they can.

    Parameters
    ----------
    photograph : Photograph

    Returns
    -------
    list of str
        At most one sentence.
    """
    share = share_beyond_srgb(photograph)
    if share < TOLD:
        return []
    return [
        f"{100 * share:.1f} % of the photograph lie outside sRGB: pictures for the screen, such as "
        "the before/after picture, cannot show these colours; the result keeps them."
    ]
