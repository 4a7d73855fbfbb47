"""Where the parser looks: the whole photograph once, and again at people it shows too small."""

from __future__ import annotations

import numpy as np

from evenhand.box import Box
from evenhand.people import parser
from evenhand.people.bodies import Body
from evenhand.people.faces import Head
from evenhand.people.parser import Parse, Parsing
from evenhand.people.person import Face
from evenhand.photo.photograph import Photograph

HEAD_IN_FACES = 1.35
"""Height of a head with its hair, in heights of its face."""

HEAD_IN_PROFILES = 1.55
"""Height of a head with its hair, in sides of the box around a face in profile."""

SMALL_WITH_BODY = 40.0
"""Pixels: a head smaller than this in the look at the whole photograph is looked at again with its
body, too."""

SUREST_HEAD = 0.6
"""Chance from which a head that only the parser sees is taken for one."""

SMALLEST_HEAD = 140.0
"""Pixels: the head of the smallest face that is looked for."""

SAME_PLACE = 0.3
"""Share of a face's box inside the parser's head from which the two are the same."""


def looks_at(frame: Parse, photograph: Photograph, head: Head, body: Body) -> Parsing:
    """The parser's answers that concern one person, coarse to close.

    Parameters
    ----------
    frame : Parse
        The answer for the whole photograph.
    photograph : Photograph
    head : Head
    body : Body
        A closer, upright look at it is added where its head is very small in the whole, or it lies.
    """
    share = parser.LOOK_SIDE / max(parser.LOOK_SIDE, *photograph.shape)
    size = HEAD_IN_FACES * head.face.box.height * share
    lying = round(head.face.roll / 90) % 4 != 0
    closer = []
    if size < SMALL_WITH_BODY or lying:
        closer.append(parser.parse(body.view))
    if size < parser.SMALL_HEAD and not lying:
        around = parser.around_head(_whole_head(head)).intersection(photograph.frame)
        closer.append(parser.look(photograph, around, parser.CROP_SIDE))
    return Parsing(frame, tuple(closer), ())


def _whole_head(head: Head) -> Box:
    """About where the head with its hair is."""
    box = head.face.box
    more = round((HEAD_IN_FACES - 1) * box.height)
    return Box(box.top - more, box.left - more // 2, box.bottom, box.right + more // 2)


def further_heads(frame: Parse, known: list[Head], bounds: Box) -> list[Head]:
    """Heads that only the parser sees: in full profile and from behind.

    Their faces have no landmarks; the detector's points are all put in the middle.
    """
    heads = []
    for seen in frame.heads:
        size = max(seen.box.height, seen.box.width)
        if seen.confidence >= SUREST_HEAD and size >= SMALLEST_HEAD and _is_new(seen, known):
            heads.append(_as_head(seen, bounds))
    return heads


def _is_new(seen: parser.Head, known: list[Head]) -> bool:
    return all(
        seen.box.intersection(head.face.box).area < SAME_PLACE * head.face.box.area
        for head in known
    )


def _as_head(seen: parser.Head, bounds: Box) -> Head:
    box = seen.box
    column, row = (box.left + box.right) / 2, (box.top + box.bottom) / 2
    middle = np.array([column, row], np.float32)
    half = max(box.height, box.width) / HEAD_IN_PROFILES / 2
    around = Box(round(row - half), round(column - half), round(row + half), round(column + half))
    face = Face(
        box=around.intersection(bounds),
        landmarks=np.zeros((0, 2), np.float32),
        roll=seen.roll,
        yaw=seen.yaw,
        confidence=seen.confidence,
    )
    return Head(face, np.tile(middle, (6, 1)))
