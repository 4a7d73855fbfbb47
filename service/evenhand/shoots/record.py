"""The append-only record of a shoot: what was agreed, shown, signed, made and taken back.

Every entry is sealed: its hash covers its own content and the hash of the entry before. The last
seal is signed with the studio's key, so that a tail that was cut off shows. The database refuses to
change an entry unless somebody is being erased, or to delete one while its shoot stands.
"""

from __future__ import annotations

import csv
import hashlib
import io
import json
from collections.abc import Callable, Mapping, Sequence
from datetime import datetime
from typing import Any

from sqlalchemy import select, update
from sqlalchemy.orm import Session

from evenhand.shoots.studio_key import StudioKey
from evenhand.shoots.tables import Record, Shoot, now

COLUMNS = ("number", "at", "actor", "action", "facts", "previous", "sha256")
"""Columns of an exported record, in order."""


def append(session: Session, shoot_id: str, actor: str, action: str, **facts: Any) -> Record:
    """Add an entry to a shoot's record, in the transaction of the change that it tells of.

    The shoot's row is locked until the transaction ends, so that entries follow one another.

    Parameters
    ----------
    session : Session
    shoot_id : str
    actor : str
        Who did it.
    action : str
        What was done, in words.
    **facts
        Plain values.

    Returns
    -------
    Record
        Sealed, and signed with the studio's key where there is one.
    """
    session.execute(select(Shoot.id).where(Shoot.id == shoot_id).with_for_update())
    last = session.scalars(
        select(Record).where(Record.shoot_id == shoot_id).order_by(Record.number.desc()).limit(1)
    ).first()
    number, previous = (last.number + 1, last.sha256) if last else (1, "0" * 64)
    entry = Record(
        shoot_id=shoot_id,
        number=number,
        at=now(),
        actor=actor,
        action=action,
        facts=facts,
        previous=previous,
    )
    entry.sha256 = seal(entry)
    session.add(entry)
    session.flush()
    key: StudioKey | None = session.info.get("key")
    if key is not None:
        signature = key.sign(shoot_id, number, entry.sha256)
        session.execute(
            update(Shoot).where(Shoot.id == shoot_id).values(record_signature=signature)
        )
    return entry


def reword(session: Session, shoot_id: str, reworded: Callable[[Any], Any]) -> list[int]:
    """Replace words in the facts of entries while somebody is erased, and seal the record anew.

    What was exported before still shows the seals of then; the entry that tells of the erasing
    names those that differ.

    Parameters
    ----------
    session : Session
    shoot_id : str
    reworded : callable
        Takes the facts of an entry and returns what shall stand there.

    Returns
    -------
    list of int
        Numbers of the entries whose facts changed.
    """
    changed, previous = [], "0" * 64
    for entry in entries(session, shoot_id):
        facts = reworded(entry.facts)
        if facts != entry.facts:
            entry.facts = facts
            changed.append(entry.number)
        if entry.previous != previous or entry.number in changed:
            entry.previous = previous
            entry.sha256 = seal(entry)
        previous = entry.sha256
    session.flush()
    return changed


def seal(entry: Record) -> str:
    """SHA-256 over an entry's content and the hash of the one before, hexadecimal.

    Parameters
    ----------
    entry : Record

    Returns
    -------
    str
        64 digits.
    """
    content = [
        entry.shoot_id,
        entry.number,
        moment(entry.at),
        entry.actor,
        entry.action,
        entry.facts,
        entry.previous,
    ]
    return hashlib.sha256(canonical(content)).hexdigest()


def entries(session: Session, shoot_id: str) -> Sequence[Record]:
    """All entries of a shoot's record, oldest first.

    Parameters
    ----------
    session : Session
    shoot_id : str

    Returns
    -------
    sequence of Record
    """
    return session.scalars(
        select(Record).where(Record.shoot_id == shoot_id).order_by(Record.number)
    ).all()


def first_broken(entries: Sequence[Record]) -> int | None:
    """Number of the first entry whose seal does not hold, None where all hold.

    Parameters
    ----------
    entries : sequence of Record
        A whole record, from its first entry.

    Returns
    -------
    int or None
    """
    previous = "0" * 64
    for number, entry in enumerate(entries, 1):
        if entry.number != number or entry.previous != previous or seal(entry) != entry.sha256:
            return number
        previous = entry.sha256
    return None


def is_whole(session: Session, shoot: Shoot, entries: Sequence[Record]) -> bool:
    """Whether every seal holds and the last one is the one that the studio's key signed.

    Parameters
    ----------
    session : Session
        With the studio's key, if there is one: without it the seals alone are looked at.
    shoot : Shoot
    entries : sequence of Record
        All of its record.

    Returns
    -------
    bool
    """
    if first_broken(entries) is not None:
        return False
    key: StudioKey | None = session.info.get("key")
    if key is None:
        return True
    if not entries:
        return shoot.record_signature is None
    last = entries[-1]
    return key.holds(shoot.record_signature or "", shoot.id, last.number, last.sha256)


def plain(entry: Record) -> dict[str, Any]:
    """An entry as plain values, for export.

    Parameters
    ----------
    entry : Record

    Returns
    -------
    dict
        By `COLUMNS`.
    """
    return {name: getattr(entry, name) for name in COLUMNS} | {"at": moment(entry.at)}


def as_csv(entries: Sequence[Record]) -> str:
    """Entries as comma-separated values (RFC 4180), facts as JSON.

    Parameters
    ----------
    entries : sequence of Record

    Returns
    -------
    str
        A line of names first. What a table program would take for a formula is defused.
    """
    text = io.StringIO()
    rows = csv.writer(text, lineterminator="\r\n")
    rows.writerow(COLUMNS)
    for entry in entries:
        values = plain(entry)
        values["facts"] = json.dumps(values["facts"], sort_keys=True, ensure_ascii=False)
        rows.writerow([_no_formula(values[name]) for name in COLUMNS])
    return text.getvalue()


def canonical(value: Mapping[str, Any] | Sequence[Any]) -> bytes:
    """JSON with sorted keys and no spaces, the same bytes for the same content.

    Parameters
    ----------
    value : mapping or sequence
        What JSON can hold.

    Returns
    -------
    bytes
        UTF-8.
    """
    return json.dumps(value, sort_keys=True, separators=(",", ":"), ensure_ascii=False).encode()


def moment(at: datetime) -> str:
    """RFC 3339, UTC, microseconds.

    Parameters
    ----------
    at : datetime
        In UTC.

    Returns
    -------
    str
    """
    return at.isoformat(timespec="microseconds").replace("+00:00", "Z")


def _no_formula(value: Any) -> Any:
    """A text that a table program would take for a formula, made plain text."""
    return f"'{value}" if isinstance(value, str) and value[:1] in "=+-@\t\r" else value
