"""Around every request: security headers, measures, log and audit."""

from __future__ import annotations

import secrets
import time
from collections.abc import Awaitable, Callable
from typing import Any

import structlog
from fastapi import FastAPI, Request, Response
from fastapi.concurrency import run_in_threadpool
from sqlalchemy.exc import DBAPIError

from evenhand.jobs.tidying import NOBODY
from evenhand.shoots.tables import Audit
from evenhand.web.access import Caller, Service
from evenhand.web.measures import REQUESTS, SECONDS

HEADERS = {
    "Content-Security-Policy": "default-src 'self'; img-src 'self' blob: data:; "
    "object-src 'none'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), geolocation=(), microphone=()",
    "Referrer-Policy": "no-referrer",
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
}
"""On every response."""

STRICT_TRANSPORT = "max-age=31536000"
"""Where the request came by TLS."""

log = structlog.get_logger()

Next = Callable[[Request], Awaitable[Response]]


def install(app: FastAPI, service: Service) -> None:
    """Put the guard around an app.

    Parameters
    ----------
    app : FastAPI
    service : Service
        Where what was done is noted.
    """

    @app.middleware("http")
    async def guard(request: Request, call_next: Next) -> Response:
        began, number = time.perf_counter(), secrets.token_hex(8)
        structlog.contextvars.bind_contextvars(request=number)
        response = await call_next(request)
        for name, value in HEADERS.items():
            response.headers.setdefault(name, value)
        response.headers.setdefault("Cache-Control", "no-store")
        response.headers["X-Request-Id"] = number
        if request.url.scheme == "https":
            response.headers["Strict-Transport-Security"] = STRICT_TRANSPORT
        await _note(service, request, response, time.perf_counter() - began)
        structlog.contextvars.clear_contextvars()
        return response


async def _note(service: Service, request: Request, response: Response, seconds: float) -> None:
    """Count, log and audit a request; the path is logged by its pattern, tokens never."""
    route = request.scope.get("route")
    pattern = getattr(route, "path", "unknown")
    REQUESTS.labels(request.method, pattern, str(response.status_code)).inc()
    SECONDS.labels(pattern).observe(seconds)
    caller: Caller | None = getattr(request.state, "caller", None)
    log.info(
        "request",
        method=request.method,
        route=pattern,
        status=response.status_code,
        ms=round(seconds * 1000, 1),
        actor=caller.actor if caller else None,
    )
    if _audited(request, response, caller):
        left_out = 0
        if caller is None:
            before = service.refusals.left_out_before(response.status_code)
            if before is None:
                return
            left_out = before
        await run_in_threadpool(_audit, service, request, response, pattern, caller, left_out)


def _audited(request: Request, response: Response, caller: Caller | None) -> bool:
    """Whatever changes something, whatever a link does, and every refusal."""
    if response.status_code in (401, 403, 429):
        return True
    if caller is None or request.method == "PATCH":
        return False
    return request.method not in ("GET", "HEAD", "OPTIONS")


def _audit(
    service: Service,
    request: Request,
    response: Response,
    pattern: str,
    caller: Caller | None,
    left_out: int,
) -> None:
    ids: dict[str, Any] = dict(request.path_params)
    row = Audit(
        actor=caller.actor if caller else NOBODY,
        action=f"{request.method} {pattern}"[:255],
        subject=next((str(value) for key, value in ids.items() if key.endswith("_id")), "")[:255],
        outcome=str(response.status_code),
        facts={"refusals_not_listed_before": left_out} if left_out else {},
    )
    try:
        with service.place.database.writing() as session:
            session.add(row)
    except DBAPIError as error:
        log.error("not audited", error=str(error.orig))
