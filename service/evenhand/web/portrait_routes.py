"""Portraits, people in them, regions, layers and marks over HTTP."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Body, Query, Request
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import StreamingResponse
from sqlalchemy import select

from evenhand.errors import UnreadablePhotographError, WrongSettingError
from evenhand.jobs.as_painted import SKIN
from evenhand.jobs.retoucher import checked
from evenhand.people.painting import region_beside
from evenhand.shoots import permissions, record, sign_offs, storage, tables
from evenhand.shoots.deletion import delete_portrait
from evenhand.shoots.errors import (
    ConflictError,
    DamagedFileError,
    LockedError,
    NoPermissionError,
    NotFoundError,
    UploadTooLargeError,
)
from evenhand.shoots.inputs import BEFORE_BURN, LASTING, LEAST_CONFIDENCE
from evenhand.shoots.permissions import LASTING_MARKS, agreed, agreed_by_name
from evenhand.shoots.renderings import shown
from evenhand.web import models
from evenhand.web.access import Here, Studio
from evenhand.web.changes import clear, follow, follow_name
from evenhand.web.earlier_portrait import require_before_burn, without_earlier
from evenhand.web.image_routes import frame_shape, person_as_painted, source_of
from evenhand.web.painting import Paint, painted_mask, store_edit
from evenhand.web.pointing import require_on_photograph
from evenhand.web.problems import described
from evenhand.web.receiving import add_portrait, received
from evenhand.web.upload_routes import largest
from evenhand.web.views import (
    Standings,
    edit_out,
    found,
    layer_out,
    mark_out,
    person_out,
    portrait_out,
    whole_portraits,
)

BODY: dict[str, Any] = {
    "requestBody": {
        "required": True,
        "content": {"application/octet-stream": {"schema": {"type": "string", "format": "binary"}}},
    }
}
"""Describes a body that is a file."""

LARGEST_MASK = 64 * 1024 * 1024
"""Bytes of a painted mask."""

BESIDE = 0.01
"""How near to a region skin that is painted in must be to be of it, share of the longer side."""

router = APIRouter(prefix="/v1", tags=["portraits"])


@router.post(
    "/shoots/{shoot_id}/portraits",
    status_code=201,
    responses=described(NotFoundError, UnreadablePhotographError, UploadTooLargeError),
    openapi_extra=BODY,
)
async def send_portrait(
    shoot_id: models.Id,
    request: Request,
    service: Here,
    caller: Studio,
    name: Annotated[models.Text, Query(examples=["IMG_2041.jpg"])] = "portrait",
) -> models.AddedOut:
    """Send a photograph in one go, as the body of the request; large ones by /uploads."""
    async with received(request, largest(service)) as have:
        return await run_in_threadpool(
            add_portrait, service, shoot_id, name, have.path, caller.actor
        )


@router.get("/shoots/{shoot_id}/portraits", responses=described(NotFoundError))
def list_portraits(
    shoot_id: models.Id,
    service: Here,
    caller: Studio,
    removed: Annotated[
        bool, Query(description="Those that were removed and can be brought back.")
    ] = False,
) -> list[models.PortraitOut]:
    """The portraits of a shoot with their states, in the order in which they came."""
    with service.place.database.reading() as session:
        found(session, tables.Shoot, shoot_id)
        standings, steps = Standings.of(session, shoot_id), service.place.steps
        return [
            portrait_out(session, one, steps, standings)
            for one in whole_portraits(session, shoot_id, removed=removed)
        ]


@router.get("/portraits/{portrait_id}", responses=described(NotFoundError))
def get_portrait(portrait_id: models.Id, service: Here, caller: Studio) -> models.PortraitOut:
    """A portrait."""
    with service.place.database.reading() as session:
        portrait = found(session, tables.Portrait, portrait_id)
        return portrait_out(session, portrait, service.place.steps)


@router.delete("/portraits/{portrait_id}", responses=described(NotFoundError))
def remove_portrait(portrait_id: models.Id, service: Here, caller: Studio) -> models.DeletedOut:
    """Delete a portrait for good, with everything made from it, face geometry too."""
    place = service.place
    with place.database.reading() as session:
        portrait = found(session, tables.Portrait, portrait_id)
        shoot_id, names = portrait.shoot_id, {one.name for one in portrait.people if one.name}
    deleted = delete_portrait(place.database, place.files, portrait_id, caller.actor)
    service.previews.forget()
    with place.database.writing() as session:
        for name in sorted(names):  # whoever was compared with it there is computed anew
            follow_name(session, service, shoot_id, name)
    return models.DeletedOut.model_validate(deleted)


@router.get(
    "/portraits/{portrait_id}/original",
    response_class=StreamingResponse,
    responses=described(NotFoundError, DamagedFileError)
    | {200: {"content": {"application/octet-stream": {"schema": {"type": "string"}}}}},
)
def get_original(portrait_id: models.Id, service: Here, caller: Studio) -> StreamingResponse:
    """The original file, byte for byte."""
    with service.place.database.reading() as session:
        portrait = found(session, tables.Portrait, portrait_id)
    return StreamingResponse(
        service.place.files.checked_pieces(portrait.shoot_id, portrait.sha256),
        media_type="application/octet-stream",
        headers={"Content-Length": str(portrait.size)},
    )


@router.get("/portraits/{portrait_id}/people", responses=described(NotFoundError))
def list_people(portrait_id: models.Id, service: Here, caller: Studio) -> list[models.PersonOut]:
    """Who was found, left to right."""
    with service.place.database.reading() as session:
        portrait = found(session, tables.Portrait, portrait_id)
        by_name = agreed_by_name(session, portrait.shoot_id)
        return [
            person_out(person, by_name.get(person.name or "", frozenset()))
            for person in portrait.people
        ]


@router.put("/people/{person_id}", responses=described(NotFoundError, LockedError))
def name_person(
    person_id: models.Id, body: models.PersonIn, service: Here, caller: Studio
) -> models.PersonOut:
    """Say who a person is, and whether a child. Nothing else ever says who somebody is."""
    with service.place.database.writing() as session:
        person = found(session, tables.Person, person_id)
        portrait = person.portrait
        storage.lock(session, portrait.shoot_id)
        if body.name != person.name:
            sign_offs.require_unlocked(session, portrait)
        was, person.name = person.name, body.name
        same = session.scalars(
            select(tables.Person)
            .join(tables.Portrait)
            .where(
                tables.Portrait.shoot_id == portrait.shoot_id,
                tables.Person.name == body.name,
            )
        ).all()
        for one in {person, *(same if body.name else ())}:
            one.child = body.child
        record.append(
            session,
            portrait.shoot_id,
            caller.actor,
            "person named",
            portrait=portrait.id,
            person=person.id,
            name=body.name,
            child=body.child,
        )
        for affected in {one.portrait for one in (person, *same)}:
            follow(session, service, affected)
        if was not in (None, body.name):
            follow_name(session, service, portrait.shoot_id, was)
        return person_out(person, agreed(session, portrait.shoot_id, person.name))


@router.put(
    "/people/{person_id}/steps/{step}",
    responses=described(NotFoundError, WrongSettingError, LockedError),
)
def set_step(
    person_id: models.Id,
    step: models.Text,
    service: Here,
    caller: Studio,
    body: Annotated[
        dict[str, Any],
        Body(examples=[{"cap": 6.0}, {"burnt_at": [[640, 480]], "by_region": {"arm": 0.8}}]),
    ],
) -> models.PersonOut:
    """Set a step for a person; its layer is computed anew. Strength alone: see /layers.

    Beside the settings that /steps lists, redness takes `before_burn`: the id of a portrait of the
    shoot that shows the same named person before the burn, whose skin is then compared with.
    """
    own, earlier = without_earlier(step, body)
    settings = checked(service.place.retoucher, step, own)
    with service.place.database.writing() as session:
        person = found(session, tables.Person, person_id)
        require_on_photograph(settings, person.portrait)
        if earlier is not None:
            require_before_burn(session, person, earlier)
            settings[BEFORE_BURN] = earlier
        shoot_id = person.portrait.shoot_id
        storage.lock(session, shoot_id)
        sign_offs.require_unlocked(session, person.portrait)
        person.settings = {**person.settings, step: settings}
        record.append(
            session,
            shoot_id,
            caller.actor,
            "step set",
            person=person.id,
            step=step,
            settings=settings,
        )
        follow(session, service, person.portrait)
        return person_out(person, agreed(session, shoot_id, person.name))


@router.get("/people/{person_id}/mask-edits", responses=described(NotFoundError))
def list_mask_edits(
    person_id: models.Id, service: Here, caller: Studio
) -> list[models.MaskEditOut]:
    """What was painted into or out of a person's masks, in order."""
    with service.place.database.reading() as session:
        return [edit_out(edit) for edit in found(session, tables.Person, person_id).edits]


