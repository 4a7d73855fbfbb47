"""Errors as problem details (RFC 9457), from one table."""

from __future__ import annotations

import logging
from dataclasses import dataclass
from http import HTTPStatus
from typing import Any

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse
from obstore.exceptions import BaseError
from pydantic import BaseModel, ConfigDict, Field
from sqlalchemy.exc import DBAPIError, OperationalError
from starlette.exceptions import HTTPException

from evenhand import errors
from evenhand.errors import EvenhandError
from evenhand.shoots import errors as records
from evenhand.shoots.outages import outage_of


class TooManyError(EvenhandError):
    """Asked too often."""


class TooSlowError(EvenhandError):
    """The request came too slowly."""


class NoSpaceError(EvenhandError):
    """There is no room for what was sent."""


MEDIA_TYPE = "application/problem+json"
"""RFC 9457, section 3."""

RETRY_AFTER_S = 2
"""When to ask again for what is not ready, seconds."""

log = logging.getLogger(__name__)


@dataclass(frozen=True)
class Kind:
    """A kind of problem.

    Attributes
    ----------
    slug : str
        Last part of its type.
    status : HTTPStatus
    title : str
        The same for every problem of the kind.
    """

    slug: str
    status: HTTPStatus
    title: str


KINDS: dict[type[Exception], Kind] = {
    errors.UnreadablePhotographError: Kind(
        "unreadable-photograph", HTTPStatus.UNPROCESSABLE_ENTITY, "Not a readable photograph"
    ),
    errors.UnsupportedPhotographError: Kind(
        "unsupported-photograph", HTTPStatus.UNPROCESSABLE_ENTITY, "Not a supported photograph"
    ),
    errors.PhotographTooLargeError: Kind(
        "photograph-too-large", HTTPStatus.UNPROCESSABLE_ENTITY, "Too many pixels"
    ),
    errors.WrongSettingError: Kind(
        "wrong-setting", HTTPStatus.UNPROCESSABLE_ENTITY, "Wrong setting"
    ),
    records.TokenRefusedError: Kind("token-refused", HTTPStatus.UNAUTHORIZED, "Token refused"),
    records.OutOfScopeError: Kind("out-of-scope", HTTPStatus.FORBIDDEN, "Not for this token"),
    records.NoPermissionError: Kind("no-permission", HTTPStatus.FORBIDDEN, "No permission"),
    records.GuardianNeededError: Kind(
        "guardian-needed", HTTPStatus.UNPROCESSABLE_ENTITY, "A guardian must agree"
    ),
    records.NotFoundError: Kind("not-found", HTTPStatus.NOT_FOUND, "Not found"),
    records.StaleError: Kind("stale", HTTPStatus.CONFLICT, "Changed since it was shown"),
    records.NoSignOffError: Kind("no-sign-off", HTTPStatus.CONFLICT, "No valid sign-off"),
    # The status is that of RFC 4918, section 11.3.
    records.LockedError: Kind("locked", HTTPStatus.LOCKED, "Signed and locked"),
    records.NotReadyError: Kind("not-ready", HTTPStatus.CONFLICT, "Not ready yet"),
    records.ConflictError: Kind("conflict", HTTPStatus.CONFLICT, "Contradicts the records"),
    records.UploadTooLargeError: Kind(
        "upload-too-large", HTTPStatus.REQUEST_ENTITY_TOO_LARGE, "Upload too large"
    ),
    records.WrongOffsetError: Kind("wrong-offset", HTTPStatus.CONFLICT, "Wrong offset"),
    records.WrongChecksumError: Kind(
        "wrong-checksum", HTTPStatus.UNPROCESSABLE_ENTITY, "Wrong checksum"
    ),
    records.UploadGoneError: Kind("upload-gone", HTTPStatus.GONE, "Upload gone"),
    records.DamagedFileError: Kind(
        "damaged-file", HTTPStatus.SERVICE_UNAVAILABLE, "A stored file is damaged"
    ),
    records.BrokenOffError: Kind("broken-off", HTTPStatus.BAD_REQUEST, "Broken off"),
    NoSpaceError: Kind("no-space", HTTPStatus.INSUFFICIENT_STORAGE, "No space left"),
    TooSlowError: Kind("too-slow", HTTPStatus.REQUEST_TIMEOUT, "Too slow"),
    TooManyError: Kind("too-many-requests", HTTPStatus.TOO_MANY_REQUESTS, "Too many requests"),
    OperationalError: Kind(
        "records-away", HTTPStatus.SERVICE_UNAVAILABLE, "Records or files do not answer"
    ),
    RequestValidationError: Kind(
        "malformed-request", HTTPStatus.UNPROCESSABLE_ENTITY, "Malformed request"
    ),
}
"""What a caller gets for each error."""

FAULT = Kind("fault", HTTPStatus.INTERNAL_SERVER_ERROR, "A fault of the service")
"""For an error nobody foresaw."""

LISTED = {kind.slug: kind for kind in (*KINDS.values(), FAULT)}
"""Every kind of problem of Evenhand's own, by slug."""


