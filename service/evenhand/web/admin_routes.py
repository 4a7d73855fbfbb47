"""Tokens, audit, kinds of problems, health and metrics over HTTP."""

from __future__ import annotations

from datetime import timedelta
from typing import Annotated, Any

from fastapi import APIRouter, Path, Query, Response
from fastapi.responses import JSONResponse, PlainTextResponse
from prometheus_client import CONTENT_TYPE_LATEST, generate_latest
from sqlalchemy import select

from evenhand.shoots import tables, tokens
from evenhand.shoots.errors import NotFoundError
from evenhand.web import models
from evenhand.web.access import Here, Studio
from evenhand.web.measures import REGISTRY, count_jobs, measure_space
from evenhand.web.problems import LISTED, described

router = APIRouter(prefix="/v1", tags=["studio"])
open_router = APIRouter(tags=["service"])


@router.post("/tokens", status_code=201, responses=described())
def make_token(body: models.TokenIn, service: Here, caller: Studio) -> models.TokenMadeOut:
    """Make a studio token; its secret is told this once."""
    lasts = timedelta(days=body.lasts_days)
    with service.place.database.writing() as session:
        token, secret = tokens.make(session, tokens.Scope.STUDIO, body.label, lasts=lasts)
        return models.TokenMadeOut(token=models.TokenOut.model_validate(token), secret=secret)


@router.post("/tokens/renewal", status_code=201, responses=described())
def renew_token(service: Here, caller: Studio) -> models.TokenMadeOut:
    """Renew the token that this is asked with; the old one still opens for an hour."""
    with service.place.database.writing() as session:
        token, secret = tokens.renew(session, session.get_one(tables.Token, caller.id))
        return models.TokenMadeOut(token=models.TokenOut.model_validate(token), secret=secret)


@router.get("/tokens", responses=described())
def list_tokens(service: Here, caller: Studio) -> list[models.TokenOut]:
    """All tokens, without their secrets."""
    with service.place.database.reading() as session:
        rows = session.scalars(select(tables.Token).order_by(tables.Token.created_at)).all()
        return [models.TokenOut.model_validate(row) for row in rows]


@router.delete("/tokens/{token_id}", responses=described(NotFoundError))
def revoke_token(token_id: models.Id, service: Here, caller: Studio) -> models.TokenOut:
    """Revoke a token or link at once."""
    with service.place.database.writing() as session:
        token = session.get(tables.Token, token_id)
        if token is None:
            raise NotFoundError("There is no such token.", "List the tokens.")
        token.revoked_at = token.revoked_at or tables.now()
        return models.TokenOut.model_validate(token)


@router.get("/audit", responses=described())
def read_audit(
    service: Here, caller: Studio, last: Annotated[int, Query(ge=1, le=5000)] = 200
) -> list[models.AuditOut]:
    """Who asked the service for what, the newest first."""
    with service.place.database.reading() as session:
        rows = session.scalars(select(tables.Audit).order_by(tables.Audit.id.desc()).limit(last))
        return [models.AuditOut.model_validate(row) for row in rows.all()]


@open_router.get("/v1/problems/{slug}", responses=described(NotFoundError))
def explain_problem(
    slug: Annotated[str, Path(max_length=60, examples=["no-permission"])],
) -> dict[str, Any]:
    """What a kind of problem is."""
    if slug not in LISTED:
        raise NotFoundError("There is no such kind of problem.", "See a problem's type.")
    kind = LISTED[slug]
    return {"type": f"/v1/problems/{slug}", "title": kind.title, "status": int(kind.status)}


@open_router.get("/health")
async def health() -> dict[str, str]:
    """Whether the process lives."""
    return {"health": "alive"}


@open_router.get("/ready", responses={503: {"description": "Not ready"}})
def ready(service: Here) -> JSONResponse:
    """Whether records and files can be written, and the disk has room."""
    answers = service.readiness.now()
    return JSONResponse(answers, 200 if all(answers.values()) else 503)


@open_router.get("/metrics", response_class=PlainTextResponse)
def metrics(service: Here) -> Response:
    """Measures for Prometheus; no names, no pictures."""
    count_jobs(service.place.database)
    measure_space(service.place.files)
    return Response(generate_latest(REGISTRY), media_type=CONTENT_TYPE_LATEST)
