"""Where one person's body is: an upright working view, a pose, and who each pixel belongs to."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from evenhand.box import Box
from evenhand.people.faces import Head
from evenhand.people.networks import Points, body_pose, person_matte
from evenhand.people.person import Region, Scale
from evenhand.people.regions import face_outline
from evenhand.people.views import MOST_HALVINGS, View, quarter_turned, reduced
from evenhand.photo.photograph import Photograph

Field = npt.NDArray[np.float32]

WORKING_SIZE = 512
"""Pixels along the longer side of the view on which a body's skin is judged."""

NETWORK_SIZE = 512
"""Pixels along the longer side of the copy given to the pose and matte networks (they read 256)."""

ABOVE_MM, BELOW_MM, ASIDE_MM = 850.0, 1800.0, 950.0
"""How far from the face a body may reach in the picture, arms raised and spread included."""

ASIDE_ALONE_MM = 400.0
"""How far a body is looked for where the pose network saw somebody else's first."""

MARGIN_MM = 130.0
"""Kept around the outermost visible points of the pose: half an upper arm, a hand, the hair."""

VISIBLE = 0.5
"""Least visibility of a pose point to be used."""

GRID_STEP = 6
"""Working pixels between the points of the grid on which distances to limbs are reckoned."""

FADE_MM = 40.0
"""Over this much the skin fades out where the working view ends inside the photograph: what lies
beyond is not judged, and a mask must not end in a line that nobody drew."""

FARTHEST_MM = 70.0
"""Beyond the limbs' own half widths, nothing belongs to a person whose pose is known."""

NOSE = 0
SHOULDERS = (11, 12)
HIPS = (24, 23)
"""Pose landmarks in the network's published order (left before right), hips turned around so that
shoulders and hips make an outline."""

LIMBS: tuple[tuple[Region, int, int, float], ...] = (
    (Region.ARM, 11, 13, 55.0),
    (Region.ARM, 13, 15, 45.0),
    (Region.ARM, 12, 14, 55.0),
    (Region.ARM, 14, 16, 45.0),
    (Region.HAND, 15, 17, 35.0),
    (Region.HAND, 15, 19, 35.0),
    (Region.HAND, 15, 21, 30.0),
    (Region.HAND, 16, 18, 35.0),
    (Region.HAND, 16, 20, 35.0),
    (Region.HAND, 16, 22, 30.0),
    (Region.LEG, 23, 25, 85.0),
    (Region.LEG, 25, 27, 60.0),
    (Region.LEG, 27, 31, 45.0),
    (Region.LEG, 24, 26, 85.0),
    (Region.LEG, 26, 28, 60.0),
    (Region.LEG, 28, 32, 45.0),
)
"""Region, both ends and half width in mm of each limb; widths of clothed adults from memory."""

PROFILE_RADIUS_MM = 50.0
"""Radius of the circle that stands for the face of a head in profile."""

FACE_RIM_MM = 12.0
"""What lies this close to the face's outline is face: temples, hairline, edge of the jaw."""

EAR_RADIUS_MM = 22.0
"""Half length of an ear less the rim of the face."""


@dataclass(frozen=True)
class Body:
    """One person's place in the photograph.

    Attributes
    ----------
    view : View
        The person's surroundings, upright to a quarter turn, `WORKING_SIZE` px long at most.
    mm_per_pixel : float
        Of the view.
    head : ndarray of float32, shape (6, 2)
        The detector's points in the view.
    outline : ndarray of float32, shape (n, 2)
        Outline of the face in the view: of the mesh, or a circle for a head in profile.
    limbs : ndarray of float32, shape (33, 2), or None
        Pose points in the view; hidden ones are NaN. None where no pose fits the head.
    person : ndarray of float32, shape of the view
        Chance that the pixel belongs to a person at all.
    """

    view: View
    mm_per_pixel: float
    head: Points
    outline: Points
    limbs: Points | None
    person: Field


def body_of(photograph: Photograph, head: Head, scale: Scale) -> Body:
    """The body below (and around) a head.

    The pose network looks at the head's surroundings; its points, if its nose is this head's, then
    bound the working view.
    """
    turns = round(head.face.roll / 90) % 4
    around = _surroundings(head, scale, turns, ASIDE_MM, photograph.frame)
    limbs = _limbs_in(around, photograph, head, turns)
    if limbs is None:
        alone = _surroundings(head, scale, turns, ASIDE_ALONE_MM, photograph.frame)
        limbs = _limbs_in(alone, photograph, head, turns)
    if limbs is not None:
        around = _tightened(around, limbs, head, scale)
    view = quarter_turned(reduced(photograph, around, WORKING_SIZE), turns)
    return Body(
        view=view,
        mm_per_pixel=scale.mm_per_pixel * view.pixel_size,
        head=view.in_view(head.points),
        outline=view.in_view(_face_outline(head, scale)),
        limbs=None if limbs is None else view.in_view(limbs),
        person=person_in(view),
    )


