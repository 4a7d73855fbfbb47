"""Sign-offs: given on what was shown, stale as soon as that changes, asked for before a final."""

from __future__ import annotations

from collections.abc import Sequence
from enum import StrEnum
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from evenhand.shoots import record
from evenhand.shoots.errors import ConflictError, LockedError, NoSignOffError, StaleError
from evenhand.shoots.renderings import Agreed, as_choices, shown, state_as_looked_at, state_of
from evenhand.shoots.tables import Final, Portrait, Proof, SignOff, now

REPLACED = "replaced by a later sign-off"
"""Why an earlier sign-off is void, and every final made by it."""

CHANGE_ASKED = "a change was asked for after it"
"""The same, where the client thought better of it."""

PICTURE_KEPT = (REPLACED, CHANGE_ASKED)
"""Reasons for which the picture that was signed is kept: nobody took a permission back."""


class Standing(StrEnum):
    """How a sign-off stands now."""

    VALID = "valid"
    STALE = "stale"
    VOID = "void"


def check_choices(portrait: Portrait, strengths: Sequence[float], choices: list[Any]) -> None:
    """Make sure that each choice is one that the proof offers for this portrait.

    Parameters
    ----------
    portrait : Portrait
    strengths : sequence of float
        Those that the proof offers.
    choices : list of dict
        Person, step and strength.

    Raises
    ------
    ConflictError
        A strength is not offered, a person is not in the portrait, or one is named twice for a
        step.
    """
    people = {person.id for person in portrait.people}
    seen = set()
    for choice in choices:
        where = (choice["person"], choice["step"])
        if choice["person"] not in people or where in seen:
            raise ConflictError(
                "A choice names a person twice for a step, or one who is not in this portrait.",
                "Choose once for each person and step that the proof lists.",
            )
        if choice["strength"] not in strengths:
            raise ConflictError(
                f"The strength {choice['strength']} is not offered.",
                f"Choose one of {', '.join(map(str, strengths))}.",
            )
        seen.add(where)


def sign(
    session: Session,
    proof: Proof,
    portrait: Portrait,
    *,
    choices: list[Any],
    rendering: str,
    image_sha256: str,
    signed_by: str,
    note: str,
    actor: str,
) -> SignOff:
    """Record the client's sign-off of a portrait, which is locked from then on.

    Parameters
    ----------
    session : Session
    proof : Proof
        The one that the client looked at.
    portrait : Portrait
    choices : list
        Person, step and strength, one entry each; what is not named stays as the studio set it.
    rendering : str
        The hash that came with the picture the client looked at.
    image_sha256 : str
        Of that picture as it is rendered now.
    signed_by : str
        The client's name as they gave it.
    note : str
        Their words, may be empty.
    actor : str
        Who did it, for the record.

    Returns
    -------
    SignOff
        Earlier ones of the portrait, and finals made by them, are void.

    Raises
    ------
    StaleError
        What was looked at is no longer what there is.
    """
    state = state_as_looked_at(session, portrait, choices, rendering, image_sha256, "sign off")
    void(session, portrait.id, REPLACED)
    applied = [
        {"person": item.person.id, "step": item.layer.step, "strength": round(item.strength, 6)}
        for item in shown(session, portrait, as_choices(choices))
    ]
    sign_off = SignOff(
        proof_id=proof.id,
        portrait_id=portrait.id,
        signed_by=signed_by,
        note=note,
        choices=choices,
        applied=applied,
        state_sha256=state,
        image_sha256=image_sha256,
        rendering=rendering,
    )
    session.add(sign_off)
    session.flush()
    entry = record.append(
        session,
        proof.shoot_id,
        actor,
        "signed off",
        sign_off=sign_off.id,
        proof=proof.id,
        portrait=portrait.id,
        signed_by=signed_by,
        choices=choices,
        applied=applied,
        rendering=rendering,
        wishes=wishes(portrait),
        note=note,
    )
    sign_off.number = entry.number
    return sign_off


def void(session: Session, portrait_id: str, reason: str) -> tuple[int, int]:
    """Void all sign-offs and finals of a portrait.

    A voided final's file, and every package that holds it, leave use and are gone after the next
    sweep.

    Parameters
    ----------
    session : Session
    portrait_id : str
    reason : str
        For whoever asks why.

    Returns
    -------
    sign_offs, finals : int
        How many were voided now.
    """
    signed = session.scalars(
        select(SignOff).where(SignOff.portrait_id == portrait_id, SignOff.voided_at.is_(None))
    ).all()
    finals = session.scalars(
        select(Final).where(Final.portrait_id == portrait_id, Final.voided_at.is_(None))
    ).all()
    for sign_off in signed:
        sign_off.voided_at, sign_off.void_reason = now(), reason
    for final in finals:
        final.voided_at, final.void_reason, final.sha256 = now(), reason, None
    return len(signed), len(finals)


