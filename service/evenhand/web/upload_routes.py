"""Resumable uploads: tus 1.0.0 with creation, expiration, checksum and termination."""

from __future__ import annotations

import base64
import binascii
import hashlib
import secrets
from datetime import timedelta
from email.utils import format_datetime
from pathlib import Path
from typing import Annotated

from fastapi import APIRouter, Header, Request, Response
from fastapi.concurrency import run_in_threadpool
from sqlalchemy import select

from evenhand.errors import EvenhandError, UnreadablePhotographError, WrongSettingError
from evenhand.shoots import names, storage, tables
from evenhand.shoots.errors import (
    NotFoundError,
    UploadGoneError,
    UploadTooLargeError,
    WrongChecksumError,
    WrongOffsetError,
)
from evenhand.web import models
from evenhand.web.access import Here, Service, Studio
from evenhand.web.problems import described
from evenhand.web.receiving import add_portrait, received, too_large

TUS = "1.0.0"
"""The version of the protocol."""

EXTENSIONS = "creation,expiration,checksum,termination"
"""Parts of the protocol beyond its core."""

CHECKSUMS = ("sha1", "sha256")
"""Algorithms a part's checksum may use."""

CHECKSUM_MISMATCH = 460
"""The protocol's own status."""

router = APIRouter(prefix="/v1", tags=["uploads"])

Version = Annotated[str, Header(alias="Tus-Resumable", pattern=r"^1\.0\.0$", examples=[TUS])]
Length = Annotated[int, Header(alias="Upload-Length", ge=1, le=2**53, examples=[1048576])]
Offset = Annotated[int, Header(alias="Upload-Offset", ge=0, le=2**53, examples=[0])]


@router.options("/shoots/{shoot_id}/uploads", status_code=204, responses=described())
def describe_uploads(shoot_id: models.Id, service: Here, caller: Studio) -> Response:
    """What the server can do."""
    return Response(
        status_code=204,
        headers={
            "Tus-Resumable": TUS,
            "Tus-Version": TUS,
            "Tus-Extension": EXTENSIONS,
            "Tus-Max-Size": str(largest(service)),
            "Tus-Checksum-Algorithm": ",".join(CHECKSUMS),
        },
    )


@router.post(
    "/shoots/{shoot_id}/uploads",
    status_code=201,
    response_class=Response,
    responses=described(NotFoundError, UploadTooLargeError, WrongSettingError),
)
def begin_upload(
    shoot_id: models.Id,
    service: Here,
    caller: Studio,
    version: Version,
    length: Length,
    metadata: Annotated[
        str,
        Header(
            alias="Upload-Metadata",
            max_length=4096,
            examples=["filename SU1HXzIwNDEuanBn"],
            description="filename in base64.",
        ),
    ] = "",
) -> Response:
    """Begin an upload; its place comes in the Location header."""
    if length > largest(service):
        raise too_large(largest(service))
    with service.place.database.writing() as session:
        storage.lock(session, shoot_id)
        upload = tables.Upload(
            shoot_id=shoot_id,
            name=names.base(metadata_of(metadata).get("filename", "portrait")),
            length=length,
            expires_at=tables.now() + timedelta(hours=service.settings.upload_hours),
        )
        session.add(upload)
        session.flush()
        return Response(
            status_code=201,
            headers={"Location": f"/v1/uploads/{upload.id}", "Tus-Resumable": TUS}
            | _expires(upload),
        )


@router.head(
    "/uploads/{upload_id}",
    status_code=200,
    response_class=Response,
    responses=described(NotFoundError, UploadGoneError),
)
def look_at_upload(
    upload_id: models.Id, service: Here, caller: Studio, version: Version
) -> Response:
    """How much has come."""
    upload = _upload(service, upload_id)
    upload = _finished(service, upload, caller.actor)
    return Response(headers=_standing(upload) | {"Cache-Control": "no-store"})


