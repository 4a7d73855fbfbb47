"""A public-domain portrait to look for people in, laid into frames at any size and turn.

The portrait is NASA's of astronaut Eileen Collins, S93-35316, in the public domain, as shipped with
scikit-image.
"""

from typing import Any

import cv2
import numpy as np
import numpy.typing as npt
from skimage import data

from evenhand.photo.photograph import Photograph

Array = npt.NDArray[np.float64]

FACE_CENTRE = (226.0, 124.0)
# Column and row of the middle of her face in the portrait; read off the picture.

FACE_HEIGHT = 110.0
# Pixels from the hairline to the chin, read off the picture.

RIGHT_PUPIL, LEFT_PUPIL = (203.9, 101.0), (246.5, 103.4)
# Her own right and left; read off the picture at tenfold enlargement, good to 1 px.


def portrait() -> Photograph:
    """The portrait, 512 x 512 pixels."""
    return Photograph(data.astronaut())


def in_frame(
    face_height: float, turn: float, shape: tuple[int, int] = (4000, 6000)
) -> tuple[Photograph, Array]:
    """The portrait's head and shoulders in the middle of a grey frame.

    Returns the photograph and the affine map from the portrait to the frame.
    """
    height, width = shape
    scale = face_height / FACE_HEIGHT
    cosine, sine = np.cos(np.radians(turn)) * scale, np.sin(np.radians(turn)) * scale
    matrix = np.array([[cosine, -sine], [sine, cosine]])
    shift = np.array([width / 2, height / 2]) - matrix @ np.array(FACE_CENTRE)
    placed = np.hstack([matrix, shift[:, None]])
    head = data.astronaut()[:250, 60:400]
    corner = placed.copy()
    corner[:, 2] += matrix @ np.array([60.0, 0.0])
    if scale < 1:
        shrunk = cv2.resize(head, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
        corner[:, :2] /= scale
        head = shrunk
    frame = np.full((height, width, 3), 128, np.uint8)
    cv2.warpAffine(
        head,
        corner,
        (width, height),
        dst=frame,
        flags=cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_TRANSPARENT,
    )
    return Photograph(frame), placed


def moved(points: Any, placed: Array) -> Array:
    """Points of the portrait in the frame."""
    in_frame: Array = np.atleast_2d(points) @ placed[:, :2].T + placed[:, 2]
    return in_frame
