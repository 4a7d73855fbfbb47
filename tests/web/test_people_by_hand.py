"""Skin by hand over HTTP: of people who were found, and of somebody who was not."""

from __future__ import annotations

import io
from typing import Any

import imagecodecs
import numpy as np
import pytest
from PIL import Image

from tests.jobs.fixtures import Studio
from tests.jobs.plain_retoucher import CHANGES, SIDE, squares

FOUND = squares((64, 128))


def stroke(studio: Studio, person: str, box: tuple[int, int, int, int], **more: str) -> Any:
    """Paint a rectangle: left, top, width, height."""
    left, top, width, height = box
    png = bytes(imagecodecs.png_encode(np.full((height, width), 255, np.uint8)))
    asked = {"region": "skin", "paint": "in", "left": left, "top": top, **more}
    return studio.post(f"/v1/people/{person}/mask-edits", params=asked, content=png)


def skin(studio: Studio, person: str) -> np.ndarray[Any, Any]:
    answer = studio.http.get(f"/v1/people/{person}/skin.png?side=128")
    return np.asarray(Image.open(io.BytesIO(answer.content)))


def difference(studio: Studio, portrait: str) -> np.ndarray[Any, Any]:
    """What the retouched picture's codes differ from the original's by."""
    pictures = [
        studio.http.get(f"/v1/portraits/{portrait}/iiif/{which}/full/max/0/default.png").content
        for which in ("original", "retouched")
    ]
    original, retouched = (np.asarray(Image.open(io.BytesIO(one))).astype(int) for one in pictures)
    return retouched - original


@pytest.fixture
def there(studio: Studio) -> tuple[str, str, str, str]:
    """A shoot, a portrait, and Mara and Jon in it, who both agreed to smoothing."""
    shoot = studio.shoot()
    portrait = studio.portrait(shoot, 41)
    mara, jon = studio.named(portrait, "Mara", "Jon")
    for name in ("Mara", "Jon"):
        studio.agree(shoot, name, "smoothing")
    return shoot, portrait, mara, jon


def test_skin_that_was_missed_is_retouched_once_it_is_painted(
    studio: Studio, there: tuple[str, str, str, str]
) -> None:
    shoot, portrait, mara, _ = there
    beside = (FOUND[0].left, FOUND[0].bottom, 10, 12)
    assert stroke(studio, mara, beside)["region"] == "face-skin"  # beside the face
    away = (44, 50, 6, 6)
    assert stroke(studio, mara, away)["region"] == "arm"  # beside nothing
    studio.settle(shoot)
    person = studio.get(f"/v1/portraits/{portrait}/people")[0]
    assert [one["region"] for one in person["regions"]] == ["face-skin", "arm"]
    shown = skin(studio, mara)
    moved = difference(studio, portrait)
    for left, top, width, height in (beside, away):
        assert (shown[top : top + height, left : left + width] == 255).all()
        assert (moved[top : top + height, left : left + width] == CHANGES["smoothing"]).all()
    assert (moved[: FOUND[0].top] == 0).all()


def test_no_skin_takes_from_all_skin_and_can_be_taken_back(
    studio: Studio, there: tuple[str, str, str, str]
) -> None:
    shoot, portrait, mara, _ = there
    stroke(studio, mara, (8, 40, 8, 8), region="neck")
    across = (8, 36, 8, 8)  # half of it on the face, half on the neck
    edit = stroke(studio, mara, across, paint="out")
    studio.settle(shoot)
    assert (difference(studio, portrait)[36:44, 8:16] == 0).all()
    assert (difference(studio, portrait)[44:48, 8:16] != 0).all()
    assert studio.http.delete(f"/v1/mask-edits/{edit['id']}").status_code == 204
    studio.settle(shoot)
    assert (difference(studio, portrait)[36:44, 8:16] != 0).all()


def test_skin_given_to_one_is_taken_from_the_other(
    studio: Studio, there: tuple[str, str, str, str]
) -> None:
    shoot, _, mara, jon = there
    stroke(studio, mara, (FOUND[1].left, FOUND[1].top, 8, SIDE), region="arm")
    studio.settle(shoot)
    assert (skin(studio, jon)[FOUND[1].top : FOUND[1].bottom, FOUND[1].left :][:, :8] == 0).all()
    assert (skin(studio, mara)[FOUND[1].top : FOUND[1].bottom, FOUND[1].left :][:, :8] == 255).all()


def test_somebody_who_was_not_found_is_added_asked_and_retouched(studio: Studio) -> None:
    shoot = studio.shoot()
    picture = np.full((40, 30, 3), 90, np.uint8)  # too small for the squares that are people here
    content = bytes(imagecodecs.png_encode(picture))
    added = studio.post(f"/v1/shoots/{shoot}/portraits?name=nobody.png", content=content)
    studio.settle(shoot)
    portrait = added["portrait"]["id"]
    assert studio.get(f"/v1/portraits/{portrait}/people") == []
    ines = studio.post(f"/v1/portraits/{portrait}/people", json={"name": "Ines"})
    assert (ines["name"], ines["by_hand"], ines["face"], ines["regions"]) == (
        "Ines",
        True,
        None,
        [],
    )
    assert ines["mm_per_pixel"] == 600 / 40
    assert stroke(studio, ines["id"], (5, 5, 10, 20))["region"] == "arm"
    assert studio.get(f"/v1/portraits/{portrait}")["state"] == "to ask"
    studio.settle(shoot)
    assert studio.get(f"/v1/portraits/{portrait}/layers") == []  # nobody was asked
    studio.agree(shoot, "Ines", "smoothing")
    moved = difference(studio, portrait)
    assert (moved[5:25, 5:15] == CHANGES["smoothing"]).all()
    assert np.count_nonzero(moved) == 3 * 20 * 10
    assert studio.get(f"/v1/portraits/{portrait}")["state"] == "to review"
    # removed again, with everything
    assert studio.http.delete(f"/v1/people/{ines['id']}").status_code == 204
    studio.settle(shoot)
    assert studio.get(f"/v1/portraits/{portrait}/people") == []
    assert not difference(studio, portrait).any()
    told = [one["action"] for one in studio.get(f"/v1/portraits/{portrait}/history")]
    assert told[0] in ("person removed", "layers computed")
    assert "person added" in told


def test_a_name_that_agreed_before_holds_and_who_was_found_is_not_removed(
    studio: Studio, there: tuple[str, str, str, str]
) -> None:
    shoot, _, mara, _ = there
    assert studio.http.delete(f"/v1/people/{mara}").status_code == 409
    other = studio.portrait(shoot, 42)
    added = studio.post(
        f"/v1/portraits/{other}/people", json={"name": "Mara", "mm_per_pixel": 0.25}
    )
    assert added["agreed"] == ["smoothing"]
    assert (added["index"], added["mm_per_pixel"]) == (2, 0.25)
    for wrong in ({}, {"name": ""}, {"name": "A", "mm_per_pixel": 0}):
        answer = studio.http.post(f"/v1/portraits/{other}/people", json=wrong)
        assert answer.status_code == 422


def test_what_is_signed_is_not_added_to(studio: Studio, there: tuple[str, str, str, str]) -> None:
    shoot, portrait, _, _ = there
    _, link = studio.proof(shoot, portrait)
    studio.sign(portrait, link)
    answer = studio.http.post(f"/v1/portraits/{portrait}/people", json={"name": "Ines"})
    assert answer.status_code == 423
