"""One flipped bit: nothing of a damaged file is sent, and nobody takes it for the whole."""

from __future__ import annotations

import hashlib

import obstore
import pytest

from evenhand.shoots.errors import DamagedFileError
from tests.jobs.fixtures import Studio
from tests.jobs.plain_retoucher import picture
from tests.shoots.test_backup import flip


@pytest.fixture
def packed(studio: Studio) -> tuple[str, dict[str, tuple[str, str]]]:
    """A shoot, and for each file that can be fetched its path and hash."""
    shoot = studio.shoot()
    portrait = studio.portrait(shoot, seed=401)
    studio.named(portrait, "Mara", "Jon")
    studio.agree(shoot, "Mara", "redness")
    job = studio.wait(studio.post(f"/v1/portraits/{portrait}/final", json={"override": "x"})["id"])
    assert job.state == "done"
    job = studio.wait(studio.post(f"/v1/shoots/{shoot}/delivery", json={})["id"])
    final = studio.get(f"/v1/shoots/{shoot}/finals")[0]
    made = studio.get(f"/v1/jobs/{job.id}")["result"]["files"]
    files = {one["name"]: one["sha256"] for one in made}
    original = studio.get(f"/v1/portraits/{portrait}")["sha256"]
    return shoot, {
        "final": (f"/v1/finals/{final['id']}/file", final["sha256"]),
        "package": (f"/v1/jobs/{job.id}/files/finals.zip", files["finals.zip"]),
        "sheet": (f"/v1/jobs/{job.id}/files/contact-sheet.pdf", files["contact-sheet.pdf"]),
        "original": (f"/v1/portraits/{portrait}/original", original),
    }


@pytest.mark.parametrize("which", ["final", "package", "sheet", "original"])
def test_a_damaged_file_is_a_problem_and_not_sent(
    studio: Studio, packed: tuple[str, dict[str, tuple[str, str]]], which: str
) -> None:
    shoot, files = packed
    path, sha256 = files[which]
    whole = studio.http.get(path)
    assert whole.status_code == 200
    assert hashlib.sha256(whole.content).hexdigest() == sha256
    flip(studio.place, shoot, sha256)
    damaged = studio.http.get(path)
    assert damaged.status_code == 503
    assert damaged.headers["Content-Type"] == "application/problem+json"
    assert damaged.json()["type"].endswith("/damaged-file")
    flip(studio.place, shoot, sha256)
    assert studio.http.get(path).status_code == 200


def test_a_file_damaged_while_it_is_sent_never_goes_whole(studio: Studio) -> None:
    shoot = studio.shoot()
    data = bytes(range(256)) * 100_000
    sha256 = studio.place.files.put(shoot, data).sha256
    sending = studio.place.files.checked_pieces(shoot, sha256)
    flip(studio.place, shoot, sha256)
    came: list[bytes] = []
    with pytest.raises(DamagedFileError):
        came.extend(sending)
    assert sum(map(len, came)) < len(data)
    studio.place.files.delete(shoot, sha256)


def test_a_part_damaged_before_the_upload_is_whole_makes_no_portrait(studio: Studio) -> None:
    shoot, data = studio.shoot(), picture(402)
    tus = {"Tus-Resumable": "1.0.0"}
    begun = studio.http.post(
        f"/v1/shoots/{shoot}/uploads", headers=tus | {"Upload-Length": str(len(data))}
    )
    place = begun.headers["Location"]
    kind = {"Content-Type": "application/offset+octet-stream"}
    half = len(data) // 2
    studio.http.patch(place, headers=tus | kind | {"Upload-Offset": "0"}, content=data[:half])
    [part] = [f"shoots/{shoot}/{name}" for _, name, _, _ in studio.place.files.listing(shoot)]
    held = bytearray(obstore.get(studio.place.files.store, part).bytes())
    held[100] ^= 1
    obstore.put(studio.place.files.store, part, bytes(held))
    answer = studio.http.patch(
        place, headers=tus | kind | {"Upload-Offset": str(half)}, content=data[half:]
    )
    assert answer.status_code == 503, answer.text
    assert answer.json()["type"].endswith("/damaged-file")
    assert studio.get(f"/v1/shoots/{shoot}/portraits") == []
    assert list(studio.place.files.listing(shoot)) == []
