"""Deleting: every row and every byte of a shoot or a portrait, and a report of what went."""

from __future__ import annotations

from dataclasses import dataclass

from sqlalchemy import delete, func, select
from sqlalchemy.orm import Session

from evenhand.shoots import record, storage
from evenhand.shoots.database import Database
from evenhand.shoots.errors import NotFoundError
from evenhand.shoots.files import Files
from evenhand.shoots.tables import (
    AskedChange,
    Audit,
    Final,
    Job,
    Layer,
    MaskEdit,
    Permission,
    Person,
    Portrait,
    Proof,
    Record,
    Shoot,
    SignOff,
    StrengthStroke,
    Upload,
    now,
)


@dataclass(frozen=True)
class Deleted:
    """What was deleted.

    Attributes
    ----------
    files, bytes : int
        Stored files and their size together.
    rows : dict of str to int
        How many of each kind.
    record_sha256 : str or None
        Seal of the last entry of the record that went with a shoot: whoever exported the record
        before can show that it was the whole one.
    overwritten : bool
        Nothing of it stays in pages or logs of the database; see `Database.forget_deleted`.
    """

    files: int
    bytes: int
    rows: dict[str, int]
    record_sha256: str | None = None
    overwritten: bool = False


def delete_shoot(database: Database, files: Files, shoot_id: str, actor: str) -> Deleted:
    """Delete a shoot with everything in it. Broken off, it goes on at the next sweep.

    Parameters
    ----------
    database : Database
    files : Files
    shoot_id : str
    actor : str
        Who asked for it, for the audit.

    Returns
    -------
    Deleted

    Raises
    ------
    NotFoundError
        There is no such shoot.
    """
    with database.writing() as session:
        shoot = session.scalars(select(Shoot).where(Shoot.id == shoot_id).with_for_update()).first()
        if shoot is None:
            raise NotFoundError("There is no such shoot.", "It may be deleted already.")
        shoot.deleting_at = shoot.deleting_at or now()
    count, size = files.delete_shoot(shoot_id)
    with database.writing() as session:
        rows = _rows(session, shoot_id)
        seal = session.scalars(
            select(Record.sha256)
            .where(Record.shoot_id == shoot_id)
            .order_by(Record.number.desc())
            .limit(1)
        ).first()
        session.execute(delete(Shoot).where(Shoot.id == shoot_id))
        session.add(
            Audit(
                actor=actor,
                action="shoot deleted",
                subject=shoot_id,
                outcome="done",
                facts={"files": count, "bytes": size, "rows": rows, "record_sha256": seal},
            )
        )
    late, late_size = files.delete_shoot(shoot_id)
    return Deleted(
        count + late, size + late_size, rows, seal, overwritten=database.forget_deleted()
    )


def delete_portrait(database: Database, files: Files, portrait_id: str, actor: str) -> Deleted:
    """Delete a portrait with its people, masks, face geometry, layers, sign-offs and finals.

    Parameters
    ----------
    database : Database
    files : Files
    portrait_id : str
    actor : str
        Who asked for it, for the shoot's record.

    Returns
    -------
    Deleted

    Raises
    ------
    NotFoundError
        There is no such portrait.
    """
    with database.writing() as session:
        portrait = session.get(Portrait, portrait_id)
        if portrait is None:
            raise NotFoundError("There is no such portrait.", "It may be deleted already.")
        shoot_id, name = portrait.shoot_id, portrait.name
        storage.lock(session, shoot_id)
        people = select(Person.id).where(Person.portrait_id == portrait_id)
        rows = {
            "portraits": 1,
            "people": _count(session, Person, Person.portrait_id == portrait_id),
            "layers": _count(session, Layer, Layer.person_id.in_(people)),
            "mask edits": _count(session, MaskEdit, MaskEdit.person_id.in_(people)),
            "strokes": _count(session, StrengthStroke, StrengthStroke.person_id.in_(people)),
            "changes asked for": _count(
                session, AskedChange, AskedChange.portrait_id == portrait_id
            ),
            "sign-offs": _count(session, SignOff, SignOff.portrait_id == portrait_id),
            "finals": _count(session, Final, Final.portrait_id == portrait_id),
        }
        before = storage.sizes(session, shoot_id)
        session.execute(delete(Portrait).where(Portrait.id == portrait_id))
        record.append(session, shoot_id, actor, "portrait deleted", portrait=portrait_id, name=name)
    gone = storage.sweep(database, files, shoot_id)
    storage.sweep_unentered(database, files, shoot_id=shoot_id)
    size = sum(before[sha256] for sha256 in gone if sha256 in before)
    return Deleted(len(gone), size, rows, overwritten=database.forget_deleted())


def unfinished(session: Session) -> list[str]:
    """Shoots whose deletion was broken off.

    Parameters
    ----------
    session : Session

    Returns
    -------
    list of str
        Identifiers.
    """
    return list(session.scalars(select(Shoot.id).where(Shoot.deleting_at.is_not(None))))


def _rows(session: Session, shoot_id: str) -> dict[str, int]:
    portraits = select(Portrait.id).where(Portrait.shoot_id == shoot_id)
    people = select(Person.id).where(Person.portrait_id.in_(portraits))
    proofs = select(Proof.id).where(Proof.shoot_id == shoot_id)
    return {
        "portraits": _count(session, Portrait, Portrait.shoot_id == shoot_id),
        "people": _count(session, Person, Person.portrait_id.in_(portraits)),
        "layers": _count(session, Layer, Layer.person_id.in_(people)),
        "mask edits": _count(session, MaskEdit, MaskEdit.person_id.in_(people)),
        "strokes": _count(session, StrengthStroke, StrengthStroke.person_id.in_(people)),
        "permissions": _count(session, Permission, Permission.shoot_id == shoot_id),
        "proofs": _count(session, Proof, Proof.shoot_id == shoot_id),
        "changes asked for": _count(session, AskedChange, AskedChange.proof_id.in_(proofs)),
        "sign-offs": _count(session, SignOff, SignOff.proof_id.in_(proofs)),
        "finals": _count(session, Final, Final.portrait_id.in_(portraits)),
        "jobs": _count(session, Job, Job.shoot_id == shoot_id),
        "uploads": _count(session, Upload, Upload.shoot_id == shoot_id),
        "record entries": _count(session, Record, Record.shoot_id == shoot_id),
    }


def _count(session: Session, table: type, condition: object) -> int:
    return session.scalar(select(func.count()).select_from(table).where(condition)) or 0  # type: ignore[arg-type]
