"""A portrait whose people are still to be found."""

from __future__ import annotations

from evenhand.jobs.job import Kind
from evenhand.jobs.place import Place
from evenhand.jobs.queue import Queue
from evenhand.shoots import record, storage, tables
from tests.jobs.plain_retoucher import picture


def waiting_portrait(place: Place, jobs: Queue, seed: int) -> str:
    """Enter a portrait into a shoot of its own; the identifier of the job that finds people in it.

    Parameters
    ----------
    place : Place
        Records and files.
    jobs : Queue
        Where the job waits.
    seed : int
        Of the picture.
    """
    data = picture(seed)
    with place.database.writing() as session:
        shoot = tables.Shoot(name="Regatta")
        session.add(shoot)
        session.flush()
        record.append(session, shoot.id, "test", "shoot made")
        stored = place.files.put(shoot.id, data)
        storage.enter(session, place.files, shoot.id, stored, data, "image/png")
        row = tables.Portrait(
            shoot_id=shoot.id, name="a.png", sha256=stored.sha256, size=stored.size,
            media_type="image/png",
        )  # fmt: skip
        session.add(row)
        session.flush()
        return jobs.add(session, Kind.FIND, shoot.id, row.id).id
