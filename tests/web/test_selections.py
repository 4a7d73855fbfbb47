"""What is done to many portraits at once over HTTP: removing, stars, strengths, links."""

from __future__ import annotations

from datetime import timedelta

import pytest

from evenhand.jobs import tidying
from evenhand.shoots import removal, tables
from evenhand.web.settings import ServiceSettings
from tests.jobs.fixtures import Studio
from tests.jobs.plain_retoucher import picture


def shoot_of_two(studio: Studio) -> tuple[str, list[str]]:
    """A shoot with Mara and Jon in two portraits; both agreed to redness, Mara to smoothing."""
    shoot = studio.shoot()
    portraits = [studio.portrait(shoot, seed=seed) for seed in (1, 2)]
    for portrait in portraits:
        studio.named(portrait, "Mara", "Jon")
    studio.agree(shoot, "Mara", "redness", "smoothing")
    studio.agree(shoot, "Jon", "redness")
    studio.settle(shoot)
    return shoot, portraits


@pytest.fixture
def two(studio: Studio) -> tuple[str, list[str]]:
    """Such a shoot, for a test that changes it."""
    return shoot_of_two(studio)


@pytest.fixture(scope="module")
def lasting(studio: Studio) -> tuple[str, list[str]]:
    """The same, for tests that leave portraits, people and layers as they are."""
    return shoot_of_two(studio)


def listed(studio: Studio, shoot: str, **query: bool) -> list[str]:
    return [one["id"] for one in studio.get(f"/v1/shoots/{shoot}/portraits", params=query)]


def test_a_removed_portrait_is_nowhere_and_comes_back(
    studio: Studio, two: tuple[str, list[str]]
) -> None:
    shoot, (one, other) = two
    _, link = studio.proof(shoot, one, other)
    away = {"portraits": [one], "removed": True}
    assert studio.http.put(f"/v1/shoots/{shoot}/removed", json=away).status_code == 204
    assert listed(studio, shoot) == [other]
    assert listed(studio, shoot, removed=True) == [one]
    assert {row["portrait"] for row in studio.get(f"/v1/shoots/{shoot}/people")} == {other}
    assert studio.http.get(f"/v1/portraits/{one}").status_code == 404
    assert [p["id"] for p in studio.get("/v1/proof", headers=link)["portraits"]] == [other]
    seen = studio.http.get(f"/v1/proof/portraits/{one}/picture", headers=link)
    assert seen.status_code == 404
    assert studio.get(f"/v1/shoots/{shoot}")["portraits"] == 1

    back = {"portraits": [one], "removed": False}
    assert studio.http.put(f"/v1/shoots/{shoot}/removed", json=back).status_code == 204
    assert listed(studio, shoot) == [one, other]
    assert len(studio.get(f"/v1/portraits/{one}/layers")) == 3
    record = studio.get(f"/v1/shoots/{shoot}/record")
    assert record["whole"]
    actions = [entry["action"] for entry in record["entries"]]
    assert {"portrait removed", "portrait brought back"} <= set(actions)


def test_removed_portraits_are_deleted_for_good_after_a_day(
    studio: Studio, two: tuple[str, list[str]]
) -> None:
    shoot, (one, other) = two
    sha256 = studio.get(f"/v1/portraits/{one}")["sha256"]
    studio.http.put(f"/v1/shoots/{shoot}/removed", json={"portraits": [one]})
    assert tidying.delete_removed(studio.place) == 0
    with studio.place.database.writing() as session:
        portrait = session.get_one(tables.Portrait, one)
        portrait.removed_at = tables.now() - removal.KEPT - timedelta(minutes=1)
    assert tidying.delete_removed(studio.place) == 1
    assert listed(studio, shoot, removed=True) == []
    assert not studio.place.files.has(shoot, sha256)
    gone = studio.http.put(
        f"/v1/shoots/{shoot}/removed", json={"portraits": [one], "removed": False}
    )
    assert gone.status_code == 404
    assert listed(studio, shoot) == [other]


def test_sending_a_removed_file_again_brings_it_back(
    studio: Studio, two: tuple[str, list[str]]
) -> None:
    shoot, (one, _) = two
    studio.http.put(f"/v1/shoots/{shoot}/removed", json={"portraits": [one]})
    added = studio.post(
        f"/v1/shoots/{shoot}/portraits", params={"name": "again.png"}, content=picture(1)
    )
    assert added["known"]
    assert added["portrait"]["id"] == one
    assert one in listed(studio, shoot)


def test_portraits_of_another_shoot_are_not_removed(
    studio: Studio, lasting: tuple[str, list[str]]
) -> None:
    _, (one, _) = lasting
    elsewhere = studio.shoot("Elsewhere")
    refused = studio.http.put(f"/v1/shoots/{elsewhere}/removed", json={"portraits": [one]})
    assert refused.status_code == 404
    assert studio.get(f"/v1/portraits/{one}")["removed_at"] is None


def test_stars(studio: Studio, lasting: tuple[str, list[str]]) -> None:
    shoot, (one, other) = lasting
    studio.http.put(f"/v1/shoots/{shoot}/stars", json={"portraits": [one], "stars": 4})
    stars = {row["id"]: row["stars"] for row in studio.get(f"/v1/shoots/{shoot}/portraits")}
    assert stars == {one: 4, other: 0}
    for wrong in (-1, 6):
        refused = studio.http.put(
            f"/v1/shoots/{shoot}/stars", json={"portraits": [one], "stars": wrong}
        )
        assert refused.status_code == 422


