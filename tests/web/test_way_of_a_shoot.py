"""A shoot from upload to signed final over HTTP, and every promise on the way."""

from __future__ import annotations

import hashlib
import io
import threading
import zipfile
from pathlib import Path
from typing import Any

import imagecodecs
import numpy as np
import pytest
from sqlalchemy import event

from tests.jobs.fixtures import Studio
from tests.jobs.plain_retoucher import CHANGES, picture, squares


@pytest.fixture
def asked(studio: Studio) -> tuple[str, str, list[str]]:
    """A shoot with one portrait of Mara and Jon; Mara agreed to redness, Jon to nothing."""
    shoot = studio.shoot()
    portrait = studio.portrait(shoot, seed=1)
    people = studio.named(portrait, "Mara", "Jon")
    studio.agree(shoot, "Mara", "redness")
    return shoot, portrait, people


def final_pixels(studio: Studio, shoot: str) -> np.ndarray[Any, Any]:
    """Pixels of the newest final of a shoot."""
    final = studio.get(f"/v1/shoots/{shoot}/finals")[0]
    response = studio.http.get(f"/v1/finals/{final['id']}/file")
    assert hashlib.sha256(response.content).hexdigest() == final["sha256"]
    return np.asarray(imagecodecs.png_decode(response.content))


def test_from_upload_to_signed_final(studio: Studio, asked: tuple[str, str, list[str]]) -> None:
    shoot, portrait, people = asked
    _, link = studio.proof(shoot, portrait)
    shown = studio.get("/v1/proof", headers=link)
    assert shown["strengths"] == [0.0, 0.5, 0.75, 1.0]
    assert [p["steps"] for p in shown["portraits"][0]["people"]] == [["redness"]]
    path = f"/v1/proof/portraits/{portrait}/picture?side=128&strength=0.5"
    seen = studio.http.get(path, headers=link)
    choices = [{"person": people[0], "step": "redness", "strength": 0.5}]
    body = {
        "rendering": seen.headers["Rendering"],
        "side": 128,
        "choices": choices,
        "signed_by": "Mara",
    }
    signed = studio.post(f"/v1/proof/portraits/{portrait}/sign-off", headers=link, json=body)
    assert signed["standing"] == "valid"
    assert hashlib.sha256(seen.content).hexdigest() == signed["image_sha256"]
    kept = studio.http.get(f"/v1/sign-offs/{signed['id']}/picture")
    assert kept.content == seen.content
    job = studio.post(f"/v1/portraits/{portrait}/final", json={"pattern": "{shoot}-{number}"})
    assert studio.wait(job["id"]).state == "done"
    assert studio.get(f"/v1/shoots/{shoot}/finals")[0]["name"] == "Summer-regatta-001.png"

    before = np.asarray(imagecodecs.png_decode(picture(1))).astype(int)
    expected = before.copy()
    box = squares(before.shape[:2])[0]
    expected[box.slices] += np.rint(0.5 * np.array(CHANGES["redness"])).astype(int)
    np.testing.assert_array_equal(final_pixels(studio, shoot), expected)
    entries = studio.get(f"/v1/shoots/{shoot}/record")
    assert entries["whole"]
    actions = [entry["action"] for entry in entries["entries"]]
    for action in ("portrait added", "permission given", "proof made", "signed off", "final made"):
        assert action in actions


def test_no_permission_no_layer_no_retouch(
    studio: Studio, asked: tuple[str, str, list[str]]
) -> None:
    shoot, portrait, people = asked
    layers = studio.get(f"/v1/portraits/{portrait}/layers")
    assert [(layer["person"], layer["step"]) for layer in layers] == [(people[0], "redness")]
    job = studio.post(f"/v1/portraits/{portrait}/final", json={"override": "a test"})
    studio.wait(job["id"])
    before = np.asarray(imagecodecs.png_decode(picture(1)))
    after = final_pixels(studio, shoot)
    jon = squares(before.shape[:2])[1]
    np.testing.assert_array_equal(after[jon.slices], before[jon.slices])
    assert (after != before).any()


def test_nobody_named_nothing_computed(studio: Studio) -> None:
    shoot = studio.shoot()
    portrait = studio.portrait(shoot)
    studio.agree(shoot, "Mara", "redness")
    assert studio.get(f"/v1/portraits/{portrait}/layers") == []
    assert studio.get(f"/v1/portraits/{portrait}")["state"] == "to name"