@router.post(
    "/people/{person_id}/mask-edits",
    status_code=201,
    responses=described(NotFoundError, UnreadablePhotographError, WrongSettingError, LockedError),
    openapi_extra={
        "requestBody": {
            "required": True,
            "content": {"image/png": {"schema": {"type": "string", "format": "binary"}}},
        }
    },
)
async def paint_mask(
    person_id: models.Id,
    request: Request,
    service: Here,
    caller: Studio,
    region: Annotated[models.Text, Query(examples=["face-skin"])],
    paint: Annotated[Paint, Query()] = Paint.OUT,
    left: Annotated[int, Query(ge=0, le=10**6)] = 0,
    top: Annotated[int, Query(ge=0, le=10**6)] = 0,
) -> models.MaskEditOut:
    """Paint into or out of a mask with a grey PNG at full size: white is painted, black is not.

    A region of skin that was not found can be painted too. What is given to one person as skin is
    taken from the others. The region `skin` stands for all skin: painted out, it takes from each
    region of it; painted in, a stroke may be rough: what is skin as its middle is, is of the region
    that it lies beside, or of an arm.
    """
    async with received(request, LARGEST_MASK) as have:
        data = await run_in_threadpool(have.path.read_bytes)

    def enter() -> models.MaskEditOut:
        with service.place.database.reading() as session:
            portrait = found(session, tables.Person, person_id).portrait
        mask = painted_mask(data, region, left, top, portrait)
        of = region
        if region == SKIN and paint is Paint.IN:
            person, portrait = person_as_painted(service, person_id)
            photograph = service.previews.photograph(source_of(portrait))
            mask = service.place.retoucher.skin_under(photograph, mask)
            reach = round(BESIDE * max(frame_shape(portrait)))
            of = region_beside(person, mask, reach).value
        return store_edit(service, person_id, of, paint, mask, caller.actor)

    return await run_in_threadpool(enter)


