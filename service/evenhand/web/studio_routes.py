"""The studio's name and mark, which its clients see at the head of their pages."""

from __future__ import annotations

import io
from base64 import b64decode, b64encode
from typing import Any

from fastapi import APIRouter, Request, Response
from fastapi.concurrency import run_in_threadpool
from PIL import Image, ImageOps
from sqlalchemy.orm import Session

from evenhand.errors import UnreadablePhotographError
from evenhand.shoots import tables
from evenhand.shoots.errors import NotFoundError, UploadTooLargeError
from evenhand.web import models
from evenhand.web.access import Anybody, Here, Service, Studio
from evenhand.web.image_routes import PNG
from evenhand.web.limits import LARGEST_JSON
from evenhand.web.problems import described
from evenhand.web.receiving import received
from evenhand.web.views import studio_out

LARGEST_MARK = LARGEST_JSON
"""Bytes of a mark that is sent."""

MOST_PIXELS = 4096 * 4096
"""Of a mark that is sent; more is refused before it is decoded."""

KEPT_SIZE = (960, 320)
"""Width and height in pixels that a mark is kept within: three times what the pages show."""

FORMATS = ("PNG", "JPEG")
"""What a mark may be. Drawings with scripts in them are not among them."""

SENT: dict[str, Any] = {
    "requestBody": {
        "required": True,
        "content": {
            kind: {"schema": {"type": "string", "format": "binary"}}
            for kind in ("image/png", "image/jpeg")
        },
    }
}

router = APIRouter(prefix="/v1", tags=["studio"])


@router.get("/studio", responses=described())
def get_studio(service: Here, caller: Studio) -> models.StudioOut:
    """The studio's name, and whether it has a mark."""
    with service.place.database.reading() as session:
        return studio_out(session)


@router.put("/studio", responses=described())
def set_studio(body: models.StudioIn, service: Here, caller: Studio) -> models.StudioOut:
    """Set the studio's name; an empty one shows none."""
    with service.place.database.writing() as session:
        _studio(session).name = body.name
        session.flush()
        return studio_out(session)


@router.put(
    "/studio/mark",
    responses=described(UnreadablePhotographError, UploadTooLargeError),
    openapi_extra=SENT,
)
async def set_mark(request: Request, service: Here, caller: Studio) -> models.StudioOut:
    """Set the studio's mark, a PNG or JPEG; it is made smaller and kept without its metadata."""
    async with received(request, LARGEST_MARK) as have:
        data = await run_in_threadpool(have.path.read_bytes)
    return await run_in_threadpool(_enter, service, data)


@router.delete("/studio/mark", responses=described())
def remove_mark(service: Here, caller: Studio) -> models.StudioOut:
    """Show no mark."""
    with service.place.database.writing() as session:
        _studio(session).mark = None
        session.flush()
        return studio_out(session)


@router.get("/studio/mark", response_class=Response, responses=described(NotFoundError) | PNG)
def get_mark(service: Here, caller: Anybody) -> Response:
    """The studio's mark, for its own pages and those of every link."""
    with service.place.database.reading() as session:
        studio = session.get(tables.Studio, 1)
        if studio is None or studio.mark is None:
            raise NotFoundError("The studio has no mark.", "Show its name.")
        return Response(b64decode(studio.mark), media_type="image/png")


def checked_mark(data: bytes) -> bytes:
    """A mark that was sent, as it is kept: a small PNG without metadata.

    Parameters
    ----------
    data : bytes

    Returns
    -------
    bytes

    Raises
    ------
    UnreadablePhotographError
        It is no PNG or JPEG, is broken, or has too many pixels.
    """
    try:
        with Image.open(io.BytesIO(data), formats=FORMATS) as picture:
            if picture.width * picture.height > MOST_PIXELS:
                raise UnreadablePhotographError(
                    f"The mark has {picture.width} x {picture.height} pixels.",
                    f"Send one of at most {MOST_PIXELS // 10**6} megapixels.",
                )
            mark = ImageOps.exif_transpose(picture).convert("RGBA")
    except (OSError, ValueError, SyntaxError, Image.DecompressionBombError):
        raise UnreadablePhotographError(
            "The mark is no picture that can be read.", "Send a PNG or JPEG."
        ) from None
    mark.thumbnail(KEPT_SIZE)
    out = io.BytesIO()
    Image.frombytes("RGBA", mark.size, mark.tobytes()).save(out, "PNG", optimize=True)
    return out.getvalue()


def _enter(service: Service, data: bytes) -> models.StudioOut:
    mark = checked_mark(data)
    with service.place.database.writing() as session:
        _studio(session).mark = b64encode(mark).decode()
        session.flush()
        return studio_out(session)


def _studio(session: Session) -> tables.Studio:
    """The one row, made where there is none yet."""
    studio = session.get(tables.Studio, 1)
    if studio is None:
        studio = tables.Studio(id=1, name="")
        session.add(studio)
    return studio