class Problem(BaseModel):
    """Problem details (RFC 9457)."""

    model_config = ConfigDict(
        json_schema_extra={
            "example": {
                "type": "/v1/problems/no-permission",
                "title": "No permission",
                "status": 403,
                "detail": "Mara has not agreed to smoothing.",
                "advice": "Ask, and record the permission first.",
            }
        }
    )

    type: str = Field(description="Path of a page on this kind of problem, or about:blank.")
    title: str = Field(description="The kind of problem in short.")
    status: int = Field(description="The HTTP status.")
    detail: str = Field(description="What is wrong here.")
    advice: str = Field("", description="What to do about it.")
    where: list[dict[str, Any]] | None = Field(
        None, description="Of a malformed request: the places that are wrong."
    )


def answer(kind: Kind, detail: str, advice: str = "", **more: Any) -> JSONResponse:
    """A problem as a response.

    Parameters
    ----------
    kind : Kind
    detail : str
        What is wrong this time.
    advice : str
        What to do.
    **more
        Further members of the problem.

    Returns
    -------
    JSONResponse
        With what the status asks for in its headers (RFC 9110).
    """
    headers = {}
    if kind.status in (HTTPStatus.SERVICE_UNAVAILABLE, HTTPStatus.TOO_MANY_REQUESTS) or (
        kind.slug == "not-ready"
    ):
        headers["Retry-After"] = str(RETRY_AFTER_S)
    if kind.status == HTTPStatus.UNAUTHORIZED:
        headers["WWW-Authenticate"] = "Bearer"
    problem = Problem(
        type=f"/v1/problems/{kind.slug}",
        title=kind.title,
        status=int(kind.status),
        detail=detail,
        advice=advice,
        **more,
    )
    return JSONResponse(
        problem.model_dump(exclude_none=True), int(kind.status), headers, media_type=MEDIA_TYPE
    )


def install(app: FastAPI) -> None:
    """Let every error of an app be answered as a problem.

    Parameters
    ----------
    app : FastAPI
    """

    @app.exception_handler(EvenhandError)
    def evenhand(request: Request, error: EvenhandError) -> JSONResponse:
        kind = next((KINDS[cls] for cls in type(error).__mro__ if cls in KINDS), FAULT)
        return answer(kind, error.trouble, error.advice)

    @app.exception_handler(RequestValidationError)
    def malformed(request: Request, error: RequestValidationError) -> JSONResponse:
        where = [
            {"at": ".".join(map(str, one["loc"])), "trouble": one["msg"]} for one in error.errors()
        ]
        first = where[0]
        detail = f"{first['at']}: {first['trouble']}."
        return answer(
            KINDS[RequestValidationError], detail, "Compare with /openapi.json.", where=where
        )

    @app.exception_handler(HTTPException)
    def http(request: Request, error: HTTPException) -> JSONResponse:
        title = HTTPStatus(error.status_code).phrase
        problem = Problem(
            type="about:blank", title=title, status=error.status_code, detail=str(error.detail)
        )
        return JSONResponse(
            problem.model_dump(exclude_none=True),
            error.status_code,
            error.headers,
            media_type=MEDIA_TYPE,
        )

    @app.exception_handler(DBAPIError)
    @app.exception_handler(OSError)
    @app.exception_handler(BaseError)
    def away(request: Request, error: Exception) -> JSONResponse:
        outage = outage_of(error)
        if outage is None:
            return fault(request, error)
        log.warning("%s (%s)", outage.trouble, error)
        kind = KINDS[NoSpaceError if outage.no_space else OperationalError]
        return answer(kind, outage.trouble, outage.advice)

    @app.exception_handler(Exception)
    def fault(request: Request, error: Exception) -> JSONResponse:
        log.error("a fault", exc_info=error)
        return answer(FAULT, "Something went wrong that nobody foresaw.", "Look at the log.")


def described(*kinds: type[Exception] | Kind) -> dict[int | str, dict[str, Any]]:
    """Responses for a route's description, one for each status among these kinds.

    Parameters
    ----------
    *kinds : type of Exception or Kind
        What the route may answer besides what any may.

    Returns
    -------
    dict
        By status, as FastAPI takes them.
    """
    found = [KINDS[kind] if isinstance(kind, type) else kind for kind in kinds]
    always = [
        KINDS[records.TokenRefusedError],
        KINDS[records.OutOfScopeError],
        KINDS[RequestValidationError],
        KINDS[TooManyError],
        KINDS[OperationalError],
    ]
    by_status: dict[int | str, dict[str, Any]] = {}
    for kind in (*always, *found):
        told = by_status.setdefault(int(kind.status), {"model": Problem, "description": ""})
        if kind.title not in told["description"]:
            told["description"] = "; ".join(filter(None, (told["description"], kind.title)))
        told["content"] = {MEDIA_TYPE: {"schema": {"$ref": "#/components/schemas/Problem"}}}
    return by_status
