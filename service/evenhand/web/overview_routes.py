"""A shoot at one look: everybody found in it, for the pages."""

from __future__ import annotations

from fastapi import APIRouter

from evenhand.shoots import tables
from evenhand.shoots.errors import NotFoundError
from evenhand.shoots.permissions import agreed_by_name
from evenhand.web import models
from evenhand.web.access import Here, Studio
from evenhand.web.problems import described
from evenhand.web.views import found, person_out

router = APIRouter(prefix="/v1", tags=["portraits"])


class FoundOut(models.Model):
    """A person found in one of a shoot's portraits."""

    portrait: models.Id
    person: models.PersonOut


@router.get("/shoots/{shoot_id}/people", responses=described(NotFoundError))
def list_everybody(shoot_id: models.Id, service: Here, caller: Studio) -> list[FoundOut]:
    """Everybody found in a shoot, by portrait in the order in which they came, left to right."""
    with service.place.database.reading() as session:
        shoot = found(session, tables.Shoot, shoot_id)
        by_name = agreed_by_name(session, shoot_id)
        return [
            FoundOut(
                portrait=portrait.id,
                person=person_out(person, by_name.get(person.name or "", frozenset())),
            )
            for portrait in shoot.portraits
            if portrait.removed_at is None
            for person in portrait.people
        ]