@router.delete(
    "/mask-edits/{edit_id}", status_code=204, responses=described(NotFoundError, LockedError)
)
def take_back_edit(edit_id: models.Id, service: Here, caller: Studio) -> None:
    """Take a mask edit back."""
    with service.place.database.writing() as session:
        edit = session.get(tables.MaskEdit, edit_id)
        if edit is None:
            raise NotFoundError("There is no such mask edit.", "List the person's mask edits.")
        person = edit.person
        storage.lock(session, person.portrait.shoot_id)
        sign_offs.require_unlocked(session, person.portrait)
        session.delete(edit)
        session.flush()
        session.expire(person)
        shoot_id = person.portrait.shoot_id
        record.append(
            session,
            shoot_id,
            caller.actor,
            "mask edit taken back",
            person=person.id,
            edit=edit_id,
        )
        follow(session, service, person.portrait)
        if person.name:
            follow_name(session, service, shoot_id, person.name)
    clear(service, shoot_id)


@router.get("/portraits/{portrait_id}/layers", responses=described(NotFoundError))
def list_layers(portrait_id: models.Id, service: Here, caller: Studio) -> list[models.LayerOut]:
    """Layers that may be shown: of people who agree to the step now."""
    with service.place.database.reading() as session:
        portrait = found(session, tables.Portrait, portrait_id)
        return [layer_out(item.layer) for item in shown(session, portrait)]


