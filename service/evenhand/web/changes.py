"""What follows from a change: work to do, files to delete, pictures to forget."""

from __future__ import annotations

from sqlalchemy import select
from sqlalchemy.orm import Session

from evenhand.jobs.job import Kind
from evenhand.shoots import storage
from evenhand.shoots.inputs import inputs_of
from evenhand.shoots.sign_offs import is_locked
from evenhand.shoots.tables import Job, Person, Portrait
from evenhand.web.access import Service


def follow(session: Session, service: Service, portrait: Portrait) -> Job | None:
    """Enter the job that brings a portrait's layers up to date; None where they are.

    What is signed and locked waits until it is unlocked.

    Parameters
    ----------
    session : Session
    service : Service
    portrait : Portrait

    Returns
    -------
    Job or None
    """
    session.flush()
    session.refresh(portrait)
    if portrait.found_at is None or portrait.trouble or is_locked(session, portrait):
        return None
    if inputs_of(session, portrait, service.place.steps).key == portrait.layers_key:
        return None
    return service.queue.add(session, Kind.LAYERS, portrait.shoot_id, portrait.id)


def follow_name(session: Session, service: Service, shoot_id: str, name: str) -> list[Job]:
    """The same for every portrait of a shoot with a person of this name.

    Parameters
    ----------
    session : Session
    service : Service
    shoot_id : str
    name : str

    Returns
    -------
    list of Job
    """
    portraits = session.scalars(
        select(Portrait)
        .join(Person)
        .where(Portrait.shoot_id == shoot_id, Person.name == name)
        .distinct()
    )
    jobs = [follow(session, service, portrait) for portrait in portraits.all()]
    return [job for job in jobs if job is not None]


def clear(service: Service, shoot_id: str) -> list[str]:
    """Delete files that nothing names any more, rows too, and forget pictures made from them.

    Parameters
    ----------
    service : Service
    shoot_id : str

    Returns
    -------
    list of str
        Hashes of the files.
    """
    service.previews.forget()
    gone = storage.sweep(service.place.database, service.place.files, shoot_id)
    service.place.database.forget_deleted()
    return gone
