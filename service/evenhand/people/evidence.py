"""What speaks for skin on a person's working view, whoever judged it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import cv2
import numpy as np
import numpy.typing as npt

from evenhand.colour.encoding import encoding_of
from evenhand.people import bodies, colour_votes, skin_model
from evenhand.people.bodies import Body
from evenhand.people.person import Region
from evenhand.people.skin_model import SkinModel

Field = npt.NDArray[np.float32]
Codes = npt.NDArray[np.uint8]

PERSON_SHARE = (0.25, 0.6)
"""Chance of being a person at which skin begins to be believed, and is."""

ROUGH = (2.5, 4.5)
"""Local contrast, in that of the rougher parts of the face, from which a place looks like hair or
woven cloth, and does."""

LEAST_ROUGHNESS = 0.05
"""Density: local contrast that noise and pores give to any skin."""

AROUND_MM = 15.0
"""Distance over which the shading of skin is followed."""

DARKER_THAN_AROUND = (0.6, 0.95)
"""Density above that of the skin around from which a place looks like hair or a strap, and does:
shading comes on gradually, hair at once."""

SHINE = (0.12, 0.3)
"""Density below that of the skin around from which a place on the face shines: the light's own
colour covers the skin's, but it is skin."""

FOREHEAD_MM = 14.0
"""Skin reaches this far beyond the mesh's outline on the brow before the hair must begin."""

EAR_MM = 32.0
"""Half length of an ear around the detector's ear point."""

HEAD_MM = 165.0
"""Radius around the middle of the head within which what is not face, ear or neck is hair."""

SMALLEST_PATCH_MM2 = 150.0
"""Skin patches smaller than a thumb nail are more often something else."""


@dataclass(frozen=True)
class Evidence:
    """Chances on a person's working view.

    Attributes
    ----------
    skin : ndarray of float32, shape of the view
        Chance in [0, 1] that the pixel is bare skin of this person.
    region : ndarray of uint8, shape of the view
        Which region it would be of: index into `tuple(Region)`.
    kept : mapping of Region to ndarray of float32, shape of the view
        Chance that it is one of the kept parts, where the judge tells.
    """

    skin: Field
    region: Codes
    kept: Mapping[Region, Field] = field(default_factory=dict)


def by_colour(body: Body, kept: Field) -> Evidence:
    """Judge skin from the person's own colour, smoothness, and place on the body.

    Parameters
    ----------
    body : Body
    kept : ndarray of float32, shape of the view
        Eyes, brows, lips and nostrils: never seeds.
    """
    linear = encoding_of(None).to_linear(body.view.pixels)
    face = _face_area(body)
    seeds = (cv2.erode(face, np.ones((5, 5), np.uint8)) > 0) & (kept == 0)
    seeds &= body.person > PERSON_SHARE[1]
    model = skin_model.learn(linear, seeds)
    if model is None:
        return Evidence(np.zeros(face.shape, np.float32), np.zeros(face.shape, np.uint8))
    skin = like_skin(model, linear, seeds) * skin_model.rising(body.person, *PERSON_SHARE)
    codes, distance = bodies.regions_of(body)
    near = skin_model.falling(distance, bodies.FARTHEST_MM / 2, bodies.FARTHEST_MM)
    skin *= bodies.to_view(near, body, cv2.INTER_LINEAR) * _where_a_head_shows_skin(body, face)
    skin = _shaded_like_skin(skin, body, linear, may_shine=seeds.astype(np.float32))
    near_person = cv2.dilate((body.person > PERSON_SHARE[0]).astype(np.float32), np.ones((9, 9)))
    skin = _without_specks(skin, body.mm_per_pixel)
    skin = colour_votes.weighed(skin, linear, near_person * (kept < 0.5), body.mm_per_pixel)
    region: Codes = bodies.to_view(codes, body, cv2.INTER_NEAREST)
    return Evidence(_without_specks(skin, body.mm_per_pixel), region)


