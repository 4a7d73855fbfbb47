"""People added by hand: somebody who was not found is named, then their skin is painted."""

from __future__ import annotations

from statistics import median

from fastapi import APIRouter

from evenhand.jobs.packing import pack_person
from evenhand.jobs.work import PACKAGE
from evenhand.people.person import Person, Scale, ScaleSource
from evenhand.shoots import record, sign_offs, storage, tables
from evenhand.shoots.errors import ConflictError, LockedError, NotFoundError, NotReadyError
from evenhand.shoots.permissions import agreed, is_child
from evenhand.web import models
from evenhand.web.access import Here, Studio
from evenhand.web.changes import clear, follow, follow_name
from evenhand.web.image_routes import read_portrait
from evenhand.web.problems import described
from evenhand.web.views import found, person_out

FRAME_MM = 600.0
"""Assumed length of a photograph's longer side on the skin where nothing tells the scale: an arm,
with hand and shoulder, as for skin that is pointed at."""

router = APIRouter(prefix="/v1", tags=["portraits"])


@router.post(
    "/portraits/{portrait_id}/people",
    status_code=201,
    responses=described(NotFoundError, NotReadyError, LockedError),
)
def add_person(
    portrait_id: models.Id, body: models.PersonByHandIn, service: Here, caller: Studio
) -> models.PersonOut:
    """Add somebody who was not found, by name. Paint their skin next, and ask them.

    Nothing is done to them before they agree, as to anybody else.
    """
    place = service.place
    with place.database.reading() as session:
        portrait = read_portrait(session, portrait_id)
        shoot_id = portrait.shoot_id
    with place.database.writing() as session:
        storage.lock(session, shoot_id)
        portrait = read_portrait(session, portrait_id)
        sign_offs.require_unlocked(session, portrait)
        index = max((one.index for one in portrait.people), default=-1) + 1
        scale = Scale(body.mm_per_pixel or _scale(portrait), ScaleSource.GIVEN)
        package = pack_person(Person(index, None, scale))
        stored = place.files.put(shoot_id, package)
        storage.enter(session, place.files, shoot_id, stored, package, PACKAGE)
        person = tables.Person(
            portrait_id=portrait_id,
            index=index,
            name=body.name,
            child=body.child or is_child(session, shoot_id, body.name),
            mm_per_pixel=scale.mm_per_pixel,
            regions=[],
            sha256=stored.sha256,
            by_hand=True,
        )
        session.add(person)
        session.flush()
        record.append(
            session,
            shoot_id,
            caller.actor,
            "person added",
            portrait=portrait_id,
            person=person.id,
            name=body.name,
            child=person.child,
        )
        session.expire(portrait)
        follow(session, service, portrait)
        return person_out(person, agreed(session, shoot_id, person.name))


@router.delete(
    "/people/{person_id}",
    status_code=204,
    responses=described(NotFoundError, ConflictError, LockedError),
)
def remove_person(person_id: models.Id, service: Here, caller: Studio) -> None:
    """Remove somebody who was added by hand, with all that was painted and made of it."""
    with service.place.database.writing() as session:
        person = found(session, tables.Person, person_id)
        portrait, name = person.portrait, person.name
        shoot_id = portrait.shoot_id
        storage.lock(session, shoot_id)
        if not person.by_hand:
            raise ConflictError(
                "This person was found, not added.", "Leave them unnamed, or paint their skin out."
            )
        sign_offs.require_unlocked(session, portrait)
        session.delete(person)
        session.flush()
        record.append(
            session,
            shoot_id,
            caller.actor,
            "person removed",
            portrait=portrait.id,
            person=person_id,
        )
        follow(session, service, portrait)
        if name:
            follow_name(session, service, shoot_id, name)
    clear(service, shoot_id)


def _scale(portrait: tables.Portrait) -> float:
    """Millimetres per pixel of the others in the portrait; where there are none, assumed."""
    others = [one.mm_per_pixel for one in portrait.people]
    return median(others) if others else FRAME_MM / max(portrait.width or 0, portrait.height or 0)
