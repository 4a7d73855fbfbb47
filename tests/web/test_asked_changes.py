"""Changes that a client asks for: bound to what was seen, answered, shown again round by round."""

from __future__ import annotations

import hashlib
import threading
from typing import Any

import pytest
from sqlalchemy import event

from tests.jobs.fixtures import Studio


@pytest.fixture
def shown(studio: Studio) -> tuple[str, str, str, dict[str, str]]:
    """A shoot, a portrait of Mara in a proof, the proof, and its link."""
    shoot = studio.shoot()
    portrait = studio.portrait(shoot, seed=1)
    studio.named(portrait, "Mara", "Jon")
    studio.agree(shoot, "Mara", "redness", "marks")
    proof, link = studio.proof(shoot, portrait)
    return shoot, portrait, proof, link


def asked(studio: Studio, portrait: str, link: dict[str, str], **more: Any) -> Any:
    """Look at a portrait as the client does, and ask for a change."""
    path = f"/v1/proof/portraits/{portrait}"
    seen = studio.http.get(f"{path}/picture", headers=link)
    body = {
        "rendering": seen.headers["Rendering"],
        "asked_by": "Mara",
        "words": "A little less on my nose, please.",
        **more,
    }
    made = studio.post(f"{path}/changes", headers=link, json=body)
    assert made["image_sha256"] == hashlib.sha256(seen.content).hexdigest()
    return made


def state(studio: Studio, portrait: str) -> str:
    return str(studio.get(f"/v1/portraits/{portrait}")["state"])


def actions(studio: Studio, shoot: str) -> list[str]:
    record = studio.get(f"/v1/shoots/{shoot}/record")
    assert record["whole"]
    return [entry["action"] for entry in record["entries"]]


def test_round_by_round_until_it_is_signed(
    studio: Studio, shown: tuple[str, str, str, dict[str, str]]
) -> None:
    shoot, portrait, _, link = shown
    place = {"row": 20.5, "column": 30.0}
    place = {**place, "wish": "please remove"}
    first = asked(studio, portrait, link, places=[place])
    assert (first["round"], first["standing"], first["places"]) == (1, "asked", [place])
    assert state(studio, portrait) == "change asked for"
    listed = studio.get(f"/v1/shoots/{shoot}/changes")
    assert [one["words"] for one in listed] == ["A little less on my nose, please."]
    seen = studio.http.get(f"/v1/changes/{first['id']}/picture")
    assert hashlib.sha256(seen.content).hexdigest() == first["image_sha256"]

    layer = studio.get(f"/v1/portraits/{portrait}/layers")[0]["id"]
    studio.put(f"/v1/layers/{layer}/strength", json={"strength": 0.5})
    answered = studio.post(f"/v1/changes/{first['id']}/answer", json={"words": "Done."})
    assert (answered["standing"], answered["answer"]) == ("answered", "Done.")
    assert state(studio, portrait) == "with the client"
    to_client = studio.get("/v1/proof", headers=link)["portraits"][0]
    assert to_client["round"] == 2
    assert [(one["words"], one["answer"]) for one in to_client["changes"]] == [
        (first["words"], "Done.")
    ]

    second = asked(studio, portrait, link, words="And the chin.")
    assert second["round"] == 2
    studio.post(f"/v1/changes/{second['id']}/answer", json={"words": "There is nothing red there."})
    studio.sign(portrait, link)
    assert state(studio, portrait) == "signed"
    standings = [one["standing"] for one in studio.get(f"/v1/shoots/{shoot}/changes")]
    assert standings == ["answered", "answered"]
    told = [one for one in actions(studio, shoot) if one.startswith(("change a", "signed"))]
    assert told == [
        "change asked for", "change answered", "change asked for", "change answered", "signed off",
    ]  # fmt: skip


def test_the_record_tells_who_when_what_and_of_which_picture(
    studio: Studio, shown: tuple[str, str, str, dict[str, str]]
) -> None:
    shoot, portrait, proof, link = shown
    change = asked(studio, portrait, link)
    entry = studio.get(f"/v1/shoots/{shoot}/record")["entries"][-1]
    assert entry["action"] == "change asked for"
    facts = entry["facts"]
    assert (facts["asked_by"], facts["words"]) == ("Mara", change["words"])
    assert (facts["round"], facts["proof"], facts["portrait"]) == (1, proof, portrait)
    assert facts["rendering"] == change["rendering"]


