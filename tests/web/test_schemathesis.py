"""The whole API against its own description, with requests that Schemathesis thinks up."""

from __future__ import annotations

import json
import os
import traceback
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import pytest
import schemathesis
from fastapi import FastAPI
from fastapi.testclient import TestClient
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from schemathesis.checks import CHECKS
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    response_schema_conformance,
    status_code_conformance,
)
from sqlalchemy import select

from evenhand.jobs.place import Place
from evenhand.jobs.work import do
from evenhand.shoots import tables, tokens
from evenhand.web.app import create_app
from evenhand.web.settings import ServiceSettings
from tests.jobs.plain_retoucher import picture

pytestmark = pytest.mark.slow

EXAMPLES = int(os.environ.get("EVENHAND_TEST_EXAMPLES", "8"))
"""Requests thought up for each operation; raise it for a longer look."""

CHECKED = [
    *CHECKS.get_by_names(["not_a_server_error"]),
    status_code_conformance,
    content_type_conformance,
    response_schema_conformance,
]


@schemathesis.serializer("application/offset+octet-stream")
def as_it_is(context: object, value: object) -> bytes:
    """A part of an upload is sent as it is."""
    return value if isinstance(value, bytes) else str(value).encode()


def work_off(place: Place) -> None:
    """Do every waiting job here and now."""
    with place.database.reading() as session:
        jobs = session.scalars(select(tables.Job.id).where(tables.Job.state == "waiting")).all()
    for job in jobs:
        do(place, job)


@dataclass(frozen=True)
class Known:
    """What requests can meet: rows by the name of their identifier, tokens by scope."""

    ids: dict[str, str]
    secrets: dict[str, str]


def a_shoot(app: FastAPI, place: Place, secret: str) -> Known:
    """A shoot with a portrait, people, layers, marks, a proof and a permission link."""
    with TestClient(app, headers={"Authorization": f"Bearer {secret}"}) as http:
        shoot = http.post("/v1/shoots", json={"name": "Regatta"}).json()["id"]
        added = http.post(f"/v1/shoots/{shoot}/portraits?name=a.png", content=picture(0)).json()
        work_off(place)
        portrait = added["portrait"]["id"]
        person = http.get(f"/v1/portraits/{portrait}/people").json()[0]["id"]
        http.put(f"/v1/people/{person}", json={"name": "Mara"})
        said = {"name": "Mara", "steps": ["redness", "marks"]}
        http.post(f"/v1/shoots/{shoot}/permissions", json=said)
        work_off(place)
        proof = http.post(f"/v1/shoots/{shoot}/proofs", json={"portraits": [portrait]}).json()
        link = http.post(f"/v1/shoots/{shoot}/permission-links", json={"name": "Mara"}).json()
        job = http.post(f"/v1/portraits/{portrait}/final", json={"override": "a test"}).json()
        work_off(place)
        change = ask_for_change(http, portrait, proof["link"]["token"])
        ids = {
            "shoot_id": shoot,
            "portrait_id": portrait,
            "person_id": person,
            "layer_id": http.get(f"/v1/portraits/{portrait}/layers").json()[0]["id"],
            "mark_id": http.get(f"/v1/portraits/{portrait}/marks").json()[0]["id"],
            "final_id": http.get(f"/v1/shoots/{shoot}/finals").json()[0]["id"],
            "change_id": change,
            "job_id": job["id"],
            "region": "full",
            "size": "32,",
        }
    return Known(ids, {"studio": secret, "proof": proof["link"]["token"], "asked": link["token"]})


def ask_for_change(http: TestClient, portrait: str, link: str) -> str:
    """Ask for a change as the client; gives its identifier."""
    path, headers = f"/v1/proof/portraits/{portrait}", {"Authorization": f"Bearer {link}"}
    seen = http.get(f"{path}/picture", headers=headers).headers["Rendering"]
    body = {"rendering": seen, "asked_by": "Mara", "words": "Less, please."}
    return str(http.post(f"{path}/changes", headers=headers, json=body).json()["id"])


@pytest.fixture(scope="module")
def app(place: Place) -> FastAPI:
    """The application with a shoot that requests can meet."""
    limits = ServiceSettings(requests_per_minute=100_000, guesses_per_minute=1000)
    app = create_app(place, limits)
    with place.database.writing() as session:
        _, secret = tokens.make(session, tokens.Scope.STUDIO, "test")
    app.state.known = a_shoot(app, place, secret)
    return app


def operations(app: FastAPI) -> Iterator[schemathesis.APIOperation]:
    """Every operation of the description but the stream of events."""
    for result in schemathesis.openapi.from_asgi("/openapi.json", app).get_all_operations():
        operation = result.ok()
        if not operation.path.endswith("/events"):  # see test_jobs_over_http
            yield operation


def asked(operation: schemathesis.APIOperation, known: Known) -> Callable[[], None]:
    """What asks an operation again and again, and compares its answers with the description."""
    scope = operation.path.split("/")[2] if operation.path.startswith("/v1/") else ""
    secret = known.secrets.get(scope, known.secrets["studio"])
    headers = {"Authorization": f"Bearer {secret}"}

    @settings(
        max_examples=EXAMPLES, deadline=None, derandomize=True,
        suppress_health_check=list(HealthCheck), database=None,
    )  # fmt: skip
    @given(case=operation.as_strategy(), meet=st.booleans())
    def ask(case: schemathesis.Case, meet: bool) -> None:
        for name, value in known.ids.items():
            if meet and name in case.path_parameters and case.method != "DELETE":
                case.path_parameters[name] = value
        case.call_and_validate(headers=headers, checks=CHECKED)

    return ask


def test_every_answer_is_as_described(app: FastAPI) -> None:
    wrong = {}
    every = list(operations(app))
    for operation in every:
        try:
            asked(operation, app.state.known)()
        except (Exception, BaseExceptionGroup) as error:
            wrong[operation.label] = "".join(traceback.format_exception(error, limit=0))
    assert len(every) > 50
    assert not wrong, "\n\n".join(f"{label}: {trouble}" for label, trouble in wrong.items())


def test_the_description_is_openapi_3_1_with_examples(app: FastAPI) -> None:
    description = app.openapi()
    assert description["openapi"].startswith("3.1.")
    assert "example" in json.dumps(description)
    for path, operations in description["paths"].items():
        for method, operation in operations.items():
            told = operation["responses"]
            if path.startswith("/v1/") and not path.startswith("/v1/problems"):
                assert {"401", "403", "429", "503"} <= set(told), (method, path)
