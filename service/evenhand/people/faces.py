"""Finds faces of any size and turn: a search on reduced views, then a mesh on an upright crop."""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from itertools import chain

import cv2
import numpy as np

from evenhand.box import Box
from evenhand.people.networks import (
    Detection,
    Points,
    detect_far,
    detect_near,
    face_mesh,
)
from evenhand.people.person import Face
from evenhand.people.views import View, aligned, part, quarter_turned, reduced, smaller
from evenhand.photo.photograph import Photograph

SMALLEST_FACE = 100.0
"""Pixels from brow to chin: smaller faces show no skin texture worth a step."""

SEARCH_SIZE = 1500
"""Pixels along the longer side of the reduced copy that is searched in tiles."""

GLANCE_SIZE = 375
"""Pixels, at least, along the longer side of the copy searched whole; the networks read 192."""

SMALLEST_SHARE = 1 / 15
"""Least share of a view's side that a face must fill for the far detector to find it (measured:
25 of 28 turned and 15 of 18 frontal heads at 0.06, all but one at 0.09)."""

LARGEST_TILED_SHARE = 0.3
"""Overlap of tiles: a face up to this share of a tile lies whole in one of them; larger ones are
found on the whole frame."""

FLAT = 5.0
"""Code values of 8 bit: a tile with less contrast than this shows a backdrop or the sky."""

CROP_SIDE = 2.2
"""Side of the upright crop around a hit, in sides of the detector's square."""

CROP_SIZE = 384
"""Pixels of that crop: about twice what the mesh network reads, so nothing it could use is lost."""

PROFILE_SCORE = 0.75
"""Least score of the near detector on the upright crop for a head on which no mesh fits: profiles
score 0.8 and more, backs of heads below 0.7."""

SURE_SCORE = 0.85
"""Score of the near detector from which a crop need not be tried in other turns."""

STEEPEST_YAW = 70.0
"""Degrees: beyond this the far half of the mesh is guessed, so the face counts as in profile."""

PROFILE_SIDE = 1.2
"""Side of the box around a face in profile, in sides of the detector's square."""

RIGHT_EYE_CORNER, LEFT_EYE_CORNER = 33, 263
"""Outer eye corners in the face mesh, the person's own right and left."""


@dataclass(frozen=True)
class Head:
    """A face with the detector's own points, which are there in profile too.

    Attributes
    ----------
    face : Face
    points : ndarray of float32, shape (6, 2)
        Right eye, left eye, nose tip, mouth, right ear, left ear in pixels of the photograph.
    """

    face: Face
    points: Points


@dataclass(frozen=True)
class Hit:
    """A place where a detector saw a face, in pixels of the photograph."""

    centre: Points
    side: float
    roll: float
    score: float
    points: Points


def find_heads(photograph: Photograph) -> list[Head]:
    """Every face in the photograph, left to right.

    Parameters
    ----------
    photograph : Photograph
        Upright; its subjects may be turned by any angle.

    Returns
    -------
    list of Head
        Faces at least about 100 px tall. Heads in profile, on which no mesh fits, have empty
        landmarks. Empty if there is none.
    """
    search = reduced(photograph, photograph.frame, SEARCH_SIZE)
    confirmed = _confirmed(photograph, search, _search_coarsely(search) + _search_tiles(search))
    if not confirmed:
        upside_down = quarter_turned(search, 2)
        confirmed = _confirmed(photograph, search, _search_tiles(upside_down))
    return sorted(confirmed, key=lambda head: head.face.box.left + head.face.box.right)


