"""Content-addressed files on a folder and on an S3-compatible store."""

from __future__ import annotations

import hashlib
import threading
import time
from pathlib import Path

import obstore
import pytest

from evenhand.errors import UnreadablePhotographError
from evenhand.jobs.place import Place
from evenhand.shoots import storage, tables
from evenhand.shoots.errors import DamagedFileError, WrongAddressError
from evenhand.shoots.files import Files
from evenhand.shoots.media_types import media_type_of

SHOOT = "a" * 32
LARGE = bytes(range(256)) * 80_000  # more than two pieces


def test_a_file_comes_back_as_it_went(place: Place) -> None:
    stored = place.files.put(SHOOT, LARGE)
    assert stored.sha256 == hashlib.sha256(LARGE).hexdigest()
    assert stored.size == len(LARGE)
    assert place.files.read(SHOOT, stored.sha256) == LARGE
    with place.files.as_path(SHOOT, stored.sha256, "../x/IMG.jpg") as path:
        assert path.read_bytes() == LARGE
        assert path.name == "portrait.jpg"
    assert not path.exists()


def test_damage_is_seen(place: Place) -> None:
    sha256 = place.files.put(SHOOT, b"whole").sha256
    obstore.put(place.files.store, f"shoots/{SHOOT}/{sha256[:2]}/{sha256[2:]}", b"other")
    with pytest.raises(DamagedFileError):
        place.files.read(SHOOT, sha256)
    place.files.delete(SHOOT, sha256)
    with pytest.raises(DamagedFileError):
        place.files.read(SHOOT, sha256)


def test_deleting_a_shoot_leaves_the_others(place: Place) -> None:
    one, other = "b" * 32, "c" * 32
    for shoot in (one, other):
        place.files.put(shoot, b"same")
        place.files.put_part(shoot, "d" * 32, "part", _file(b"part"))
    assert place.files.delete_shoot(one) == (2, 8)
    assert list(place.files.listing(one)) == []
    assert len(list(place.files.listing(other))) == 2


def test_a_file_that_something_names_stays_and_any_other_goes(place: Place) -> None:
    with place.database.writing() as session:
        shoot = tables.Shoot(name="Regatta")
        session.add(shoot)
        session.flush()
        for data in (b"named", b"unnamed"):
            stored = place.files.put(shoot.id, data)
            storage.enter(session, place.files, shoot.id, stored, data, "image/png")
            if data == b"named":
                session.add(
                    tables.Portrait(
                        shoot_id=shoot.id, name="a", sha256=stored.sha256, size=5,
                        media_type="image/png",
                    )
                )  # fmt: skip
    unnamed = hashlib.sha256(b"unnamed").hexdigest()
    assert storage.sweep(place.database, place.files, shoot.id) == [unnamed]
    assert not place.files.has(shoot.id, unnamed)
    assert [name for _, name, _, _ in place.files.listing(shoot.id)] == [
        hashlib.sha256(b"named").hexdigest()
    ]
    assert list(storage.damaged(place.database, place.files)) == []


def test_what_was_never_entered_goes_when_it_is_old(place: Place) -> None:
    sha256 = place.files.put("e" * 32, b"left behind").sha256
    assert ("e" * 32, sha256) not in storage.sweep_unentered(place.database, place.files, 0.0)
    gone = storage.sweep_unentered(place.database, place.files, time.time() + 60)
    assert ("e" * 32, sha256) in gone


def test_entering_and_sweeping_at_once_never_lose_a_file(place: Place) -> None:
    """The same content is entered and, unnamed, swept again and again by two threads."""
    with place.database.writing() as session:
        shoot = tables.Shoot(name="Regatta")
        session.add(shoot)
        session.flush()
    over = threading.Event()

    def sweep() -> None:
        while not over.is_set():
            storage.sweep(place.database, place.files, shoot.id)

    sweeper = threading.Thread(target=sweep)
    sweeper.start()
    try:
        for _ in range(10):
            stored = place.files.put(shoot.id, b"again and again")
            with place.database.writing() as session:
                storage.enter(
                    session, place.files, shoot.id, stored, b"again and again", "image/png"
                )
                assert place.files.has(shoot.id, stored.sha256)
    finally:
        over.set()
        sweeper.join()


@pytest.mark.parametrize(
    "address",
    [
        "",
        "/folder",
        "http://host/x",
        "file://host/x",
        "s3:///x",
        "s3://bucket?unknown=1",
        "ftp://x/y",
    ],
)
def test_a_wrong_address_is_told(address: str) -> None:
    with pytest.raises(WrongAddressError):
        Files(address)


def _file(data: bytes) -> Path:
    import tempfile

    with tempfile.NamedTemporaryFile(delete=False) as file:
        file.write(data)
    return Path(file.name)


@pytest.mark.parametrize(
    ("start", "expected"),
    [
        (b"\xff\xd8\xff\xe0", "image/jpeg"),
        (b"\x89PNG\r\n\x1a\n", "image/png"),
        (b"II*\0", "image/tiff"),
        (b"MM\0+", "image/tiff"),
        (b"\0\0\0\x1cftypavif", "image/avif"),
        (b"\0\0\0\x18ftypheic", "image/heic"),
        (b"\0\0\0\x18ftypmif1", "image/heif"),
        (b"II*\0\x10\0\0\0CR\x02\0", "image/x-raw"),
        (b"\0\0\0\x18ftypcrx ", "image/x-raw"),
        (b"FUJIFILMCCD-RAW 0", "image/x-raw"),
    ],
)
def test_every_kind_that_the_engine_reads_is_known(
    tmp_path: Path, start: bytes, expected: str
) -> None:
    """First bytes as ISO/IEC 10918-1, 15948, 23008-12 and TIFF 6.0 say; RAW's are from memory."""
    (tmp_path / "file").write_bytes(start + bytes(64))
    assert media_type_of(tmp_path / "file") == expected


def test_what_is_no_photograph_is_not_known(tmp_path: Path) -> None:
    (tmp_path / "file").write_bytes(b"%PDF-1.7" + bytes(64))
    with pytest.raises(UnreadablePhotographError):
        media_type_of(tmp_path / "file")