def test_asking_of_what_is_no_longer_there_is_refused(
    studio: Studio, shown: tuple[str, str, str, dict[str, str]]
) -> None:
    shoot, portrait, _, link = shown
    path = f"/v1/proof/portraits/{portrait}"
    seen = studio.http.get(f"{path}/picture", headers=link)
    layer = studio.get(f"/v1/portraits/{portrait}/layers")[0]["id"]
    studio.put(f"/v1/layers/{layer}/strength", json={"strength": 0.3})
    body = {"rendering": seen.headers["Rendering"], "asked_by": "Mara", "words": "Less, please."}
    refused = studio.http.post(f"{path}/changes", headers=link, json=body)
    assert refused.status_code == 409
    assert refused.json()["type"] == "/v1/problems/stale"
    assert studio.get(f"/v1/shoots/{shoot}/changes") == []


@pytest.mark.parametrize("wrong", [{"words": " "}, {"places": [{"row": 64, "column": 3}]}])
def test_empty_words_and_places_outside_are_refused(
    studio: Studio, shown: tuple[str, str, str, dict[str, str]], wrong: dict[str, Any]
) -> None:
    _, portrait, _, link = shown
    path = f"/v1/proof/portraits/{portrait}"
    seen = studio.http.get(f"{path}/picture", headers=link)
    body = {"rendering": seen.headers["Rendering"], "asked_by": "Mara", "words": "Less."} | wrong
    assert studio.http.post(f"{path}/changes", headers=link, json=body).status_code in (409, 422)
    assert state(studio, portrait) == "with the client"


def test_a_later_wish_replaces_an_earlier_and_can_be_taken_back(
    studio: Studio, shown: tuple[str, str, str, dict[str, str]]
) -> None:
    shoot, portrait, _, link = shown
    first = asked(studio, portrait, link)
    second = asked(studio, portrait, link, words="No, the chin.")
    standings = {one["id"]: one["standing"] for one in studio.get(f"/v1/shoots/{shoot}/changes")}
    assert standings == {first["id"]: "replaced", second["id"]: "asked"}
    path = f"/v1/proof/changes/{second['id']}"
    assert studio.http.delete(path, headers=link).json()["standing"] == "taken back"
    assert state(studio, portrait) == "with the client"
    assert studio.http.delete(path, headers=link).status_code == 409
    refused = studio.http.post(f"/v1/changes/{first['id']}/answer", json={})
    assert refused.status_code == 409


def test_asking_takes_an_approval_back_and_signing_settles(
    studio: Studio, shown: tuple[str, str, str, dict[str, str]]
) -> None:
    shoot, portrait, _, link = shown
    signed = studio.sign(portrait, link)
    studio.wait(studio.post(f"/v1/portraits/{portrait}/final", json={})["id"])
    asked(studio, portrait, link)
    (sign_off,) = studio.get(f"/v1/shoots/{shoot}/sign-offs")
    assert (sign_off["id"], sign_off["standing"]) == (signed["id"], "void")
    # What was signed is still to be seen: nobody took a permission back.
    assert studio.http.get(f"/v1/sign-offs/{signed['id']}/picture").status_code == 200
    assert studio.http.post(f"/v1/portraits/{portrait}/final", json={}).status_code == 409
    studio.sign(portrait, link)
    assert studio.get(f"/v1/shoots/{shoot}/changes")[0]["standing"] == "settled"
    assert state(studio, portrait) == "signed"


def test_one_client_does_not_see_or_end_what_another_asked_for(
    studio: Studio, shown: tuple[str, str, str, dict[str, str]]
) -> None:
    shoot, portrait, _, link = shown
    _, other = studio.proof(shoot, portrait)
    change = asked(studio, portrait, link)
    assert studio.get("/v1/proof", headers=other)["portraits"][0]["changes"] == []
    assert studio.http.delete(f"/v1/proof/changes/{change['id']}", headers=other).status_code == 404
    studio.sign(portrait, other)
    assert studio.get(f"/v1/shoots/{shoot}/changes")[0]["standing"] == "asked"
    assert state(studio, portrait) == "change asked for"
    refused = studio.http.post(f"/v1/portraits/{portrait}/final", json={})
    assert refused.status_code == 409
    assert "is asked for" in refused.json()["detail"]


def test_a_closed_link_is_answered_by_a_new_proof(
    studio: Studio, shown: tuple[str, str, str, dict[str, str]]
) -> None:
    shoot, portrait, proof, link = shown
    change = asked(studio, portrait, link)
    studio.http.delete(f"/v1/proofs/{proof}")
    refused = studio.http.post(f"/v1/changes/{change['id']}/answer", json={"words": "Done."})
    assert refused.status_code == 409
    assert "new proof" in refused.json()["advice"]
    made = studio.post(
        f"/v1/shoots/{shoot}/proofs",
        json={"portraits": [portrait], "message": "Please look again."},
    )
    new = studio.as_bearer(made["link"]["token"])
    (seen,) = studio.get("/v1/proof", headers=new)["portraits"][0]["changes"]
    assert (seen["standing"], seen["answer"]) == ("answered", "Please look again.")


