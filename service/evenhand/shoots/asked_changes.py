"""Changes that a client asks for: seen by the photographer, answered, shown again, round by round.

At most one change of a portrait waits for an answer in each proof: a later one takes its place, a
sign-off settles it, the client may take it back. The record tells of each.
"""

from __future__ import annotations

from collections.abc import Sequence
from enum import StrEnum
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from evenhand.shoots import record
from evenhand.shoots.errors import ConflictError
from evenhand.shoots.renderings import state_as_looked_at
from evenhand.shoots.sign_offs import CHANGE_ASKED, void, wishes
from evenhand.shoots.tables import AskedChange, Portrait, Proof, now


class Standing(StrEnum):
    """How a change that was asked for stands now."""

    ASKED = "asked"
    ANSWERED = "answered"
    SETTLED = "settled"
    REPLACED = "replaced"
    TAKEN_BACK = "taken back"


def ask(
    session: Session,
    proof: Proof,
    portrait: Portrait,
    *,
    words: str,
    places: Sequence[dict[str, float]],
    choices: list[Any],
    rendering: str,
    image_sha256: str,
    asked_by: str,
    actor: str,
) -> AskedChange:
    """Record that the client asks for a change; a sign-off of theirs no longer holds.

    Parameters
    ----------
    session : Session
    proof : Proof
        The one that the client looked at.
    portrait : Portrait
    words : str
        What the client wants changed, in their words.
    places : sequence of dict
        Row and column in the upright photograph, pixels: where the client pointed.
    choices : list
        Person, step and strength that the picture was looked at with.
    rendering : str
        The hash that came with the picture the client looked at.
    image_sha256 : str
        Of that picture as it is rendered now.
    asked_by : str
        The client's name as they gave it.
    actor : str
        Who did it, for the record.

    Returns
    -------
    AskedChange
        Waiting for an answer; an earlier one that waited is replaced.

    Raises
    ------
    StaleError
        What was looked at is no longer what there is.
    """
    state = state_as_looked_at(session, portrait, choices, rendering, image_sha256, "ask")
    void(session, portrait.id, CHANGE_ASKED)
    _end_open(session, proof.id, portrait.id, Standing.REPLACED)
    change = AskedChange(
        proof_id=proof.id,
        portrait_id=portrait.id,
        round=round_of(session, portrait.id),
        asked_by=asked_by,
        words=words,
        places=list(places),
        choices=choices,
        state_sha256=state,
        image_sha256=image_sha256,
        rendering=rendering,
        standing=Standing.ASKED.value,
    )
    session.add(change)
    session.flush()
    entry = record.append(
        session,
        proof.shoot_id,
        actor,
        "change asked for",
        change=change.id,
        round=change.round,
        proof=proof.id,
        portrait=portrait.id,
        asked_by=asked_by,
        words=words,
        places=change.places,
        choices=choices,
        rendering=rendering,
        wishes=wishes(portrait),
    )
    change.number = entry.number
    return change


def take_back(session: Session, change: AskedChange, shoot_id: str, actor: str) -> None:
    """Record that the client no longer asks for it.

    Parameters
    ----------
    session : Session
    change : AskedChange
    shoot_id : str
    actor : str
        Who did it, for the record.

    Raises
    ------
    ConflictError
        It no longer waits for an answer.
    """
    _require_open(change)
    change.standing = Standing.TAKEN_BACK.value
    record.append(session, shoot_id, actor, "change taken back", change=change.id)


def answer(
    session: Session, change: AskedChange, shoot_id: str, *, words: str, proof_id: str, actor: str
) -> None:
    """Record the photographer's answer, with which the portrait is shown again in a proof.

    Parameters
    ----------
    session : Session
    change : AskedChange
    shoot_id : str
    words : str
        What the photographer says.
    proof_id : str
        In which the portrait is shown again.
    actor : str
        Who did it, for the record.

    Raises
    ------
    ConflictError
        The change no longer waits for an answer.
    """
    _require_open(change)
    change.standing, change.answer = Standing.ANSWERED.value, words
    change.answered_at, change.answered_in = now(), proof_id
    record.append(
        session,
        shoot_id,
        actor,
        "change answered",
        change=change.id,
        round=change.round,
        portrait=change.portrait_id,
        proof=proof_id,
        words=words,
    )


def settle(session: Session, proof_id: str, portrait_id: str) -> None:
    """The client signed: what they asked for no longer waits. Told by the sign-off's entry.

    Parameters
    ----------
    session : Session
    proof_id, portrait_id : str
        What was signed.
    """
    _end_open(session, proof_id, portrait_id, Standing.SETTLED)


def open_of(session: Session, portrait_id: str) -> Sequence[AskedChange]:
    """Changes of a portrait that wait for an answer, oldest first.

    Parameters
    ----------
    session : Session
    portrait_id : str

    Returns
    -------
    sequence of AskedChange
    """
    return session.scalars(
        select(AskedChange)
        .where(AskedChange.portrait_id == portrait_id, AskedChange.standing == Standing.ASKED)
        .order_by(AskedChange.number)
    ).all()


def require_none_open(session: Session, portrait: Portrait) -> None:
    """Make sure that no change of a portrait waits for an answer.

    Parameters
    ----------
    session : Session
    portrait : Portrait

    Raises
    ------
    ConflictError
        One does.
    """
    if open_of(session, portrait.id):
        raise ConflictError(
            f"A change of {portrait.name} is asked for.",
            "Answer it first, or give the reason for doing without a sign-off.",
        )


def round_of(session: Session, portrait_id: str) -> int:
    """Which showing of a portrait this is, from 1: one more after each answer.

    Parameters
    ----------
    session : Session
    portrait_id : str

    Returns
    -------
    int
    """
    answers = select(func.count()).where(
        AskedChange.portrait_id == portrait_id, AskedChange.answered_at.is_not(None)
    )
    return 1 + (session.scalar(answers) or 0)


def _end_open(session: Session, proof_id: str, portrait_id: str, standing: Standing) -> None:
    for change in open_of(session, portrait_id):
        if change.proof_id == proof_id:
            change.standing = standing.value
    session.flush()


def _require_open(change: AskedChange) -> None:
    if change.standing != Standing.ASKED:
        raise ConflictError(
            f"This change no longer waits for an answer: it is {change.standing}.",
            "List the changes to see how they stand.",
        )
