"""A brush for strength over HTTP: in pictures, differences and finals alike; it can be undone."""

from __future__ import annotations

import io
from typing import Any

import imagecodecs
import numpy as np
import pytest
from PIL import Image

from tests.jobs.fixtures import Studio
from tests.jobs.plain_retoucher import CHANGES, SIDE, squares

BOX = squares((64, 128))[0]


def paint(studio: Studio, layer: str, **more: Any) -> Any:
    """Paint over the upper half of the first person."""
    png = bytes(imagecodecs.png_encode(np.full((SIDE // 2, SIDE), 255, np.uint8)))
    asked = {"left": BOX.left, "top": BOX.top, **more}
    return studio.http.post(f"/v1/layers/{layer}/strokes", params=asked, content=png)


def shown(studio: Studio, portrait: str) -> np.ndarray[Any, Any]:
    """What the retouched picture differs by from the original, over the first person."""
    pictures = [
        studio.http.get(f"/v1/portraits/{portrait}/iiif/{which}/full/max/0/default.png").content
        for which in ("original", "retouched")
    ]
    original, retouched = (np.asarray(Image.open(io.BytesIO(one))).astype(int) for one in pictures)
    return (retouched - original)[BOX.slices]


@pytest.fixture
def there(studio: Studio) -> tuple[str, str, str, str]:
    """A shoot, a portrait, Mara and her layer of redness."""
    shoot = studio.shoot()
    portrait = studio.portrait(shoot, 51)
    mara, _ = studio.named(portrait, "Mara", "Jon")
    studio.agree(shoot, "Mara", "redness")
    (layer,) = studio.get(f"/v1/portraits/{portrait}/layers")
    return shoot, portrait, mara, layer["id"]


UPPER, LOWER = np.s_[: SIDE // 2], np.s_[SIDE // 2 :]
WHOLE = np.array(CHANGES["redness"])


def test_less_is_shown_signed_and_delivered_the_same_and_taken_back(
    studio: Studio, there: tuple[str, str, str, str]
) -> None:
    shoot, portrait, _, layer = there
    before = studio.get(f"/v1/portraits/{portrait}/layers")[0]["sha256"]
    stroke = paint(studio, layer).json()
    assert (stroke["paint"], stroke["amount"], stroke["step"]) == ("less", 0.5, "redness")
    moved = shown(studio, portrait)
    assert (moved[UPPER] == WHOLE / 2).all()
    assert (moved[LOWER] == WHOLE).all()
    assert studio.get(f"/v1/portraits/{portrait}")["state"] == "to review"  # no job was needed
    # the numbers that a page blends from
    raw = studio.http.get(f"/v1/layers/{layer}/differences/full/128,64").content
    numbers = np.frombuffer(raw, "<i2").reshape(64, 128, 3)[BOX.slices]
    assert (numbers[UPPER] == 64 * WHOLE / 2).all()
    # the final, at full quality
    _, link = studio.proof(shoot, portrait)
    studio.sign(portrait, link)
    job = studio.post(f"/v1/portraits/{portrait}/final", json={})
    assert studio.wait(job["id"]).state == "done"
    (final,) = studio.get(f"/v1/shoots/{shoot}/finals")
    content = studio.http.get(f"/v1/finals/{final['id']}/file").content
    original = studio.http.get(f"/v1/portraits/{portrait}/original").content
    codes_of = [np.asarray(Image.open(io.BytesIO(one))).astype(int) for one in (original, content)]
    assert np.abs((codes_of[1] - codes_of[0])[BOX.slices] - moved).max() <= 1
    # what is signed is not painted on
    assert paint(studio, layer).status_code == 423
    assert studio.http.delete(f"/v1/strokes/{stroke['id']}").status_code == 423
    studio.put(f"/v1/portraits/{portrait}/lock", json={"locked": False})
    assert studio.http.delete(f"/v1/strokes/{stroke['id']}").status_code == 204
    assert (shown(studio, portrait) == WHOLE).all()
    assert studio.get(f"/v1/portraits/{portrait}/layers")[0]["sha256"] == before


def test_strokes_add_up_and_stay_when_the_layer_is_computed_anew(
    studio: Studio, there: tuple[str, str, str, str]
) -> None:
    shoot, portrait, mara, layer = there
    paint(studio, layer, amount=1)
    assert not shown(studio, portrait)[UPPER].any()
    paint(studio, layer, paint="more", amount=0.5)
    assert (shown(studio, portrait)[UPPER] == WHOLE / 2).all()
    studio.put(f"/v1/people/{mara}/steps/redness", json={"times": 2})
    studio.settle(shoot)
    assert (shown(studio, portrait)[UPPER] == WHOLE).all()
    assert (shown(studio, portrait)[LOWER] == 2 * WHOLE).all()
    strokes = studio.get(f"/v1/layers/{layer}/strokes")
    assert [one["paint"] for one in strokes] == ["less", "more"]
    assert studio.get(f"/v1/portraits/{portrait}/layers")[0]["painted"] == 2
    # taken back and agreed to again: what was painted is still there
    body = {"name": "Mara", "steps": ["redness"]}
    studio.post(f"/v1/shoots/{shoot}/withdrawals", json=body)
    assert not shown(studio, portrait).any()
    studio.agree(shoot, "Mara", "redness")
    assert (shown(studio, portrait)[UPPER] == WHOLE).all()
    for stroke in strokes:
        assert studio.http.delete(f"/v1/strokes/{stroke['id']}").status_code == 204
    assert (shown(studio, portrait) == 2 * WHOLE).all()


def test_what_cannot_be_painted_is_refused(
    studio: Studio, there: tuple[str, str, str, str]
) -> None:
    _, portrait, _, layer = there
    assert paint(studio, "0" * 32).status_code == 404
    assert paint(studio, layer, left=120).status_code == 422
    for wrong in ({"paint": "stronger"}, {"amount": 0}, {"amount": 1.5}, {"amount": "nan"}):
        assert paint(studio, layer, **wrong).status_code == 422
    assert studio.http.delete(f"/v1/strokes/{'0' * 32}").status_code == 404
    assert studio.get(f"/v1/layers/{layer}/strokes") == []
    assert (shown(studio, portrait) == WHOLE).all()


def test_strokes_go_with_the_portrait(studio: Studio, there: tuple[str, str, str, str]) -> None:
    _, portrait, _, layer = there
    paint(studio, layer)
    gone = studio.http.delete(f"/v1/portraits/{portrait}").json()
    assert gone["rows"]["strokes"] == 1
    assert gone["files"] >= 4  # original, masks, stroke, layer as computed and as painted