def test_withdrawal_takes_the_change_out_and_voids(
    studio: Studio, asked: tuple[str, str, list[str]]
) -> None:
    shoot, portrait, _ = asked
    _, link = studio.proof(shoot, portrait)
    studio.sign(portrait, link)
    studio.wait(studio.post(f"/v1/portraits/{portrait}/final", json={})["id"])
    final = studio.get(f"/v1/shoots/{shoot}/finals")[0]
    layer = studio.get(f"/v1/portraits/{portrait}/layers")[0]
    assert studio.place.files.has(shoot, final["sha256"])
    out = studio.post(
        f"/v1/shoots/{shoot}/withdrawals",
        json={"name": "Mara", "steps": ["redness"], "how": "in writing"},
    )
    assert (out["layers"], out["sign_offs"], out["finals"]) == (1, 1, 1)
    assert not studio.place.files.has(shoot, final["sha256"])
    assert not studio.place.files.has(shoot, layer["sha256"])
    assert studio.http.get(f"/v1/finals/{final['id']}/file").status_code == 404
    assert studio.get(f"/v1/shoots/{shoot}/sign-offs")[0]["standing"] == "void"
    refused = studio.http.post(f"/v1/portraits/{portrait}/final", json={})
    assert refused.status_code == 409
    studio.settle(shoot)
    assert studio.get(f"/v1/portraits/{portrait}/layers") == []


@pytest.mark.parametrize("change", ["strength", "settings", "mask", "mark", "name"])
def test_any_later_change_makes_a_sign_off_stale(studio: Studio, change: str) -> None:
    shoot = studio.shoot()
    portrait = studio.portrait(shoot, seed=2)
    person, _ = studio.named(portrait, "Mara", "Jon")
    studio.agree(shoot, "Mara", "redness", "marks")
    _, link = studio.proof(shoot, portrait)
    signed = studio.sign(portrait, link)
    studio.put(f"/v1/portraits/{portrait}/lock", json={"locked": False})
    if change == "strength":
        layer = studio.get(f"/v1/portraits/{portrait}/layers")[0]
        studio.put(f"/v1/layers/{layer['id']}/strength", json={"strength": 0.4})
    elif change == "settings":
        studio.put(f"/v1/people/{person}/steps/redness", json={"times": 0.5})
    elif change == "mask":
        paint = bytes(imagecodecs.png_encode(np.full((4, 4), 255, np.uint8)))
        studio.post(
            f"/v1/people/{person}/mask-edits?region=face-skin&paint=out&left=10&top=10",
            content=paint,
        )
    elif change == "mark":
        mark = studio.get(f"/v1/portraits/{portrait}/marks")[0]
        studio.put(f"/v1/marks/{mark['id']}", json={"decision": "keep"})
    else:
        studio.put(f"/v1/people/{person}", json={"name": "Somebody else"})
    studio.settle(shoot)
    now = studio.get(f"/v1/shoots/{shoot}/sign-offs")[0]
    assert (now["id"], now["standing"]) == (signed["id"], "stale")
    assert studio.get(f"/v1/portraits/{portrait}")["state"] == "stale"
    refused = studio.http.post(f"/v1/portraits/{portrait}/final", json={})
    assert refused.status_code == 409
    assert refused.json()["type"] == "/v1/problems/stale"


def test_signing_what_is_no_longer_there_is_refused(
    studio: Studio, asked: tuple[str, str, list[str]]
) -> None:
    shoot, portrait, _ = asked
    _, link = studio.proof(shoot, portrait)
    path = f"/v1/proof/portraits/{portrait}"
    seen = studio.http.get(f"{path}/picture", headers=link)
    layer = studio.get(f"/v1/portraits/{portrait}/layers")[0]
    studio.put(f"/v1/layers/{layer['id']}/strength", json={"strength": 0.3})
    body = {"rendering": seen.headers["Rendering"], "signed_by": "Mara"}
    refused = studio.http.post(f"{path}/sign-off", headers=link, json=body)
    assert refused.status_code == 409


def test_a_child_needs_a_guardian_by_role(studio: Studio) -> None:
    shoot = studio.shoot()
    portrait = studio.portrait(shoot, seed=3)
    people = studio.get(f"/v1/portraits/{portrait}/people")
    studio.put(f"/v1/people/{people[0]['id']}", json={"name": "Pia", "child": True})
    path = f"/v1/shoots/{shoot}/permissions"
    body = {"name": "Pia", "steps": ["redness"]}
    assert studio.http.post(path, json=body).status_code == 422
    assert studio.http.post(path, json=body | {"said_by": "guardian"}).status_code == 422
    studio.agree(shoot, "Pia", "redness", said_by="guardian", role="mother")
    assert len(studio.get(f"/v1/portraits/{portrait}/layers")) == 1


