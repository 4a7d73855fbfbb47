"""The HTTP application."""

from __future__ import annotations

from typing import Any

from fastapi import FastAPI
from fastapi.openapi.utils import get_openapi

from evenhand.jobs.place import Place
from evenhand.web import guard, problems
from evenhand.web.access import Service
from evenhand.web.admin_routes import open_router
from evenhand.web.admin_routes import router as admin
from evenhand.web.burn_routes import router as burns
from evenhand.web.by_hand_routes import router as by_hand
from evenhand.web.change_routes import router as asked_changes
from evenhand.web.final_routes import router as finals
from evenhand.web.image_routes import router as images
from evenhand.web.job_routes import router as jobs
from evenhand.web.limits import BodyLimits
from evenhand.web.overview_routes import router as overview
from evenhand.web.page_routes import router as pages
from evenhand.web.permission_routes import router as permissions
from evenhand.web.portrait_routes import LARGEST_MASK
from evenhand.web.portrait_routes import router as portraits
from evenhand.web.proof_routes import client
from evenhand.web.proof_routes import router as proofs
from evenhand.web.selection_routes import router as selections
from evenhand.web.settings import ServiceSettings
from evenhand.web.shoot_routes import router as shoots
from evenhand.web.strength_routes import router as strengths
from evenhand.web.studio_routes import router as studio
from evenhand.web.tiles_routes import router as tiles
from evenhand.web.tone_routes import router as tones
from evenhand.web.upload_routes import largest
from evenhand.web.upload_routes import router as uploads

VERSION = "1"
"""Of the API; it is the first part of every path, and changes when a caller would notice."""

ABOUT = (
    "Restrained skin retouching for portraits, by permission only. Every change is a layer with a "
    "cap that can be taken off. No medical device: a mark that changes, bleeds or grows belongs "
    "before a doctor."
)
"""What the description of the API says first."""


def create_app(place: Place, settings: ServiceSettings) -> FastAPI:
    """The application of a place.

    Parameters
    ----------
    place : Place
        Records, files and the retoucher.
    settings : ServiceSettings
        Limits.

    Returns
    -------
    FastAPI
    """
    app = FastAPI(
        title="Evenhand",
        version=VERSION,
        description=ABOUT,
        docs_url=None,  # the usual pages load scripts from elsewhere
        redoc_url=None,
        openapi_url="/openapi.json",
        telemetry={"auto_configure": False, "logs": False},  # see evenhand.web.traces
    )
    app.state.service = Service.at(place, settings)
    problems.install(app)
    app.add_middleware(BodyLimits, files=files_in(app.state.service))
    guard.install(app, app.state.service)
    for router in (
        shoots,
        uploads,
        portraits,
        images,
        tiles,
        overview,
        selections,
        tones,
        permissions,
        proofs,
        client,
        asked_changes,
        burns,
        by_hand,
        strengths,
        finals,
        jobs,
        studio,
        admin,
        open_router,
        pages,
    ):
        app.include_router(router)
    app.openapi = lambda: _described(app)  # type: ignore[method-assign]
    return app


def files_in(service: Service) -> tuple[tuple[str, str, int], ...]:
    """Routes that take files: method, path and bytes of the largest.

    Parameters
    ----------
    service : Service

    Returns
    -------
    tuple of (str, str, int)
        Paths are regular expressions.
    """
    return (
        ("POST", "/v1/shoots/[^/]+/portraits", largest(service)),
        ("PATCH", "/v1/uploads/[^/]+", largest(service)),
        ("POST", "/v1/people/[^/]+/mask-edits", LARGEST_MASK),
    )


def _described(app: FastAPI) -> dict[str, Any]:
    """The description, with problems as the only shape of errors."""
    if app.openapi_schema is None:
        schema = get_openapi(
            title=app.title,
            version=app.version,
            description=app.description,
            routes=app.routes,
        )
        schemas = schema["components"]["schemas"]
        schemas["Problem"] = problems.Problem.model_json_schema()
        schemas.pop("HTTPValidationError", None)
        schemas.pop("ValidationError", None)
        app.openapi_schema = schema
    return app.openapi_schema
