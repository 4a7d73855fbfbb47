"""What is signed is locked until it is unlocked on purpose; what was signed is told."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import imagecodecs
import numpy as np
import pytest

from tests.jobs.fixtures import Studio


class Signed:
    """A shoot with a portrait of Mara, signed at half strength."""

    def __init__(self, studio: Studio) -> None:
        self.studio = studio
        self.shoot = studio.shoot()
        self.portrait = studio.portrait(self.shoot, seed=2)
        self.person, _ = studio.named(self.portrait, "Mara", "Jon")
        studio.agree(self.shoot, "Mara", "redness", "marks")
        self.layers = studio.get(f"/v1/portraits/{self.portrait}/layers")
        for layer in self.layers:
            studio.put(f"/v1/layers/{layer['id']}/strength", json={"strength": 0.55})
        self.marks = studio.get(f"/v1/portraits/{self.portrait}/marks")
        self.edit = self.paint().json()["id"]
        studio.settle(self.shoot)
        self.proof, self.link = studio.proof(self.shoot, self.portrait)
        self.sign_off = studio.sign(self.portrait, self.link)

    def paint(self, left: int = 10) -> Any:
        paint = bytes(imagecodecs.png_encode(np.full((4, 4), 255, np.uint8)))
        path = f"/v1/people/{self.person}/mask-edits?region=face-skin&paint=out&left={left}&top=10"
        return self.studio.http.post(path, content=paint)

    def now(self) -> Any:
        return self.studio.get(f"/v1/portraits/{self.portrait}")


@pytest.fixture
def signed(studio: Studio) -> Signed:
    return Signed(studio)


CHANGES: dict[str, Callable[[Studio, Signed], Any]] = {
    "strength": lambda studio, it: studio.http.put(
        f"/v1/layers/{it.layers[0]['id']}/strength", json={"strength": 0.4}
    ),
    "settings": lambda studio, it: studio.http.put(
        f"/v1/people/{it.person}/steps/redness", json={"times": 0.5}
    ),
    "mask": lambda studio, it: it.paint(20),
    "mask taken back": lambda studio, it: studio.http.delete(f"/v1/mask-edits/{it.edit}"),
    "mark": lambda studio, it: studio.http.put(
        f"/v1/marks/{studio.get(f'/v1/portraits/{it.portrait}/marks')[0]['id']}",
        json={"decision": "keep"},
    ),
    "name": lambda studio, it: studio.http.put(
        f"/v1/people/{it.person}", json={"name": "Somebody else"}
    ),
    "wish": lambda studio, it: studio.http.put(
        f"/v1/proof/marks/{studio.get(f'/v1/portraits/{it.portrait}/marks')[0]['id']}/wish",
        headers=it.link,
        json={"wish": "leave it"},
    ),
}


@pytest.mark.parametrize("change", CHANGES)
def test_a_signed_portrait_is_not_changed_until_it_is_unlocked(
    studio: Studio, signed: Signed, change: str
) -> None:
    assert signed.now()["locked"]
    refused = CHANGES[change](studio, signed)
    assert refused.status_code == 423
    assert refused.json()["type"] == "/v1/problems/locked"
    assert refused.json()["advice"]
    studio.settle(signed.shoot)
    (standing,) = studio.get(f"/v1/shoots/{signed.shoot}/sign-offs")
    assert standing["standing"] == "valid"

    body = {"locked": False, "why": "Mara phoned"}
    unlocked = studio.put(f"/v1/portraits/{signed.portrait}/lock", json=body)
    assert (unlocked["locked"], unlocked["state"]) == (False, "signed")
    entry = studio.get(f"/v1/shoots/{signed.shoot}/record")["entries"][-1]
    assert (entry["action"], entry["facts"]["why"]) == ("portrait unlocked", "Mara phoned")
    assert CHANGES[change](studio, signed).is_success
    studio.settle(signed.shoot)
    assert signed.now()["state"] == "stale"


def test_unlocking_by_mistake_is_locked_again(studio: Studio, signed: Signed) -> None:
    path = f"/v1/portraits/{signed.portrait}/lock"
    studio.put(path, json={"locked": False})
    assert studio.put(path, json={"locked": True})["locked"]
    assert CHANGES["strength"](studio, signed).status_code == 423
    told = [entry["action"] for entry in studio.get(f"/v1/shoots/{signed.shoot}/record")["entries"]]
    assert told[-2:] == ["portrait unlocked", "portrait locked"]


def test_only_what_is_signed_has_a_lock(studio: Studio, signed: Signed) -> None:
    other = studio.portrait(signed.shoot, seed=3, name="b.png")
    refused = studio.http.put(f"/v1/portraits/{other}/lock", json={"locked": True})
    assert refused.status_code == 409
    assert signed.now()["locked"]
    assert not studio.get(f"/v1/portraits/{other}")["locked"]


def test_a_permission_given_later_waits_until_it_is_unlocked(
    studio: Studio, signed: Signed
) -> None:
    studio.agree(signed.shoot, "Mara", "smoothing")
    assert signed.now()["state"] == "signed"
    steps = {layer["step"] for layer in studio.get(f"/v1/portraits/{signed.portrait}/layers")}
    assert "smoothing" not in steps
    seen = studio.http.get(f"/v1/proof/portraits/{signed.portrait}/picture", headers=signed.link)
    assert seen.status_code == 200
    job = studio.wait(studio.post(f"/v1/portraits/{signed.portrait}/final", json={})["id"])
    assert job.state == "done", job.trouble
    studio.put(f"/v1/portraits/{signed.portrait}/lock", json={"locked": False})
    studio.settle(signed.shoot)
    steps = {layer["step"] for layer in studio.get(f"/v1/portraits/{signed.portrait}/layers")}
    assert "smoothing" in steps


def test_a_permission_is_taken_back_whatever_is_locked(studio: Studio, signed: Signed) -> None:
    body = {"name": "Mara", "steps": ["redness"]}
    out = studio.post(f"/v1/shoots/{signed.shoot}/withdrawals", json=body)
    assert (out["layers"], out["sign_offs"]) == (1, 1)
    assert not signed.now()["locked"]


def test_the_table_shows_what_was_signed(studio: Studio, signed: Signed) -> None:
    """Strengths are the ones that are shown: the whole of 55 % is 55 %, half of it 27.5 %."""
    told = signed.now()["signed"]
    assert (told["sign_off"], told["signed_by"]) == (signed.sign_off["id"], "Mara")
    assert {(one["step"], one["strength"]) for one in told["strengths"]} == {
        ("redness", 0.55),
        ("marks", 0.55),
    }
    shown = studio.get("/v1/proof", headers=signed.link)["portraits"][0]
    assert shown["people"][0]["strengths"] == {"redness": 0.55, "marks": 0.55}
    half = [{"person": signed.person, "step": "redness", "strength": 0.5}]
    path = f"/v1/proof/portraits/{signed.portrait}/picture?strengths={signed.person}.redness:0.5"
    seen = studio.http.get(path, headers=signed.link)
    again = studio.post(
        f"/v1/proof/portraits/{signed.portrait}/sign-off",
        headers=signed.link,
        json={"rendering": seen.headers["Rendering"], "signed_by": "Mara", "choices": half},
    )
    applied = {one["step"]: one["strength"] for one in again["applied"]}
    assert applied == {"redness": 0.275, "marks": 0.55}
    entry = studio.get(f"/v1/shoots/{signed.shoot}/record")["entries"][-1]
    assert {one["step"]: one["strength"] for one in entry["facts"]["applied"]} == applied
