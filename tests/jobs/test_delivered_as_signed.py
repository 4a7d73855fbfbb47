"""A package holds what is validly signed at that moment; order is counted, not told by a clock."""

from __future__ import annotations

import io
import zipfile
from datetime import UTC, datetime, timedelta
from typing import Any

import imagecodecs
import numpy as np
import pytest

from evenhand.jobs.work import do
from evenhand.shoots import tables
from tests.jobs.fixtures import Studio
from tests.jobs.plain_retoucher import CHANGES, picture, squares


def asked(studio: Studio, seed: int) -> tuple[str, str, str]:
    """A shoot, a portrait of Mara who agreed to redness, and her identifier."""
    shoot = studio.shoot()
    portrait = studio.portrait(shoot, seed=seed)
    people = studio.named(portrait, "Mara", "Jon")
    studio.agree(shoot, "Mara", "redness")
    return shoot, portrait, people[0]


def sign(studio: Studio, portrait: str, person: str, link: dict[str, str], strength: float) -> Any:
    """Look at a portrait at a strength and sign it off."""
    path = f"/v1/proof/portraits/{portrait}"
    seen = studio.http.get(f"{path}/picture?strength={strength}", headers=link)
    body = {
        "rendering": seen.headers["Rendering"],
        "signed_by": "Mara",
        "choices": [{"person": person, "step": "redness", "strength": strength}],
    }
    return studio.post(f"{path}/sign-off", headers=link, json=body)


def make(studio: Studio, portrait: str, **body: Any) -> tables.Job:
    """The job that makes a final, when it is over."""
    return studio.wait(studio.post(f"/v1/portraits/{portrait}/final", json=body)["id"])


def packed_pixels(studio: Studio, shoot: str) -> np.ndarray[Any, Any]:
    """Pixels of the only final in a new package."""
    job = studio.wait(studio.post(f"/v1/shoots/{shoot}/delivery", json={})["id"])
    assert job.state == "done", job.trouble
    package = studio.http.get(f"/v1/jobs/{job.id}/files/finals.zip").content
    with zipfile.ZipFile(io.BytesIO(package)) as finals:
        [name] = [name for name in finals.namelist() if name.endswith(".png")]
        return np.asarray(imagecodecs.png_decode(finals.read(name))).astype(int)


def expected(seed: int, strength: float) -> np.ndarray[Any, Any]:
    """What the plain retoucher makes of a picture."""
    pixels = np.asarray(imagecodecs.png_decode(picture(seed))).astype(int)
    pixels[squares(pixels.shape[:2])[0].slices] += np.rint(
        strength * np.array(CHANGES["redness"])
    ).astype(int)
    return pixels


def test_a_later_sign_off_takes_earlier_finals_and_packages_out(studio: Studio) -> None:
    shoot, portrait, person = asked(studio, 221)
    _, link = studio.proof(shoot, portrait)
    sign(studio, portrait, person, link, 1.0)
    assert make(studio, portrait).state == "done"
    np.testing.assert_array_equal(packed_pixels(studio, shoot), expected(221, 1.0))
    old = studio.get(f"/v1/shoots/{shoot}/finals")[0]
    package = next(
        job for job in studio.get(f"/v1/shoots/{shoot}/jobs") if job["kind"] == "pack finals"
    )
    sign(studio, portrait, person, link, 0.0)
    assert studio.http.get(f"/v1/finals/{old['id']}/file").status_code == 404
    assert studio.http.get(f"/v1/jobs/{package['id']}/files/finals.zip").status_code == 404
    refused = studio.http.post(f"/v1/shoots/{shoot}/delivery", json={})
    assert refused.status_code == 409
    assert make(studio, portrait).state == "done"
    np.testing.assert_array_equal(packed_pixels(studio, shoot), expected(221, 0.0))


def test_a_final_whose_sign_off_is_stale_is_not_packed(studio: Studio) -> None:
    shoot, portrait, person = asked(studio, 222)
    _, link = studio.proof(shoot, portrait)
    sign(studio, portrait, person, link, 1.0)
    make(studio, portrait)
    studio.put(f"/v1/portraits/{portrait}/lock", json={"locked": False})
    layer = studio.get(f"/v1/portraits/{portrait}/layers")[0]["id"]
    studio.put(f"/v1/layers/{layer}/strength", json={"strength": 0.2})
    refused = studio.http.post(f"/v1/shoots/{shoot}/delivery", json={})
    assert refused.status_code == 409
    assert refused.json()["type"].endswith("/stale")


def test_an_override_asked_for_before_a_sign_off_is_not_made_after_it(studio: Studio) -> None:
    shoot, portrait, person = asked(studio, 223)
    _, link = studio.proof(shoot, portrait)
    job = tables.Job(
        shoot_id=shoot,
        portrait_id=portrait,
        kind="make final",
        arguments={"override": "in a hurry", "pattern": "{portrait}", "asked": 1},
        state="waiting",
    )
    with studio.place.database.writing() as session:
        session.add(job)
    sign(studio, portrait, person, link, 0.5)
    do(studio.place, job.id)
    over = studio.get(f"/v1/jobs/{job.id}")
    assert (over["state"], "signed off after" in over["trouble"]) == ("failed", True)


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> dict[str, timedelta]:
    """Sets the clock that the records read, by how much."""
    by = {"by": timedelta()}

    class Set(datetime):
        @classmethod
        def now(cls, tz: Any = None) -> datetime:
            return datetime.now(tz) + by["by"]

    monkeypatch.setattr(tables, "datetime", Set)
    assert abs(tables.now() - datetime.now(UTC)) < timedelta(seconds=5)
    return by


@pytest.mark.parametrize("hours", [-1, 1])
def test_a_clock_that_is_set_changes_no_order(
    studio: Studio, clock: dict[str, timedelta], hours: int
) -> None:
    shoot, portrait, person = asked(studio, 224 + hours)
    _, link = studio.proof(shoot, portrait)
    sign(studio, portrait, person, link, 1.0)
    make(studio, portrait)
    clock["by"] = timedelta(hours=hours)
    sign(studio, portrait, person, link, 0.5)
    make(studio, portrait)
    np.testing.assert_array_equal(packed_pixels(studio, shoot), expected(224 + hours, 0.5))
    standings = [one["standing"] for one in studio.get(f"/v1/shoots/{shoot}/sign-offs")]
    assert standings == ["valid", "void"]
    second = studio.portrait(shoot, seed=230 + hours, name="second.png")
    listed = [one["id"] for one in studio.get(f"/v1/shoots/{shoot}/portraits")]
    assert listed == [portrait, second]
