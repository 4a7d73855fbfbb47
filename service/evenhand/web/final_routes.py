"""Finals over HTTP: made from a valid sign-off, one by one or packed."""

from __future__ import annotations

from typing import Any
from urllib.parse import quote

from fastapi import APIRouter
from fastapi.responses import StreamingResponse
from sqlalchemy import select
from sqlalchemy.orm import Session

from evenhand.errors import EvenhandError, WrongSettingError
from evenhand.jobs.job import Kind
from evenhand.shoots import (
    asked_changes,
    finals,
    names,
    record,
    sign_offs,
    storage,
    tables,
)
from evenhand.shoots.errors import (
    ConflictError,
    DamagedFileError,
    NoSignOffError,
    NotFoundError,
    NotReadyError,
    StaleError,
)
from evenhand.web import models
from evenhand.web.access import Caller, Here, Service, Studio
from evenhand.web.problems import described
from evenhand.web.proof_routes import require_current
from evenhand.web.views import found

FILE: dict[int | str, dict[str, Any]] = {
    200: {
        "content": {"application/octet-stream": {"schema": {"type": "string", "format": "binary"}}},
        "description": "The file.",
    }
}

router = APIRouter(prefix="/v1", tags=["finals"])


@router.post(
    "/portraits/{portrait_id}/final",
    status_code=202,
    responses=described(
        NotFoundError, NoSignOffError, StaleError, NotReadyError, WrongSettingError, ConflictError
    ),
)
def make_final(
    portrait_id: models.Id, body: models.FinalIn, service: Here, caller: Studio
) -> models.JobOut:
    """Make the final of a portrait as it was signed off, or say why without a sign-off."""
    names.check_pattern(body.pattern)
    finals.check_form(body.format, body.longest_side)
    if body.override is not None and not body.override.strip():
        raise ConflictError("An override needs a reason.", "Say why there is no sign-off.")
    with service.place.database.writing() as session:
        portrait = found(session, tables.Portrait, portrait_id)
        storage.lock(session, portrait.shoot_id)
        require_current(session, service, portrait)
        arguments = _arguments(body, caller)
        if body.override is None:
            arguments["sign_off"] = _signed(session, portrait).id
        else:
            arguments["override"] = body.override
            asked = record.append(
                session,
                portrait.shoot_id,
                caller.actor,
                "final without sign-off asked for",
                portrait=portrait.id,
                reason=body.override,
            )
            arguments["asked"] = asked.number
        job = service.queue.add(session, Kind.FINAL, portrait.shoot_id, portrait.id, **arguments)
        return models.JobOut.model_validate(job)


@router.post(
    "/shoots/{shoot_id}/finals",
    status_code=202,
    responses=described(NotFoundError, WrongSettingError),
)
def make_signed_finals(
    shoot_id: models.Id, body: models.SignedFinalsIn, service: Here, caller: Studio
) -> models.SignedFinalsOut:
    """Make the finals of all that is signed, in one act; tells of every other portrait why not."""
    names.check_pattern(body.pattern)
    finals.check_form(body.format, body.longest_side)
    jobs, made, left = [], [], []
    with service.place.database.writing() as session:
        shoot = storage.lock(session, shoot_id)
        record.append(
            session,
            shoot_id,
            caller.actor,
            "finals of all signed asked for",
            **body.model_dump(mode="json"),
        )
        for portrait in shoot.portraits:
            try:
                require_current(session, service, portrait)
                signed = _signed(session, portrait)
            except EvenhandError as error:
                left.append(
                    models.LeftOut(
                        portrait=portrait.id,
                        name=portrait.name,
                        why=error.trouble,
                        advice=error.advice,
                    )
                )
                continue
            name = finals.final_name(shoot, portrait, body.pattern)
            if finals.is_made(session, signed, name, body.format, body.longest_side):
                made.append(portrait.id)
                continue
            arguments = _arguments(body, caller) | {"sign_off": signed.id}
            job = service.queue.add(session, Kind.FINAL, shoot_id, portrait.id, **arguments)
            jobs.append(models.JobOut.model_validate(job))
    return models.SignedFinalsOut(jobs=jobs, made=made, left=left)


