"""A proof as its client sees it, read in a few queries however many portraits it has."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import func, or_, select
from sqlalchemy.orm import Session, selectinload

from evenhand.report import NOTICES
from evenhand.shoots.inputs import inputs_of
from evenhand.shoots.permissions import agreed_by_name
from evenhand.shoots.renderings import Agreed, Shown, shown, state_of
from evenhand.shoots.sign_offs import Standing
from evenhand.shoots.tables import (
    AskedChange,
    Person,
    Portrait,
    Proof,
    ProofPortrait,
    Shoot,
    SignOff,
)
from evenhand.web import models
from evenhand.web.access import Service
from evenhand.web.image_routes import frame_shape
from evenhand.web.views import change_out, found, mark_out, sign_off_out, studio_out


@dataclass(frozen=True)
class Decided:
    """What was said of a portrait.

    Attributes
    ----------
    sign_off : SignOff or None
        The last one, whatever its standing.
    changes : sequence of AskedChange
        Asked for or answered in this proof, oldest first; of no other client.
    round : int
        Which showing this is, from 1.
    """

    sign_off: SignOff | None
    changes: Sequence[AskedChange]
    round: int


def shown_proof(
    session: Session, service: Service, proof: Proof, expires_at: datetime | None
) -> models.ShownProofOut:
    """The proof with its portraits, what can be chosen, what was decided.

    Parameters
    ----------
    session : Session
    service : Service
    proof : Proof
    expires_at : datetime or None
        When its link ends.

    Returns
    -------
    ShownProofOut
    """
    portraits, agreed = _portraits(session, proof), agreed_by_name(session, proof.shoot_id)
    decided = _decided(session, proof, [portrait.id for portrait in portraits])
    return models.ShownProofOut(
        studio=studio_out(session),
        shoot=found(session, Shoot, proof.shoot_id).name,
        message=proof.message,
        strengths=proof.strengths,
        expires_at=expires_at,
        portraits=[
            _portrait(session, service, portrait, decided[portrait.id], agreed)
            for portrait in portraits
        ],
        notices=NOTICES,
    )


def _portraits(session: Session, proof: Proof) -> Sequence[Portrait]:
    people = selectinload(Portrait.people)
    return session.scalars(
        select(Portrait)
        .join(ProofPortrait, ProofPortrait.portrait_id == Portrait.id)
        .where(ProofPortrait.proof_id == proof.id, Portrait.removed_at.is_(None))
        .order_by(ProofPortrait.position)
        .options(
            people.selectinload(Person.layers),
            people.selectinload(Person.marks),
            people.selectinload(Person.edits),
        )
    ).all()


def _decided(session: Session, proof: Proof, portraits: list[str]) -> dict[str, Decided]:
    sign_offs = session.scalars(
        select(SignOff).where(SignOff.portrait_id.in_(portraits)).order_by(SignOff.number)
    )
    latest = {sign_off.portrait_id: sign_off for sign_off in sign_offs}
    changes = session.scalars(
        select(AskedChange)
        .where(
            AskedChange.portrait_id.in_(portraits),
            or_(AskedChange.proof_id == proof.id, AskedChange.answered_in == proof.id),
        )
        .order_by(AskedChange.number)
    ).all()
    answers = session.execute(
        select(AskedChange.portrait_id, func.count())
        .where(AskedChange.portrait_id.in_(portraits), AskedChange.answered_at.is_not(None))
        .group_by(AskedChange.portrait_id)
    )
    answered = {portrait: count for portrait, count in answers}
    return {
        portrait: Decided(
            latest.get(portrait),
            [change for change in changes if change.portrait_id == portrait],
            1 + answered.get(portrait, 0),
        )
        for portrait in portraits
    }


def _portrait(
    session: Session, service: Service, portrait: Portrait, decided: Decided, agreed: Agreed
) -> models.ShownPortraitOut:
    height, width = frame_shape(portrait)
    items = shown(session, portrait, agreed=agreed)
    signed = decided.sign_off
    sign_off = None if signed is None else sign_off_out(session, portrait, signed, agreed)
    locked = (
        sign_off is not None
        and sign_off.unlocked_at is None
        and sign_off.standing is Standing.VALID
    )
    wanted = inputs_of(session, portrait, service.place.steps, agreed).key
    return models.ShownPortraitOut(
        id=portrait.id,
        name=portrait.name,
        width=width,
        height=height,
        ready=locked or portrait.layers_key == wanted,
        state_sha256=state_of(session, portrait, agreed=agreed),
        people=_people(items),
        marks=[
            mark_out(mark)
            for item in items
            if item.layer.step == "marks"
            for mark in item.person.marks
        ],
        sign_off=sign_off,
        round=decided.round,
        changes=[change_out(change) for change in decided.changes],
    )


def _people(items: list[Shown]) -> list[models.ShownPersonOut]:
    """Everybody with a layer, and the studio's own strength of each."""
    strengths: dict[str, dict[str, float]] = {}
    for item in items:
        strengths.setdefault(item.person.id, {})[item.layer.step] = item.layer.strength
    names = {item.person.id: item.person.name for item in items}
    return [
        models.ShownPersonOut(id=id, name=names[id], steps=list(mine), strengths=mine)
        for id, mine in strengths.items()
    ]
