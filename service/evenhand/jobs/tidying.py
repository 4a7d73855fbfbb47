"""Once an hour: end what was left half done, and take away what nothing needs."""

from __future__ import annotations

import time
from contextlib import suppress
from datetime import timedelta

from dbos import DBOS
from sqlalchemy import delete, select

from evenhand.jobs.job import OVER, State
from evenhand.jobs.place import Place
from evenhand.shoots import storage
from evenhand.shoots.deletion import delete_portrait, delete_shoot, unfinished
from evenhand.shoots.errors import NotFoundError
from evenhand.shoots.files import UPLOADS
from evenhand.shoots.removal import overdue
from evenhand.shoots.tables import Audit, Job, Shoot, Upload, now

KEPT = timedelta(days=7)
"""How long a durable run that ended is kept, for whoever looks for a fault."""

REFUSALS_KEPT, AUDIT_KEPT = timedelta(days=30), timedelta(days=3 * 365)
"""How long the audit keeps refusals of strangers, and everything else."""

NOBODY = "nobody"
"""Who asked without a token that opens anything, in the audit."""

MOST_AT_ONCE = 2000
"""Runs deleted at one time."""

YOUNG_S = 3600.0
"""A file that is younger may still be on its way in, seconds."""


def tidy(place: Place) -> dict[str, int]:
    """Finish broken-off deletions, delete what was removed, end uploads, delete lost files.

    Parameters
    ----------
    place : Place

    Returns
    -------
    dict of str to int
        How many of each.
    """
    with place.database.reading() as session:
        deletions = unfinished(session)
        shoots = list(session.scalars(select(Shoot.id).where(Shoot.deleting_at.is_(None))))
    for shoot_id in deletions:
        delete_shoot(place.database, place.files, shoot_id, "service")
    removed = delete_removed(place)
    unneeded = sum(len(storage.sweep(place.database, place.files, one)) for one in shoots)
    unentered = storage.sweep_unentered(place.database, place.files, time.time() - YOUNG_S)
    return {
        "audit": prune_audit(place),
        "deletions": len(deletions),
        "portraits": removed,
        "uploads": end_uploads(place) + end_lost_parts(place),
        "files": unneeded + len(unentered),
    }


def delete_removed(place: Place) -> int:
    """Delete portraits that were removed too long ago to be brought back.

    Parameters
    ----------
    place : Place

    Returns
    -------
    int
        How many.
    """
    with place.database.reading() as session:
        portraits = overdue(session)
    for portrait_id in portraits:
        with suppress(NotFoundError):
            delete_portrait(place.database, place.files, portrait_id, "service")
    return len(portraits)


def prune_audit(place: Place) -> int:
    """Delete rows of the audit whose time is over.

    Parameters
    ----------
    place : Place

    Returns
    -------
    int
        How many.
    """
    refused = (Audit.actor == NOBODY) & (Audit.at < now() - REFUSALS_KEPT)
    with place.database.writing() as session:
        gone = session.execute(delete(Audit).where(refused | (Audit.at < now() - AUDIT_KEPT)))
    return int(gone.rowcount)  # type: ignore[attr-defined]


def end_uploads(place: Place) -> int:
    """End uploads whose time is over, with their parts.

    Parameters
    ----------
    place : Place

    Returns
    -------
    int
        How many.
    """
    with place.database.writing() as session:
        over = session.scalars(select(Upload).where(Upload.expires_at < now())).all()
        for upload in over:
            session.delete(upload)
    for upload in over:
        place.files.delete_upload(upload.shoot_id, upload.id)
    return len(over)


def end_lost_parts(place: Place) -> int:
    """Delete parts of uploads that are no longer known.

    Parameters
    ----------
    place : Place

    Returns
    -------
    int
        Of how many uploads.
    """
    lying = {
        (shoot, name.split("/")[1])
        for shoot, name, _, _ in place.files.listing()
        if name.startswith(f"{UPLOADS}/")
    }
    with place.database.reading() as session:
        known = set(session.scalars(select(Upload.id)))
    lost = [(shoot, upload) for shoot, upload in lying if upload not in known]
    for shoot, upload in lost:
        place.files.delete_upload(shoot, upload)
    return len(lost)


def forget_old_runs(kept: timedelta = KEPT) -> int:
    """Delete durable runs that ended long ago; the jobs they were of stay.

    Parameters
    ----------
    kept : timedelta
        How long a run stays after its end.

    Returns
    -------
    int
        How many, `MOST_AT_ONCE` at most.
    """
    ended = DBOS.list_workflows(
        status=["SUCCESS", "ERROR", "CANCELLED"],
        completed_before=(now() - kept).isoformat(),
        limit=MOST_AT_ONCE,
        load_input=False,
        load_output=False,
    )
    if ended:
        DBOS.delete_workflows([run.workflow_id for run in ended])
    return len(ended)


def fail_lost_jobs(place: Place) -> int:
    """End jobs whose durable run ended without them.

    Parameters
    ----------
    place : Place

    Returns
    -------
    int
        How many.
    """
    with place.database.reading() as session:
        old = now() - timedelta(seconds=YOUNG_S)
        jobs = list(
            session.scalars(select(Job.id).where(Job.state.not_in(OVER), Job.created_at < old))
        )
    runs = DBOS.list_workflows(workflow_ids=jobs, load_output=False) if jobs else []
    alive = {run.workflow_id for run in runs if run.status in ("PENDING", "ENQUEUED", "DELAYED")}
    lost = [job for job in jobs if job not in alive]
    with place.database.writing() as session:
        for job in session.scalars(
            select(Job).where(Job.id.in_(lost), Job.state.not_in(OVER)).with_for_update()
        ):
            job.state, job.finished_at = State.FAILED.value, now()
            job.trouble = "The work could not be ended: records or files did not answer for long."
            job.advice = "Try again."
    return len(lost)
