"""Strength in places: a layer painted less strong, or stronger again, in the file that is blended.

What was computed is kept beside it, so that a stroke can be taken back, and stays when the layer is
computed anew. A layer is never stronger than it was computed: its cap holds.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import asdict
from enum import StrEnum
from typing import Annotated, TypeVar

from fastapi import APIRouter, Query, Request
from sqlalchemy.orm import Session
from starlette.concurrency import run_in_threadpool

from evenhand.errors import UnreadablePhotographError, WrongSettingError
from evenhand.jobs.as_painted import strength_strokes
from evenhand.jobs.packing import mask_codes, pack, pack_layer
from evenhand.jobs.work import PACKAGE
from evenhand.layers.painted import LESS, MORE, StrengthStroke, with_strength
from evenhand.shoots import permissions, record, sign_offs, storage, tables
from evenhand.shoots.errors import (
    ConflictError,
    LockedError,
    NoPermissionError,
    NotFoundError,
)
from evenhand.web import models
from evenhand.web.access import Here, Service, Studio
from evenhand.web.image_routes import read_portrait
from evenhand.web.painting import painted_png
from evenhand.web.portrait_routes import LARGEST_MASK
from evenhand.web.problems import described
from evenhand.web.receiving import received
from evenhand.web.views import found

MOST_ROUNDS = 4
"""How often a stroke is entered anew because its layer was computed anew meanwhile."""

Given = TypeVar("Given")

router = APIRouter(prefix="/v1", tags=["portraits"])


class Paint(StrEnum):
    """Less strong, or stronger again."""

    LESS = LESS
    MORE = MORE


@router.get("/layers/{layer_id}/strokes", responses=described(NotFoundError))
def list_strokes(layer_id: models.Id, service: Here, caller: Studio) -> list[models.StrokeOut]:
    """Where a layer was painted less strong, or stronger again, in order."""
    with service.place.database.reading() as session:
        layer = found(session, tables.Layer, layer_id)
        return [_out(stroke) for stroke in _strokes_of(layer)]


@router.post(
    "/layers/{layer_id}/strokes",
    status_code=201,
    responses=described(
        NotFoundError,
        NoPermissionError,
        UnreadablePhotographError,
        WrongSettingError,
        LockedError,
        ConflictError,
    ),
    openapi_extra={
        "requestBody": {
            "required": True,
            "content": {"image/png": {"schema": {"type": "string", "format": "binary"}}},
        }
    },
)
async def paint_strength(
    layer_id: models.Id,
    request: Request,
    service: Here,
    caller: Studio,
    paint: Annotated[Paint, Query()] = Paint.LESS,
    amount: Annotated[float, Query(gt=0, le=1, allow_inf_nan=False)] = 0.5,
    left: Annotated[int, Query(ge=0, le=10**6)] = 0,
    top: Annotated[int, Query(ge=0, le=10**6)] = 0,
) -> models.StrokeOut:
    """Paint a layer less strong, or stronger again, with a grey PNG at full size: white is painted.

    Pages, proofs and finals show it at once; a layer is never stronger than it was computed.
    """
    async with received(request, LARGEST_MASK) as have:
        data = await run_in_threadpool(have.path.read_bytes)

    def enter() -> models.StrokeOut:
        with service.place.database.reading() as session:
            portrait = read_portrait(
                session, found(session, tables.Layer, layer_id).person.portrait_id
            )
        mask = painted_png(data, left, top, portrait)
        stroke = StrengthStroke(paint.value, amount, mask)
        return _paint(service, layer_id, stroke, caller.actor)

    return await run_in_threadpool(enter)


@router.delete(
    "/strokes/{stroke_id}",
    status_code=204,
    responses=described(NotFoundError, LockedError, ConflictError),
)
def take_back_stroke(stroke_id: models.Id, service: Here, caller: Studio) -> None:
    """Take a stroke back."""
    with service.place.database.reading() as session:
        stroke = _stroke(session, stroke_id)
        step, person_id = stroke.step, stroke.person_id
        layer = next((one for one in stroke.person.layers if one.step == step), None)

    def gone(session: Session) -> None:
        taken = _stroke(session, stroke_id)
        sign_offs.require_unlocked(session, taken.person.portrait)
        session.delete(taken)
        record.append(
            session,
            taken.person.portrait.shoot_id,
            caller.actor,
            "strength stroke taken back",
            person=person_id,
            step=step,
            stroke=stroke_id,
        )

    if layer is None:  # nobody agrees to the step at present
        with service.place.database.writing() as session:
            gone(session)
        return
    _remade(service, layer.id, lambda strokes: [s for s in strokes if s.id != stroke_id], [], gone)


def _paint(service: Service, layer_id: str, stroke: StrengthStroke, actor: str) -> models.StrokeOut:
    """Keep a stroke and make the layer's file anew."""
    place, mask = service.place, stroke.mask
    with place.database.reading() as session:
        layer = found(session, tables.Layer, layer_id)
        shoot_id, person_id, step = layer.person.portrait.shoot_id, layer.person_id, layer.step
    package = pack({"box": asdict(mask.box)}, {"painted": mask_codes(mask.alpha)})
    stored = place.files.put(shoot_id, package)
    made = tables.StrengthStroke(
        id=tables.new_id(),
        person_id=person_id,
        step=step,
        paint=stroke.paint,
        amount=stroke.amount,
        box=asdict(mask.box),
        sha256=stored.sha256,
    )

    def enter(session: Session) -> models.StrokeOut:
        storage.enter(session, place.files, shoot_id, stored, package, PACKAGE)
        layer = found(session, tables.Layer, layer_id)
        permissions.require(session, shoot_id, layer.person, layer.step)
        sign_offs.require_unlocked(session, layer.person.portrait)
        session.add(made)
        entry = record.append(
            session,
            shoot_id,
            actor,
            "strength painted",
            person=person_id,
            step=step,
            stroke=made.id,
            paint=stroke.paint,
        )
        made.number = entry.number
        session.flush()
        return _out(made)

    return _remade(service, layer_id, lambda strokes: strokes, [stroke], enter)