@router.put(
    "/layers/{layer_id}/strength",
    responses=described(NotFoundError, NoPermissionError, LockedError),
)
def set_strength(
    layer_id: models.Id, body: models.StrengthIn, service: Here, caller: Studio
) -> models.LayerOut:
    """Choose a layer's strength; nothing is computed anew."""
    with service.place.database.writing() as session:
        layer = found(session, tables.Layer, layer_id)
        shoot_id = layer.person.portrait.shoot_id
        storage.lock(session, shoot_id)
        permissions.require(session, shoot_id, layer.person, layer.step)
        sign_offs.require_unlocked(session, layer.person.portrait)
        layer.strength = body.strength
        record.append(
            session,
            shoot_id,
            caller.actor,
            "strength chosen",
            person=layer.person_id,
            step=layer.step,
            strength=body.strength,
        )
        return layer_out(layer)


@router.get("/portraits/{portrait_id}/marks", responses=described(NotFoundError))
def list_marks(portrait_id: models.Id, service: Here, caller: Studio) -> list[models.MarkOut]:
    """Marks of people who agree to the marks step now."""
    with service.place.database.reading() as session:
        portrait = found(session, tables.Portrait, portrait_id)
        by_name = agreed_by_name(session, portrait.shoot_id)
        return [
            mark_out(mark)
            for person in portrait.people
            if "marks" in by_name.get(person.name or "", frozenset())
            for mark in person.marks
        ]


@router.put(
    "/marks/{mark_id}",
    responses=described(NotFoundError, NoPermissionError, ConflictError, LockedError),
)
def decide_mark(
    mark_id: models.Id, body: models.DecisionIn, service: Here, caller: Studio
) -> models.MarkOut:
    """Keep or remove a mark. A lasting one goes only by a permission of its own."""
    with service.place.database.writing() as session:
        mark = found(session, tables.Mark, mark_id)
        person = mark.person
        shoot_id = person.portrait.shoot_id
        storage.lock(session, shoot_id)
        permissions.require(session, shoot_id, person, "marks")
        sign_offs.require_unlocked(session, person.portrait)
        if body.decision == "remove" and mark.kind == LASTING:
            permissions.require(session, shoot_id, person, LASTING_MARKS)
        unsure = mark.kind != LASTING and mark.confidence < LEAST_CONFIDENCE
        if body.decision == "remove" and unsure:
            raise ConflictError(
                "This mark may well be a lasting one.", "Leave it, or ask for a lasting mark."
            )
        mark.decision = body.decision
        record.append(
            session,
            shoot_id,
            caller.actor,
            "mark decided",
            person=person.id,
            mark=mark.number,
            decision=body.decision,
        )
        follow(session, service, person.portrait)
        return mark_out(mark)


@router.get("/portraits/{portrait_id}/history", responses=described(NotFoundError))
def get_history(portrait_id: models.Id, service: Here, caller: Studio) -> list[models.EntryOut]:
    """What the record tells of a portrait and of the people in it, the newest first."""
    with service.place.database.reading() as session:
        portrait = found(session, tables.Portrait, portrait_id)
        people = {person.id for person in portrait.people}
        names = {person.name for person in portrait.people if person.name}
        return [
            models.EntryOut.model_validate(entry)
            for entry in reversed(record.entries(session, portrait.shoot_id))
            if _tells_of(entry.facts, portrait.id, people, names)
        ]


def _tells_of(facts: dict[str, Any], portrait: str, people: set[str], names: set[str]) -> bool:
    """Whether an entry of the record tells of a portrait, or of what somebody in it said."""
    return (
        facts.get("portrait") == portrait
        or portrait in facts.get("portraits", ())
        or facts.get("person") in people
        or ("permission" in facts and facts.get("person") in names)
    )


@router.get("/steps", tags=["steps"], responses=described())
def list_steps(service: Here, caller: Studio) -> list[models.StepOut]:
    """The steps, in the order in which they run, and their settings with limits."""
    return [
        models.StepOut(step=name, settings=model.model_json_schema())
        for name, model in service.place.retoucher.settings().items()
    ]
