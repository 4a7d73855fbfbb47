"""What was deleted, taken back or erased is gone: nothing of it answers, nothing of it lies there.

The folder of records and files and the temporary folder are searched for the very bytes.
"""

from __future__ import annotations

import hashlib
import sqlite3
import tempfile
import time
from contextlib import suppress
from pathlib import Path
from typing import Any

import pytest

from evenhand.jobs.queue import ALIVE_EVERY_S
from evenhand.jobs.work import do
from evenhand.shoots import tables
from tests.jobs.fixtures import Studio
from tests.jobs.plain_retoucher import picture
from tests.jobs.servers import PATIENCE_S

NAME = "Unmistakable Mara"


def packed(studio: Studio, *seeds: int, name: str = NAME) -> tuple[str, list[str], str]:
    """A shoot whose signed finals are packed; gives it, its portraits and the job."""
    shoot = studio.shoot()
    portraits = [studio.portrait(shoot, seed=s, name=f"unmistakable-{s}.png") for s in seeds]
    for portrait in portraits:
        studio.named(portrait, name, "Jon")
    studio.agree(shoot, name, "redness", note=f"{name} said so by telephone")
    _, link = studio.proof(shoot, *portraits)
    for portrait in portraits:
        studio.sign(portrait, link, signed_by=name)
        job = studio.wait(studio.post(f"/v1/portraits/{portrait}/final", json={})["id"])
        assert job.state == "done", job.trouble
    job = studio.wait(studio.post(f"/v1/shoots/{shoot}/delivery", json={})["id"])
    assert job.state == "done", job.trouble
    return shoot, portraits, job.id


def files_of(studio: Studio, job: str) -> list[int]:
    """What a packed job's files answer."""
    names = ("finals.zip", "contact-sheet.pdf")
    return [studio.http.get(f"/v1/jobs/{job}/files/{name}").status_code for name in names]


def held(studio: Studio, *needles: bytes) -> list[Path]:
    """Files below the data folder or the temporary folder that hold any of the needles."""
    database = studio.place.database.url.database
    assert database is not None
    temporary = Path(tempfile.gettempdir())
    tops = [Path(database).parent, *temporary.glob("evenhand*"), *temporary.glob("tmp*")]
    found = []
    for path in (path for top in tops for path in (top, *top.rglob("*"))):
        with suppress(FileNotFoundError):  # another test's, gone meanwhile
            if path.is_file() and any(needle in path.read_bytes() for needle in needles):
                found.append(path)
    return found


def test_deleting_every_portrait_ends_the_package(studio: Studio) -> None:
    shoot, portraits, job = packed(studio, 201, 202)
    assert files_of(studio, job) == [200, 200]
    for portrait in portraits:
        assert studio.http.delete(f"/v1/portraits/{portrait}").status_code == 200
    assert files_of(studio, job) == [404, 404]
    assert list(studio.place.files.listing(shoot)) == []


def test_deleting_one_of_two_portraits_ends_the_package(studio: Studio) -> None:
    shoot, portraits, job = packed(studio, 203, 204)
    package = studio.get(f"/v1/jobs/{job}")["result"]["files"][0]["sha256"]
    studio.http.delete(f"/v1/portraits/{portraits[0]}")
    assert files_of(studio, job) == [404, 404]
    assert not studio.place.files.has(shoot, package)


def test_a_withdrawal_ends_package_and_signed_picture(studio: Studio) -> None:
    shoot, _, job = packed(studio, 205)
    files = [one["sha256"] for one in studio.get(f"/v1/jobs/{job}")["result"]["files"]]
    signed = studio.get(f"/v1/shoots/{shoot}/sign-offs")[0]
    said = {"name": NAME, "steps": ["redness"], "how": "in writing"}
    studio.post(f"/v1/shoots/{shoot}/withdrawals", json=said)
    assert files_of(studio, job) == [404, 404]
    for sha256 in (*files, signed["image_sha256"]):
        assert not studio.place.files.has(shoot, sha256)
    assert studio.http.get(f"/v1/sign-offs/{signed['id']}/picture").status_code == 404