def _search_coarsely(search: View) -> list[Hit]:
    """Hits on the whole frame, with and without a wide border, in all four quarter turns."""
    glance = smaller(search, max(search.pixels.shape) // GLANCE_SIZE)
    height, width = glance.pixels.shape[:2]
    border = max(height, width) // 2
    bordered = part(glance, Box(-border, -border, height + border, width + border))
    hits: list[Hit] = []
    for turns in range(4):
        whole = quarter_turned(glance, turns)
        hits += _hits(detect_near(whole.pixels), whole)
        wide = quarter_turned(bordered, turns)
        hits += _hits(detect_near(wide.pixels), wide)
        if turns % 2 == 0:
            hits += _hits(detect_far(whole.pixels), whole)
    return hits


def _search_tiles(search: View) -> list[Hit]:
    """Hits on overlapping tiles, small enough for the smallest face, shared by two threads."""
    tiles = list(_tiles(search))
    halves = (tiles[::2], tiles[1::2])
    found = _searchers().map(_search_each, halves)
    return list(chain.from_iterable(found))


def _search_each(tiles: list[View]) -> list[Hit]:
    return [hit for tile in tiles for hit in _hits(detect_far(tile.pixels), tile)]


def _searchers() -> ThreadPoolExecutor:
    """Two threads that keep their networks for the life of the process."""
    global _pool
    if _pool is None:
        _pool = ThreadPoolExecutor(2, thread_name_prefix="face-search")
    return _pool


_pool: ThreadPoolExecutor | None = None


def _tiles(search: View) -> Iterator[View]:
    """Tiles for the smallest face, then larger ones until the whole frame shows all larger faces.

    None if the frame is small; flat ones are left out.
    """
    height, width = search.pixels.shape[:2]
    longest = max(height, width)
    side = round(SMALLEST_FACE / SMALLEST_SHARE / search.pixel_size)
    while side < 0.8 * longest:
        for top in _starts(height, side):
            for left in _starts(width, side):
                box = Box(top, left, min(top + side, height), min(left + side, width))
                tile = part(search, box)
                if _contrast(tile) > FLAT:
                    yield tile
        if LARGEST_TILED_SHARE * side > SMALLEST_SHARE * longest:
            return
        side *= 4


def _contrast(tile: View) -> float:
    """Standard deviation over all channels, code values of 8 bit."""
    means, deviations = cv2.meanStdDev(tile.pixels)
    return float(np.sqrt(np.mean(deviations**2) + np.var(means)))


def _starts(length: int, side: int) -> list[int]:
    """Where tiles begin so that neighbours overlap enough and the last one ends at the edge."""
    if length <= side:
        return [0]
    count = int(np.ceil((length - side) / (side * (1 - LARGEST_TILED_SHARE)))) + 1
    return [round(start) for start in np.linspace(0, length - side, count)]


def _hits(detections: list[Detection], view: View) -> list[Hit]:
    hits = []
    for found in detections:
        middle = np.array([[found.left + found.width / 2, found.top + found.height / 2]])
        hits.append(
            Hit(
                centre=view.in_photograph(middle)[0],
                side=max(found.width, found.height) * view.pixel_size,
                roll=_roll(view.in_photograph(found.points)),
                score=found.score,
                points=view.in_photograph(found.points),
            )
        )
    return hits


def _roll(points: Points) -> float:
    """Degrees clockwise of a head, from the detector's points: eyes to mouth points down."""
    down = points[3] - (points[0] + points[1]) / 2
    return float(np.degrees(np.arctan2(-down[0], down[1])))


def _confirmed(photograph: Photograph, search: View, hits: list[Hit]) -> list[Head]:
    """Heads behind the hits, each once, best first."""
    heads: list[Head] = []
    tried: list[Hit] = []
    for hit in sorted(hits, key=lambda hit: -hit.score):
        if any(_same_place(hit, other) for other in tried):
            continue
        if any(_within(hit, head.face) for head in heads):
            continue
        tried.append(hit)
        head = _head_at(photograph, search, hit)
        if head is not None and not any(_same_head(head, known) for known in heads):
            heads.append(head)
    return heads


def _same_place(hit: Hit, other: Hit) -> bool:
    near = np.linalg.norm(hit.centre - other.centre) < 0.35 * max(hit.side, other.side)
    same_size = 0.6 < hit.side / other.side < 1.67
    turn = abs((hit.roll - other.roll + 180) % 360 - 180)
    return bool(near and same_size and turn < 40)


def _within(hit: Hit, face: Face) -> bool:
    """Whether a hit is a face already found, or a good part of it."""
    column, row = hit.centre
    box = face.box
    inside = box.left < column < box.right and box.top < row < box.bottom
    return bool(inside and 0.4 < hit.side / max(box.height, 1) < 2)


def _same_head(head: Head, other: Head) -> bool:
    """Whether two faces share much of the smaller one's box, or the smaller is the other's ear."""
    box, known = sorted((head.face.box, other.face.box), key=lambda box: box.area)
    shared = box.intersection(known).area > 0.3 * box.area
    around = Box(
        known.top, known.left - known.width // 2, known.bottom, known.right + known.width // 2
    )
    ear = box.height < 0.45 * known.height and box.intersection(around).area > 0.7 * box.area
    return shared or ear


def _head_at(photograph: Photograph, search: View, hit: Hit) -> Head | None:
    """The head behind a hit, or None where nothing fits."""
    seen = _seen_upright(photograph, search, hit)
    place = seen or hit
    crop = _crop(photograph, search, place, place.roll)
    mesh = face_mesh(crop.pixels)
    if mesh is not None and _fits(mesh, crop, place) and abs(_yaw(mesh)) < STEEPEST_YAW:
        face = _meshed_face(mesh, crop, place.score, photograph.frame)
    elif seen is not None and seen.score >= PROFILE_SCORE:
        face = _profile_face(seen, mesh, photograph.frame)
    else:
        return None
    return Head(face, place.points) if face.box.height >= SMALLEST_FACE / 2 else None


def _seen_upright(photograph: Photograph, search: View, hit: Hit) -> Hit | None:
    """What the near detector sees where a hit is, as upright as can be; None if nothing.

    A small face upside down looks like one upright to the far detector: where the near one is not
    sure, it looks again with the crop turned.
    """
    best: Hit | None = None
    for turn in (0, 180, 90, -90):
        crop = _crop(photograph, search, hit, hit.roll + turn)
        seen = _central(_hits(detect_near(crop.pixels), crop), hit)
        if seen is not None and (best is None or seen.score > best.score):
            best = seen
        if best is not None and best.score >= SURE_SCORE:
            break
    return best


def _crop(photograph: Photograph, search: View, hit: Hit, roll: float) -> View:
    """The upright square around a hit."""
    return aligned(photograph, hit.centre, CROP_SIDE * hit.side, roll, CROP_SIZE, search)


def _central(hits: list[Hit], expected: Hit) -> Hit | None:
    """The hit nearest to where and as large as expected, or None."""
    near = [
        hit
        for hit in hits
        if np.linalg.norm(hit.centre - expected.centre) < 0.5 * expected.side
        and 0.5 < hit.side / expected.side < 2
    ]
    return min(near, key=lambda hit: np.linalg.norm(hit.centre - expected.centre), default=None)


def _fits(mesh: Points, crop: View, place: Hit) -> bool:
    """Whether a mesh lies where the detector saw the face, and is about as large."""
    points = crop.in_photograph(mesh)
    middle = (points.min(axis=0) + points.max(axis=0)) / 2
    size = float(np.max(np.ptp(points, axis=0)))
    near = np.linalg.norm(middle - place.centre) < 0.4 * place.side
    return bool(near) and 0.6 < size / place.side < 2.2


def _yaw(mesh: Points) -> float:
    """Degrees by which the face looks to the picture's right, from the depth of the eye corners."""
    across = mesh[LEFT_EYE_CORNER] - mesh[RIGHT_EYE_CORNER]
    return float(np.degrees(np.arctan2(across[2], np.hypot(across[0], across[1]))))


def _meshed_face(mesh: Points, crop: View, score: float, frame: Box) -> Face:
    points = crop.in_photograph(mesh)
    left, top = np.floor(points.min(axis=0)).astype(int)
    right, bottom = np.ceil(points.max(axis=0)).astype(int) + 1
    across = points[LEFT_EYE_CORNER] - points[RIGHT_EYE_CORNER]
    return Face(
        box=Box(int(top), int(left), int(bottom), int(right)).intersection(frame),
        landmarks=points,
        roll=float(np.degrees(np.arctan2(across[1], across[0]))),
        yaw=_yaw(mesh),
        confidence=score,
    )


def _profile_face(seen: Hit, mesh: Points | None, frame: Box) -> Face:
    half = PROFILE_SIDE * seen.side / 2
    column, row = seen.centre
    box = Box(round(row - half), round(column - half), round(row + half), round(column + half))
    return Face(
        box=box.intersection(frame),
        landmarks=np.zeros((0, 2), np.float32),
        roll=seen.roll,
        yaw=90.0 if mesh is None else _yaw(mesh),
        confidence=seen.score,
    )