def regions_of(body: Body) -> tuple[npt.NDArray[np.uint8], Field]:
    """Nearest region at each point of a coarse grid over the view, and how far it is.

    Returns
    -------
    region : ndarray of uint8, shape (rows, columns)
        Index into `tuple(Region)`.
    distance : ndarray of float32, same shape
        Millimetres beyond the half width of that limb, 0 inside.
    """
    grid = _grid(body.view)
    fields = list(_distances(body, grid))
    distances = np.stack([distance for _, distance in fields])
    nearest = distances.argmin(axis=0)
    codes = np.array([tuple(Region).index(region) for region, _ in fields], np.uint8)
    least = np.maximum(distances.min(axis=0), 0)
    return codes[nearest], least


def owned(body: Body, others: Sequence[Body]) -> Field:
    """1 where the view's pixel is nearer to this body than to any other, 0 elsewhere, coarse."""
    grid = _grid(body.view)
    own = _least_distance(body, grid)
    mine = np.ones(own.shape, np.float32)
    in_photograph = body.view.in_photograph(grid.reshape(-1, 2))
    for other in others:
        there = other.view.in_view(in_photograph).reshape(grid.shape)
        mine[_least_distance(other, there) < own] = 0
    return mine


def ending(body: Body, frame: Box) -> Field:
    """1 inside the view, falling to 0 at those of its ends that lie inside the photograph.

    Returns
    -------
    ndarray of float32, shape of the view
        In [0, 1]; 1 up to the end where the view ends with the photograph.
    """
    height, width = body.view.pixels.shape[:2]
    middles = [(width / 2, 0), (width, height / 2), (width / 2, height), (0, height / 2)]
    columns, rows = body.view.in_photograph(np.array(middles)).T
    room = np.minimum.reduce([columns, rows, frame.right - columns, frame.bottom - rows])
    top, right, bottom, left = room > 2 * body.view.pixel_size + 2**MOST_HALVINGS
    steps = FADE_MM / body.mm_per_pixel
    return np.outer(_ramp(height, steps, top, bottom), _ramp(width, steps, left, right))


def _ramp(length: int, steps: float, at_start: bool, at_end: bool) -> Field:
    """Rises over the first and falls over the last `steps` pixels, where asked for."""
    place = np.arange(length, dtype=np.float32)
    ramp = np.ones(length, np.float32)
    if at_start:
        ramp = np.minimum(ramp, place / steps)
    if at_end:
        ramp = np.minimum(ramp, (length - 1 - place) / steps)
    return ramp


def to_view(field: npt.NDArray[Any], body: Body, interpolation: int) -> npt.NDArray[Any]:
    """A coarse grid's field at the view's size."""
    height, width = body.view.pixels.shape[:2]
    enlarged: npt.NDArray[Any] = cv2.resize(field, (width, height), interpolation=interpolation)
    return enlarged


def _face_outline(head: Head, scale: Scale) -> Points:
    """Outline of the face in the photograph."""
    if len(head.face.landmarks):
        return face_outline(head.face.landmarks)
    turn = np.linspace(0, 2 * np.pi, 36, endpoint=False)
    circle = np.stack([np.cos(turn), np.sin(turn)], axis=-1) * scale.pixels(PROFILE_RADIUS_MM)
    return np.asarray(head.points.mean(axis=0) + circle, np.float32)


def _limbs_in(box: Box, photograph: Photograph, head: Head, turns: int) -> Points | None:
    """Pose points in the photograph, hidden ones NaN; None if the pose is not of this head."""
    view = quarter_turned(reduced(photograph, box, NETWORK_SIZE), turns)
    pose = body_pose(view.pixels)
    if pose is None or not _is_of(view.in_photograph(pose.points[NOSE : NOSE + 1])[0], head):
        return None
    limbs = view.in_photograph(pose.points)
    limbs[pose.visibility < VISIBLE] = np.nan
    return limbs


def _surroundings(head: Head, scale: Scale, turns: int, aside_mm: float, frame: Box) -> Box:
    """Where a body with this head may be."""
    above, below, aside = (scale.pixels(mm) for mm in (ABOVE_MM, BELOW_MM, aside_mm))
    up, right, down, left = np.roll([above, aside, below, aside], turns)
    column, row = head.points.mean(axis=0)
    reach = Box(round(row - up), round(column - left), round(row + down), round(column + right))
    return reach.intersection(frame)


def _is_of(nose: Points, head: Head) -> bool:
    box = head.face.box
    reach = 0.25 * box.height
    return bool(
        box.left - reach <= nose[0] <= box.right + reach
        and box.top - reach <= nose[1] <= box.bottom + reach
    )


