"""Finals that may be delivered: made as signed, or by a recorded override, and still that."""

from __future__ import annotations

from sqlalchemy import select
from sqlalchemy.orm import Session

from evenhand.shoots.errors import NotReadyError, StaleError
from evenhand.shoots.renderings import state_of
from evenhand.shoots.sign_offs import Standing, latest, standing
from evenhand.shoots.tables import Final, Job, Portrait


def deliverable(session: Session, portrait: Portrait) -> Final:
    """The final of a portrait that holds at this moment.

    Raises
    ------
    NotReadyError
        There is none, or only voided ones.
    StaleError
        The newest one is no longer what was signed, or what the portrait looks like now.
    """
    final = session.scalars(
        select(Final)
        .where(Final.portrait_id == portrait.id, Final.voided_at.is_(None))
        .order_by(Final.number.desc())
        .limit(1)
    ).first()
    if final is None:
        raise NotReadyError("Not every portrait has a final.", "Make the finals first.")
    if not _holds(session, portrait, final):
        raise StaleError(
            f"{portrait.name} has changed since its final was made.",
            "Have it signed off again, or make the final again.",
        )
    return final


def held(session: Session, shoot_id: str) -> set[str]:
    """Identifiers of the finals of a shoot that are not voided."""
    return set(
        session.scalars(
            select(Final.id)
            .join(Portrait, Portrait.id == Final.portrait_id)
            .where(Portrait.shoot_id == shoot_id, Final.voided_at.is_(None))
        )
    )


def package_stands(job: Job, held: set[str]) -> bool:
    """Whether every final in a job's package is still held; a deleted one is not."""
    return set((job.result or {}).get("finals", ())) <= held


def _holds(session: Session, portrait: Portrait, final: Final) -> bool:
    if final.sign_off_id is None:
        return state_of(session, portrait) == final.state_sha256
    signed = latest(session, portrait.id)
    return (
        signed is not None
        and signed.id == final.sign_off_id
        and standing(session, portrait, signed) is Standing.VALID
    )