def test_a_permission_taken_back_takes_the_picture_of_the_change_too(
    studio: Studio, shown: tuple[str, str, str, dict[str, str]]
) -> None:
    shoot, portrait, _, link = shown
    change = asked(studio, portrait, link)
    assert studio.place.files.has(shoot, change["image_sha256"])
    studio.post(f"/v1/shoots/{shoot}/withdrawals", json={"name": "Mara", "steps": ["redness"]})
    assert studio.http.get(f"/v1/changes/{change['id']}/picture").status_code == 404
    assert not studio.place.files.has(shoot, change["image_sha256"])


def test_a_spot_shows_its_present_state(
    studio: Studio, shown: tuple[str, str, str, dict[str, str]]
) -> None:
    """Whatever was wished or decided before: what the picture shows of it now."""
    shoot, _, _, link = shown

    def spot() -> Any:
        marks = studio.get("/v1/proof", headers=link)["portraits"][0]["marks"]
        return next(mark for mark in marks if mark["kind"] == "passing")

    assert spot()["shows"] == "taken out"
    wish = f"/v1/proof/marks/{spot()['id']}/wish"
    studio.put(wish, headers=link, json={"wish": "leave it"})
    studio.settle(shoot)
    assert spot()["shows"] == "left"
    studio.put(f"/v1/marks/{spot()['id']}", json={"decision": "remove"})
    studio.settle(shoot)
    assert spot()["shows"] == "taken out"


def test_a_wish_to_have_a_spot_out_does_not_bring_it_back(
    studio: Studio, shown: tuple[str, str, str, dict[str, str]]
) -> None:
    """The studio decided to take it out; so does the client wish."""
    shoot, portrait, _, link = shown
    studio.agree(shoot, "Mara", "lasting marks")
    marks = studio.get(f"/v1/portraits/{portrait}/marks")
    lasting = next(mark for mark in marks if mark["kind"] == "lasting")
    studio.put(f"/v1/marks/{lasting['id']}", json={"decision": "remove"})
    studio.settle(shoot)
    marks = studio.get("/v1/proof", headers=link)["portraits"][0]["marks"]
    lasting = next(mark for mark in marks if mark["kind"] == "lasting")
    assert lasting["proposed"] == "remove"
    path = f"/v1/proof/marks/{lasting['id']}/wish"
    studio.put(path, headers=link, json={"wish": "please remove"})
    studio.settle(shoot)
    marks = studio.get("/v1/proof", headers=link)["portraits"][0]["marks"]
    assert next(mark for mark in marks if mark["kind"] == "lasting")["proposed"] == "remove"


def test_a_proof_of_many_takes_few_questions(studio: Studio) -> None:
    """The page looks every few seconds: statements do not grow with the number of portraits."""

    def statements(link: dict[str, str]) -> int:
        said: list[str] = []

        def listen(*args: Any) -> None:
            if threading.current_thread().name.startswith("AnyIO"):  # not the worker's own
                said.append(args[2])

        event.listen(studio.place.database.engine, "before_cursor_execute", listen)
        assert studio.get("/v1/proof", headers=link)["portraits"]
        event.remove(studio.place.database.engine, "before_cursor_execute", listen)
        return len(said)

    counts = []
    for number in (1, 5):
        shoot = studio.shoot()
        portraits = [studio.portrait(shoot, seed=400 + seed) for seed in range(number)]
        for portrait in portraits:
            studio.named(portrait, "Mara", "Jon")
        studio.agree(shoot, "Mara", "redness", "marks")
        _, link = studio.proof(shoot, *portraits)
        studio.sign(portraits[0], link)
        counts.append(statements(link))
    assert counts[0] == counts[1] > 0


def test_an_erased_name_is_in_no_words_of_a_change(
    studio: Studio, shown: tuple[str, str, str, dict[str, str]]
) -> None:
    shoot, portrait, _, link = shown
    change = asked(studio, portrait, link, words="Less red, as on Oona's.", asked_by="Oona")
    studio.post("/v1/erasures", json={"name": "Oona"})
    (left,) = studio.get(f"/v1/shoots/{shoot}/changes")
    assert (left["id"], left["words"]) == (change["id"], "Less red, as on [erased]'s.")
    assert left["asked_by"] == "[erased]"
    assert "Oona" not in str(studio.get(f"/v1/shoots/{shoot}/record"))
