"""Backup and restore: every entry and every file in one archive, whatever they lie on.

An archive made on SQLite and a folder restores onto PostgreSQL and an S3-compatible store, and
the other way round.
"""

from __future__ import annotations

import io
import json
import tarfile
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from sqlalchemy import func, insert, select, text
from sqlalchemy.orm import Session

from evenhand.shoots.database import Database
from evenhand.shoots.errors import BackupError, DamagedFileError
from evenhand.shoots.files import Files
from evenhand.shoots.tables import Moment, Sequence, StoredFile, Table, Upload, Worker

VERSION = 1
"""Of the archive; another one is not restored."""

HEAD = "evenhand-backup.json"
"""The archive's first member."""

LEFT_OUT = (Worker.__tablename__, Upload.__tablename__)
"""Tables of what lives only while the service runs."""


@dataclass(frozen=True)
class Saved:
    """What an archive holds."""

    rows: int
    files: int
    bytes: int


def back_up(database: Database, files: Files, target: Path) -> Saved:
    """Write an archive of the records at one moment and of all their files.

    The archive appears under its name when it is whole.

    Raises
    ------
    BackupError
        The target is already there.
    DamagedFileError
        A file is missing or damaged.
    """
    if target.exists():
        raise BackupError(f"{target} is already there.", "Choose another name.")
    target.parent.mkdir(parents=True, exist_ok=True)
    beside = target.with_name(target.name + ".part")
    rows = count = size = 0
    try:
        with tarfile.open(beside, "w") as archive:
            _add(archive, HEAD, json.dumps({"version": VERSION}).encode())
            with database.reading() as session:
                for table in _tables():
                    lines = [json.dumps(row) for row in _rows(session, table)]
                    rows += len(lines)
                    _add(archive, f"records/{table.name}.jsonl", "\n".join(lines).encode())
                stored = session.execute(select(StoredFile.shoot_id, StoredFile.sha256)).all()
            for shoot_id, sha256 in stored:
                data = _still_there(database, files, shoot_id, sha256)
                if data is not None:
                    _add(archive, f"files/{shoot_id}/{sha256}", data)
                    count, size = count + 1, size + len(data)
        beside.replace(target)
    finally:
        beside.unlink(missing_ok=True)
    return Saved(rows, count, size)


def restore(database: Database, files: Files, source: Path) -> Saved:
    """Restore an archive into empty records.

    Raises
    ------
    BackupError
        It is no archive of this version, or the records are not empty.
    """
    with database.writing() as session:
        for table in _tables():
            if session.scalar(select(func.count()).select_from(table)):
                raise BackupError(
                    "The records are not empty.", "Restore into a new folder or database."
                )
    try:
        return _restored(database, files, source)
    except (tarfile.TarError, json.JSONDecodeError, KeyError) as error:
        why = str(error).partition("\n")[0]
        raise BackupError(f"{source} cannot be restored: {why}.", "Use another copy.") from None


def _restored(database: Database, files: Files, source: Path) -> Saved:
    rows = count = size = 0
    with tarfile.open(source, "r") as archive:
        head = json.loads(_member(archive, HEAD))
        if head.get("version") != VERSION:
            raise BackupError(f"{source} is of another version.", "Use the Evenhand that made it.")
        for member in archive:
            if member.name.startswith("files/"):
                _, shoot_id, sha256 = member.name.split("/")
                data = _member(archive, member.name)
                if files.put(shoot_id, data).sha256 != sha256:
                    raise BackupError(f"{member.name} is damaged.", "Use another copy.")
                count, size = count + 1, size + len(data)
        with database.writing() as session:
            for table in _tables():
                lines = _member(archive, f"records/{table.name}.jsonl").decode().splitlines()
                values = [_from_json(table, json.loads(line)) for line in lines]
                if values:
                    session.execute(insert(table), values)
                rows += len(values)
            if not database.embedded:
                _count_on(session)
    return Saved(rows, count, size)


def _tables() -> list[Any]:
    return [t for t in Table.metadata.sorted_tables if t.name not in LEFT_OUT]


def _rows(session: Session, table: Any) -> Iterator[dict[str, Any]]:
    order = [column for column in table.primary_key]
    for row in session.execute(select(table).order_by(*order)).mappings():
        yield {
            name: value.isoformat() if isinstance(value, datetime) else value
            for name, value in row.items()
        }


def _from_json(table: Any, row: dict[str, Any]) -> dict[str, Any]:
    return {
        name: datetime.fromisoformat(value)
        if value is not None and isinstance(table.c[name].type, Moment)
        else value
        for name, value in row.items()
    }


def _count_on(session: Session) -> None:
    """Let PostgreSQL's own numbering go on after what was restored."""
    for table in _tables():
        for column in table.primary_key:
            if column.autoincrement is True and column.type is Sequence:
                session.execute(
                    text(
                        f"SELECT setval(pg_get_serial_sequence('{table.name}', '{column.name}'), "
                        f"(SELECT max({column.name}) FROM {table.name}))"
                    )
                )


def _still_there(database: Database, files: Files, shoot_id: str, sha256: str) -> bytes | None:
    """A file's bytes; None where it was deleted since the records were read."""
    try:
        return files.read(shoot_id, sha256)
    except DamagedFileError:
        with database.reading() as session:
            if session.get(StoredFile, (shoot_id, sha256)) is None:
                return None
        raise


def _add(archive: tarfile.TarFile, name: str, data: bytes) -> None:
    member = tarfile.TarInfo(name)
    member.size, member.mode = len(data), 0o600
    archive.addfile(member, io.BytesIO(data))


def _member(archive: tarfile.TarFile, name: str) -> bytes:
    file = archive.extractfile(name)
    if file is None:
        raise KeyError(name)
    return file.read()
