"""Resumable uploads against the tus protocol 1.0.0 (https://tus.io/protocols/resumable-upload)."""

from __future__ import annotations

import base64
import hashlib

import pytest

from evenhand.jobs.tidying import end_uploads
from evenhand.shoots.tables import Upload, now
from tests.jobs.fixtures import Studio
from tests.jobs.plain_retoucher import picture

TUS = {"Tus-Resumable": "1.0.0"}
PART = TUS | {"Content-Type": "application/offset+octet-stream"}


def begin(studio: Studio, shoot: str, data: bytes, name: str = "a.png") -> str:
    """Begin an upload; gives its place."""
    encoded = base64.b64encode(name.encode()).decode()
    headers = TUS | {"Upload-Length": str(len(data)), "Upload-Metadata": f"filename {encoded}"}
    made = studio.http.post(f"/v1/shoots/{shoot}/uploads", headers=headers)
    assert made.status_code == 201
    assert "Upload-Expires" in made.headers
    return made.headers["Location"]


def send(studio: Studio, place: str, data: bytes, offset: int, **headers: str) -> int:
    """Send a part; gives the status."""
    headers = PART | {"Upload-Offset": str(offset)} | headers
    return studio.http.patch(place, headers=headers, content=data).status_code


def test_a_broken_off_upload_goes_on_where_it_stood(studio: Studio) -> None:
    shoot, data = studio.shoot(), picture(20)
    place = begin(studio, shoot, data, "Regatta één.png")
    assert send(studio, place, data[:1000], 0) == 204
    stands = studio.http.head(place, headers=TUS)
    assert stands.headers["Upload-Offset"] == "1000"
    assert stands.headers["Upload-Length"] == str(len(data))
    assert stands.headers["Cache-Control"] == "no-store"
    assert send(studio, place, data[1000:], 1000) == 204
    portrait = studio.get(place)["portrait_id"]
    assert studio.get(f"/v1/portraits/{portrait}")["name"] == "Regatta één.png"
    original = studio.http.get(f"/v1/portraits/{portrait}/original").content
    assert hashlib.sha256(original).digest() == hashlib.sha256(data).digest()
    left = [name for _, name, _, _ in studio.place.files.listing(shoot) if "uploads" in name]
    assert left == []


def test_what_the_server_can_do_is_told(studio: Studio) -> None:
    told = studio.http.options(f"/v1/shoots/{studio.shoot()}/uploads")
    assert told.status_code == 204
    assert told.headers["Tus-Version"] == "1.0.0"
    assert set(told.headers["Tus-Extension"].split(",")) == {
        "creation", "expiration", "checksum", "termination",
    }  # fmt: skip


def test_a_part_elsewhere_is_refused(studio: Studio) -> None:
    data = picture(21)
    place = begin(studio, studio.shoot(), data)
    assert send(studio, place, data[10:20], 10) == 409
    assert send(studio, place, data[:10], 0) == 204
    assert send(studio, place, data[:10], 0) == 409


def test_a_part_that_changed_on_the_way_is_refused(studio: Studio) -> None:
    data = picture(22)
    place = begin(studio, studio.shoot(), data)
    good = base64.b64encode(hashlib.sha1(data).digest()).decode()
    bad = base64.b64encode(hashlib.sha1(b"other").digest()).decode()
    assert send(studio, place, data, 0, **{"Upload-Checksum": f"sha1 {bad}"}) == 460
    assert studio.http.head(place, headers=TUS).headers["Upload-Offset"] == "0"
    assert send(studio, place, data, 0, **{"Upload-Checksum": f"sha1 {good}"}) == 204


def test_an_ended_upload_is_gone_with_its_parts(studio: Studio) -> None:
    shoot, data = studio.shoot(), picture(23)
    place = begin(studio, shoot, data)
    send(studio, place, data[:500], 0)
    assert studio.http.delete(place, headers=TUS).status_code == 204
    assert studio.http.head(place, headers=TUS).status_code == 404
    assert list(studio.place.files.listing(shoot)) == []


def test_an_upload_whose_time_is_over_is_gone_with_its_parts(studio: Studio) -> None:
    shoot, data = studio.shoot(), picture(24)
    place = begin(studio, shoot, data)
    send(studio, place, data[:500], 0)
    with studio.place.database.writing() as session:
        session.get_one(Upload, place.rpartition("/")[2]).expires_at = now()
    assert studio.http.head(place, headers=TUS).status_code == 410
    assert end_uploads(studio.place) == 1
    assert list(studio.place.files.listing(shoot)) == []


def test_too_large_an_upload_is_refused_before_a_byte_is_sent(studio: Studio) -> None:
    headers = TUS | {"Upload-Length": str(10**12)}
    refused = studio.http.post(f"/v1/shoots/{studio.shoot()}/uploads", headers=headers)
    assert refused.status_code == 413


def test_more_than_was_announced_is_refused(studio: Studio) -> None:
    data = picture(25)
    place = begin(studio, studio.shoot(), data)
    assert send(studio, place, data + b"more", 0) == 413


@pytest.mark.parametrize(
    "data", [b"", b"#!/bin/sh\n", b"GIF89a" + bytes(100), b"<svg xmlns='http://www.w3.org/2000/svg'/>"]
)  # fmt: skip
def test_what_is_no_photograph_is_not_stored(studio: Studio, data: bytes) -> None:
    shoot = studio.shoot()
    refused = studio.http.post(f"/v1/shoots/{shoot}/portraits", content=data)
    assert refused.status_code == 422
    assert refused.headers["Content-Type"] == "application/problem+json"
    assert list(studio.place.files.listing(shoot)) == []


@pytest.mark.parametrize(
    "name", ["../../etc/passwd", "C:\\Windows\\a.png", "/abs/olute.png", "a\u202eb.png", "a" * 200]
)
def test_a_name_is_never_a_path(studio: Studio, name: str) -> None:
    shoot = studio.shoot()
    added = studio.post(f"/v1/shoots/{shoot}/portraits", params={"name": name}, content=picture(26))
    shown = added["portrait"]["name"]
    assert "/" not in shown
    assert "\\" not in shown
    assert "\u202e" not in shown


def test_a_broken_photograph_says_what_is_wrong(studio: Studio) -> None:
    shoot = studio.shoot()
    added = studio.post(f"/v1/shoots/{shoot}/portraits", content=picture(27)[:200])
    job = studio.wait(added["job"])
    assert job.state == "failed"
    assert job.trouble
    portrait = studio.get(f"/v1/portraits/{added['portrait']['id']}")
    assert portrait["state"] == "unreadable"
    assert portrait["trouble"]
    again = studio.post(f"/v1/jobs/{job.id}/retry")
    assert studio.wait(again["id"]).state == "failed"