def standing(
    session: Session, portrait: Portrait, sign_off: SignOff, agreed: Agreed | None = None
) -> Standing:
    """Whether a sign-off still holds.

    Parameters
    ----------
    session : Session
    portrait : Portrait
    sign_off : SignOff
        One of the portrait's.
    agreed : mapping, optional
        What each person of the shoot agrees to, where it was just read.

    Returns
    -------
    Standing
    """
    if sign_off.voided_at is not None:
        return Standing.VOID
    current = state_of(session, portrait, as_choices(sign_off.choices), agreed)
    return Standing.VALID if current == sign_off.state_sha256 else Standing.STALE


def latest(session: Session, portrait_id: str) -> SignOff | None:
    """The last sign-off of a portrait, whatever its standing.

    Parameters
    ----------
    session : Session
    portrait_id : str

    Returns
    -------
    SignOff or None
    """
    return session.scalars(
        select(SignOff)
        .where(SignOff.portrait_id == portrait_id)
        .order_by(SignOff.number.desc())
        .limit(1)
    ).first()


def require_valid(session: Session, portrait: Portrait) -> SignOff:
    """The valid sign-off of a portrait.

    Parameters
    ----------
    session : Session
    portrait : Portrait

    Returns
    -------
    SignOff

    Raises
    ------
    NoSignOffError
        There is none, or it was voided.
    StaleError
        Picture, layers or settings have changed since.
    """
    sign_off = latest(session, portrait.id)
    if sign_off is None or sign_off.voided_at is not None:
        raise NoSignOffError(
            f"{portrait.name} has no valid sign-off.",
            "Show the client a proof, or give the reason for doing without.",
        )
    if standing(session, portrait, sign_off) is Standing.STALE:
        raise StaleError(
            f"{portrait.name} has changed since it was signed off.",
            "Show the client a new proof, or give the reason for doing without.",
        )
    return sign_off


def is_locked(session: Session, portrait: Portrait, agreed: Agreed | None = None) -> bool:
    """Whether a portrait is validly signed and nobody unlocked it since.

    Parameters
    ----------
    session : Session
    portrait : Portrait
    agreed : mapping, optional
        What each person of the shoot agrees to, where it was just read.

    Returns
    -------
    bool
    """
    sign_off = latest(session, portrait.id)
    return (
        sign_off is not None
        and sign_off.unlocked_at is None
        and standing(session, portrait, sign_off, agreed) is Standing.VALID
    )


def require_unlocked(session: Session, portrait: Portrait) -> None:
    """Make sure that a portrait may be changed; asked before every change.

    Parameters
    ----------
    session : Session
    portrait : Portrait

    Raises
    ------
    LockedError
        It is signed and locked.
    """
    if is_locked(session, portrait):
        raise LockedError(
            f"{portrait.name} is signed, so nothing in it is changed.",
            "Unlock it first if it must be changed; the client is then asked again.",
        )


def set_lock(session: Session, portrait: Portrait, *, locked: bool, actor: str, why: str) -> None:
    """Unlock a signed portrait, or lock it again; each is an act of its own in the record.

    Parameters
    ----------
    session : Session
    portrait : Portrait
    locked : bool
        False unlocks it.
    actor : str
        Who did it, for the record.
    why : str
        Their reason, for the record.

    Raises
    ------
    NoSignOffError, StaleError
        There is no valid sign-off, hence nothing to lock or unlock.
    """
    sign_off = require_valid(session, portrait)
    if (sign_off.unlocked_at is None) == locked:
        return
    sign_off.unlocked_at = None if locked else now()
    record.append(
        session,
        portrait.shoot_id,
        actor,
        "portrait locked" if locked else "portrait unlocked",
        portrait=portrait.id,
        sign_off=sign_off.id,
        why=why,
    )


def wishes(portrait: Portrait) -> list[dict[str, Any]]:
    """What the client wished for single marks of a portrait.

    Parameters
    ----------
    portrait : Portrait

    Returns
    -------
    list of dict
        Person, number of the mark, wish.
    """
    return [
        {"person": person.id, "mark": mark.number, "wish": mark.wish}
        for person in portrait.people
        for mark in person.marks
        if mark.wish
    ]
