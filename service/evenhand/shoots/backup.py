"""Backup and restore: every entry and every file in one archive, whatever they lie on.

An archive made on SQLite and a folder restores onto PostgreSQL and an S3-compatible store, and
the other way round. It can be encrypted for somebody's key, in the open age format
(age-encryption.org/v1), so that the machine that makes it cannot read it.
"""

from __future__ import annotations

import io
import json
import os
import re
import tarfile
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any, BinaryIO

from sqlalchemy import func, insert, select, text
from sqlalchemy.exc import SQLAlchemyError
from sqlalchemy.orm import Session

from evenhand.photo.durable import flush, make_folder
from evenhand.shoots.database import Database
from evenhand.shoots.errors import BackupError, DamagedFileError
from evenhand.shoots.files import Files
from evenhand.shoots.studio_key import PLACE, StudioKey
from evenhand.shoots.tables import Moment, Sequence, StoredFile, Table, Upload, Worker

VERSION = 2
"""Of the archive; another one is not restored."""

HEAD = "evenhand-backup.json"
"""The archive's first member."""

KEY = "studio.key"
"""The member with the key that signs the records."""

LEFT_OUT = (Worker.__tablename__, Upload.__tablename__)
"""Tables of what lives only while the service runs."""

ENCRYPTED = b"age-encryption.org/v1"
"""How an encrypted archive begins."""

FILE = re.compile("files/(?P<shoot>[0-9a-f]{32})/(?P<sha256>[0-9a-f]{64})")
"""Name of a member that is a stored file."""


@dataclass(frozen=True)
class Saved:
    """What an archive holds.

    Attributes
    ----------
    rows, files, bytes : int
    left_out : tuple of (shoot, sha256)
        Entered files that are missing or damaged, and not in it.
    """

    rows: int
    files: int
    bytes: int
    left_out: tuple[tuple[str, str], ...] = ()


def back_up(database: Database, files: Files, target: Path, recipient: str | None = None) -> Saved:
    """Write an archive of the records at one moment and of all their files.

    The archive appears under its name when it is whole and on the disk; only its owner can read
    it. A damaged file is left out and told.

    Parameters
    ----------
    database : Database
    files : Files
    target : path
        Where the archive shall be.
    recipient : str, optional
        Public key (``age1...``) that it is encrypted for; see `new_backup_key`.

    Returns
    -------
    Saved
        What is in it, and what was left out.

    Raises
    ------
    BackupError
        The target is already there, or the key is none.
    """
    if target.exists():
        raise BackupError(f"{target} is already there.", "Choose another name.")
    make_folder(target.parent)
    beside = target.with_name(target.name + ".part")
    try:
        with _written(beside, recipient) as stream, tarfile.open(None, "w|", stream) as archive:
            saved = _save(database, files, archive)
        flush(beside)
        beside.replace(target)
        flush(target.parent)
    finally:
        beside.unlink(missing_ok=True)
    return saved


