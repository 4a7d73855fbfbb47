"""The parser's answers land where they belong in the photograph."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from evenhand.box import Box
from evenhand.errors import MissingNetworkError
from evenhand.people import parser, weights
from evenhand.people.parser import (
    SKIN_PARTS,
    Head,
    Parse,
    Parsing,
    Part,
    distinct,
)
from evenhand.people.views import View, aligned, chained, inverse
from evenhand.people.weights import network_of
from evenhand.photo.photograph import Photograph

HALF = np.array([[2.0, 0, 0.5], [0, 2.0, 0.5]])
# Cells of two by two pixels of the photograph.


def parse_of(face: np.ndarray, to_photograph: np.ndarray) -> Parse:
    probability = np.zeros((len(Part), *face.shape), np.float32)
    probability[Part.FACE] = face
    probability[Part.BACKGROUND] = 1 - face
    return Parse(probability, to_photograph, ())


def test_a_cell_covers_its_own_pixels() -> None:
    face = np.zeros((10, 12), np.float32)
    face[3:6, 4:9] = 1
    drawn = Parsing(parse_of(face, HALF), (), ()).inside(SKIN_PARTS, Box(0, 0, 20, 24))
    assert ((drawn >= 0.5) == np.kron(face, np.ones((2, 2))).astype(bool)).all()


def test_a_box_is_cut_from_the_same_map() -> None:
    face = np.random.default_rng(1).random((16, 16), np.float32)
    parsing = Parsing(parse_of(face, HALF), (), ())
    whole = parsing.inside([Part.FACE], Box(0, 0, 32, 32))
    np.testing.assert_allclose(
        parsing.inside([Part.FACE], Box(5, 7, 20, 30)), whole[5:20, 7:30], atol=1e-6
    )


def test_a_closer_look_replaces_the_frame_only_inside_itself() -> None:
    frame = parse_of(np.zeros((50, 50), np.float32), HALF)
    look = parse_of(np.ones((40, 40), np.float32), np.array([[1.0, 0, 30], [0, 1.0, 20]]))
    drawn = Parsing(frame, (look,), ()).inside([Part.FACE], Box(0, 0, 100, 100))
    assert drawn[40, 50] == 1
    assert drawn[:19].max() == 0
    assert drawn[:, :29].max() == 0
    assert drawn[61:].max() == 0


def test_a_turned_look_reaches_as_far_as_it_trusts_itself() -> None:
    turned = chained(np.array([[0.8, -0.6, 60.0], [0.6, 0.8, 10.0]]), HALF)
    look = parse_of(np.ones((20, 30), np.float32), turned)
    grid = np.eye(3)[:2]
    _, trust = look.drawn([Part.FACE], grid, (120, 130))
    rows, columns = look.reach(grid, (120, 130))
    outside = trust.copy()
    outside[rows, columns] = 0
    assert trust.max() == 1
    assert outside.max() == 0
    away = look.reach(np.array([[1.0, 0, 900], [0, 1.0, 900]]), (50, 50))
    assert trust[away].size == 0


def test_chances_of_parts_add_up() -> None:
    probability = np.random.default_rng(2).dirichlet(np.ones(len(Part)), (4, 4))
    answer = Parse(np.moveaxis(probability, -1, 0).astype(np.float32), HALF, ())
    np.testing.assert_allclose(answer.of(Part), 1, atol=1e-6)
    assert answer.of([]).max() == 0


def test_a_turned_view_is_turned_back() -> None:
    photograph = Photograph(np.zeros((200, 300, 3), np.uint8))
    view = aligned(photograph, np.array([150.0, 100.0]), 120.0, 30.0, 60)
    head = Head(Box(0, 0, 0, 0), 0.0, 10.0, 0.9)
    placed = parser._placed(head, (29.5, 29.5), (20.0, 30.0), view)
    assert placed.roll == pytest.approx(30, abs=0.5)
    middle = (placed.box.left + placed.box.right) / 2, (placed.box.top + placed.box.bottom) / 2
    assert middle == pytest.approx((150, 100), abs=1)
    # half axes 20 and 30 pixels of the photograph, turned by 30 degrees
    assert placed.box.width / 2 == pytest.approx(np.hypot(20 * np.cos(0.5236), 15), abs=1)


def test_affine_maps_undo_each_other() -> None:
    there = np.array([[0.8, -0.6, 12.0], [0.6, 0.8, -3.0]])
    np.testing.assert_allclose(chained(there, inverse(there)), np.eye(3)[:2], atol=1e-12)


def test_each_head_is_listed_once_surest_first() -> None:
    heads = [
        Head(Box(10, 10, 50, 50), 0, 0, 0.5),
        Head(Box(12, 11, 52, 51), 0, 0, 0.9),
        Head(Box(10, 200, 50, 240), 0, 0, 0.7),
    ]
    assert [head.confidence for head in distinct(heads)] == [0.9, 0.7]


def test_damaged_weights_are_named(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    folder = tmp_path / "models" / "parser"
    folder.mkdir(parents=True)
    (folder / "parser.onnx").write_bytes(b"not a network")
    (folder / "parser.onnx.sha256").write_text("0" * 64)
    monkeypatch.setattr(weights, "files", lambda package: tmp_path)
    network_of.cache_clear()
    with pytest.raises(MissingNetworkError, match="checksum"):
        parser.parse(View(np.zeros((32, 32, 3), np.uint8), np.eye(3)[:2]))
    (folder / "parser.onnx.sha256").unlink()
    with pytest.raises(MissingNetworkError, match="cannot be read"):
        parser.parse(View(np.zeros((32, 32, 3), np.uint8), np.eye(3)[:2]))


@pytest.mark.parametrize("shape", [(31, 33), (200, 301), (64, 900)])
def test_any_shape_is_answered_with_chances_that_add_up(shape: tuple[int, int]) -> None:
    pixels = np.random.default_rng(3).integers(0, 256, (*shape, 3)).astype(np.uint8)
    photograph = Photograph(pixels)
    parsing = Parsing(parser.look(photograph, photograph.frame), (), ())
    everything = parsing.inside(Part, Box(0, 0, *shape))
    np.testing.assert_allclose(everything, 1, atol=2e-3)


def test_the_answer_is_the_same_each_time() -> None:
    pixels = np.random.default_rng(4).integers(0, 256, (96, 96, 3)).astype(np.uint8)
    view = View(pixels, np.eye(3)[:2])
    np.testing.assert_array_equal(parser.parse(view).probability, parser.parse(view).probability)
