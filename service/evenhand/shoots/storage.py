"""Which stored files a shoot still needs, and the end of those that it does not.

A file is put first and entered second; it is taken out of the entries' use first and deleted
second. Both second halves hold the shoot's lock, so that they cannot cross.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from pathlib import Path

from sqlalchemy import delete, or_, select
from sqlalchemy.orm import Session

from evenhand.shoots.database import Database
from evenhand.shoots.errors import DamagedFileError, NotFoundError
from evenhand.shoots.files import Files, Stored
from evenhand.shoots.finals import held, package_stands
from evenhand.shoots.sign_offs import PICTURE_KEPT
from evenhand.shoots.tables import (
    AskedChange,
    Final,
    Job,
    Layer,
    MaskEdit,
    Person,
    Portrait,
    Proof,
    Shoot,
    SignOff,
    StoredFile,
    StrengthStroke,
)

PACKING = "pack finals"
"""Kind of a job whose result names files; see `evenhand.jobs.job.Kind`."""


def lock(session: Session, shoot_id: str) -> Shoot:
    """The shoot, locked until the transaction ends.

    Parameters
    ----------
    session : Session
    shoot_id : str

    Returns
    -------
    Shoot

    Raises
    ------
    NotFoundError
        There is none, or it is being deleted.
    """
    shoot = session.scalars(select(Shoot).where(Shoot.id == shoot_id).with_for_update()).first()
    if shoot is None or shoot.deleting_at is not None:
        raise NotFoundError("There is no such shoot.", "List the shoots to see which there are.")
    return shoot


def enter(
    session: Session, files: Files, shoot_id: str, stored: Stored, source: Path | bytes, kind: str
) -> None:
    """Enter a file that was put, under the shoot's lock; puts it again if it went meanwhile.

    Parameters
    ----------
    session : Session
    files : Files
    shoot_id : str
    stored : Stored
        What `put` gave.
    source : path or bytes
        The same file.
    kind : str
        Its media type.

    Raises
    ------
    NotFoundError
        There is no such shoot, or it is being deleted.
    """
    lock(session, shoot_id)
    if not files.has(shoot_id, stored.sha256):
        files.put(shoot_id, source)
    if session.get(StoredFile, (shoot_id, stored.sha256)) is None:
        session.add(
            StoredFile(shoot_id=shoot_id, sha256=stored.sha256, size=stored.size, media_type=kind)
        )
        session.flush()


def in_use(session: Session, shoot_id: str) -> set[str]:
    """SHA-256 of every file that some row of the shoot needs.

    A package is not needed once a final in it was voided or deleted, nor is the picture of a
    sign-off, or of a change asked for, once what it shows was taken back.

    Parameters
    ----------
    session : Session
    shoot_id : str

    Returns
    -------
    set of str
    """
    people = select(Person.id).join(Portrait).where(Portrait.shoot_id == shoot_id)
    portraits = select(Portrait.id).where(Portrait.shoot_id == shoot_id)
    queries = (
        select(Portrait.sha256).where(Portrait.shoot_id == shoot_id),
        select(Person.sha256).where(Person.id.in_(people)),
        select(MaskEdit.sha256).where(MaskEdit.person_id.in_(people)),
        select(StrengthStroke.sha256).where(StrengthStroke.person_id.in_(people)),
        select(Layer.sha256).where(Layer.person_id.in_(people)),
        select(Layer.plain_sha256).where(Layer.person_id.in_(people)),
        select(SignOff.image_sha256)
        .join(Proof)
        .where(
            Proof.shoot_id == shoot_id,
            or_(SignOff.voided_at.is_(None), SignOff.void_reason.in_(PICTURE_KEPT)),
        ),
        select(AskedChange.image_sha256).where(
            AskedChange.portrait_id.in_(portraits), AskedChange.image_sha256.is_not(None)
        ),
        select(Final.sha256).where(Final.portrait_id.in_(portraits), Final.sha256.is_not(None)),
    )
    used = {sha256 for query in queries for sha256 in session.scalars(query) if sha256}
    still_held = held(session, shoot_id)
    for job in session.scalars(select(Job).where(Job.shoot_id == shoot_id, Job.kind == PACKING)):
        if package_stands(job, still_held):
            used.update(file["sha256"] for file in (job.result or {}).get("files", []))
    return used


def sizes(session: Session, shoot_id: str) -> dict[str, int]:
    """Size of every entered file of a shoot by its hash.

    Parameters
    ----------
    session : Session
    shoot_id : str

    Returns
    -------
    dict of str to int
        Bytes.
    """
    found = session.execute(
        select(StoredFile.sha256, StoredFile.size).where(StoredFile.shoot_id == shoot_id)
    )
    return {sha256: size for sha256, size in found}


def sweep(database: Database, files: Files, shoot_id: str) -> list[str]:
    """Delete the files of a shoot that nothing names any more.

    Parameters
    ----------
    database : Database
    files : Files
    shoot_id : str

    Returns
    -------
    list of str
        Their hashes; none where there is no such shoot.
    """
    with database.writing() as session:
        try:
            lock(session, shoot_id)
        except NotFoundError:
            return []
        entered = session.scalars(select(StoredFile.sha256).where(StoredFile.shoot_id == shoot_id))
        unused = sorted(set(entered) - in_use(session, shoot_id))
        for sha256 in unused:
            files.delete(shoot_id, sha256)
        session.execute(
            delete(StoredFile).where(StoredFile.shoot_id == shoot_id, StoredFile.sha256.in_(unused))
        )
    return unused


def sweep_unentered(
    database: Database,
    files: Files,
    older_than: float = math.inf,
    shoot_id: str | None = None,
) -> list[tuple[str, str]]:
    """Delete stored files that were never entered: what a process that died left behind.

    One that is on its way in is put again when it is entered; see `enter`.

    Parameters
    ----------
    database : Database
    files : Files
    older_than : float
        Seconds since 1970; younger files stay.
    shoot_id : str, optional
        Only those of this shoot.

    Returns
    -------
    list of (shoot, name)
        What was deleted.
    """
    gone = []
    for shoot, name, _, modified in list(files.listing(shoot_id)):
        if "/" in name or modified >= older_than:
            continue
        with database.writing() as session:
            held = session.scalars(select(Shoot).where(Shoot.id == shoot).with_for_update()).first()
            if held is not None and session.get(StoredFile, (shoot, name)) is not None:
                continue
            files.delete(shoot, name)
            gone.append((shoot, name))
    return gone


def damaged(database: Database, files: Files) -> Iterator[tuple[str, str]]:
    """Shoot and hash of every entered file that is missing or damaged.

    Parameters
    ----------
    database : Database
    files : Files
        Every byte is read.

    Yields
    ------
    shoot_id, sha256 : str
    """
    with database.reading() as session:
        entered = session.execute(select(StoredFile.shoot_id, StoredFile.sha256)).all()
    for shoot_id, sha256 in entered:
        try:
            files.check(shoot_id, sha256)
        except DamagedFileError:
            yield shoot_id, sha256
