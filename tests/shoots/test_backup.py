"""Backup and restore, from each kind of place onto the other."""

from __future__ import annotations

import io
import tarfile
from collections.abc import Iterator
from pathlib import Path

import obstore
import pytest
from sqlalchemy import select

from evenhand.jobs.place import Place, addresses_in
from evenhand.jobs.queue import Queue
from evenhand.jobs.work import do
from evenhand.shoots import record, storage, tables
from evenhand.shoots.backup import back_up, new_backup_key, restore
from evenhand.shoots.errors import BackupError
from tests.jobs.fixtures import Studio
from tests.jobs.plain_retoucher import Plain
from tests.jobs.servers import PostgreSQL


@pytest.fixture
def signed(studio: Studio) -> str:
    """A shoot with a signed final."""
    shoot = studio.shoot()
    portrait = studio.portrait(shoot, seed=40)
    studio.named(portrait, "Mara", "Jon")
    studio.agree(shoot, "Mara", "redness")
    _, link = studio.proof(shoot, portrait)
    studio.sign(portrait, link)
    studio.wait(studio.post(f"/v1/portraits/{portrait}/final", json={})["id"])
    return shoot


@pytest.fixture(params=["embedded", "servers"])
def elsewhere(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Place]:
    """Empty records and files of each kind."""
    if request.param == "embedded":
        place = Place.at(*addresses_in(tmp_path / "elsewhere"), Plain())
    else:
        postgres: PostgreSQL = request.getfixturevalue("postgres")
        bucket, _, query = request.getfixturevalue("bucket").partition("?")
        records = postgres.database()
        files = f"{bucket}/{records.rpartition('/')[2]}?{query}"
        place = Place.at(records, files, Plain())
    yield place
    place.database.close()


def rows(place: Place) -> dict[str, list[object]]:
    """Every row of every table that a backup keeps."""
    with place.database.reading() as session:
        return {
            table.name: sorted(map(repr, session.execute(select(table)).all()))
            for table in tables.Table.metadata.sorted_tables
            if table.name not in ("worker", "upload")
        }


def test_everything_comes_back(
    studio: Studio, signed: str, elsewhere: Place, tmp_path: Path
) -> None:
    target = tmp_path / "backup.tar"
    saved = back_up(studio.place.database, studio.place.files, target)
    again = restore(elsewhere.database, elsewhere.files, target)
    assert again == saved
    assert saved.files > 0
    assert rows(elsewhere) == rows(studio.place)
    assert list(storage.damaged(elsewhere.database, elsewhere.files)) == []
    with elsewhere.database.reading() as session:
        assert record.first_broken(record.entries(session, signed)) is None


def test_what_was_restored_goes_on(
    studio: Studio, signed: str, elsewhere: Place, tmp_path: Path
) -> None:
    """Jobs that were not over begin again, and the record is added to."""
    with studio.place.database.writing() as session:
        waiting = tables.Job(shoot_id=signed, kind="find people", arguments={}, state="waiting")
        portrait = session.scalars(
            select(tables.Portrait.id).where(tables.Portrait.shoot_id == signed)
        ).one()
        waiting.portrait_id = portrait
        session.add(waiting)
    back_up(studio.place.database, studio.place.files, tmp_path / "backup.tar")
    with studio.place.database.writing() as session:
        session.delete(session.get_one(tables.Job, waiting.id))
    restore(elsewhere.database, elsewhere.files, tmp_path / "backup.tar")
    queue = Queue(elsewhere.database)
    with elsewhere.database.writing() as session:
        assert queue.readmit(session) == 1
    do(elsewhere, waiting.id)
    with elsewhere.database.reading() as session:
        assert session.get_one(tables.Job, waiting.id).state == "done"
        entries = record.entries(session, signed)
        assert entries[-1].action == "people found"
        assert record.first_broken(entries) is None


def test_a_backup_is_never_written_over(studio: Studio, tmp_path: Path) -> None:
    (tmp_path / "backup.tar").write_bytes(b"older")
    with pytest.raises(BackupError):
        back_up(studio.place.database, studio.place.files, tmp_path / "backup.tar")
    assert (tmp_path / "backup.tar").read_bytes() == b"older"


def test_nothing_is_restored_over_what_is_there(
    studio: Studio, signed: str, tmp_path: Path
) -> None:
    back_up(studio.place.database, studio.place.files, tmp_path / "backup.tar")
    with pytest.raises(BackupError):
        restore(studio.place.database, studio.place.files, tmp_path / "backup.tar")


