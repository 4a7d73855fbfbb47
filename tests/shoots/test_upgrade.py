"""Records of an earlier version are brought to this one: nothing lost, in the order told."""

from __future__ import annotations

import json
from datetime import timedelta
from pathlib import Path

import pytest
from alembic import command
from alembic.config import Config
from sqlalchemy import text

from evenhand.jobs.place import Place, addresses_in
from evenhand.shoots import record, sign_offs, tables
from evenhand.shoots.database import MIGRATIONS, Database
from tests.jobs.plain_retoucher import Plain
from tests.jobs.servers import PostgreSQL

SHOOT, PORTRAIT, PROOF, TOKEN = ("a" * 32, "b" * 32, "c" * 32, "d" * 32)
FIRST, SECOND = "e" * 32, "f" * 32


@pytest.fixture(params=["embedded", "servers"])
def older(request: pytest.FixtureRequest, tmp_path: Path) -> tuple[str, str]:
    """Addresses of records as the first version left them: two sign-offs, the clock set between."""
    records, files = addresses_in(tmp_path)
    if request.param == "servers":
        postgres: PostgreSQL = request.getfixturevalue("postgres")
        records = postgres.database()
    database = Database(records)
    config = Config()
    config.set_main_option("script_location", str(MIGRATIONS))
    at = tables.now()
    with database.engine.connect().execution_options(writes=True) as session, session.begin():
        config.attributes["connection"] = session
        command.upgrade(config, "0001")

        def insert(table: str, **values: object) -> None:
            names = ", ".join(f'"{name}"' for name in values)
            places = ", ".join(f":{name}" for name in values)
            session.execute(text(f'INSERT INTO "{table}" ({names}) VALUES ({places})'), values)

        insert("shoot", id=SHOOT, name="Regatta", client="", created_at=at)
        insert(
            "portrait", id=PORTRAIT, shoot_id=SHOOT, name="a.png", sha256="0" * 64, size=1,
            media_type="image/png", created_at=at,
        )  # fmt: skip
        insert("proof", id=PROOF, shoot_id=SHOOT, strengths="[1.0]", message="", created_at=at)
        insert("token", id=TOKEN, sha256="1" * 64, scope="studio", label="old", created_at=at)
        previous = "0" * 64
        told = [("portrait added", {"portrait": PORTRAIT})]
        for number, (one, hours) in enumerate(((FIRST, 0), (SECOND, -1)), 2):
            insert(
                "sign_off", id=one, proof_id=PROOF, portrait_id=PORTRAIT, signed_by="Mara",
                note="", choices="[]", state_sha256="2" * 64, image_sha256="3" * 64,
                rendering="4" * 64, signed_at=at + timedelta(hours=hours),
            )  # fmt: skip
            told.append(("signed off", {"sign_off": one, "entry": number}))
        for number, (action, facts) in enumerate(told, 1):
            entry = tables.Record(
                shoot_id=SHOOT, number=number, at=at, actor="test", action=action, facts=facts,
                previous=previous,
            )  # fmt: skip
            previous = record.seal(entry)
            insert(
                "record", shoot_id=SHOOT, number=number, at=at, actor="test", action=action,
                facts=json.dumps(facts), previous=entry.previous, sha256=previous,
            )  # fmt: skip
    database.close()
    return records, files


def test_an_earlier_versions_records_go_on(older: tuple[str, str]) -> None:
    place = Place.at(*older, Plain())
    with place.database.reading() as session:
        latest = sign_offs.latest(session, PORTRAIT)
        assert latest is not None
        assert (latest.id, latest.number) == (SECOND, 3)
        assert session.get_one(tables.Portrait, PORTRAIT).number == 1
        shoot = session.get_one(tables.Shoot, SHOOT)
        assert record.is_whole(session, shoot, record.entries(session, SHOOT))
        assert session.get_one(tables.Token, TOKEN).expires_at is not None
    with place.database.writing() as session:
        assert record.append(session, SHOOT, "test", "went on").number == 4
    place.database.close()