def _remade(
    service: Service,
    layer_id: str,
    stay: Callable[[Sequence[tables.StrengthStroke]], Sequence[tables.StrengthStroke]],
    more: Sequence[StrengthStroke],
    enter: Callable[[Session], Given],
) -> Given:
    """Make a layer's file anew from what was computed, and enter it with what goes with it.

    Raises
    ------
    ConflictError
        The layer kept being computed anew.
    """
    place = service.place
    for _ in range(MOST_ROUNDS):
        with place.database.reading() as session:
            layer = found(session, tables.Layer, layer_id)
            shoot_id, plain = layer.person.portrait.shoot_id, layer.plain_sha256 or layer.sha256
            before = _strokes_of(layer)
        strokes = [*strength_strokes(place, shoot_id, stay(before)), *more]
        package = pack_layer(with_strength(service.previews.layer(shoot_id, plain), strokes))
        stored = place.files.put(shoot_id, package)
        with place.database.writing() as session:
            storage.lock(session, shoot_id)
            layer = found(session, tables.Layer, layer_id)
            same = [one.id for one in _strokes_of(layer)] == [one.id for one in before]
            if (layer.plain_sha256 or layer.sha256) != plain or not same:
                continue
            given = enter(session)
            storage.enter(session, place.files, shoot_id, stored, package, PACKAGE)
            layer.sha256, layer.plain_sha256 = stored.sha256, plain if strokes else None
            return given
    raise ConflictError("The layer is being computed anew.", "Paint again in a moment.")


def _strokes_of(layer: tables.Layer) -> list[tables.StrengthStroke]:
    return [stroke for stroke in layer.person.strokes if stroke.step == layer.step]


def _stroke(session: Session, stroke_id: str) -> tables.StrengthStroke:
    stroke = session.get(tables.StrengthStroke, stroke_id)
    if stroke is None:
        raise NotFoundError("There is no such stroke.", "List the layer's strokes.")
    return stroke


def _out(stroke: tables.StrengthStroke) -> models.StrokeOut:
    names = models.StrokeOut.model_fields.keys() - {"person"}
    return models.StrokeOut(
        person=stroke.person_id, **{name: getattr(stroke, name) for name in names}
    )
