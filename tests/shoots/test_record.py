"""The append-only record: sealed, guarded by the database, exported as RFC 4180 says."""

from __future__ import annotations

import csv
import io
import shutil
import subprocess
from pathlib import Path

import pytest
from sqlalchemy import delete, text, update
from sqlalchemy.exc import DBAPIError

from evenhand.jobs.place import Place
from evenhand.shoots import record, tables


@pytest.fixture
def shoot(place: Place) -> str:
    """A shoot with three entries in its record."""
    with place.database.writing() as session:
        shoot = tables.Shoot(name="Regatta")
        session.add(shoot)
        session.flush()
        for number in range(3):
            record.append(session, shoot.id, "studio", f"action {number}", number=number)
        return shoot.id


def entries(place: Place, shoot: str) -> list[tables.Record]:
    """Entries of a shoot's record."""
    with place.database.reading() as session:
        return list(record.entries(session, shoot))


def test_entries_follow_one_another_and_are_whole(place: Place, shoot: str) -> None:
    found = entries(place, shoot)
    assert [entry.number for entry in found] == [1, 2, 3]
    assert [entry.previous for entry in found[1:]] == [entry.sha256 for entry in found[:-1]]
    assert record.first_broken(found) is None


@pytest.mark.parametrize(
    ("column", "value"), [("actor", "somebody"), ("action", "other"), ("facts", {"number": 7})]
)
def test_a_changed_entry_breaks_the_seal(
    place: Place, shoot: str, column: str, value: object
) -> None:
    found = entries(place, shoot)
    setattr(found[1], column, value)
    assert record.first_broken(found) == 2


def test_a_missing_entry_breaks_the_seal(place: Place, shoot: str) -> None:
    found = entries(place, shoot)
    assert record.first_broken([found[0], found[2]]) == 2


@pytest.mark.parametrize("table", [tables.Record, tables.Permission])
def test_the_database_refuses_to_change_an_entry(
    place: Place, shoot: str, table: type[tables.Record] | type[tables.Permission]
) -> None:
    if table is tables.Permission:
        with place.database.writing() as session:
            session.add(
                tables.Permission(
                    shoot_id=shoot, name="Mara", given=True, steps=["redness"], said_by="person",
                    how="in person", said_at=tables.now(), recorded_by="studio",
                )
            )  # fmt: skip
    mine = table.shoot_id == shoot
    for statement in (update(table).where(mine).values(shoot_id=shoot), delete(table).where(mine)):
        with pytest.raises(DBAPIError), place.database.writing() as session:
            session.execute(statement)


def test_a_shoot_goes_only_by_being_deleted(place: Place, shoot: str) -> None:
    with pytest.raises(DBAPIError), place.database.writing() as session:
        session.execute(delete(tables.Shoot).where(tables.Shoot.id == shoot))
    assert len(entries(place, shoot)) == 3


def test_a_table_export_can_be_read_and_holds_no_formula(place: Place, shoot: str) -> None:
    with place.database.writing() as session:
        record.append(session, shoot, "=HYPERLINK(1)", "noted", note='a "quoted", line\nbreak')
    rows = list(csv.DictReader(io.StringIO(record.as_csv(entries(place, shoot)), newline="")))
    assert len(rows) == 4
    assert rows[3]["actor"] == "'=HYPERLINK(1)"
    assert "quoted" in rows[3]["facts"]


def test_tables_are_what_the_models_say(place: Place) -> None:
    """Alembic finds nothing to migrate between its migrations and the models."""
    from alembic.autogenerate import compare_metadata
    from alembic.migration import MigrationContext

    with place.database.engine.connect() as connection:
        context = MigrationContext.configure(
            connection, opts={"version_table": "evenhand_version", "include_object": _ours}
        )
        assert compare_metadata(context, tables.Table.metadata) == []


def _ours(thing: object, name: str, kind: str, reflected: bool, other: object) -> bool:
    return kind != "table" or name in tables.Table.metadata.tables


def test_moments_are_kept_to_the_microsecond(place: Place, shoot: str) -> None:
    first = entries(place, shoot)[0]
    again = entries(place, shoot)[0]
    assert first.at == again.at
    assert first.at.tzinfo is not None


def test_sqlite_writes_ahead(place: Place) -> None:
    if not place.database.embedded:
        pytest.skip("SQLite only")
    with place.database.engine.connect() as connection:
        assert connection.execute(text("PRAGMA journal_mode")).scalar() == "wal"


@pytest.mark.parametrize("cut", [1, 3])
def test_a_tail_that_was_cut_off_shows(place: Place, shoot: str, cut: int) -> None:
    """Whoever can write the database, but has not the studio's key, cannot shorten a record."""
    with place.database.reading() as session:
        row = session.get_one(tables.Shoot, shoot)
        assert record.is_whole(session, row, record.entries(session, shoot))
    of_shoot = update(tables.Shoot).where(tables.Shoot.id == shoot)
    with place.database.writing() as session:
        session.execute(of_shoot.values(deleting_at=tables.now()))
        session.execute(
            delete(tables.Record).where(
                tables.Record.shoot_id == shoot, tables.Record.number > 3 - cut
            )
        )
        session.execute(of_shoot.values(deleting_at=None))
    with place.database.reading() as session:
        row, left = session.get_one(tables.Shoot, shoot), record.entries(session, shoot)
        assert record.first_broken(left) is None
        assert not record.is_whole(session, row, left)


def test_the_signature_can_be_checked_without_the_service(
    place: Place, shoot: str, tmp_path: Path
) -> None:
    """Ed25519 (RFC 8032), by OpenSSL's own program."""
    if shutil.which("openssl") is None:
        pytest.skip("openssl is not installed")
    assert place.database.key is not None
    with place.database.reading() as session:
        signature = session.get_one(tables.Shoot, shoot).record_signature
        last = record.entries(session, shoot)[-1]
    (tmp_path / "statement").write_text(f"evenhand record {shoot} {last.number} {last.sha256}")
    (tmp_path / "signature").write_bytes(bytes.fromhex(signature or ""))
    # SubjectPublicKeyInfo of an Ed25519 key (RFC 8410, section 4), before its 32 bytes.
    prefix = bytes.fromhex("302a300506032b6570032100")
    (tmp_path / "key").write_bytes(prefix + bytes.fromhex(place.database.key.public))
    command = [
        "openssl", "pkeyutl", "-verify", "-pubin", "-keyform", "DER", "-rawin",
        "-inkey", str(tmp_path / "key"), "-in", str(tmp_path / "statement"),
        "-sigfile", str(tmp_path / "signature"),
    ]  # fmt: skip
    assert subprocess.run(command, capture_output=True, check=False).returncode == 0
    (tmp_path / "statement").write_text(f"evenhand record {shoot} 1 {last.sha256}")
    assert subprocess.run(command, capture_output=True, check=False).returncode != 0