def test_strengths_for_one_person_everywhere(studio: Studio, two: tuple[str, list[str]]) -> None:
    shoot, portraits = two
    given = studio.post(
        f"/v1/shoots/{shoot}/strengths",
        json={"name": "Mara", "strengths": {"redness": 0.4, "smoothing": 0.2}},
    )
    assert (given["people"], given["portraits"]) == (2, portraits)
    for portrait in portraits:
        mara, jon = studio.get(f"/v1/portraits/{portrait}/people")
        strengths = {
            (row["person"], row["step"]): row["strength"]
            for row in studio.get(f"/v1/portraits/{portrait}/layers")
        }
        assert strengths == {
            (mara["id"], "redness"): 0.4, (mara["id"], "smoothing"): 0.2, (jon["id"], "redness"): 1,
        }  # fmt: skip
    studio.settle(shoot)
    jobs = studio.get(f"/v1/shoots/{shoot}/jobs")
    assert all(job["created_at"] <= jobs[0]["created_at"] for job in jobs)


def test_strengths_given_before_a_layer_is_there_are_its_own(
    studio: Studio, two: tuple[str, list[str]]
) -> None:
    shoot, (one, _) = two
    studio.post(
        f"/v1/shoots/{shoot}/strengths", json={"portraits": [one], "strengths": {"redness": 0.3}}
    )
    withdrawn = {"name": "Jon", "steps": ["redness"]}
    studio.post(f"/v1/shoots/{shoot}/withdrawals", json=withdrawn)
    studio.settle(shoot)
    studio.agree(shoot, "Jon", "redness")
    studio.settle(shoot)
    jon = studio.get(f"/v1/portraits/{one}/people")[1]["id"]
    (layer,) = [row for row in studio.get(f"/v1/portraits/{one}/layers") if row["person"] == jon]
    assert layer["strength"] == 0.3


def test_an_unknown_step_is_refused(studio: Studio, lasting: tuple[str, list[str]]) -> None:
    shoot, _ = lasting
    refused = studio.http.post(f"/v1/shoots/{shoot}/strengths", json={"strengths": {"glow": 1}})
    assert refused.status_code == 422
    assert "redness" in refused.json()["advice"]


def test_presets(studio: Studio) -> None:
    for strength in (0.6, 0.7):
        kept = studio.post(
            "/v1/presets", json={"name": "Evening", "strengths": {"redness": strength}}
        )
    assert studio.get("/v1/presets") == [kept]
    assert kept["strengths"] == {"redness": 0.7}
    assert studio.http.delete(f"/v1/presets/{kept['id']}").status_code == 204
    assert studio.get("/v1/presets") == []


def test_a_proofs_link_is_told_again(studio: Studio, lasting: tuple[str, list[str]]) -> None:
    shoot, (one, _) = lasting
    made = studio.post(f"/v1/shoots/{shoot}/proofs", json={"portraits": [one]})
    again = studio.get(f"/v1/proofs/{made['proof']['id']}/link")
    assert again == made["link"]
    assert again["url"] is None
    with studio.place.database.reading() as session:
        stored = session.get_one(tables.Token, again["id"])
        assert again["token"] not in (stored.sha256, stored.label)
    bearer = studio.as_bearer(again["token"])
    assert studio.get("/v1/proof", headers=bearer)["portraits"][0]["id"] == one


def test_a_link_made_without_the_key_is_not_told_again(
    studio: Studio, lasting: tuple[str, list[str]]
) -> None:
    shoot, (one, _) = lasting
    made = studio.post(f"/v1/shoots/{shoot}/proofs", json={"portraits": [one]})
    with studio.place.database.writing() as session:
        session.get_one(tables.Token, made["link"]["id"]).sha256 = "0" * 64
    refused = studio.http.get(f"/v1/proofs/{made['proof']['id']}/link")
    assert refused.status_code == 404
    assert "make a new one" in refused.json()["advice"]


def test_the_public_address() -> None:
    settings = ServiceSettings(public_url="https://proofs.example.org/")
    assert settings.public("/proof#x") == "https://proofs.example.org/proof#x"
    assert ServiceSettings().public("/proof#x") is None


def test_what_is_signed_takes_no_strengths(studio: Studio, two: tuple[str, list[str]]) -> None:
    shoot, (one, other) = two
    _, link = studio.proof(shoot, one)
    studio.sign(one, link)
    given = studio.post(f"/v1/shoots/{shoot}/strengths", json={"strengths": {"redness": 0.2}})
    assert given["portraits"] == [other]
    strengths = {row["strength"] for row in studio.get(f"/v1/portraits/{one}/layers")}
    assert strengths == {1.0}
    assert studio.get(f"/v1/portraits/{one}")["state"] == "signed"


def test_the_history_of_a_portrait(studio: Studio, two: tuple[str, list[str]]) -> None:
    shoot, (one, other) = two
    studio.http.put(f"/v1/shoots/{shoot}/removed", json={"portraits": [other]})
    studio.post(
        f"/v1/shoots/{shoot}/strengths", json={"portraits": [one], "strengths": {"redness": 0.5}}
    )
    entries = studio.get(f"/v1/portraits/{one}/history")
    actions = [entry["action"] for entry in entries]
    assert actions[0] == "strengths given"
    assert actions[-1] == "portrait added"
    assert actions.count("portrait added") == 1
    assert "permission given" in actions
    assert "portrait removed" not in actions
    assert [e["number"] for e in entries] == sorted((e["number"] for e in entries), reverse=True)
