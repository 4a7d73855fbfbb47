"""Tokens, scopes, limits, headers, and what stays out of logs and records."""

from __future__ import annotations

import json
from collections.abc import Iterator
from types import SimpleNamespace

import pytest
from fastapi.testclient import TestClient
from sqlalchemy import select

from evenhand.errors import EvenhandError
from evenhand.jobs.place import Place, addresses_in
from evenhand.shoots import tables, tokens
from evenhand.web.app import create_app
from evenhand.web.serving import ExposedError, Listening
from evenhand.web.settings import ServiceSettings
from tests.jobs.plain_retoucher import Plain, picture


@pytest.fixture
def quiet(
    tmp_path: object, monkeypatch: pytest.MonkeyPatch
) -> Iterator[tuple[TestClient, Place, str]]:
    """A service without a worker and with tight limits, counted in a minute that does not end."""
    stopped = SimpleNamespace(time=lambda: 1_000_000_000.0)
    monkeypatch.setattr("limits.storage.memory.time", stopped)
    place = Place.at(*addresses_in(tmp_path), Plain())  # type: ignore[arg-type]
    with place.database.writing() as session:
        _, secret = tokens.make(session, tokens.Scope.STUDIO, "test")
    settings = ServiceSettings(requests_per_minute=30, guesses_per_minute=3, largest_upload_mb=1)
    with TestClient(create_app(place, settings)) as http:
        yield http, place, secret


def bearer(secret: str) -> dict[str, str]:
    """Headers of a token."""
    return {"Authorization": f"Bearer {secret}"}


def test_without_a_token_nothing_opens(quiet: tuple[TestClient, Place, str]) -> None:
    http, _, _ = quiet
    refused = http.get("/v1/shoots")
    assert refused.status_code == 401
    assert refused.headers["WWW-Authenticate"] == "Bearer"
    assert refused.headers["Content-Type"] == "application/problem+json"


def test_guessing_tokens_ends_soon(quiet: tuple[TestClient, Place, str]) -> None:
    http, _, secret = quiet
    answers = [http.get("/v1/shoots", headers=bearer(f"guess {n}")).status_code for n in range(5)]
    assert answers == [401, 401, 401, 429, 429]
    assert http.get("/v1/shoots", headers=bearer(secret)).status_code == 429


def test_asking_too_often_is_refused(quiet: tuple[TestClient, Place, str]) -> None:
    http, _, secret = quiet
    answers = [http.get("/v1/shoots", headers=bearer(secret)).status_code for _ in range(31)]
    assert answers == [200] * 30 + [429]


def test_tokens_are_kept_only_as_hashes(quiet: tuple[TestClient, Place, str]) -> None:
    http, place, secret = quiet
    made = http.post("/v1/tokens", headers=bearer(secret), json={"label": "second"}).json()
    for value in (secret, made["secret"]):
        assert len(value.removeprefix(tokens.PREFIX)) >= 43  # 32 random bytes in base64
        with place.database.reading() as session:
            for token in session.scalars(select(tables.Token)):
                assert value not in json.dumps(
                    {c.name: str(getattr(token, c.name)) for c in tables.Token.__table__.columns}
                )
    database = place.database.url.database
    assert database is not None
    with open(database, "rb") as file:
        assert secret.encode() not in file.read()


def test_a_revoked_or_expired_token_opens_nothing(quiet: tuple[TestClient, Place, str]) -> None:
    http, place, secret = quiet
    made = http.post(
        "/v1/tokens", headers=bearer(secret), json={"label": "short", "lasts_days": 1}
    ).json()
    assert http.get("/v1/shoots", headers=bearer(made["secret"])).status_code == 200
    http.delete(f"/v1/tokens/{made['token']['id']}", headers=bearer(secret))
    assert http.get("/v1/shoots", headers=bearer(made["secret"])).status_code == 401
    with place.database.writing() as session:
        token = session.get_one(tables.Token, made["token"]["id"])
        token.revoked_at, token.expires_at = None, tables.now()
    assert http.get("/v1/shoots", headers=bearer(made["secret"])).status_code == 401