@router.get("/uploads/{upload_id}", responses=described(NotFoundError, UploadGoneError))
def get_upload(upload_id: models.Id, service: Here, caller: Studio) -> models.UploadOut:
    """How much has come, and which portrait it became."""
    return models.UploadOut.model_validate(
        {name: getattr(_upload(service, upload_id), name) for name in models.UploadOut.model_fields}
    )


@router.patch(
    "/uploads/{upload_id}",
    status_code=204,
    responses=described(
        NotFoundError,
        WrongOffsetError,
        UploadGoneError,
        UploadTooLargeError,
        UnreadablePhotographError,
        WrongChecksumError,
    )
    | {CHECKSUM_MISMATCH: {"description": "Checksum mismatch"}},
    openapi_extra={
        "requestBody": {
            "required": True,
            "content": {
                "application/offset+octet-stream": {
                    "schema": {"type": "string", "format": "binary"}
                }
            },
        }
    },
)
async def add_part(
    upload_id: models.Id,
    request: Request,
    service: Here,
    caller: Studio,
    version: Version,
    offset: Offset,
    checksum: Annotated[
        str, Header(alias="Upload-Checksum", max_length=200, examples=["sha256 BASE64"])
    ] = "",
) -> Response:
    """Add a part; the last one makes a portrait, whose identifier comes in the Portrait header."""
    if request.headers.get("content-type", "") != "application/offset+octet-stream":
        raise WrongSettingError(
            "A part's content type is another one.", "Send application/offset+octet-stream."
        )
    upload = await run_in_threadpool(_upload, service, upload_id)
    if offset != upload.offset:
        raise _wrong_offset(upload.offset)
    algorithm, digest = checksum_of(checksum)
    hashes = (algorithm,) if algorithm else ()
    async with received(request, upload.length - offset, hashes, in_parts=True) as part:
        if algorithm and (part.broken_off or part.hashes[algorithm].digest() != digest):
            return Response(status_code=CHECKSUM_MISMATCH, headers={"Tus-Resumable": TUS})
        upload = await run_in_threadpool(_enter_part, service, upload, offset, part.path, part.size)
    upload = await run_in_threadpool(_finished, service, upload, caller.actor)
    return Response(status_code=204, headers=_standing(upload))


@router.delete(
    "/uploads/{upload_id}", status_code=204, responses=described(NotFoundError, UploadGoneError)
)
def end_upload(upload_id: models.Id, service: Here, caller: Studio, version: Version) -> Response:
    """End an upload and delete what has come."""
    upload = _upload(service, upload_id)
    with service.place.database.writing() as session:
        row = session.get(tables.Upload, upload.id)
        if row is not None:
            session.delete(row)
    service.place.files.delete_upload(upload.shoot_id, upload.id)
    return Response(status_code=204, headers={"Tus-Resumable": TUS})


def largest(service: Service) -> int:
    """Bytes of the largest file.

    Parameters
    ----------
    service : Service

    Returns
    -------
    int
    """
    return service.settings.largest_upload_mb * 1024 * 1024


def metadata_of(header: str) -> dict[str, str]:
    """Key and value pairs of an Upload-Metadata header.

    Parameters
    ----------
    header : str
        Keys and base64 values, separated by commas (tus 1.0, creation).

    Returns
    -------
    dict of str to str

    Raises
    ------
    WrongSettingError
        It is malformed.
    """
    pairs = {}
    for pair in filter(None, (part.strip() for part in header.split(","))):
        key, _, value = pair.partition(" ")
        try:
            pairs[key] = base64.b64decode(value.strip(), validate=True).decode()
        except (binascii.Error, UnicodeDecodeError, ValueError):
            raise WrongSettingError(
                "The Upload-Metadata header is malformed.", "Send 'filename BASE64'."
            ) from None
    return pairs