def test_what_a_child_agreed_to_alone_does_not_count(
    studio: Studio, asked: tuple[str, str, list[str]]
) -> None:
    shoot, portrait, people = asked
    studio.put(f"/v1/people/{people[0]}", json={"name": "Mara", "child": True})
    assert studio.get(f"/v1/portraits/{portrait}/layers") == []
    studio.settle(shoot)
    assert studio.get(f"/v1/portraits/{portrait}/layers") == []


def test_lasting_marks_go_only_by_a_permission_of_their_own(studio: Studio) -> None:
    shoot = studio.shoot()
    portrait = studio.portrait(shoot, seed=4)
    studio.named(portrait, "Mara", "Jon")
    studio.agree(shoot, "Mara", "marks")
    mark = next(m for m in studio.get(f"/v1/portraits/{portrait}/marks") if m["kind"] == "lasting")
    path = f"/v1/marks/{mark['id']}"
    assert studio.http.put(path, json={"decision": "remove"}).status_code == 403
    studio.agree(shoot, "Mara", "lasting marks")
    mark = next(m for m in studio.get(f"/v1/portraits/{portrait}/marks") if m["kind"] == "lasting")
    studio.put(f"/v1/marks/{mark['id']}", json={"decision": "remove"})
    studio.settle(shoot)
    marks = studio.get(f"/v1/portraits/{portrait}/marks")
    assert [m["proposed"] for m in marks] == ["remove", "remove"]


def test_client_leaves_a_mark_and_signs_what_they_then_see(studio: Studio) -> None:
    shoot = studio.shoot()
    portrait = studio.portrait(shoot, seed=5)
    studio.named(portrait, "Mara", "Jon")
    studio.agree(shoot, "Mara", "marks")
    _, link = studio.proof(shoot, portrait)
    marks = studio.get("/v1/proof", headers=link)["portraits"][0]["marks"]
    passing = next(mark for mark in marks if mark["proposed"] == "remove")
    studio.put(f"/v1/proof/marks/{passing['id']}/wish", headers=link, json={"wish": "leave it"})
    studio.settle(shoot)
    studio.sign(portrait, link)
    studio.wait(studio.post(f"/v1/portraits/{portrait}/final", json={})["id"])
    before = np.asarray(imagecodecs.png_decode(picture(5)))
    np.testing.assert_array_equal(final_pixels(studio, shoot), before)


def test_a_client_sees_their_proof_and_nothing_else(
    studio: Studio, asked: tuple[str, str, list[str]]
) -> None:
    shoot, portrait, _ = asked
    other = studio.portrait(shoot, seed=6, name="b.png")
    proof, link = studio.proof(shoot, portrait)
    hidden = studio.http.get(f"/v1/proof/portraits/{other}/picture", headers=link)
    assert hidden.status_code == 404
    for path in ("/v1/shoots", f"/v1/portraits/{portrait}/original", f"/v1/shoots/{shoot}/record"):
        assert studio.http.get(path, headers=link).status_code == 403
    too_large = studio.http.get(f"/v1/proof/portraits/{portrait}/picture?side=9000", headers=link)
    assert too_large.status_code == 422
    assert studio.http.delete(f"/v1/proofs/{proof}").json()["open"] is False
    assert studio.http.get("/v1/proof", headers=link).status_code == 401


def test_permission_by_link(studio: Studio) -> None:
    shoot = studio.shoot()
    portrait = studio.portrait(shoot, seed=7)
    studio.named(portrait, "Mara", "Jon")
    made = studio.post(f"/v1/shoots/{shoot}/permission-links", json={"name": "Mara"})
    link = studio.as_bearer(made["token"])
    assert "redness" in studio.get("/v1/asked", headers=link)["steps"]
    studio.post("/v1/asked/permission", headers=link, json={"steps": ["redness"]})
    studio.settle(shoot)
    assert len(studio.get(f"/v1/portraits/{portrait}/layers")) == 1
    out = studio.post("/v1/asked/withdrawal", headers=link, json={"steps": ["redness"]})
    assert (out["layers"], out["permission"]["how"]) == (1, "by link")


