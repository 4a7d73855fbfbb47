"""Things done to several portraits of a shoot in one act: removing, stars, strengths, presets."""

from __future__ import annotations

from fastapi import APIRouter
from sqlalchemy import select
from sqlalchemy.orm import Session

from evenhand.errors import WrongSettingError
from evenhand.shoots import record, sign_offs, storage, tables
from evenhand.shoots.errors import NotFoundError
from evenhand.shoots.permissions import agreed_by_name
from evenhand.shoots.removal import set_removed
from evenhand.web import models
from evenhand.web.access import Here, Service, Studio
from evenhand.web.problems import described
from evenhand.web.views import found

router = APIRouter(prefix="/v1", tags=["selections"])


@router.put("/shoots/{shoot_id}/removed", status_code=204, responses=described(NotFoundError))
def remove_or_bring_back(
    shoot_id: models.Id, body: models.RemovedIn, service: Here, caller: Studio
) -> None:
    """Remove portraits, or bring them back within a day; later they are deleted for good."""
    with service.place.database.writing() as session:
        set_removed(session, shoot_id, body.portraits, body.removed, caller.actor)


@router.put("/shoots/{shoot_id}/stars", status_code=204, responses=described(NotFoundError))
def give_stars(shoot_id: models.Id, body: models.StarsIn, service: Here, caller: Studio) -> None:
    """Give portraits stars; they change nothing but how the studio sorts and chooses."""
    with service.place.database.writing() as session:
        storage.lock(session, shoot_id)
        for portrait in _portraits(session, shoot_id, body.portraits):
            portrait.stars = body.stars


@router.post("/shoots/{shoot_id}/strengths", responses=described(NotFoundError, WrongSettingError))
def give_strengths(
    shoot_id: models.Id, body: models.StrengthsIn, service: Here, caller: Studio
) -> models.GivenOut:
    """Give strengths to everybody in some portraits, or to one person wherever they are.

    Layers that are there take them at once, later ones when they are computed; what somebody did
    not agree to stays undone, what is signed and locked as it is. Nothing is computed anew.
    """
    _check_steps(service, body.strengths)
    with service.place.database.writing() as session:
        storage.lock(session, shoot_id)
        agreed = agreed_by_name(session, shoot_id)
        people = [
            person
            for portrait in _portraits(session, shoot_id, body.portraits)
            for person in portrait.people
            if body.name is None or person.name == body.name
            if not sign_offs.is_locked(session, portrait)
        ]
        for person in people:
            mine = agreed.get(person.name or "", frozenset())
            _set_strengths(person, {s: v for s, v in body.strengths.items() if s in mine})
        given = models.GivenOut(
            people=len(people), portraits=list(dict.fromkeys(one.portrait_id for one in people))
        )
        record.append(
            session,
            shoot_id,
            caller.actor,
            "strengths given",
            portraits=given.portraits,
            person=body.name,
            strengths=body.strengths,
        )
        return given


@router.get("/presets", responses=described())
def list_presets(service: Here, caller: Studio) -> list[models.PresetOut]:
    """The studio's own strengths, by name."""
    with service.place.database.reading() as session:
        rows = session.scalars(select(tables.Preset).order_by(tables.Preset.name))
        return [models.PresetOut.model_validate(row) for row in rows.all()]


@router.post("/presets", status_code=201, responses=described(WrongSettingError))
def keep_preset(body: models.PresetIn, service: Here, caller: Studio) -> models.PresetOut:
    """Keep strengths under a name."""
    _check_steps(service, body.strengths)
    with service.place.database.writing() as session:
        row = session.scalars(select(tables.Preset).where(tables.Preset.name == body.name)).first()
        if row is None:
            row = tables.Preset(name=body.name)
            session.add(row)
        row.strengths = body.strengths
        session.flush()
        return models.PresetOut.model_validate(row)


@router.delete("/presets/{preset_id}", status_code=204, responses=described(NotFoundError))
def drop_preset(preset_id: models.Id, service: Here, caller: Studio) -> None:
    """Forget strengths kept under a name; portraits that have them keep them."""
    with service.place.database.writing() as session:
        session.delete(found(session, tables.Preset, preset_id))


def _portraits(session: Session, shoot_id: str, wanted: list[str]) -> list[tables.Portrait]:
    """Portraits of a shoot; all that are not removed where none are named."""
    if not wanted:
        rows = (
            select(tables.Portrait)
            .where(tables.Portrait.shoot_id == shoot_id, tables.Portrait.removed_at.is_(None))
            .order_by(tables.Portrait.number)
        )
        return list(session.scalars(rows))
    portraits = [found(session, tables.Portrait, one) for one in wanted]
    if any(portrait.shoot_id != shoot_id for portrait in portraits):
        raise NotFoundError("There is no such portrait.", "Name portraits of this shoot.")
    return portraits


def _set_strengths(person: tables.Person, strengths: dict[str, float]) -> None:
    layers = {layer.step: layer for layer in person.layers}
    for step, strength in strengths.items():
        if step in layers:
            layers[step].strength = strength
        own = {**person.settings.get(step, {}), "strength": strength}
        person.settings = {**person.settings, step: own}


def _check_steps(service: Service, strengths: dict[str, float]) -> None:
    unknown = [step for step in strengths if step not in service.place.steps]
    if unknown:
        raise WrongSettingError(
            f"There is no step {unknown[0]!r}.",
            f"The steps are {', '.join(service.place.steps)}.",
        )
