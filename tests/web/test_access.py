"""Tokens, scopes, limits, headers, and what stays out of logs and records."""

from __future__ import annotations

import json
from collections.abc import Iterator
from datetime import timedelta
from types import SimpleNamespace
from typing import Any

import pytest
from fastapi.testclient import TestClient
from sqlalchemy import select

from evenhand.errors import EvenhandError
from evenhand.jobs.place import Place, addresses_in
from evenhand.jobs.tidying import prune_audit
from evenhand.shoots import tables, tokens
from evenhand.web import access
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
    http, _, _ = quiet
    answers = [http.get("/v1/shoots", headers=bearer(f"guess {n}")).status_code for n in range(5)]
    assert answers == [401, 401, 401, 429, 429]


def test_guesses_never_lock_out_whoever_has_a_token(
    quiet: tuple[TestClient, Place, str],
) -> None:
    """Twenty wrong tokens from one address; the right one opens there all the same."""
    http, _, secret = quiet
    for number in range(20):
        http.get("/v1/shoots", headers=bearer(f"guess {number}"))
        http.get("/v1/shoots")
    assert http.get("/v1/shoots", headers=bearer(secret)).status_code == 200
    assert http.get("/v1/shoots", headers=bearer("guess again")).status_code == 429


def test_the_same_wrong_token_is_looked_up_a_few_times(
    quiet: tuple[TestClient, Place, str], monkeypatch: pytest.MonkeyPatch
) -> None:
    http, _, secret = quiet
    looked_up, look_up = [], access._looked_up

    def counting(*args: Any) -> Any:
        looked_up.append(args)
        return look_up(*args)

    monkeypatch.setattr(access, "_looked_up", counting)
    for _ in range(50):
        assert http.get("/v1/shoots", headers=bearer("wrong")).status_code in (401, 429)
    assert len(looked_up) == access.SAME_WRONG
    assert http.get("/v1/shoots", headers=bearer(secret)).status_code == 200


def test_refusals_are_counted_in_the_audit_not_listed_without_end(
    quiet: tuple[TestClient, Place, str], monkeypatch: pytest.MonkeyPatch
) -> None:
    http, place, _ = quiet
    clock = SimpleNamespace(monotonic=lambda: clock.now, now=0.0)
    monkeypatch.setattr("evenhand.web.logs.time", clock)
    for number in range(500):
        http.get("/v1/shoots", headers=bearer(f"guess {number}"))
    clock.now = 61.0
    http.get("/v1/shoots", headers=bearer("once more"))
    with place.database.reading() as session:
        rows = session.scalars(select(tables.Audit).order_by(tables.Audit.id)).all()
    assert len(rows) < 100
    told = sum(row.facts.get("refusals_not_listed_before", 0) for row in rows)
    assert len(rows) + told == 501


def test_old_rows_of_the_audit_go(quiet: tuple[TestClient, Place, str]) -> None:
    _, place, _ = quiet
    with place.database.writing() as session:
        for actor, days in (("nobody", 31), ("nobody", 29), ("studio 1", 31), ("studio 1", 1100)):
            at = tables.now() - timedelta(days=days)
            session.add(tables.Audit(at=at, actor=actor, action="", subject=str(days), outcome=""))
    assert prune_audit(place) == 2
    with place.database.reading() as session:
        left = {(row.actor, row.subject) for row in session.scalars(select(tables.Audit))}
    assert left == {("nobody", "29"), ("studio 1", "31")}


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
    assert http.get("/ready").json() == {"records": True, "files": True, "space": True}
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


def test_studio_tokens_end_and_can_be_renewed(
    quiet: tuple[TestClient, Place, str], monkeypatch: pytest.MonkeyPatch
) -> None:
    http, _, secret = quiet
    made = http.post("/v1/tokens", headers=bearer(secret), json={"label": "second"}).json()
    assert made["token"]["expires_at"] is not None
    for token in http.get("/v1/tokens", headers=bearer(secret)).json():
        assert token["expires_at"] is not None
    body = {"label": "for ever", "lasts_days": None}
    assert http.post("/v1/tokens", headers=bearer(secret), json=body).status_code == 422
    renewed = http.post("/v1/tokens/renewal", headers=bearer(made["secret"])).json()["secret"]
    assert http.get("/v1/shoots", headers=bearer(renewed)).status_code == 200
    assert http.get("/v1/shoots", headers=bearer(made["secret"])).status_code == 200
    later = tables.now() + timedelta(hours=2)
    monkeypatch.setattr(tokens, "now", lambda: later)
    assert http.get("/v1/shoots", headers=bearer(made["secret"])).status_code == 401
    assert http.get("/v1/shoots", headers=bearer(renewed)).status_code == 200
    later += tokens.STUDIO_LASTS
    assert http.get("/v1/shoots", headers=bearer(renewed)).status_code == 401