def like_skin(model: SkinModel, linear: Field, seeds: npt.NDArray[np.bool_]) -> Field:
    """Chance of skin from colour and smoothness alone, as learnt at the seeds."""
    rough = skin_model.roughness(linear)
    usual = max(LEAST_ROUGHNESS, float(np.percentile(rough[seeds], 80)))
    alike: Field = skin_model.likeness(model, linear)
    alike = alike * (1 - skin_model.rising(rough / usual, *ROUGH))
    smooth: Field = cv2.GaussianBlur(alike, (0, 0), 1.0)
    return smooth


def _face_area(body: Body) -> npt.NDArray[np.uint8]:
    """1 inside the face, 0 elsewhere, on the view."""
    area = np.zeros(body.view.pixels.shape[:2], np.uint8)
    cv2.fillPoly(area, [np.rint(body.outline).astype(np.int32)], 1)
    return area


def _where_a_head_shows_skin(body: Body, face: npt.NDArray[np.uint8]) -> Field:
    """0 on the part of the head that wears hair, 1 elsewhere.

    Colour does not tell hair from skin, so around the head only the face with a little more of the
    forehead, the ears, and what lies below the mouth may be skin.
    """
    mm = body.mm_per_pixel
    allowed = np.ones(face.shape, np.uint8)
    middle = body.head.mean(axis=0)
    column, row = (round(float(value)) for value in middle)
    cv2.circle(allowed, (column, row), round(HEAD_MM / mm), 0, -1)
    reach = 2 * round(FOREHEAD_MM / mm) + 1
    ellipse = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (reach, reach))
    np.maximum(allowed, cv2.dilate(face, ellipse), out=allowed)
    for ear in body.head[4:6]:
        cv2.circle(allowed, tuple(np.rint(ear).astype(int).tolist()), round(EAR_MM / mm), 1, -1)
    below = round(float(body.head[3, 1]) + 15 / mm)
    allowed[max(0, below) :] = 1
    soft: Field = cv2.GaussianBlur(allowed.astype(np.float32), (0, 0), max(0.5, 2 / mm))
    return soft


def _shaded_like_skin(skin: Field, body: Body, linear: Field, may_shine: Field) -> Field:
    """Skin less what is much darker than the skin around, more what shines on the face."""
    mean = skin_model.in_plane(linear)[1]
    kept = skin
    for _ in range(2):
        around = _shade_around(kept > 0.5, mean, AROUND_MM / body.mm_per_pixel)
        kept = skin * skin_model.falling(mean - around, *DARKER_THAN_AROUND)
    shine = may_shine * skin_model.rising(around - mean, *SHINE)
    shaded: Field = np.maximum(kept, shine)
    return shaded


def _shade_around(skin: npt.NDArray[np.bool_], mean: Field, reach: float) -> Field:
    """Mean density of the skin within about `reach` working pixels of each place."""
    step = max(1.0, reach / 6)
    size = (max(1, round(mean.shape[1] / step)), max(1, round(mean.shape[0] / step)))
    share = cv2.resize(skin.astype(np.float32), size, interpolation=cv2.INTER_AREA)
    shade = cv2.resize(mean * skin, size, interpolation=cv2.INTER_AREA)
    blurred, shares = (cv2.GaussianBlur(part, (0, 0), reach / step) for part in (shade, share))
    around: Field = cv2.resize(blurred / np.maximum(shares, 1e-3), mean.shape[::-1])
    return around


def _without_specks(skin: Field, mm_per_pixel: float) -> Field:
    """Skin without patches too small to be any."""
    _, labels, facts, _ = cv2.connectedComponentsWithStats((skin > 0.5).astype(np.uint8))
    large = facts[:, cv2.CC_STAT_AREA] * mm_per_pixel**2 >= SMALLEST_PATCH_MM2
    large[0] = False
    reach = cv2.dilate(large[labels].astype(np.uint8), np.ones((5, 5), np.uint8))
    kept: Field = skin * reach
    return kept
