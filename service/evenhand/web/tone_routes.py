"""One person's skin over a shoot: their portraits matched to one the photographer likes."""

from __future__ import annotations

from fastapi import APIRouter
from sqlalchemy import select

from evenhand.errors import WrongSettingError
from evenhand.shoots import permissions, record, sign_offs, storage, tables
from evenhand.shoots.errors import LockedError, NoPermissionError, NotFoundError
from evenhand.shoots.inputs import REFERENCE, TONE
from evenhand.web import models
from evenhand.web.access import Here, Studio
from evenhand.web.changes import follow
from evenhand.web.problems import described
from evenhand.web.views import found

router = APIRouter(prefix="/v1", tags=["selections"])


@router.put(
    "/shoots/{shoot_id}/tone",
    responses=described(NotFoundError, NoPermissionError, WrongSettingError, LockedError),
)
def match_tone(
    shoot_id: models.Id, body: models.ToneIn, service: Here, caller: Studio
) -> models.GivenOut:
    """Measure a person's portraits against one of them; the layers' facts tell the measure.

    White balance and exposure of the whole portrait become a layer at strength 0: nothing looks
    otherwise until a strength is given (`/v1/shoots/{shoot_id}/strengths`); a layer that has one
    keeps it. Left as they are: portraits with somebody else in them, those in which too little skin
    is seen, and what is signed and locked. The reference itself is matched to nothing.
    """
    with service.place.database.writing() as session:
        found(session, tables.Shoot, shoot_id)
        storage.lock(session, shoot_id)
        people = session.scalars(
            select(tables.Person)
            .join(tables.Portrait)
            .where(
                tables.Portrait.shoot_id == shoot_id,
                tables.Portrait.removed_at.is_(None),
                tables.Person.name == body.name,
            )
            .order_by(tables.Portrait.number)
        ).all()
        liked = next((one for one in people if one.portrait_id == body.reference), None)
        if liked is None:
            raise WrongSettingError(
                f"{REFERENCE}: that portrait does not show {body.name}.",
                "Give the id of a portrait of this shoot in which the person has this name.",
            )
        permissions.require(session, shoot_id, liked, TONE)
        if TONE in liked.settings:
            sign_offs.require_unlocked(session, liked.portrait)
            liked.settings = {k: v for k, v in liked.settings.items() if k != TONE}
        matched = [
            one
            for one in people
            if one is not liked
            if len(one.portrait.people) == 1
            if not sign_offs.is_locked(session, one.portrait)
        ]
        for person in matched:
            there = next((layer for layer in person.layers if layer.step == TONE), None)
            own = {
                **person.settings.get(TONE, {}),
                "strength": 0.0 if there is None else there.strength,
                REFERENCE: body.reference,
            }
            person.settings = {**person.settings, TONE: own}
        portraits = [one.portrait_id for one in matched]
        record.append(
            session,
            shoot_id,
            caller.actor,
            "tone measured",
            person=body.name,
            reference=body.reference,
            portraits=portraits,
        )
        for person in (liked, *matched):
            follow(session, service, person.portrait)
        return models.GivenOut(people=len(matched), portraits=portraits)
