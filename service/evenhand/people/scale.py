"""Millimetres per pixel on a person: from the visible iris, else the pupils, else the face."""

from __future__ import annotations

import numpy as np

from evenhand.people.networks import Points
from evenhand.people.person import Face, Scale, ScaleSource

IRIS_MM = 11.7
"""Visible iris (white to white) across, adults: 11.80 mm mean (Hashemi et al. 2015, 95 % within
11.0 to 12.6); 11.7 is the value commonly used for single photographs."""

PUPILS_MM = 63.0
"""Distance between the pupils, adults: 63.4 mm mean, 57 to 70 for most (Dodgson 2004)."""

FACE_MM = 118.0
"""Bridge of the nose to the chin (sellion to menton): about 118 mm, men and women mixed, head
surveys of adults; from memory."""

HEAD_SQUARE_MM = 150.0
"""Side of the detector's box around a head in profile; measured against meshes of half profiles."""

SMALLEST_IRIS = 12.0
"""Pixels: a smaller iris is measured worse than the distance between the pupils."""

STEEPEST_PUPIL_YAW = 30.0
"""Degrees: beyond this neither the foreshortened distance of the pupils nor the iris of the far
eye is to be trusted."""

ACROSS_BIAS = 1.085
"""The mesh draws a frontal iris as an ellipse, wider than tall by the square of this (measured:
ratio 1.17 in the middle over 16 frontal portraits); the network's own depth estimate takes the mean
of both diameters, which this keeps."""

IRIS_RINGS = ((469, 470, 471, 472), (474, 475, 476, 477))
"""Right, top, left and bottom of each iris in the face mesh."""

PUPILS = (468, 473)
"""Middle of each iris in the face mesh."""

BRIDGE, CHIN = 168, 152
"""Bridge of the nose and tip of the chin in the face mesh."""


def scale_of(face: Face) -> Scale:
    """Size of a pixel on this person's skin, and what it was measured from.

    The iris is a disc, so its longer diameter is free of foreshortening at any turn of the head
    and the eye; the distance between the pupils is divided by the cosine of the yaw.

    Parameters
    ----------
    face : Face
        With or without landmarks.

    Returns
    -------
    Scale
    """
    if not len(face.landmarks):
        return Scale(HEAD_SQUARE_MM / max(face.box.height, 1), ScaleSource.FACE)
    diameters = _iris_diameters(face.landmarks)
    far_eye_hidden = abs(face.yaw) > STEEPEST_PUPIL_YAW
    iris = max(diameters) if far_eye_hidden else float(np.mean(diameters))
    if iris >= SMALLEST_IRIS:
        return Scale(IRIS_MM / iris, ScaleSource.IRIS)
    if abs(face.yaw) <= STEEPEST_PUPIL_YAW:
        apart = _distance(face.landmarks, *PUPILS) / np.cos(np.radians(face.yaw))
        return Scale(PUPILS_MM / float(apart), ScaleSource.PUPILS)
    return Scale(FACE_MM / _distance(face.landmarks, BRIDGE, CHIN), ScaleSource.FACE)


def _iris_diameters(landmarks: Points) -> list[float]:
    """The longer diameter of each iris, in pixels."""
    return [
        max(
            _distance(landmarks, right, left) / ACROSS_BIAS,
            _distance(landmarks, top, bottom) * ACROSS_BIAS,
        )
        for right, top, left, bottom in IRIS_RINGS
    ]


def _distance(landmarks: Points, start: int, end: int) -> float:
    return float(np.linalg.norm(landmarks[start] - landmarks[end]))
