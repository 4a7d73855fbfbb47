"""Shoots and their records over HTTP."""

from __future__ import annotations

from fastapi import APIRouter, Response
from sqlalchemy import select

from evenhand.shoots import record, tables
from evenhand.shoots.deletion import delete_shoot
from evenhand.shoots.errors import NotFoundError
from evenhand.web import models
from evenhand.web.access import Here, Studio
from evenhand.web.problems import described
from evenhand.web.views import found, shoot_out

router = APIRouter(prefix="/v1/shoots", tags=["shoots"])


@router.post("", status_code=201, responses=described())
def make_shoot(body: models.ShootIn, service: Here, caller: Studio) -> models.ShootOut:
    """Make a shoot."""
    with service.place.database.writing() as session:
        shoot = tables.Shoot(name=body.name, client=body.client)
        session.add(shoot)
        session.flush()
        record.append(session, shoot.id, caller.actor, "shoot made", name=shoot.name)
        return shoot_out(session, shoot)


@router.get("", responses=described())
def list_shoots(service: Here, caller: Studio) -> list[models.ShootOut]:
    """All shoots, the newest first."""
    with service.place.database.reading() as session:
        shoots = session.scalars(
            select(tables.Shoot)
            .where(tables.Shoot.deleting_at.is_(None))
            .order_by(tables.Shoot.created_at.desc(), tables.Shoot.id)
        )
        return [shoot_out(session, shoot) for shoot in shoots.all()]


@router.get("/{shoot_id}", responses=described(NotFoundError))
def get_shoot(shoot_id: models.Id, service: Here, caller: Studio) -> models.ShootOut:
    """A shoot."""
    with service.place.database.reading() as session:
        return shoot_out(session, found(session, tables.Shoot, shoot_id))


@router.delete("/{shoot_id}", responses=described(NotFoundError))
def remove_shoot(shoot_id: models.Id, service: Here, caller: Studio) -> models.DeletedOut:
    """Delete a shoot: every entry and every byte of it. Export its record first to keep it."""
    deleted = delete_shoot(service.place.database, service.place.files, shoot_id, caller.actor)
    service.previews.forget()
    return models.DeletedOut.model_validate(deleted)


@router.get("/{shoot_id}/record", responses=described(NotFoundError))
def get_record(shoot_id: models.Id, service: Here, caller: Studio) -> models.RecordOut:
    """What was agreed, shown, signed and made in a shoot, in order, every entry sealed."""
    with service.place.database.reading() as session:
        shoot = found(session, tables.Shoot, shoot_id)
        entries = record.entries(session, shoot_id)
        key = service.place.database.key
        return models.RecordOut(
            shoot_id=shoot_id,
            whole=record.is_whole(session, shoot, entries),
            signature=shoot.record_signature,
            public_key=None if key is None else key.public,
            entries=[models.EntryOut.model_validate(entry) for entry in entries],
        )


@router.get(
    "/{shoot_id}/record.csv",
    response_class=Response,
    responses=described(NotFoundError)
    | {200: {"content": {"text/csv": {"schema": {"type": "string"}}}}},
)
def get_record_table(shoot_id: models.Id, service: Here, caller: Studio) -> Response:
    """The record as a table."""
    with service.place.database.reading() as session:
        found(session, tables.Shoot, shoot_id)
        text = record.as_csv(record.entries(session, shoot_id))
    return Response(
        text,
        media_type="text/csv",
        headers={"Content-Disposition": 'attachment; filename="record.csv"'},
    )