@router.get("/shoots/{shoot_id}/finals", responses=described(NotFoundError))
def list_finals(shoot_id: models.Id, service: Here, caller: Studio) -> list[models.FinalOut]:
    """The finals of a shoot, voided ones too, the newest first."""
    with service.place.database.reading() as session:
        found(session, tables.Shoot, shoot_id)
        rows = session.scalars(
            select(tables.Final)
            .join(tables.Portrait, tables.Portrait.id == tables.Final.portrait_id)
            .where(tables.Portrait.shoot_id == shoot_id, tables.Portrait.removed_at.is_(None))
            .order_by(tables.Final.number.desc())
        )
        return [models.FinalOut.model_validate(final) for final in rows.all()]


@router.get(
    "/finals/{final_id}/file",
    response_class=StreamingResponse,
    responses=described(NotFoundError, DamagedFileError) | FILE,
)
def get_final(final_id: models.Id, service: Here, caller: Studio) -> StreamingResponse:
    """The file of a final, as long as it is not voided."""
    with service.place.database.reading() as session:
        final = session.get(tables.Final, final_id)
        if final is None or final.sha256 is None:
            raise NotFoundError(
                "There is no such final, or it was voided.", "List the shoot's finals."
            )
        shoot_id = found(session, tables.Portrait, final.portrait_id).shoot_id
    return _file(service, shoot_id, final.sha256, final.name, final.size)


@router.post(
    "/shoots/{shoot_id}/delivery",
    status_code=202,
    responses=described(NotFoundError, NotReadyError, StaleError),
)
def pack_finals(
    shoot_id: models.Id, body: models.DeliveryIn, service: Here, caller: Studio
) -> models.JobOut:
    """Pack finals that hold now into a ZIP with a contact sheet of before and after."""
    with service.place.database.writing() as session:
        shoot = storage.lock(session, shoot_id)
        have = set(
            session.scalars(
                select(tables.Final.portrait_id).where(
                    tables.Final.id.in_(finals.held(session, shoot_id))
                )
            )
        )
        there = [one for one in shoot.portraits if one.removed_at is None]
        wanted = [one for one in there if one.id in (body.portraits or have)]
        if not wanted or set(body.portraits) - {one.id for one in wanted}:
            raise NotReadyError("Not every portrait has a final.", "Make the finals first.")
        ids = [finals.deliverable(session, one).portrait_id for one in wanted]
        job = service.queue.add(session, Kind.DELIVERY, shoot_id, portraits=ids)
        return models.JobOut.model_validate(job)


@router.get(
    "/jobs/{job_id}/files/{name}",
    response_class=StreamingResponse,
    responses=described(NotFoundError, DamagedFileError) | FILE,
)
def get_job_file(
    job_id: models.Id, name: models.Text, service: Here, caller: Studio
) -> StreamingResponse:
    """A file that a job made: finals.zip or contact-sheet.pdf."""
    with service.place.database.reading() as session:
        job = found(session, tables.Job, job_id)
        files = (job.result or {}).get("files", [])
        stands = finals.package_stands(job, finals.held(session, job.shoot_id))
    file = next((one for one in files if one["name"] == name), None)
    if file is None or not stands:
        raise NotFoundError(
            "The job made no such file, or a final in it was voided or deleted.",
            "Pack the finals again.",
        )
    return _file(service, job.shoot_id, file["sha256"], name, file["size"])


def _arguments(body: models.FinalIn | models.SignedFinalsIn, caller: Caller) -> dict[str, Any]:
    """How a final is to be made, as its job takes it."""
    return {
        "pattern": body.pattern,
        "format": body.format.value,
        "longest_side": body.longest_side,
        "actor": caller.actor,
    }


def _signed(session: Session, portrait: tables.Portrait) -> tables.SignOff:
    """The valid sign-off of a portrait of which no change is asked for."""
    asked_changes.require_none_open(session, portrait)
    return sign_offs.require_valid(session, portrait)


def _file(service: Service, shoot_id: str, sha256: str, name: str, size: int) -> StreamingResponse:
    return StreamingResponse(
        service.place.files.checked_pieces(shoot_id, sha256),
        media_type="application/octet-stream",
        headers={
            "Content-Length": str(size),
            "Content-Disposition": f"attachment; filename*=UTF-8''{quote(name)}",
            "Cache-Control": "private, no-store",
        },
    )
