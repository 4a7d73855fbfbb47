"""Scale follows published sizes of iris and pupil distance, whatever the turn and size."""

import numpy as np
import pytest

from evenhand.box import Box
from evenhand.people.faces import find_heads
from evenhand.people.person import Face, ScaleSource
from evenhand.people.scale import scale_of
from tests.people.portrait import in_frame

WHITE_TO_WHITE_MM = (11.80, 11.0, 12.6)
# Mean and 95 % limits of the visible iris in adults (Hashemi et al., Br. J. Ophthalmol. 2015,
# 4,787 people aged 40 to 64).

PUPIL_DISTANCE_MM = (63.36, 57.0, 70.0)
# Mean, and the range of most adults (Dodgson, Proc. SPIE 5291, 2004: mean 63.36 mm, standard
# deviation 3.8; the range is mean less and plus 1.7 of it).


def drawn_face(mm_per_pixel: float, yaw: float = 0.0) -> Face:
    """A face of published sizes: irises and pupils only, turned about the upright axis."""
    landmarks = np.zeros((478, 2), np.float32)
    iris = WHITE_TO_WHITE_MM[0] / mm_per_pixel
    apart = PUPIL_DISTANCE_MM[0] / mm_per_pixel * np.cos(np.radians(yaw))
    for middle, side in ((468, -0.5), (473, 0.5)):
        landmarks[middle] = (side * apart, 0)
        for point, (across, down) in enumerate(((-1, 0), (0, -1), (1, 0), (0, 1))):
            offset = (across * np.cos(np.radians(yaw)), down)
            landmarks[middle + 1 + point] = landmarks[middle] + np.array(offset) * iris / 2
    landmarks[168], landmarks[152] = (0, 0), (0, 118 / mm_per_pixel)
    return Face(Box(0, 0, 10, 10), landmarks, 0.0, yaw, 0.9)


@pytest.mark.parametrize("mm_per_pixel", [0.05, 0.2, 0.9])
@pytest.mark.parametrize("yaw", [0, 20, 40])
def test_iris_gives_the_scale_at_any_turn(mm_per_pixel: float, yaw: float) -> None:
    scale = scale_of(drawn_face(mm_per_pixel, yaw))
    assert scale.source is ScaleSource.IRIS
    assert scale.mm_per_pixel == pytest.approx(mm_per_pixel, rel=0.1)


@pytest.mark.parametrize("yaw", [-25, 0, 25])
def test_pupils_give_it_where_the_iris_is_small(yaw: float) -> None:
    scale = scale_of(drawn_face(1.5, yaw))
    assert scale.source is ScaleSource.PUPILS
    assert scale.mm_per_pixel == pytest.approx(1.5, rel=0.02)


def test_face_gives_it_where_the_pupils_are_turned_away() -> None:
    scale = scale_of(drawn_face(1.5, 45))
    assert scale.source is ScaleSource.FACE
    assert scale.mm_per_pixel == pytest.approx(1.5, rel=0.02)


@pytest.mark.parametrize("face_height", [150, 600, 2000])
def test_real_iris_and_pupils_agree_with_the_literature(face_height: float) -> None:
    (head,) = find_heads(in_frame(face_height, 0, (2400, 3000))[0])
    scale, landmarks = scale_of(head.face), head.face.landmarks
    apart = float(np.linalg.norm(landmarks[468] - landmarks[473])) * scale.mm_per_pixel
    assert PUPIL_DISTANCE_MM[1] <= apart <= PUPIL_DISTANCE_MM[2]
