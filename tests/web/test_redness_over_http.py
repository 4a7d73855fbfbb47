"""Pointing at burns, strengths by region and what was found, over HTTP."""

from __future__ import annotations

import io
from typing import Any

import imagecodecs
import numpy as np
import pytest

from evenhand.web.pointing import MOST_POINTS
from tests.jobs.fixtures import Studio
from tests.jobs.plain_retoucher import SIDE, squares

WIDTH, HEIGHT = 128, 64
"""Of the plain picture."""


def shoot_of_mara(studio: Studio) -> tuple[str, str, str]:
    """A shoot, its portrait and a person who agreed to redness."""
    shoot = studio.shoot()
    portrait = studio.portrait(shoot, seed=11)
    person, _ = studio.named(portrait, "Mara", "Jon")
    studio.agree(shoot, "Mara", "redness")
    return shoot, portrait, person


@pytest.fixture
def asked(studio: Studio) -> tuple[str, str, str]:
    """Such a shoot, for a test that says something of its redness."""
    return shoot_of_mara(studio)


@pytest.fixture(scope="module")
def refusing(studio: Studio) -> tuple[str, str, str]:
    """The same, for tests whose wishes are refused."""
    return shoot_of_mara(studio)


def redness_of(studio: Studio, portrait: str) -> dict[str, Any]:
    layers = studio.get(f"/v1/portraits/{portrait}/layers")
    return next(layer for layer in layers if layer["step"] == "redness")


def test_a_layer_says_what_was_found_in_words(studio: Studio, asked: tuple[str, str, str]) -> None:
    shoot, portrait, person = asked
    assert redness_of(studio, portrait)["findings"] == ["no burn found"]
    settings = {"burnt_at": [[20, 20], [127, 63]], "by_region": {"face-skin": 0.5}}
    set_to = studio.put(f"/v1/people/{person}/steps/redness", json=settings)["settings"]
    assert set_to["redness"] == settings
    studio.settle(shoot)
    layer = redness_of(studio, portrait)
    assert layer["findings"] == ["burn on face, taken off"]
    assert layer["settings"]["burnt_at"] == [[20, 20], [127, 63]]


def test_steps_that_find_nothing_say_nothing(studio: Studio) -> None:
    shoot = studio.shoot()
    portrait = studio.portrait(shoot, seed=12)
    studio.named(portrait, "Mara")
    studio.agree(shoot, "Mara", "smoothing")
    (layer,) = studio.get(f"/v1/portraits/{portrait}/layers")
    assert layer["findings"] == []


@pytest.mark.parametrize(
    ("settings", "said"),
    [
        ({"burnt_at": [[WIDTH, 0]]}, f"{WIDTH} x {HEIGHT} pixels"),
        ({"leave_at": [[0, HEIGHT]]}, f"{WIDTH} x {HEIGHT} pixels"),
        ({"burnt_at": [[5, -1]]}, "lies outside the photograph"),
        ({"burnt_at": [[5, 5]] * (MOST_POINTS + 1)}, f"Give {MOST_POINTS} at most"),
        ({"burnt_at": [[5, 5, 5]]}, "burnt_at.0"),
        ({"burnt_at": [[5.5, 5]]}, "burnt_at.0.0"),
        ({"by_region": {"hair": 0.5}}, "hair is not skin"),
        ({"by_region": {"elbow": 0.5}}, "by_region.elbow"),
        ({"by_region": {"arm": 1.5}}, "not from 0 to 1"),
    ],
)
def test_what_cannot_be_is_refused_and_loses_nothing(
    studio: Studio, refusing: tuple[str, str, str], settings: dict[str, Any], said: str
) -> None:
    shoot, portrait, person = refusing
    path = f"/v1/people/{person}/steps/redness"
    kept = {"burnt_at": [[20, 20]]}
    studio.put(path, json=kept)
    refused = studio.http.put(path, json=settings)
    assert refused.status_code == 422
    problem = refused.json()
    assert problem["type"] == "/v1/problems/wrong-setting"
    assert said in f"{problem['detail']} {problem['advice']}"
    people = studio.get(f"/v1/portraits/{portrait}/people")
    assert next(one for one in people if one["id"] == person)["settings"]["redness"] == kept
    studio.settle(shoot)


def test_a_strength_that_is_no_number_is_refused(
    studio: Studio, refusing: tuple[str, str, str]
) -> None:
    refused = studio.http.put(
        f"/v1/people/{refusing[2]}/steps/redness",
        content=b'{"by_region": {"arm": NaN}}',
        headers={"Content-Type": "application/json"},
    )
    assert refused.status_code == 422
    assert "not from 0 to 1" in refused.json()["detail"]


def test_the_skin_of_a_person_as_painted(studio: Studio, asked: tuple[str, str, str]) -> None:
    shoot, _, person = asked
    box = squares((HEIGHT, WIDTH))[0]
    expected = np.zeros((HEIGHT, WIDTH), np.uint8)
    expected[box.slices] = 255
    path = f"/v1/people/{person}/skin.png?side={WIDTH}"
    assert np.array_equal(skin(studio, path), expected)
    paint = bytes(imagecodecs.png_encode(np.full((8, SIDE), 255, np.uint8)))
    edits = f"/v1/people/{person}/mask-edits?region=face-skin&paint=out"
    studio.post(f"{edits}&left={box.left}&top={box.top}", content=paint)
    expected[box.top : box.top + 8, box.left : box.right] = 0
    assert np.array_equal(skin(studio, path), expected)
    studio.settle(shoot)


def skin(studio: Studio, path: str) -> np.ndarray[Any, Any]:
    """Codes of a grey PNG."""
    response = studio.http.get(path)
    assert response.headers["Cache-Control"] == "private, no-store"
    return np.asarray(imagecodecs.imread(io.BytesIO(response.content)))
