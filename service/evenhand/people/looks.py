"""Where the parser looks: the whole photograph once, then each person and each head."""

from __future__ import annotations

import numpy as np

from evenhand.people.bodies import Body
from evenhand.people.faces import Head
from evenhand.people.parser import CROP_HEADS, CROP_SIDE, FRAME_SIDE, Parse, Parsing, parse
from evenhand.people.views import aligned, smaller
from evenhand.photo.photograph import Photograph

MUCH_OF_THE_FRAME = 0.6
"""Share of the photograph's longer side from which a closer look shows nothing new."""

UPRIGHT = 20.0
"""Degrees of roll up to which the whole photograph shows a head well enough."""

HEAD_IN_FACES = 1.35
"""Height of a head with its hair, in heights of its face."""

HEAD_ABOVE_FACE = 0.12
"""The middle of a head lies this far above the middle of its face, in heights of the face."""


def looks_at(photograph: Photograph, frame: Parse, head: Head, body: Body) -> Parsing:
    """The parser's answers that concern one person, coarse to close.

    Parameters
    ----------
    photograph : Photograph
    frame : Parse
        The answer for the whole photograph.
    head : Head
    body : Body
    """
    longest = max(photograph.shape)
    closer = []
    view = body.view
    reach = max(view.pixels.shape) * view.pixel_size
    lying = round(head.face.roll / 90) % 4 != 0
    if lying or reach < MUCH_OF_THE_FRAME * longest:
        closer.append(parse(smaller(view, max(view.pixels.shape) // FRAME_SIDE)))
    box = head.face.box
    face = max(box.height, box.width)
    side = CROP_HEADS * HEAD_IN_FACES * face
    tilted = abs(head.face.roll) > UPRIGHT
    if tilted or side < MUCH_OF_THE_FRAME * longest:
        roll = np.radians(head.face.roll)
        upwards = np.array([np.sin(roll), -np.cos(roll)])
        middle = np.array([(box.left + box.right) / 2, (box.top + box.bottom) / 2])
        centre = middle + HEAD_ABOVE_FACE * face * upwards
        crop = aligned(photograph, centre, side, head.face.roll, CROP_SIDE)
        closer.append(parse(crop))
    return Parsing(frame, tuple(closer), ())
