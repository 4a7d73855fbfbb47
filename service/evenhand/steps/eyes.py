"""The eyes step: a very small lift of iris and white, off unless asked for."""

from __future__ import annotations

import cv2
import numpy as np
import numpy.typing as npt
from pydantic import BaseModel, ConfigDict, Field

from evenhand.people.person import Face, Region
from evenhand.people.regions import LEFT_EYE, RIGHT_EYE
from evenhand.steps.patch import Change, SkinPatch

Map = npt.NDArray[np.float32]

IRISES = ((468, (469, 470, 471, 472)), (473, (474, 475, 476, 477)))
"""Centre and rim points of the right and the left iris in the face mesh."""

LIDS = (RIGHT_EYE, LEFT_EYE)
"""Edge of the lids around the right and the left eye in the face mesh."""

LID_MM = 0.8
"""Distance from the edge of the lids within which nothing changes: lashes and their shadow."""

FEATHER_MM = 0.5
"""Width over which the lift fades, millimetres."""

IRIS_LIFT = 0.10
"""Density taken off the iris at strength 1, measured to stay below a CIEDE2000 of 3."""

WHITE_LIFT = 0.05
"""Density taken off the white of the eye at strength 1."""

CATCHLIGHT = 1.8
"""Times the part's median luminance above which a pixel is a catchlight and stays."""

LASH = 0.5
"""Times the part's median luminance below which a pixel is a lash or the pupil and stays."""

LUMINANCE = np.array([0.2627, 0.6780, 0.0593], np.float32)
"""Of Rec. 2020 primaries (Recommendation ITU-R BT.2020)."""


class EyesSettings(BaseModel):
    """What the eyes step may do.

    Examples
    --------
    >>> EyesSettings().strength
    0.5
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    strength: float = Field(
        0.5, ge=0, le=1, description="How much of the lift of iris and white is applied, 0 to 1."
    )
    cap: float = Field(3.0, gt=0, le=3, description="Largest change of any pixel, CIEDE2000 (D65).")


def eyes(patch: SkinPatch, settings: EyesSettings) -> Change:
    """Lift iris and white a little; catchlights, lashes and lids stay.

    Parameters
    ----------
    patch : SkinPatch
        One person's skin; the face's landmarks say where the eyes are.
    settings : EyesSettings
        What may be done; the lift itself is fixed.

    Returns
    -------
    Change
        Wanted linear light at strength 1, and facts: `eyes`, how many were lifted.

    Examples
    --------
    >>> import evenhand
    >>> patch = evenhand.patch_of(photo, people[0])
    >>> evenhand.eyes(patch, evenhand.EyesSettings()).facts
    {'eyes': 0}
    """
    face, mask = patch.face, patch.masks.get(Region.EYE)
    if face is None or len(face.landmarks) < 478 or mask is None:
        return Change(patch.linear, {"eyes": 0})
    lift = np.zeros(mask.shape, np.float32)
    luminance = patch.linear @ LUMINANCE
    lifted = 0
    for lids, (centre, rim) in zip(LIDS, IRISES, strict=True):
        opening = _polygon(patch, face, lids)
        iris = _circle(patch, face, centre, rim)
        white = opening * (1 - iris)
        before = lift.copy()
        for part, amount in ((opening * iris, IRIS_LIFT), (white, WHITE_LIFT)):
            lift = np.maximum(lift, amount * _plain(part, luminance, patch))
        lifted += int((lift > before).any())
    lift *= mask > 0
    wanted = np.where(lift[..., None] > 0, patch.linear * np.exp(lift)[..., None], patch.linear)
    return Change(wanted.astype(np.float32), {"eyes": lifted})


def _points(patch: SkinPatch, face: Face, indices: tuple[int, ...]) -> npt.NDArray[np.float32]:
    corner = np.array([patch.box.left, patch.box.top], np.float32)
    return np.asarray(face.landmarks[list(indices)] - corner, np.float32)


def _polygon(patch: SkinPatch, face: Face, lids: tuple[int, ...]) -> Map:
    """The opening between the lids, shrunk by `LID_MM`, edge feathered."""
    inside = np.zeros(patch.linear.shape[:2], np.uint8)
    cv2.fillPoly(inside, [np.rint(_points(patch, face, lids)).astype(np.int32)], 1)
    far = cv2.distanceTransform(inside, cv2.DIST_L2, 5) * patch.mm_per_pixel
    return np.asarray(np.clip((far - LID_MM) / FEATHER_MM, 0, 1), np.float32)


def _circle(patch: SkinPatch, face: Face, centre: int, rim: tuple[int, ...]) -> Map:
    """The iris, edge feathered."""
    middle = _points(patch, face, (centre,))[0]
    radius = np.linalg.norm(_points(patch, face, rim) - middle, axis=1).mean()
    rows, columns = np.ogrid[: patch.linear.shape[0], : patch.linear.shape[1]]
    far = np.hypot(rows - middle[1], columns - middle[0])
    inside = (radius - far) * patch.mm_per_pixel / FEATHER_MM + 0.5
    return np.asarray(np.clip(inside, 0, 1), np.float32)


def _plain(part: Map, luminance: Map, patch: SkinPatch) -> Map:
    """The part without catchlights, pupil and lashes, softly."""
    inside = part > 0.5
    if inside.sum() < 12:
        return np.zeros_like(part)
    median = float(np.median(luminance[inside]))
    plain = (luminance < CATCHLIGHT * median) & (luminance > LASH * median)
    keep = cv2.erode(plain.astype(np.uint8), np.ones((3, 3), np.uint8)).astype(np.float32)
    sigma = max(0.5, FEATHER_MM / 2 / patch.mm_per_pixel)
    return np.asarray(part * np.minimum(keep, cv2.GaussianBlur(keep, (0, 0), sigma)), np.float32)
