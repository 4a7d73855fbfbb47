"""Faces of a real portrait are found at every size and turn, where they are, and nowhere else."""

import numpy as np
import pytest

from evenhand.people.faces import find_heads
from evenhand.photo.photograph import Photograph
from tests.people.portrait import FACE_CENTRE, LEFT_PUPIL, RIGHT_PUPIL, in_frame, moved, portrait

PUPIL_POINTS = [468, 473]
# Middle of her right and left iris in the face mesh.

OFF = 0.03
# Pupils may lie this share of the face's height from where a person sees them: the reading of the
# portrait itself is good to 0.01.


@pytest.mark.parametrize("face_height", [100, 250, 800, 3000])
@pytest.mark.parametrize("turn", [0, 90, 180, -90])
def test_found_at_any_size_and_turn_in_24_megapixels(face_height: float, turn: float) -> None:
    photograph, placed = in_frame(face_height, turn)
    heads = find_heads(photograph)
    assert len(heads) == 1
    pupils = heads[0].face.landmarks[PUPIL_POINTS]
    expected = moved([RIGHT_PUPIL, LEFT_PUPIL], placed)
    assert np.abs(pupils - expected).max() < OFF * face_height
    assert abs((heads[0].face.roll - turn + 180) % 360 - 180) < 8


@pytest.mark.parametrize("turn", range(-75, 90, 15))
def test_found_at_turns_between(turn: int) -> None:
    photograph, placed = in_frame(220, turn, (1000, 1500))
    heads = find_heads(photograph)
    assert len(heads) == 1
    expected = moved([RIGHT_PUPIL, LEFT_PUPIL], placed)
    assert np.abs(heads[0].face.landmarks[PUPIL_POINTS] - expected).max() < OFF * 220


def test_several_are_each_found_once_from_left_to_right() -> None:
    frame = np.full((2000, 3000, 3), 90, np.uint8)
    for row, column, height in ((100, 1700, 400), (700, 100, 130), (1100, 700, 250)):
        head, _ = in_frame(height, 0, (800, 900))
        frame[row : row + 800, column : column + 900] = head.pixels
    heads = find_heads(Photograph(frame))
    heights = [head.face.box.height for head in heads]
    assert heights == pytest.approx([130, 250, 400], rel=0.1)


def test_nobody_in_noise_or_grey() -> None:
    noise = np.random.default_rng(1).integers(0, 256, (700, 900, 3), dtype=np.uint8)
    assert find_heads(Photograph(noise)) == []
    assert find_heads(Photograph(np.full((600, 800, 3), 128, np.uint8))) == []


@pytest.mark.parametrize("shape", [(1, 1), (1, 4000), (4000, 3), (30, 30)])
def test_tiny_and_narrow_frames_hold_nobody(shape: tuple[int, int]) -> None:
    assert find_heads(Photograph(np.full((*shape, 3), 150, np.uint8))) == []


def test_sixteen_bits_see_the_same_face() -> None:
    eight = portrait()
    sixteen = Photograph(eight.pixels.astype(np.uint16) * 257)
    (head,), (same,) = find_heads(eight), find_heads(sixteen)
    assert np.allclose(head.face.landmarks, same.face.landmarks, atol=0.5)
    column, row = FACE_CENTRE
    assert head.face.box.left < column < head.face.box.right
    assert head.face.box.top < row < head.face.box.bottom
