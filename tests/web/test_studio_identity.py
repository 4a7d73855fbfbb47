"""The studio's name and mark: set by the photographer, checked, seen by clients."""

from __future__ import annotations

import io
from collections.abc import Callable

import numpy as np
import pytest
from PIL import Image

from tests.jobs.fixtures import Studio


def encoded(size: tuple[int, int], kind: str = "PNG") -> bytes:
    """A picture with something in its metadata."""
    out = io.BytesIO()
    picture = Image.fromarray(np.full((size[1], size[0], 3), 90, np.uint8))
    exif = Image.Exif()
    exif[270] = "where I live"
    picture.save(out, kind, exif=exif)
    return out.getvalue()


def test_clients_see_the_studios_name_and_mark(studio: Studio) -> None:
    shoot = studio.shoot()
    portrait = studio.portrait(shoot, seed=1)
    _, link = studio.proof(shoot, portrait)
    asked = studio.post(f"/v1/shoots/{shoot}/permission-links", json={"name": "Mara"})
    person = studio.as_bearer(asked["token"])
    studio.http.delete("/v1/studio/mark")
    assert studio.http.get("/v1/studio/mark", headers=link).status_code == 404
    studio.put("/v1/studio", json={"name": " Studio by the lake "})
    out = studio.put("/v1/studio/mark", content=encoded((1600, 400)))
    assert out["name"] == "Studio by the lake"
    assert studio.get("/v1/proof", headers=link)["studio"] == out
    assert studio.get("/v1/asked", headers=person)["studio"] == out
    for headers in (link, person):
        mark = studio.http.get("/v1/studio/mark", headers=headers)
        assert mark.headers["content-type"] == "image/png"
        with Image.open(io.BytesIO(mark.content)) as kept:
            assert kept.size == (960, 240)
            assert not kept.getexif()
        assert b"where I live" not in mark.content
    studio.put("/v1/studio", json={"name": ""})
    gone = studio.http.delete("/v1/studio/mark").json()
    assert gone == {"name": "", "mark_sha256": None}


@pytest.mark.parametrize(
    "made",
    [
        lambda: b"<svg xmlns='http://www.w3.org/2000/svg'><script>alert(1)</script></svg>",
        lambda: encoded((20, 20), "GIF"),
        lambda: encoded((80, 80))[:-60],
        lambda: encoded((5000, 4000)),
        lambda: b"",
    ],
    ids=["drawing", "another format", "cut off", "too many pixels", "nothing"],
)
def test_what_is_no_mark_is_refused(studio: Studio, made: Callable[[], bytes]) -> None:
    refused = studio.http.put("/v1/studio/mark", content=made())
    assert refused.status_code == 422
    assert refused.json()["advice"]


def test_a_large_file_is_refused_unread(studio: Studio) -> None:
    assert studio.http.put("/v1/studio/mark", content=b"\0" * (1024 * 1024 + 1)).status_code == 413


def test_only_the_studio_sets_it(studio: Studio) -> None:
    shoot = studio.shoot()
    _, link = studio.proof(shoot, studio.portrait(shoot, seed=2))
    assert studio.http.put("/v1/studio", headers=link, json={"name": "x"}).status_code == 403
    refused = studio.http.put("/v1/studio/mark", headers=link, content=encoded((9, 9)))
    assert refused.status_code == 403