def _tightened(around: Box, limbs: Points, head: Head, scale: Scale) -> Box:
    """The surroundings cut down to the visible limbs and the head, with a margin."""
    points = np.vstack([limbs[~np.isnan(limbs[:, 0])], head.points])
    margin = scale.pixels(MARGIN_MM)
    left, top = points.min(axis=0) - margin
    right, bottom = points.max(axis=0) + margin
    return Box(round(top), round(left), round(bottom), round(right)).intersection(around)


def person_in(view: View) -> Field:
    """Chance that a pixel of the view belongs to a person."""
    height, width = view.pixels.shape[:2]
    share = NETWORK_SIZE / max(height, width, NETWORK_SIZE)
    small = cv2.resize(view.pixels, None, fx=share, fy=share, interpolation=cv2.INTER_AREA)
    matte: Field = cv2.resize(person_matte(small), (width, height))
    return matte


def _grid(view: View) -> Points:
    """Points (column, row) of a coarse grid over the view, shape (rows, columns, 2)."""
    height, width = view.pixels.shape[:2]
    rows = np.linspace(0, height - 1, max(2, height // GRID_STEP), dtype=np.float32)
    columns = np.linspace(0, width - 1, max(2, width // GRID_STEP), dtype=np.float32)
    return np.stack(np.meshgrid(columns, rows), axis=-1)


def _least_distance(body: Body, points: Points) -> Field:
    fields = [distance for _, distance in _distances(body, points)]
    least: Field = np.min(fields, axis=0)
    return least


def _distances(body: Body, points: Points) -> list[tuple[Region, Field]]:
    """Millimetres from each point to each part of the body, less the part's half width."""
    mm = body.mm_per_pixel
    middle = body.head.mean(axis=0)
    to_face = _to_outline(points, _hull(body.outline)) * mm
    fields = [(Region.FACE, np.where(to_face > 0, to_face - FACE_RIM_MM, -np.inf))]
    fields += [
        (Region.EAR, np.linalg.norm(points - ear, axis=-1) * mm - EAR_RADIUS_MM)
        for ear in body.head[4:6]
    ]
    if body.limbs is None:
        fields += _without_pose(body, points, middle)
        return [(region, field.astype(np.float32)) for region, field in fields]
    for region, start, end, half_width in LIMBS:
        ends = body.limbs[[start, end]]
        if not np.isnan(ends).any():
            fields.append((region, _to_segment(points, *ends) * mm - half_width))
    shoulders = body.limbs[list(SHOULDERS)]
    if not np.isnan(shoulders).any():
        fields.append((Region.NECK, _to_segment(points, middle, shoulders.mean(axis=0)) * mm - 60))
        fields.append((Region.TORSO, _to_outline(points, _trunk(body.limbs, shoulders)) * mm - 30))
    return [(region, field.astype(np.float32)) for region, field in fields]


def _without_pose(body: Body, points: Points, middle: Points) -> list[tuple[Region, Field]]:
    """Neck and torso below a head when the pose network saw no body: a bust."""
    mm = body.mm_per_pixel
    below = middle + np.array([0, 170 / mm], np.float32)
    chest = middle + np.array([0, 350 / mm], np.float32)
    return [
        (Region.NECK, _to_segment(points, middle, below) * mm - 60),
        (Region.TORSO, _to_segment(points, below, chest) * mm - 180),
    ]


def _to_segment(points: Points, start: Points, end: Points) -> Field:
    """Distance in pixels of each point from a straight segment."""
    along = end - start
    share = ((points - start) @ along) / max(float(along @ along), 1e-6)
    nearest = start + np.clip(share, 0, 1)[..., None] * along
    distance: Field = np.linalg.norm(points - nearest, axis=-1)
    return distance


def _hull(outline: Points) -> Points:
    """Convex outline with a third of the corners."""
    corners: Points = cv2.convexHull(np.ascontiguousarray(outline[::3])).reshape(-1, 2)
    return corners


def _to_outline(points: Points, corners: Points) -> Field:
    """Distance in pixels of each point from a convex outline, 0 inside."""
    ends = np.roll(corners, -1, axis=0)
    sides = list(zip(corners, ends, strict=True))
    least = np.min([_to_segment(points, start, end) for start, end in sides], axis=0)
    turns = np.array([np.cross(end - start, points - start) for start, end in sides])
    inside = np.all(turns >= 0, axis=0) | np.all(turns <= 0, axis=0)
    distance: Field = np.where(inside, 0, least)
    return distance


def _trunk(limbs: Points, shoulders: Points) -> Points:
    """Shoulders and hips in order; hips out of sight are put below the shoulders."""
    hips = limbs[list(HIPS)]
    if np.isnan(hips).any():
        across = shoulders[0] - shoulders[1]
        down = 1.2 * np.array([-across[1], across[0]]) * np.sign(across[0] or 1)
        hips = np.array([shoulders[1] + down, shoulders[0] + down])
    return np.vstack([shoulders, hips]).astype(np.float32)
