"""Removed portraits: gone from every view, brought back for a day, then deleted for good."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import timedelta

from sqlalchemy import select
from sqlalchemy.orm import Session

from evenhand.shoots import record, storage
from evenhand.shoots.errors import NotFoundError
from evenhand.shoots.tables import Portrait, now

KEPT = timedelta(days=1)
"""How long a removed portrait can be brought back."""


def set_removed(
    session: Session, shoot_id: str, portraits: Sequence[str], removed: bool, actor: str
) -> None:
    """Remove portraits of a shoot, or bring them back.

    Parameters
    ----------
    session : Session
    shoot_id : str
    portraits : sequence of str
        Identifiers.
    removed : bool
        False brings them back.
    actor : str
        Who did it, for the record.

    Raises
    ------
    NotFoundError
        One of them is not in this shoot, or no longer; nothing is changed then.
    """
    storage.lock(session, shoot_id)
    for portrait_id in portraits:
        portrait = session.get(Portrait, portrait_id)
        if portrait is None or portrait.shoot_id != shoot_id:
            raise NotFoundError(
                "There is no such portrait.", "It may be deleted for good. List the shoot's."
            )
        if (portrait.removed_at is not None) == removed:
            continue
        portrait.removed_at = now() if removed else None
        record.append(
            session,
            shoot_id,
            actor,
            "portrait removed" if removed else "portrait brought back",
            portrait=portrait.id,
            name=portrait.name,
        )


def overdue(session: Session) -> list[str]:
    """Portraits that were removed too long ago to be brought back.

    Parameters
    ----------
    session : Session

    Returns
    -------
    list of str
        Identifiers.
    """
    return list(session.scalars(select(Portrait.id).where(Portrait.removed_at < now() - KEPT)))
