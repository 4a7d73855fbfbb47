"""Taking a change out: of layers, of what was signed, of what was delivered."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

from sqlalchemy import delete, select, update
from sqlalchemy.orm import Session

from evenhand.shoots import record
from evenhand.shoots.inputs import MARKS
from evenhand.shoots.permissions import LASTING_MARKS
from evenhand.shoots.sign_offs import void
from evenhand.shoots.tables import AskedChange, Final, Layer, Mark, Person, Portrait


@dataclass
class TakenOut:
    """What a withdrawal took out."""

    portraits: list[str] = field(default_factory=list)
    layers: int = 0
    sign_offs: int = 0
    finals: int = 0


def take_out(
    session: Session, shoot_id: str, name: str, steps: Iterable[str], *, actor: str
) -> TakenOut:
    """Take the steps' layers of the person of this name out of every portrait of a shoot.

    Sign-offs and finals of portraits with such a layer are voided; the finals' files, and pictures
    of what the client wanted changed, leave use. The caller sweeps the files after the transaction
    (`evenhand.shoots.storage.sweep`).

    Parameters
    ----------
    session : Session
    shoot_id : str
    name : str
    steps : iterable of str
    actor : str
        Who did it, for the record.

    Returns
    -------
    TakenOut
        Portraits concerned, and how many layers, sign-offs and finals.
    """
    out = TakenOut()
    gone = {MARKS if step == LASTING_MARKS else step for step in steps}
    people = session.scalars(
        select(Person).join(Portrait).where(Portrait.shoot_id == shoot_id, Person.name == name)
    ).all()
    for person in people:
        layers = session.scalars(
            select(Layer).where(Layer.person_id == person.id, Layer.step.in_(gone))
        ).all()
        if MARKS in gone:
            session.execute(delete(Mark).where(Mark.person_id == person.id))
        for layer in layers:
            session.delete(layer)
        if layers or gone & _delivered(session, person):
            out.portraits.append(person.portrait_id)
            out.layers += len(layers)
    for portrait_id in sorted(set(out.portraits)):
        reason = f"{name} took back {', '.join(sorted(steps))}"
        signed, finals = void(session, portrait_id, reason)
        out.sign_offs += signed
        out.finals += finals
        session.execute(
            update(AskedChange)
            .where(AskedChange.portrait_id == portrait_id)
            .values(image_sha256=None)
        )
    out.portraits = sorted(set(out.portraits))
    session.flush()
    session.expire_all()
    record.append(
        session,
        shoot_id,
        actor,
        "change taken out",
        person=name,
        steps=sorted(steps),
        portraits=out.portraits,
        layers=out.layers,
        sign_offs_voided=out.sign_offs,
        finals_voided=out.finals,
    )
    return out


def _delivered(session: Session, person: Person) -> set[str]:
    """Steps of this person that are in a final still held."""
    finals = session.scalars(
        select(Final.layers).where(
            Final.portrait_id == person.portrait_id, Final.voided_at.is_(None)
        )
    )
    return {row["step"] for rows in finals for row in rows if row["person"] == person.id}
