"""People and layers as bytes: they come back, and equal content gives equal bytes."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from evenhand.box import Box
from evenhand.jobs.packing import pack, pack_layer, pack_person, unpack, unpack_layer, unpack_person
from evenhand.layers.layer import Layer
from evenhand.people.person import Belief, Face, Mask, Person, Region, Scale, ScaleSource

BOX = Box(10, 20, 34, 60)
MASK = Mask(BOX, np.random.default_rng(1).random((24, 40), np.float32))
FACE = Face(BOX, np.random.default_rng(2).random((478, 2), np.float32), 12.5, -3.0, 0.75)
BELIEF = Belief(
    np.random.default_rng(4).random((30, 20), np.float32), np.array([[1.5, 0, 12], [0, 1.5, -4.25]])
)
PERSON = Person(
    1, FACE, Scale(0.4, ScaleSource.IRIS), {Region.FACE: MASK, Region.EYE: MASK}, BELIEF
)
LAYER = Layer(
    "redness", 1, BOX, np.random.default_rng(3).integers(-900, 900, (24, 40, 3), np.int32), 64, 8.0,
    {"cap": 8.0}, {"before": 3.25},
)  # fmt: skip


@pytest.mark.parametrize("person", [PERSON, replace(PERSON, face=None, masks={}, burnt=None)])
def test_a_person_comes_back(person: Person) -> None:
    again = unpack_person(pack_person(person))
    assert (again.index, again.scale) == (person.index, person.scale)
    assert set(again.masks) == set(person.masks)
    for region, mask in again.masks.items():
        assert mask.box == person.masks[region].box
        np.testing.assert_allclose(mask.alpha, person.masks[region].alpha, atol=0.5 / 65535 + 1e-7)
    if person.burnt is None:
        assert again.burnt is None
    else:
        assert again.burnt is not None
        np.testing.assert_allclose(again.burnt.chance, BELIEF.chance, atol=0.5 / 65535 + 1e-7)
        np.testing.assert_array_equal(again.burnt.to_photograph, BELIEF.to_photograph)
    if person.face is None:
        assert again.face is None
    else:
        assert again.face is not None
        np.testing.assert_array_equal(again.face.landmarks, person.face.landmarks)
        assert replace(again.face, landmarks=FACE.landmarks) == replace(
            person.face, landmarks=FACE.landmarks
        )


@pytest.mark.parametrize("factor", [1, 1000])
def test_a_layer_comes_back_exactly(factor: int) -> None:
    layer = replace(LAYER, difference=LAYER.difference * factor)
    again = unpack_layer(pack_layer(layer))
    np.testing.assert_array_equal(again.difference, layer.difference)
    assert again.difference.dtype == np.int32
    assert replace(again, difference=layer.difference) == layer


def test_equal_content_gives_equal_bytes() -> None:
    assert pack_person(PERSON) == pack_person(PERSON)
    assert pack_layer(LAYER) == pack_layer(LAYER)


def test_another_version_is_not_read() -> None:
    with pytest.raises(ValueError, match="version"):
        unpack(pack({"version": 2}, {}))
