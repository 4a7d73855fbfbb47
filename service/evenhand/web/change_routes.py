"""Changes that clients ask for, and the lock of what is signed, as the studio sees them."""

from __future__ import annotations

from fastapi import APIRouter, Response
from sqlalchemy import select

from evenhand.shoots import asked_changes, sign_offs, storage, tables, tokens
from evenhand.shoots.errors import (
    ConflictError,
    NoSignOffError,
    NotFoundError,
    NotReadyError,
    StaleError,
)
from evenhand.web import models
from evenhand.web.access import Here, Studio
from evenhand.web.changes import follow
from evenhand.web.image_routes import PICTURE, PRIVATE
from evenhand.web.problems import described
from evenhand.web.proof_routes import require_current
from evenhand.web.views import change_out, found, portrait_out

router = APIRouter(prefix="/v1", tags=["proofs"])


@router.get("/shoots/{shoot_id}/changes", responses=described(NotFoundError))
def list_changes(shoot_id: models.Id, service: Here, caller: Studio) -> list[models.ChangeOut]:
    """Changes that clients asked for in a shoot, the newest first."""
    with service.place.database.reading() as session:
        found(session, tables.Shoot, shoot_id)
        rows = session.scalars(
            select(tables.AskedChange)
            .join(tables.Portrait, tables.Portrait.id == tables.AskedChange.portrait_id)
            .where(tables.Portrait.shoot_id == shoot_id)
            .order_by(tables.AskedChange.number.desc())
        )
        return [change_out(change) for change in rows.all()]


@router.get(
    "/changes/{change_id}/picture",
    response_class=Response,
    responses=described(NotFoundError) | PICTURE,
)
def get_change_picture(change_id: models.Id, service: Here, caller: Studio) -> Response:
    """The very picture that was looked at when the change was asked for."""
    with service.place.database.reading() as session:
        change = _change(session.get(tables.AskedChange, change_id))
        if change.image_sha256 is None:
            raise NotFoundError(
                "What this picture shows was taken back; it is deleted.", "List the changes."
            )
        shoot_id = found(session, tables.Portrait, change.portrait_id).shoot_id
    body = service.place.files.read(shoot_id, change.image_sha256)
    return Response(body, media_type="image/jpeg", headers=PRIVATE)


@router.post(
    "/changes/{change_id}/answer",
    responses=described(NotFoundError, ConflictError, NotReadyError),
)
def answer_change(
    change_id: models.Id, body: models.AnswerIn, service: Here, caller: Studio
) -> models.ChangeOut:
    """Answer a change, and show the portrait again as it is now, in the same proof."""
    with service.place.database.writing() as session:
        change = _change(session.get(tables.AskedChange, change_id))
        portrait = found(session, tables.Portrait, change.portrait_id)
        storage.lock(session, portrait.shoot_id)
        session.refresh(change)
        require_current(session, service, portrait)
        token = session.scalars(
            select(tables.Token).where(tables.Token.proof_id == change.proof_id)
        ).one()
        if not tokens.is_open(token):
            raise ConflictError(
                "The link under which this was asked for no longer opens.",
                "Make a new proof of the portrait: its message is the answer.",
            )
        asked_changes.answer(
            session,
            change,
            portrait.shoot_id,
            words=body.words,
            proof_id=change.proof_id,
            actor=caller.actor,
        )
        return change_out(change)


@router.put(
    "/portraits/{portrait_id}/lock",
    responses=described(NotFoundError, NoSignOffError, StaleError),
)
def lock_portrait(
    portrait_id: models.Id, body: models.LockIn, service: Here, caller: Studio
) -> models.PortraitOut:
    """Unlock a signed portrait so that it can be changed, or lock it again.

    The sign-off holds until something in the portrait is changed.
    """
    with service.place.database.writing() as session:
        portrait = found(session, tables.Portrait, portrait_id)
        storage.lock(session, portrait.shoot_id)
        sign_offs.set_lock(session, portrait, locked=body.locked, actor=caller.actor, why=body.why)
        follow(session, service, portrait)
        return portrait_out(session, portrait, service.place.steps)


def _change(change: tables.AskedChange | None) -> tables.AskedChange:
    if change is None:
        raise NotFoundError("There is no such change.", "List the shoot's changes.")
    return change
