"""Where the parser looks: the whole photograph once, small bodies again, and every head closely."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from evenhand.box import Box
from evenhand.people import parser
from evenhand.people.faces import Head
from evenhand.people.parser import Parse, Parsing, Part
from evenhand.people.person import Face
from evenhand.people.views import aligned, inverse, reduced
from evenhand.photo.photograph import Photograph

HEAD_IN_FACES = 1.35
"""Height of a head with its hair, in heights of its face."""

HEAD_IN_PROFILES = 1.55
"""Height of a head with its hair, in sides of the box around a face in profile."""

LYING = 35.0
"""Degrees of roll from which a head is looked at upright: training turned few pictures further."""

BODY_SEEN = 0.6
"""Share of the photograph's longer side below which a body is looked at again."""

BODY_DOWN, BODY_UP, BODY_ASIDE = 7.5, 2.0, 2.5
"""How far a body reaches from the middle of its head, in heights of the head, arms raised or spread
included; from the proportions of adults, seven and a half heads tall (common practice)."""

MOST_CLOSER = 6
"""Closer looks at heads and as many at bodies, at the largest ones first."""

SUREST_HEAD = 0.6
"""Chance from which a head that only the parser sees is taken for one."""

SMALLEST_HEAD = 140.0
"""Pixels: the head of the smallest face that is looked for."""

HEAD_PARTS = (
    *(Part.FACE, Part.NECK, Part.EAR, Part.EYE, Part.BROW, Part.LIP, Part.MOUTH, Part.NOSTRIL),
    *(Part.HAIR, Part.BEARD, Part.GLASSES, Part.INK),
)
"""What a head consists of."""

LEAST_OF_HEAD, SEEN_FROM = 0.4, 12.0
"""Share of a face's box that the parser must see as parts of a head, where the face is so many
pixels high in its look. Of the odd photographs the least of a true face is .77; the hub of a wheel
that was taken for a face has .25."""

SAME_PLACE = 0.3
"""Share of a face's box inside the parser's head from which the two are the same."""


def looked_at(photograph: Photograph, frame: Parse, heads: Sequence[Head]) -> Parsing:
    """The parser's answers for the photograph: the whole, then small bodies, then every head.

    Parameters
    ----------
    photograph : Photograph
    frame : Parse
        The answer for the whole photograph.
    heads : sequence of Head

    Returns
    -------
    Parsing
        Coarser looks first.
    """
    largest = sorted(heads, key=lambda head: -head.face.box.area)
    bodies = [body for head in largest if _is_small(body := _body(head, photograph), photograph)]
    looks = [parser.look(photograph, body) for body in bodies[:MOST_CLOSER]]
    looks += [_at_head(photograph, head) for head in largest[:MOST_CLOSER]]
    return Parsing(frame, tuple(looks), ())


def head_height(head: Head) -> float:
    """Height of the head with its hair in pixels of the photograph.

    Parameters
    ----------
    head : Head

    Returns
    -------
    float
    """
    share = HEAD_IN_FACES if len(head.face.landmarks) else HEAD_IN_PROFILES
    return share * max(head.face.box.height, 1)


def middle_of(head: Head) -> npt.NDArray[np.float64]:
    """Middle (column, row) of the face.

    Parameters
    ----------
    head : Head

    Returns
    -------
    ndarray of float64, shape (2,)
        Pixels of the photograph.
    """
    box = head.face.box
    return np.array([(box.left + box.right) / 2, (box.top + box.bottom) / 2])


def down_from(head: Head) -> npt.NDArray[np.float64]:
    """Unit vector (column, row) from crown to chin in the picture.

    Parameters
    ----------
    head : Head

    Returns
    -------
    ndarray of float64, shape (2,)
    """
    roll = np.radians(head.face.roll)
    return np.array([-np.sin(roll), np.cos(roll)])


def _body(head: Head, photograph: Photograph) -> Box:
    """Where the body of a head may be."""
    size, middle, down = head_height(head), middle_of(head), down_from(head)
    aside = np.array([-down[1], down[0]])
    ends = [
        middle + size * (along * down + across * aside)
        for along in (-BODY_UP, BODY_DOWN)
        for across in (-BODY_ASIDE, BODY_ASIDE)
    ]
    left, top = np.min(ends, axis=0)
    right, bottom = np.max(ends, axis=0)
    return Box(round(top), round(left), round(bottom), round(right)).intersection(photograph.frame)


def _is_small(body: Box, photograph: Photograph) -> bool:
    return max(body.height, body.width) < BODY_SEEN * max(photograph.shape)


def _at_head(photograph: Photograph, head: Head) -> Parse:
    """The closer look at a head; upright, if it lies."""
    side = parser.CROP_HEADS * head_height(head)
    middle = middle_of(head)
    if abs(head.face.roll) > LYING:
        roll = head.face.roll
        view = aligned(photograph, middle, side, roll, parser.CROP_SIDE)
        return parser.parse(view)
    top, left = round(middle[1] - side / 2), round(middle[0] - side / 2)
    around = Box(top, left, top + round(side), left + round(side)).intersection(photograph.frame)
    return parser.parse(reduced(photograph, around, parser.CROP_SIDE))


def confirmed(frame: Parse, heads: Sequence[Head]) -> list[Head]:
    """The heads less those that the parser's look at the whole photograph sees as something else.

    Faces too small for that look are all kept.

    Parameters
    ----------
    frame : Parse
        The answer for the whole photograph.
    heads : sequence of Head

    Returns
    -------
    list of Head
    """
    return [head for head in heads if _is_head(frame, head)]


def _is_head(frame: Parse, head: Head) -> bool:
    box = head.face.box
    to_look = inverse(frame.to_photograph)
    ends = np.array([[box.left, box.top], [box.right, box.bottom]]) @ to_look[:, :2].T
    (left, top), (right, bottom) = np.rint(ends + to_look[:, 2]).astype(int)
    if bottom - top < SEEN_FROM / parser.ANSWER_STEP:
        return True
    inside = frame.probability[:, max(top, 0) : bottom + 1, max(left, 0) : right + 1]
    return float(inside[list(HEAD_PARTS)].sum(axis=0).mean()) >= LEAST_OF_HEAD


def further_heads(frame: Parse, known: list[Head], bounds: Box) -> list[Head]:
    """Heads that only the parser sees: in full profile and from behind.

    Their faces have no landmarks; the detector's points are all put in the middle.

    Parameters
    ----------
    frame : Parse
        The answer for the whole photograph.
    known : list of Head
        Found already.
    bounds : Box
        Of the photograph.

    Returns
    -------
    list of Head
        Those that are not known.
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