def restore(database: Database, files: Files, source: Path, key: Path | None = None) -> Saved:
    """Restore an archive into empty records.

    Where it cannot be restored whole, nothing stays of it.

    Parameters
    ----------
    database : Database
        Empty.
    files : Files
    source : path
        The archive.
    key : Path, optional
        File with the private key of an encrypted archive.

    Returns
    -------
    Saved

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
    broken = (
        tarfile.TarError, SQLAlchemyError, LookupError, TypeError, ValueError, AttributeError,
        EOFError,
    )  # fmt: skip
    with files.temporary() as folder:
        try:
            return _restored(database, files, _opened(source, key, folder), folder)
        except broken as error:
            why = str(error).partition("\n")[0] or type(error).__name__
            raise BackupError(
                f"{source} cannot be restored: {why.rstrip('.')}.", "Use another copy."
            ) from None


def new_backup_key(path: Path) -> str:
    """Make a key pair for encrypted backups; the private key goes into a file of its owner's.

    Parameters
    ----------
    path : path
        Where the private key shall be, readable by its owner alone.

    Returns
    -------
    str
        The public key.

    Raises
    ------
    BackupError
        The file is already there.
    """
    import pyrage

    identity = pyrage.x25519.Identity.generate()
    try:
        descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    except FileExistsError:
        raise BackupError(f"{path} is already there.", "Choose another name.") from None
    with open(descriptor, "w") as file:
        file.write(f"# public key: {identity.to_public()}\n{identity}\n")
        file.flush()
        os.fsync(file.fileno())
    return str(identity.to_public())


def _save(database: Database, files: Files, archive: tarfile.TarFile) -> Saved:
    rows = count = size = 0
    left_out = []
    _add(archive, HEAD, json.dumps({"version": VERSION}).encode())
    _add(archive, KEY, StudioKey.of(files).secret)
    with database.reading() as session:
        for table in _tables():
            lines = [json.dumps(row) for row in _rows(session, table)]
            rows += len(lines)
            _add(archive, f"records/{table.name}.jsonl", "\n".join(lines).encode())
        stored = session.execute(select(StoredFile.shoot_id, StoredFile.sha256)).all()
    for shoot_id, sha256 in stored:
        try:
            with files.as_path(shoot_id, sha256, "") as path, path.open("rb") as file:
                member = _member_of(f"files/{shoot_id}/{sha256}", path.stat().st_size)
                archive.addfile(member, file)
        except DamagedFileError:
            if _still_entered(database, shoot_id, sha256):
                left_out.append((shoot_id, sha256))
            continue
        count, size = count + 1, size + member.size
    return Saved(rows, count, size, tuple(left_out))


def _restored(database: Database, files: Files, source: Path, folder: Path) -> Saved:
    rows = count = size = 0
    shoots: set[str] = set()
    try:
        with tarfile.open(source, "r:") as archive:
            head = json.loads(_bytes(archive, HEAD))
            if head.get("version") != VERSION:
                raise BackupError(
                    f"{source.name} is of another version.", "Use the Evenhand that made it."
                )
            for member in archive:
                if name := FILE.fullmatch(member.name):
                    shoots.add(name["shoot"])
                    _put(files, archive, member, name, folder)
                    count, size = count + 1, size + member.size
            secret = _bytes(archive, KEY)
            entered: set[tuple[str, str]] = set()
            with database.writing() as session:
                for table in _tables():
                    lines = _bytes(archive, f"records/{table.name}.jsonl").decode().splitlines()
                    values = [_from_json(table, json.loads(line)) for line in lines]
                    if values:
                        session.execute(insert(table), values)
                    rows += len(values)
                    if table is StoredFile.__table__:
                        entered = {(row["shoot_id"], row["sha256"]) for row in values}
                if not database.embedded:
                    _count_on(session)
                files.replace_named(PLACE, StudioKey(secret).secret)
        database.key = StudioKey(secret)
    except BaseException:
        for shoot in shoots:
            files.delete_shoot(shoot)
        raise
    missing = sorted(one for one in entered if not files.has(*one))
    return Saved(rows, count, size, tuple(missing))


def _put(
    files: Files,
    archive: tarfile.TarFile,
    member: tarfile.TarInfo,
    name: re.Match[str],
    folder: Path,
) -> None:
    """Store a member of the archive; raises `BackupError` where its bytes are not those named."""
    content = archive.extractfile(member)
    if content is None:
        raise KeyError(member.name)
    path = folder / "member"
    with path.open("wb") as file:
        while piece := content.read(1 << 20):
            file.write(piece)
    if files.put(name["shoot"], path).sha256 != name["sha256"]:
        raise BackupError(f"{member.name} is damaged.", "Use another copy.")


def _opened(source: Path, key: Path | None, folder: Path) -> Path:
    """The archive in plain: itself, or decrypted into a folder."""
    with source.open("rb") as file:
        if file.read(len(ENCRYPTED)) != ENCRYPTED:
            return source
        if key is None:
            raise BackupError(f"{source} is encrypted.", "Give the file with its key: --key FILE.")
        import pyrage

        lines = key.read_text(errors="replace").splitlines()
        try:
            secret = next(line for line in lines if line and not line.startswith("#"))
            identity = pyrage.x25519.Identity.from_str(secret.strip())
        except (StopIteration, pyrage.IdentityError):
            raise BackupError(f"{key} holds no key.", "Give the file that made it.") from None
        file.seek(0)
        plain = folder / source.name
        try:
            with plain.open("wb") as out:
                pyrage.decrypt_io(file, out, [identity])
        except pyrage.DecryptError as error:
            raise BackupError(
                f"{source} cannot be decrypted ({error}).", "Use its own key, or another copy."
            ) from None
    return plain


@contextmanager
def _written(path: Path, recipient: str | None) -> Iterator[BinaryIO]:
    """A stream into a file that only its owner may read, encrypted for a recipient if there is one.

    What is written never lies on the disk in plain.
    """
    path.unlink(missing_ok=True)
    with open(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as file:
        if recipient is None:
            yield file
            return
        import pyrage

        try:
            key = pyrage.x25519.Recipient.from_str(recipient)
        except pyrage.RecipientError:
            raise BackupError(
                f"{recipient} is no public key for backups.", "Make one: evenhand backup-key FILE."
            ) from None
        reading, writing = os.pipe()
        troubles: list[Exception] = []

        def encrypt() -> None:
            with open(reading, "rb") as plain:
                try:
                    pyrage.encrypt_io(plain, file, [key])
                except Exception as error:  # told below, by whoever writes
                    troubles.append(error)

        thread = threading.Thread(target=encrypt)
        thread.start()
        try:
            with suppress(BrokenPipeError), open(writing, "wb") as plain:
                yield plain
        finally:
            thread.join()
        if troubles:
            raise OSError(f"the backup was not encrypted: {troubles[0]}") from troubles[0]


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


def _still_entered(database: Database, shoot_id: str, sha256: str) -> bool:
    """Whether a file that cannot be read was not deleted since the records were read."""
    with database.reading() as session:
        return session.get(StoredFile, (shoot_id, sha256)) is not None


def _add(archive: tarfile.TarFile, name: str, data: bytes) -> None:
    archive.addfile(_member_of(name, len(data)), io.BytesIO(data))


def _member_of(name: str, size: int) -> tarfile.TarInfo:
    member = tarfile.TarInfo(name)
    member.size, member.mode = size, 0o600
    return member


def _bytes(archive: tarfile.TarFile, name: str) -> bytes:
    file = archive.extractfile(name)
    if file is None:
        raise KeyError(name)
    return file.read()
