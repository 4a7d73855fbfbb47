"""Files on their way in: streamed to a temporary file, checked, entered as portraits."""

from __future__ import annotations

import hashlib
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, BinaryIO

from fastapi import Request
from sqlalchemy import select
from starlette.requests import ClientDisconnect

from evenhand.jobs.job import Kind
from evenhand.shoots import names, record, storage, tables
from evenhand.shoots.errors import BrokenOffError, UploadTooLargeError
from evenhand.shoots.files import LEAST_FREE, Files
from evenhand.shoots.media_types import media_type_of
from evenhand.shoots.removal import set_removed
from evenhand.web import models
from evenhand.web.access import Service
from evenhand.web.problems import NoSpaceError
from evenhand.web.views import portrait_out

COPIES = 2
"""How often a file lies on the disk while it comes: as it is received, and as it is stored."""


@dataclass
class Received:
    """What has come: bytes in `file`, how many, and hashes of them."""

    file: BinaryIO
    path: Path
    size: int = 0
    broken_off: bool = False
    hashes: dict[str, Any] = field(default_factory=dict)


@asynccontextmanager
async def received(
    request: Request, most: int, hashes: tuple[str, ...] = (), *, in_parts: bool = False
) -> AsyncIterator[Received]:
    """A request's body in a temporary file; never more than `most` bytes, never all in memory.

    Parameters
    ----------
    request : Request
    most : int
        Bytes of the largest.
    hashes : tuple of str
        Algorithms.
    in_parts : bool
        What came until a connection breaks off is of use by itself.

    Yields
    ------
    Received
        Whole, or what came of it.

    Raises
    ------
    UploadTooLargeError
        More than `most` bytes come, or are announced.
    BrokenOffError
        The connection broke off; never where it is a part.
    """
    announced = request.headers.get("content-length", "")
    if announced.isdigit() and int(announced) > most:
        raise too_large(most)
    _require_space(request.app.state.service, int(announced) if announced.isdigit() else 0)
    files: Files = request.app.state.service.place.files
    with files.temporary() as folder, (folder / "received").open("wb") as file:
        have = Received(file, folder / "received", hashes={h: hashlib.new(h) for h in hashes})
        try:
            async for piece in request.stream():
                have.size += len(piece)
                if have.size > most:
                    raise too_large(most)
                file.write(piece)
                for digest in have.hashes.values():
                    digest.update(piece)
        except ClientDisconnect:
            have.broken_off = True
            if not in_parts:
                raise BrokenOffError(
                    "The connection ended before the whole file had come.", "Send it again."
                ) from None
        file.flush()
        yield have


def _require_space(service: Service, size: int) -> None:
    """Raise `NoSpaceError` unless a file of this size leaves the disk some room."""
    free = service.place.files.free()
    if free is not None and free < LEAST_FREE + COPIES * size:
        raise NoSpaceError("The disk is nearly full.", "Free some space, then send it again.")


def too_large(most: int) -> UploadTooLargeError:
    """The error for a file over the limit.

    Parameters
    ----------
    most : int
        Bytes.

    Returns
    -------
    UploadTooLargeError
        To be raised by the caller.
    """
    return UploadTooLargeError(
        f"The file has more than {most:,} bytes.", "Send a smaller one, or raise the limit."
    )


def add_portrait(
    service: Service, shoot_id: str, name: str, path: Path, actor: str
) -> models.AddedOut:
    """Enter a file as a portrait and the job that finds people in it.

    A file that the shoot has already is not stored twice; one that was removed comes back.

    Parameters
    ----------
    service : Service
    shoot_id : str
    name : str
        As the client sent it.
    path : path
        The file, which stays.
    actor : str
        Who sent it, for the record.

    Returns
    -------
    AddedOut

    Raises
    ------
    UnreadablePhotographError
        It does not begin like a photograph.
    NotFoundError
        There is no such shoot.
    """
    media_type = media_type_of(path)
    place = service.place
    with place.database.reading() as session:
        shoot = session.get(tables.Shoot, shoot_id)
        if shoot is None or shoot.deleting_at is not None:
            storage.lock(session, shoot_id)
    stored = place.files.put(shoot_id, path)
    with place.database.writing() as session:
        storage.enter(session, place.files, shoot_id, stored, path, media_type)
        portrait = session.scalars(
            select(tables.Portrait).where(
                tables.Portrait.shoot_id == shoot_id, tables.Portrait.sha256 == stored.sha256
            )
        ).first()
        if portrait is not None:
            set_removed(session, shoot_id, [portrait.id], False, actor)
            out = portrait_out(session, portrait, place.steps)
            return models.AddedOut(portrait=out, job=None, known=True)
        portrait = tables.Portrait(
            shoot_id=shoot_id,
            name=names.base(name),
            sha256=stored.sha256,
            size=stored.size,
            media_type=media_type,
        )
        session.add(portrait)
        session.flush()
        job = service.queue.add(session, Kind.FIND, shoot_id, portrait.id)
        entry = record.append(
            session,
            shoot_id,
            actor,
            "portrait added",
            portrait=portrait.id,
            name=portrait.name,
            sha256=portrait.sha256,
        )
        portrait.number = entry.number
        out = portrait_out(session, portrait, place.steps)
        return models.AddedOut(portrait=out, job=job.id, known=False)