def test_delivery_is_a_zip_with_a_contact_sheet(
    studio: Studio, asked: tuple[str, str, list[str]]
) -> None:
    shoot, portrait, _ = asked
    second = studio.portrait(shoot, seed=8, name="a.png")
    for one in (portrait, second):
        studio.settle(shoot)
        job = studio.post(f"/v1/portraits/{one}/final", json={"override": "a test"})
        studio.wait(job["id"])
    job = studio.wait(studio.post(f"/v1/shoots/{shoot}/delivery", json={})["id"])
    assert job.state == "done", job.trouble
    package = studio.http.get(f"/v1/jobs/{job.id}/files/finals.zip").content
    with zipfile.ZipFile(io.BytesIO(package)) as finals:
        assert finals.testzip() is None
        assert sorted(finals.namelist()) == ["a-2.png", "a.png", "contact-sheet.pdf"]
        assert finals.read("contact-sheet.pdf").startswith(b"%PDF-")


def test_the_same_file_is_stored_once(studio: Studio) -> None:
    shoot = studio.shoot()
    first = studio.portrait(shoot, seed=9)
    again = studio.post(f"/v1/shoots/{shoot}/portraits?name=copy.png", content=picture(9))
    assert again["known"]
    assert again["portrait"]["id"] == first


def test_deleting_a_shoot_deletes_every_byte(
    studio: Studio, asked: tuple[str, str, list[str]]
) -> None:
    shoot, portrait, _ = asked
    _, link = studio.proof(shoot, portrait)
    studio.sign(portrait, link)
    studio.wait(studio.post(f"/v1/portraits/{portrait}/final", json={})["id"])
    held = list(studio.place.files.listing(shoot))
    seal = studio.get(f"/v1/shoots/{shoot}/record")["entries"][-1]["sha256"]
    deleted = studio.http.delete(f"/v1/shoots/{shoot}").json()
    assert deleted["files"] == len(held) > 0
    assert deleted["bytes"] == sum(size for _, _, size, _ in held)
    assert deleted["record_sha256"] == seal
    assert list(studio.place.files.listing(shoot)) == []
    assert studio.http.get(f"/v1/portraits/{portrait}").status_code == 404
    assert studio.http.get("/v1/proof", headers=link).status_code == 401


def test_face_geometry_goes_with_its_portrait(
    studio: Studio, asked: tuple[str, str, list[str]]
) -> None:
    shoot, portrait, _ = asked
    assert len(list(studio.place.files.listing(shoot))) == 4  # original, two people, one layer
    deleted = studio.http.delete(f"/v1/portraits/{portrait}").json()
    assert deleted["files"] == 4
    assert list(studio.place.files.listing(shoot)) == []


def test_nothing_of_a_deleted_shoot_stays_in_the_folder(studio: Studio) -> None:
    if not studio.place.database.embedded:
        pytest.skip("one folder holds everything only there")
    database = studio.place.database.url.database
    assert database is not None
    shoot = studio.shoot("Unmistakable shoot")
    portrait = studio.portrait(shoot, seed=50, name="unmistakable.png")
    studio.named(portrait, "Unmistakable Mara")
    studio.agree(shoot, "Unmistakable Mara", "redness", note="unmistakable note")
    data = picture(50)
    assert studio.http.delete(f"/v1/shoots/{shoot}").status_code == 200
    for path in Path(database).parent.rglob("*"):
        if path.is_file():
            held = path.read_bytes()
            assert b"nmistakable" not in held, path
            assert data[100:200] not in held, path


def test_a_long_list_of_portraits_takes_few_questions(studio: Studio) -> None:
    """The number of statements does not grow with the number of portraits."""

    def statements(shoot: str) -> int:
        asked: list[str] = []
        engine = studio.place.database.engine

        def listen(*args: Any) -> None:
            if threading.current_thread().name.startswith("AnyIO"):  # not the worker's own
                asked.append(args[2])

        event.listen(engine, "before_cursor_execute", listen)
        assert studio.get(f"/v1/shoots/{shoot}/portraits")
        event.remove(engine, "before_cursor_execute", listen)
        return len(asked)

    counts = []
    for number in (1, 4):
        shoot = studio.shoot()
        for seed in range(number):
            portrait = studio.portrait(shoot, seed=70 + seed)
            studio.named(portrait, "Mara", "Jon")
        studio.agree(shoot, "Mara", "redness", "marks")
        counts.append(statements(shoot))
    assert counts[0] == counts[1] > 0