def test_files_and_texts_have_limits(quiet: tuple[TestClient, Place, str]) -> None:
    http, place, secret = quiet
    headers = bearer(secret)
    shoot = http.post("/v1/shoots", headers=headers, json={"name": "Regatta"}).json()["id"]
    large = picture(0) + bytes(1024 * 1024)
    path = f"/v1/shoots/{shoot}/portraits"
    assert http.post(path, headers=headers, content=large).status_code == 413
    pieces = iter([large[:1000], large[1000:]])
    assert http.post(path, headers=headers, content=pieces).status_code == 413
    assert list(place.files.listing(shoot)) == []
    long = json.dumps({"name": "a" * 2_000_000})
    assert (
        http.post(
            "/v1/shoots", headers=headers | {"Content-Type": "application/json"}, content=long
        ).status_code
        == 413
    )


def test_every_response_bears_security_headers(quiet: tuple[TestClient, Place, str]) -> None:
    http, _, secret = quiet
    for response in (
        http.get("/health"),
        http.get("/v1/shoots"),
        http.get("/v1/shoots", headers=bearer(secret)),
        http.get("/nowhere"),
    ):
        assert response.headers["X-Content-Type-Options"] == "nosniff"
        assert response.headers["Referrer-Policy"] == "no-referrer"
        assert "frame-ancestors 'none'" in response.headers["Content-Security-Policy"]
        assert "no-store" in response.headers["Cache-Control"]


def test_the_audit_names_no_person_and_no_token(quiet: tuple[TestClient, Place, str]) -> None:
    http, _, secret = quiet
    headers = bearer(secret)
    shoot = http.post("/v1/shoots", headers=headers, json={"name": "Regatta of Mara"}).json()["id"]
    body = {"name": "Mara", "steps": ["redness"]}
    http.post(f"/v1/shoots/{shoot}/permissions", headers=headers, json=body)
    http.get("/v1/shoots")
    rows = http.get("/v1/audit", headers=headers).json()
    actions = {row["action"]: row["outcome"] for row in rows}
    assert actions["POST /v1/shoots/{shoot_id}/permissions"] == "201"
    assert actions["GET /v1/shoots"] == "401"
    assert "Mara" not in json.dumps(rows)
    assert secret not in json.dumps(rows)


def test_health_ready_and_metrics(quiet: tuple[TestClient, Place, str]) -> None:
    http, _, _ = quiet
    assert http.get("/health").json() == {"health": "alive"}
    assert http.get("/ready").json() == {"records": True, "files": True}
    measures = http.get("/metrics").text
    assert 'evenhand_jobs{state="waiting"}' in measures
    assert "evenhand_requests_total" in measures


@pytest.mark.parametrize("host", ["0.0.0.0", "::", "192.0.2.1", "studio.example"])
def test_reachable_from_elsewhere_only_with_tls(host: str) -> None:
    with pytest.raises(ExposedError):
        Listening(host, 8700).check()
    Listening(host, 8700, tls_in_front=True).check()


@pytest.mark.parametrize("host", ["127.0.0.1", "::1", "localhost", "127.8.8.8"])
def test_loopback_needs_nothing(host: str) -> None:
    Listening(host, 8700).check()


def test_every_error_of_the_user_has_a_place_in_the_table() -> None:
    import evenhand.errors
    import evenhand.shoots.errors
    from evenhand.web.problems import KINDS

    over_http = [
        cls
        for module in (evenhand.errors, evenhand.shoots.errors)
        for cls in vars(module).values()
        if isinstance(cls, type) and issubclass(cls, EvenhandError) and cls is not EvenhandError
    ]
    elsewhere = {
        "NotWrittenError", "WrongPhotographError", "BrokenLayersError", "MissingNetworkError",
        "WrongAddressError", "BackupError",
    }  # fmt: skip
    missing = {cls.__name__ for cls in over_http if cls not in KINDS} - elsewhere
    assert missing == set()
