"""Who agreed to what: asked before anything is computed, shown or delivered."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import datetime
from enum import StrEnum

from sqlalchemy import select
from sqlalchemy.orm import Session

from evenhand.shoots import record
from evenhand.shoots.errors import ConflictError, GuardianNeededError, NoPermissionError
from evenhand.shoots.tables import Permission, Person, Portrait, now

LASTING_MARKS = "lasting marks"
"""What a person must agree to by its own name before a mole, freckle, birthmark or scar of theirs
may be taken out; the marks step alone is not enough."""


class SaidBy(StrEnum):
    """Who agreed."""

    PERSON = "person"
    GUARDIAN = "guardian"


class How(StrEnum):
    """How it was said."""

    IN_PERSON = "in person"
    IN_WRITING = "in writing"
    BY_LINK = "by link"


def give(
    session: Session,
    shoot_id: str,
    name: str,
    steps: Sequence[str],
    *,
    said_by: SaidBy,
    role: str | None,
    how: How,
    said_at: datetime | None = None,
    note: str = "",
    recorded_by: str,
) -> Permission:
    """Record that somebody agreed to steps.

    Parameters
    ----------
    session : Session
    shoot_id : str
    name : str
        Of the person, as the photographer wrote it.
    steps : sequence of str
    said_by : SaidBy
        The person, or a guardian.
    role : str or None
        The guardian's.
    how : How
        In person, in writing or by a link.
    said_at : datetime, optional
        With a time zone; now, if left out.
    note : str
    recorded_by : str
        Who entered it.

    Returns
    -------
    Permission

    Raises
    ------
    GuardianNeededError
        The person is a child and it was not a guardian who agreed, or the guardian's role (mother,
        father, legal guardian) is not said.
    ConflictError
        It is dated in the future.
    """
    if said_by is SaidBy.GUARDIAN and not (role or "").strip():
        raise GuardianNeededError(
            "A guardian agreed, but in which role is not said.",
            "Say the role, such as mother, father or legal guardian.",
        )
    if is_child(session, shoot_id, name) and said_by is not SaidBy.GUARDIAN:
        raise GuardianNeededError(
            f"{name} is a child.", "Ask a guardian, and say in which role they agreed."
        )
    return _add(
        session, shoot_id, name, True, steps, said_by, role, how, said_at, note, recorded_by
    )


def withdraw(
    session: Session,
    shoot_id: str,
    name: str,
    steps: Sequence[str],
    *,
    said_by: SaidBy,
    role: str | None,
    how: How,
    said_at: datetime | None = None,
    note: str = "",
    recorded_by: str,
) -> Permission:
    """Record that somebody took back what they agreed to; anybody may say so for themselves.

    The caller takes the changes out: see `evenhand.shoots.withdrawal`.

    Parameters
    ----------
    session : Session
    shoot_id : str
    name : str
        Of the person, as the photographer wrote it.
    steps : sequence of str
    said_by : SaidBy
    role : str or None
        A guardian's.
    how : How
    said_at : datetime, optional
        With a time zone; now, if left out.
    note : str
    recorded_by : str
        Who entered it.

    Returns
    -------
    Permission

    Raises
    ------
    ConflictError
        It is dated in the future.
    """
    return _add(
        session, shoot_id, name, False, steps, said_by, role, how, said_at, note, recorded_by
    )


def agreed(session: Session, shoot_id: str, name: str | None) -> frozenset[str]:
    """Steps that the person of this name agrees to now; none where nobody is named.

    Parameters
    ----------
    session : Session
    shoot_id : str
    name : str or None

    Returns
    -------
    frozenset of str
    """
    return frozenset() if name is None else agreed_by_name(session, shoot_id).get(name, frozenset())


def agreed_by_name(session: Session, shoot_id: str) -> dict[str, frozenset[str]]:
    """Steps that each named person of a shoot agrees to now.

    What was agreed for a child counts only where a guardian said it.

    Parameters
    ----------
    session : Session
    shoot_id : str

    Returns
    -------
    dict of str to frozenset of str
        Whoever never said anything is not in it.
    """
    children = set(
        session.scalars(
            select(Person.name).join(Portrait).where(Portrait.shoot_id == shoot_id, Person.child)
        )
    )
    steps: dict[str, set[str]] = {}
    for row in events(session, shoot_id):
        have = steps.setdefault(row.name, set())
        if not row.given:
            have.difference_update(row.steps)
        elif row.name not in children or row.said_by == SaidBy.GUARDIAN:
            have.update(row.steps)
    return {name: frozenset(have) for name, have in steps.items()}


def events(session: Session, shoot_id: str) -> Sequence[Permission]:
    """Everything said in a shoot, oldest first.

    Parameters
    ----------
    session : Session
    shoot_id : str

    Returns
    -------
    sequence of Permission
    """
    return session.scalars(
        select(Permission).where(Permission.shoot_id == shoot_id).order_by(Permission.number)
    ).all()


def require(session: Session, shoot_id: str, person: Person, step: str) -> None:
    """Make sure that a person agrees to a step now.

    Parameters
    ----------
    session : Session
    shoot_id : str
    person : Person
    step : str

    Raises
    ------
    NoPermissionError
        They do not, or are not named.
    """
    if step not in agreed(session, shoot_id, person.name):
        who = person.name or f"Person {person.index} (not yet named)"
        raise NoPermissionError(
            f"{who} has not agreed to {step}.", "Ask, and record the permission first."
        )


def is_child(session: Session, shoot_id: str, name: str) -> bool:
    """Whether the photographer said that the person of this name is a child.

    Parameters
    ----------
    session : Session
    shoot_id : str
    name : str

    Returns
    -------
    bool
    """
    found = select(Person.id).join(Portrait)
    return (
        session.scalars(
            found.where(Portrait.shoot_id == shoot_id, Person.name == name, Person.child)
        ).first()
        is not None
    )


def _add(
    session: Session,
    shoot_id: str,
    name: str,
    given: bool,
    steps: Iterable[str],
    said_by: SaidBy,
    role: str | None,
    how: How,
    said_at: datetime | None,
    note: str,
    recorded_by: str,
) -> Permission:
    recorded_at = now()
    if said_at is not None and said_at > recorded_at:
        raise ConflictError(
            "What was said cannot be dated in the future.", "Give the moment at which it was said."
        )
    row = Permission(
        shoot_id=shoot_id,
        name=name,
        given=given,
        steps=sorted(set(steps)),
        said_by=said_by.value,
        role=role,
        how=how.value,
        said_at=said_at or recorded_at,
        note=note,
        recorded_at=recorded_at,
        recorded_by=recorded_by,
    )
    session.add(row)
    session.flush()
    record.append(
        session,
        shoot_id,
        recorded_by,
        "permission given" if given else "permission withdrawn",
        permission=row.id,
        person=name,
        steps=row.steps,
        said_by=row.said_by,
        role=role,
        how=row.how,
        said_at=record.moment(row.said_at),
    )
    return row
