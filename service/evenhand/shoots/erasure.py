"""Erasing a person: every portrait that shows them, and their name wherever it was written."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from sqlalchemy import JSON, String, delete, select, update
from sqlalchemy.orm import Session

from evenhand.shoots import record, storage
from evenhand.shoots.database import Database
from evenhand.shoots.files import Files
from evenhand.shoots.tables import (
    AskedChange,
    Audit,
    Final,
    Job,
    Permission,
    Person,
    Portrait,
    Proof,
    Shoot,
    SignOff,
    Table,
    Token,
    Upload,
    now,
)

MARK = "[erased]"
"""Stands where a name was."""

WITH_WORDS: tuple[type[Table], ...] = (
    Shoot, Portrait, Person, Permission, Proof, AskedChange, SignOff, Final, Job, Upload, Token,
)  # fmt: skip
"""Tables in which somebody may have written a name; `Record` besides."""

Reworded = Callable[[Any], Any]
"""A value with the names in it replaced by the mark."""


@dataclass
class Erased:
    """What was erased, over all shoots.

    Attributes
    ----------
    shoots, portraits : int
    entries : int
        Entries of records in which a name was replaced.
    files, bytes : int
        Stored files that went, and their size together.
    overwritten : bool
        Nothing of it stays in pages or logs of the database; see `Database.forget_deleted`.
    """

    shoots: int = 0
    portraits: int = 0
    entries: int = 0
    files: int = 0
    bytes: int = 0
    overwritten: bool = False


def erase_person(database: Database, files: Files, name: str, actor: str) -> Erased:
    """Erase the person of this name from every shoot.

    Every portrait in which they are named goes with all that was made of it, whoever else is in
    it; links to them are closed; packages of the shoots concerned go; their name becomes `MARK` in
    everything that was written, and the records are sealed anew, with an entry that says so.

    Parameters
    ----------
    database : Database
    files : Files
    name : str
        As the photographer wrote it.
    actor : str
        Who asked for it, for the records and the audit.

    Returns
    -------
    Erased
        All counts 0 where nobody has this name.
    """
    out = Erased()
    with database.reading() as session:
        shoots = list(session.scalars(select(Shoot.id).where(Shoot.deleting_at.is_(None))))
    for shoot_id in shoots:
        with database.writing() as session:
            sizes = storage.sizes(session, shoot_id)
            if not _erase(session, shoot_id, name, actor, out):
                continue
        out.shoots += 1
        gone = storage.sweep(database, files, shoot_id)
        storage.sweep_unentered(database, files, shoot_id=shoot_id)
        out.files, out.bytes = (
            out.files + len(gone),
            out.bytes + sum(sizes.get(one, 0) for one in gone),
        )
    with database.writing() as session:
        counts = {"shoots": out.shoots, "portraits": out.portraits, "files": out.files}
        session.add(
            Audit(actor=actor, action="person erased", subject="", outcome="done", facts=counts)
        )
    out.overwritten = database.forget_deleted()
    return out


def _erase(session: Session, shoot_id: str, name: str, actor: str, out: Erased) -> bool:
    """Erase from one shoot; gives whether there was anything."""
    shoot = session.scalars(
        select(Shoot).where(Shoot.id == shoot_id, Shoot.deleting_at.is_(None)).with_for_update()
    ).first()
    if shoot is None:
        return False
    shown = session.scalars(
        select(Portrait)
        .join(Person)
        .where(Portrait.shoot_id == shoot_id, Person.name == name)
        .distinct()
    ).all()
    reworded = _rewording(session, shoot_id, name, [portrait.name for portrait in shown])
    portraits = [portrait.id for portrait in shown]
    shoot.erasing_at = now()
    session.execute(delete(Portrait).where(Portrait.id.in_(portraits)))
    session.execute(delete(Token).where(Token.shoot_id == shoot_id, Token.person_name == name))
    session.flush()
    session.expire_all()
    changed = sum(_reword(session, table, shoot_id, reworded) for table in WITH_WORDS)
    entries = record.reword(session, shoot_id, reworded)
    if changed or entries or portraits:
        # A package may bear the name in its sheet or on a file.
        session.execute(update(Job).where(Job.shoot_id == shoot_id).values(result=None))
        session.flush()
        record.append(
            session, shoot_id, actor, "person erased", portraits=portraits, entries=entries
        )
    session.expire_all()
    session.get_one(Shoot, shoot_id).erasing_at = None
    session.flush()
    out.portraits += len(portraits)
    out.entries += len(entries)
    return bool(changed or entries or portraits)


def _rewording(session: Session, shoot_id: str, name: str, files: list[str]) -> Reworded:
    """What replaces the name, and names of the person's portraits, in any value.

    Names of others that hold this name as a word stay as they are.
    """
    people = select(Person.name).join(Portrait).where(Portrait.shoot_id == shoot_id)
    said = select(Permission.name).where(Permission.shoot_id == shoot_id)
    others = {one for query in (people, said) for one in session.scalars(query) if one}
    theirs = re.compile(_as_word([name, *files]), re.IGNORECASE)
    kept = sorted((one for one in others if one != name and theirs.search(one)), key=len)
    pattern = re.compile(
        f"(?P<kept>{_as_word(kept[::-1])})|(?:{theirs.pattern})" if kept else theirs.pattern,
        re.IGNORECASE,
    )

    def reworded(value: Any) -> Any:
        if isinstance(value, str):
            return pattern.sub(lambda at: at[0] if at.groupdict().get("kept") else MARK, value)
        if isinstance(value, dict):
            return {key: reworded(one) for key, one in value.items()}
        if isinstance(value, list):
            return [reworded(one) for one in value]
        return value

    return reworded


def _as_word(names: list[str]) -> str:
    """A pattern for any of the names, composed or not, with neither letter nor digit beside it."""
    forms = {unicodedata.normalize(form, one) for one in names for form in ("NFC", "NFD")}
    either = "|".join(re.escape(one) for one in sorted(forms, key=len, reverse=True))
    return rf"(?<![^\W_])(?:{either})(?![^\W_])"


def _reword(session: Session, table: type[Table], shoot_id: str, reworded: Reworded) -> int:
    """Reword every row of a table that belongs to a shoot; gives how many were changed."""
    columns = [
        column.key
        for column in table.__table__.columns
        if isinstance(column.type, String | JSON)
        and not (column.primary_key or column.foreign_keys or "sha256" in column.key)
    ]
    count = 0
    for row in session.scalars(select(table).where(_of_shoot(table, shoot_id))):
        for column in columns:
            before = getattr(row, column)
            after = reworded(before)
            if after != before:
                setattr(row, column, after)
                count += 1
    session.flush()
    return count


def _of_shoot(table: Any, shoot_id: str) -> Any:
    """The condition that a row belongs to a shoot."""
    if table is Shoot:
        return Shoot.id == shoot_id
    if table in (Person, AskedChange, SignOff, Final):
        portraits = select(Portrait.id).where(Portrait.shoot_id == shoot_id)
        return table.portrait_id.in_(portraits)
    if table is Token:
        proofs = select(Proof.id).where(Proof.shoot_id == shoot_id)
        return (Token.shoot_id == shoot_id) | Token.proof_id.in_(proofs)
    return table.shoot_id == shoot_id