def test_nothing_of_an_erased_person_stays_anywhere(studio: Studio) -> None:
    name = "Incomparable Mara"
    shoot, portraits, job = packed(studio, 206, 207, name=name)
    other = studio.portrait(shoot, seed=208, name="other.png")
    studio.named(other, "Incomparable Mara the Second")
    studio.post(f"/v1/shoots/{shoot}/permission-links", json={"name": name})
    second = studio.shoot(f"{name}, second day")
    kept = [p for _, p, _, _ in studio.place.files.listing(shoot)]
    erased = studio.post("/v1/erasures", json={"name": name})
    assert (erased["shoots"], erased["portraits"]) == (2, 2)
    assert erased["files"] > 0
    for portrait in portraits:
        assert studio.http.get(f"/v1/portraits/{portrait}").status_code == 404
    assert files_of(studio, job) == [404, 404]
    assert studio.get(f"/v1/shoots/{second}")["name"] == "[erased], second day"
    people = studio.get(f"/v1/portraits/{other}/people")
    assert people[0]["name"] == "Incomparable Mara the Second"
    found = studio.get(f"/v1/shoots/{shoot}/record")
    assert found["whole"]
    assert found["entries"][-1]["action"] == "person erased"
    assert "[erased]" in str(found["entries"])
    assert len(list(studio.place.files.listing(shoot))) < len(kept)
    if studio.place.database.embedded:
        assert erased["overwritten"]
        studio.http.put(f"/v1/people/{people[0]['id']}", json={"name": "Ida"})
        studio.post("/v1/erasures", json={"name": "Incomparable Mara the Second"})
        pieces = [picture(seed)[100:200] for seed in (206, 207)]
        assert held(studio, name.encode(), b"unmistakable-206", *pieces) == []


def test_what_a_reader_still_holds_goes_when_they_are_done(studio: Studio) -> None:
    """SQLite's log is emptied as soon as nobody reads an earlier moment of it."""
    if not studio.place.database.embedded:
        pytest.skip("PostgreSQL recycles its log in its own time")
    name = "Inimitable Ida"
    shoot = studio.shoot(f"{name}'s day")
    portrait = studio.portrait(shoot, seed=209)
    studio.named(portrait, name)
    database = studio.place.database.url.database
    assert database is not None
    reader = sqlite3.connect(database, isolation_level=None)
    reader.execute("BEGIN")
    assert reader.execute("SELECT count(*) FROM person WHERE name = ?", (name,)).fetchone() == (1,)
    erased = studio.post("/v1/erasures", json={"name": name})
    assert erased["portraits"] == 1
    assert not erased["overwritten"]
    assert studio.http.get(f"/v1/portraits/{portrait}").status_code == 404
    reader.execute("COMMIT")
    reader.close()
    deadline = time.monotonic() + PATIENCE_S
    while held(studio, name.encode()):
        assert time.monotonic() < deadline, held(studio, name.encode())
        time.sleep(ALIVE_EVERY_S)


def test_pages_keep_no_pieces_of_rows_that_moved(studio: Studio) -> None:
    if not studio.place.database.embedded:
        pytest.skip("SQLite's pages")
    shoot = studio.shoot("Many")
    with studio.place.database.writing() as session:
        for number in range(400):
            name = f"Peculiar Person {hashlib.sha256(bytes([number % 256])).hexdigest()}"
            session.add(tables.Upload(shoot_id=shoot, name=name, length=1, expires_at=tables.now()))
    studio.http.delete(f"/v1/shoots/{shoot}")
    assert held(studio, b"Peculiar Person") == []


def test_a_job_that_lost_its_portrait_leaves_no_file(studio: Studio) -> None:
    shoot = studio.shoot()
    put = studio.place.files.put

    def deleting(shoot: str, source: Any) -> Any:
        """The portrait goes after the job said what it does, and before its results are entered."""
        studio.http.delete(f"/v1/portraits/{second}")
        return put(shoot, source)

    added = studio.post(f"/v1/shoots/{shoot}/portraits?name=b.png", content=picture(211))
    studio.wait(added["job"])
    second = added["portrait"]["id"]
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(studio.place.files, "put", deleting)
        with studio.place.database.writing() as session:
            job = session.get_one(tables.Job, added["job"])
            again = tables.Job(
                shoot_id=shoot, portrait_id=second, kind=job.kind, arguments={}, state="waiting"
            )
            session.add(again)
        do(studio.place, again.id)
    studio.settle(shoot)
    assert list(studio.place.files.listing(shoot)) == []