@pytest.mark.parametrize("kind", ["no archive", "cut", "changed"])
def test_a_broken_backup_is_refused(studio: Studio, signed: str, tmp_path: Path, kind: str) -> None:
    path = tmp_path / "backup.tar"
    back_up(studio.place.database, studio.place.files, path)
    if kind == "no archive":
        path.write_bytes(b"no archive")
    elif kind == "cut":
        path.write_bytes(path.read_bytes()[: path.stat().st_size // 2])
    else:
        _change_a_file(path)
    place = Place.at(*addresses_in(tmp_path / "new"), Plain())
    with pytest.raises(BackupError):
        restore(place.database, place.files, path)
    with place.database.reading() as session:
        assert session.scalars(select(tables.Shoot)).all() == []


def _change_a_file(path: Path) -> None:
    changed = io.BytesIO()
    with tarfile.open(path) as old, tarfile.open(fileobj=changed, mode="w") as new:
        for member in old:
            file = old.extractfile(member)
            assert file is not None
            data = file.read()
            if member.name.startswith("files/"):
                data = b"x" + data[1:]
            new.addfile(member, io.BytesIO(data))
    path.write_bytes(changed.getvalue())


def test_a_damaged_file_is_named_and_left_out(
    studio: Studio, signed: str, tmp_path: Path, elsewhere: Place
) -> None:
    """One flipped bit; everything else is in the archive and comes back."""
    final = studio.get(f"/v1/shoots/{signed}/finals")[0]["sha256"]
    flip(studio.place, signed, final)
    saved = back_up(studio.place.database, studio.place.files, tmp_path / "backup.tar")
    assert saved.left_out == ((signed, final),)
    again = restore(elsewhere.database, elsewhere.files, tmp_path / "backup.tar")
    assert again.left_out == ((signed, final),)
    assert again.files == saved.files > 0
    assert list(storage.damaged(elsewhere.database, elsewhere.files)) == [(signed, final)]
    studio.http.delete(f"/v1/shoots/{signed}")


def test_a_backup_is_its_owners_only(studio: Studio, signed: str, tmp_path: Path) -> None:
    target = tmp_path / "backup.tar"
    back_up(studio.place.database, studio.place.files, target)
    assert target.stat().st_mode & 0o777 == 0o600


def test_an_encrypted_backup_opens_with_its_key_only(
    studio: Studio, signed: str, tmp_path: Path
) -> None:
    target, mine, other = (tmp_path / name for name in ("backup.age", "mine.key", "other.key"))
    public = new_backup_key(mine)
    new_backup_key(other)
    assert mine.stat().st_mode & 0o777 == 0o600
    saved = back_up(studio.place.database, studio.place.files, target, public)
    held = target.read_bytes()
    assert held.startswith(b"age-encryption.org/v1\n")
    assert b"Mara" not in held
    assert b"evenhand-backup.json" not in held
    place = Place.at(*addresses_in(tmp_path / "new"), Plain())
    for key in (None, other):
        with pytest.raises(BackupError):
            restore(place.database, place.files, target, key)
    assert restore(place.database, place.files, target, mine) == saved
    place.database.close()


@pytest.mark.parametrize("member", ["records/shoot.jsonl", "evenhand-backup.json", "studio.key"])
@pytest.mark.parametrize("content", [b"", b"[1, 2]", b"\xff\xfe", b"{}", b'{"id": 5}'])
def test_a_bad_archive_is_a_plain_sentence_and_leaves_nothing(
    studio: Studio, signed: str, tmp_path: Path, member: str, content: bytes
) -> None:
    path = tmp_path / "backup.tar"
    back_up(studio.place.database, studio.place.files, path)
    _replace(path, member, content)
    place = Place.at(*addresses_in(tmp_path / "new"), Plain())
    with pytest.raises(BackupError, match="Use"):
        restore(place.database, place.files, path)
    assert list(place.files.listing()) == []
    with place.database.reading() as session:
        assert session.scalars(select(tables.Shoot)).first() is None
    place.database.close()


def _replace(path: Path, name: str, content: bytes) -> None:
    """Put other content into a member."""
    members = []
    with tarfile.open(path) as archive:
        for member in archive:
            file = archive.extractfile(member)
            assert file is not None
            members.append((member.name, file.read()))
    with tarfile.open(path, "w") as archive:
        for one, data in members:
            data = content if one == name else data
            info = tarfile.TarInfo(one)
            info.size = len(data)
            archive.addfile(info, io.BytesIO(data))


def flip(place: Place, shoot: str, sha256: str) -> None:
    """Flip one bit of a stored file."""
    where = f"shoots/{shoot}/{sha256[:2]}/{sha256[2:]}"
    data = bytearray(obstore.get(place.files.store, where).bytes())
    data[len(data) // 2] ^= 1
    obstore.put(place.files.store, where, bytes(data))