def checksum_of(header: str) -> tuple[str, bytes]:
    """Algorithm and digest of an Upload-Checksum header; both empty without one.

    Parameters
    ----------
    header : str
        Algorithm and base64 digest (tus 1.0, checksum); may be empty.

    Returns
    -------
    algorithm : str
    digest : bytes

    Raises
    ------
    WrongChecksumError
        The algorithm is not known, or the digest is none.
    """
    if not header:
        return "", b""
    algorithm, _, value = header.partition(" ")
    try:
        digest = base64.b64decode(value, validate=True)
    except (binascii.Error, ValueError):
        digest = b""
    if algorithm not in CHECKSUMS or not digest:
        raise WrongChecksumError(
            "The Upload-Checksum header cannot be used.",
            f"Send one of {', '.join(CHECKSUMS)} and the digest in base64.",
        )
    return algorithm, digest


def _upload(service: Service, upload_id: str) -> tables.Upload:
    with service.place.database.reading() as session:
        upload = session.get(tables.Upload, upload_id)
    if upload is None:
        raise NotFoundError("There is no such upload.", "Begin a new one.")
    if upload.expires_at < tables.now():
        raise UploadGoneError("The upload's time is over.", "Begin a new one.")
    return upload


def _enter_part(
    service: Service, upload: tables.Upload, offset: int, path: Path, size: int
) -> tables.Upload:
    """Store a part and enter it, if the upload still stands where it began."""
    with path.open("rb") as file:
        name = f"{secrets.token_hex(8)}-{hashlib.file_digest(file, 'sha256').hexdigest()}"
    if size:
        service.place.files.put_part(upload.shoot_id, upload.id, name, path)
    with service.place.database.writing() as session:
        storage.lock(session, upload.shoot_id)
        row = session.scalars(
            select(tables.Upload).where(tables.Upload.id == upload.id).with_for_update()
        ).first()
        if row is None:
            raise NotFoundError("There is no such upload.", "Begin a new one.")
        if row.offset != offset:
            raise _wrong_offset(row.offset)
        row.offset += size
        row.parts = [*row.parts, name] if size else row.parts
        return row


def _finished(service: Service, upload: tables.Upload, actor: str) -> tables.Upload:
    """Make the portrait of an upload that has come whole; may be asked again at any time."""
    if upload.offset < upload.length or upload.portrait_id is not None:
        return upload
    files = service.place.files
    with files.temporary() as folder:
        whole = folder / "whole"
        try:
            with whole.open("wb") as file:
                for name in upload.parts:
                    for piece in files.part_pieces(upload.shoot_id, upload.id, name):
                        file.write(piece)
            added = add_portrait(service, upload.shoot_id, upload.name, whole, actor)
        except EvenhandError:
            _forget(service, upload)
            raise
    with service.place.database.writing() as session:
        row = session.get(tables.Upload, upload.id)
        if row is not None:
            row.portrait_id, row.parts = added.portrait.id, []
            upload = row
    files.delete_upload(upload.shoot_id, upload.id)
    return upload


def _forget(service: Service, upload: tables.Upload) -> None:
    with service.place.database.writing() as session:
        row = session.get(tables.Upload, upload.id)
        if row is not None:
            session.delete(row)
    service.place.files.delete_upload(upload.shoot_id, upload.id)


def _wrong_offset(offset: int) -> WrongOffsetError:
    return WrongOffsetError(f"The upload stands at {offset} bytes.", "Ask where it stands first.")


def _standing(upload: tables.Upload) -> dict[str, str]:
    headers = {
        "Tus-Resumable": TUS,
        "Upload-Offset": str(upload.offset),
        "Upload-Length": str(upload.length),
    } | _expires(upload)
    return headers | ({"Portrait": upload.portrait_id} if upload.portrait_id else {})


def _expires(upload: tables.Upload) -> dict[str, str]:
    return {"Upload-Expires": format_datetime(upload.expires_at, usegmt=True)}
