"""Jobs over HTTP: how far they are, as a list and as events; cancel and retry."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator
from typing import Annotated

from fastapi import APIRouter, Query, Request
from fastapi.concurrency import run_in_threadpool
from fastapi.sse import EventSourceResponse, ServerSentEvent
from sqlalchemy import select

from evenhand.jobs.job import OVER, State
from evenhand.shoots import tables
from evenhand.shoots.errors import ConflictError, NotFoundError
from evenhand.shoots.outages import DISK_FULL
from evenhand.web import models
from evenhand.web.access import Here, Service, Studio
from evenhand.web.problems import described
from evenhand.web.views import found

LOOK_EVERY_S = 0.25
"""How often a job is looked at while its events are listened to, seconds."""

TOO_LITTLE = 2 * 2**20
"""Bytes free below which no job can be expected to go on."""

router = APIRouter(prefix="/v1", tags=["jobs"])


@router.get("/shoots/{shoot_id}/jobs", responses=described(NotFoundError))
def list_jobs(
    shoot_id: models.Id,
    service: Here,
    caller: Studio,
    state: Annotated[State | None, Query()] = None,
) -> list[models.JobOut]:
    """Jobs of a shoot, the newest first, 500 at most."""
    with service.place.database.reading() as session:
        found(session, tables.Shoot, shoot_id)
        jobs = select(tables.Job).where(tables.Job.shoot_id == shoot_id)
        if state is not None:
            jobs = jobs.where(tables.Job.state == state.value)
        jobs = jobs.order_by(tables.Job.created_at.desc()).limit(500)
        return [_told(service, job) for job in session.scalars(jobs).all()]


@router.get("/jobs/{job_id}", responses=described(NotFoundError))
def get_job(job_id: models.Id, service: Here, caller: Studio) -> models.JobOut:
    """A job."""
    return _look(service, job_id)


@router.get(
    "/jobs/{job_id}/events",
    response_class=EventSourceResponse,
    responses=described(NotFoundError),
)
async def follow_job(
    job_id: models.Id, request: Request, service: Here, caller: Studio
) -> AsyncIterator[ServerSentEvent]:
    """Server-sent events named `progress`, each a job as JSON; the last one is where it is over."""
    last: models.JobOut | None = None
    while not await request.is_disconnected():
        try:
            job = await run_in_threadpool(_look, service, job_id)
        except NotFoundError:
            return
        if job != last:
            yield ServerSentEvent(data=job, event="progress")
            last = job
        if job.state in OVER:
            return
        await asyncio.sleep(LOOK_EVERY_S)


@router.post("/jobs/{job_id}/cancel", responses=described(NotFoundError, ConflictError))
def cancel_job(job_id: models.Id, service: Here, caller: Studio) -> models.JobOut:
    """Cancel a job; what it has not entered yet never will be."""
    with service.place.database.writing() as session:
        return models.JobOut.model_validate(service.queue.cancel(session, job_id))


@router.post(
    "/jobs/{job_id}/retry", status_code=202, responses=described(NotFoundError, ConflictError)
)
def retry_job(job_id: models.Id, service: Here, caller: Studio) -> models.JobOut:
    """Do a failed or cancelled job again, as a new job."""
    with service.place.database.writing() as session:
        return models.JobOut.model_validate(service.queue.retry(session, job_id))


def _look(service: Service, job_id: str) -> models.JobOut:
    with service.place.database.reading() as session:
        return _told(service, found(session, tables.Job, job_id))


def _told(service: Service, job: tables.Job) -> models.JobOut:
    """A job; on a disk so full that not even this can be written it says what it waits for."""
    out = models.JobOut.model_validate(job)
    if job.state in OVER:
        return out
    free = service.place.files.free()
    if free is not None and free < TOO_LITTLE:
        doing = f"waiting: {DISK_FULL.trouble} {DISK_FULL.advice}"
        return out.model_copy(update={"doing": doing})
    return out
