"""Places to test at: SQLite with a folder, and PostgreSQL with an S3-compatible store."""

from __future__ import annotations

import time
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import pytest
from dbos import DBOS
from fastapi.testclient import TestClient

from evenhand.jobs import queue
from evenhand.jobs.job import OVER
from evenhand.jobs.place import Place, addresses_in
from evenhand.jobs.queue import JobWorker
from evenhand.shoots import tokens
from evenhand.shoots.tables import Job
from evenhand.web.app import create_app
from evenhand.web.settings import ServiceSettings
from tests.jobs.plain_retoucher import Plain, picture
from tests.jobs.servers import PATIENCE_S, PostgreSQL, postgres_programs, postgresql, s3_store

KINDS = ("embedded", "servers")


def runs(job_id: str, *status: str) -> list[str]:
    """Durable runs of a job, those in a status where one is named."""
    found = DBOS.list_workflows(workflow_ids=[job_id], status=list(status) or None)
    return [run.workflow_id for run in found]


@pytest.fixture(scope="session")
def postgres() -> Iterator[PostgreSQL]:
    """A PostgreSQL server of this test run."""
    if postgres_programs() is None:
        pytest.skip("PostgreSQL is not installed (Debian: apt-get install postgresql)")
    with postgresql() as server:
        yield server


@pytest.fixture(scope="session")
def bucket(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """Address of an S3-compatible store of this test run."""
    with s3_store(tmp_path_factory.mktemp("s3") / "server") as address:
        yield address


@pytest.fixture(scope="module", params=KINDS)
def addresses(
    request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory
) -> tuple[str, str]:
    """Addresses of empty records and files, of both kinds in turn."""
    if request.param == "embedded":
        return addresses_in(tmp_path_factory.mktemp("place"))
    postgres: PostgreSQL = request.getfixturevalue("postgres")
    place, _, query = request.getfixturevalue("bucket").partition("?")
    records = postgres.database()
    return records, f"{place}/{records.rpartition('/')[2]}?{query}"


@pytest.fixture(scope="module")
def place(addresses: tuple[str, str]) -> Iterator[Place]:
    """Records and files with the plain retoucher."""
    place = Place.at(*addresses, Plain())
    yield place
    place.database.close()


@dataclass
class Studio:
    """A running service with one worker, and short ways through it for tests."""

    place: Place
    http: TestClient
    secret: str

    def as_bearer(self, secret: str) -> dict[str, str]:
        """Headers of a token."""
        return {"Authorization": f"Bearer {secret}"}

    def get(self, path: str, **more: Any) -> Any:
        """JSON of a path, which must be there."""
        response = self.http.get(path, **more)
        assert response.is_success, response.text
        return response.json()

    def post(self, path: str, **more: Any) -> Any:
        """JSON of what a path answers, which must be a success."""
        response = self.http.post(path, **more)
        assert response.is_success, response.text
        return response.json()

    def put(self, path: str, **more: Any) -> Any:
        """The same for PUT."""
        response = self.http.put(path, **more)
        assert response.is_success, response.text
        return response.json()

    def wait(self, job_id: str, within_s: float = PATIENCE_S) -> Job:
        """A job when it is over, and its run too, which takes away what is not needed any more."""
        deadline = time.monotonic() + within_s
        while time.monotonic() < deadline:
            with self.place.database.reading() as session:
                job = session.get_one(Job, job_id)
            if job.state in OVER and not runs(job_id, "ENQUEUED", "PENDING"):
                return job
            time.sleep(0.05)
        raise AssertionError(f"{job.kind} is still {job.state}: {job.doing}")

    def settle(self, shoot_id: str) -> None:
        """Wait until no job of a shoot is waiting or running."""
        for job in self.get(f"/v1/shoots/{shoot_id}/jobs"):
            self.wait(job["id"])

    def shoot(self, name: str = "Summer regatta") -> str:
        """A new shoot."""
        return str(self.post("/v1/shoots", json={"name": name, "client": "Rowing club"})["id"])

    def portrait(self, shoot_id: str, seed: int = 0, name: str = "a.png") -> str:
        """A portrait in which people were found."""
        path = f"/v1/shoots/{shoot_id}/portraits?name={name}"
        added = self.post(path, content=picture(seed))
        assert self.wait(added["job"]).state == "done"
        return str(added["portrait"]["id"])

    def named(self, portrait_id: str, *names: str) -> list[str]:
        """Name the people of a portrait; gives their identifiers."""
        people = [person["id"] for person in self.get(f"/v1/portraits/{portrait_id}/people")]
        for person, name in zip(people, names, strict=False):
            self.put(f"/v1/people/{person}", json={"name": name})
        return people

    def agree(self, shoot_id: str, name: str, *steps: str, **more: Any) -> None:
        """Record a permission and wait for the layers."""
        body = {"name": name, "steps": list(steps), **more}
        self.post(f"/v1/shoots/{shoot_id}/permissions", json=body)
        self.settle(shoot_id)

    def proof(self, shoot_id: str, *portraits: str) -> tuple[str, dict[str, str]]:
        """A proof, and the headers of its link."""
        made = self.post(f"/v1/shoots/{shoot_id}/proofs", json={"portraits": list(portraits)})
        return made["proof"]["id"], self.as_bearer(made["link"]["token"])

    def sign(self, portrait_id: str, link: dict[str, str], **more: Any) -> Any:
        """Look at a portrait as the client does, and sign it off."""
        path = f"/v1/proof/portraits/{portrait_id}"
        seen = self.http.get(f"{path}/picture", headers=link)
        assert seen.status_code == 200, seen.text
        body = {"rendering": seen.headers["Rendering"], "signed_by": "Mara", **more}
        return self.post(f"{path}/sign-off", headers=link, json=body)


@pytest.fixture(scope="module")
def studio(place: Place) -> Iterator[Studio]:
    """A running service."""
    settings = ServiceSettings(requests_per_minute=100_000, guesses_per_minute=1000)
    app = create_app(place, settings)
    worker = JobWorker(place)
    with pytest.MonkeyPatch.context() as quickly:
        quickly.setattr(queue, "LOOK_EVERY_S", 0.1)
        worker.start()
    with place.database.writing() as session:
        _, secret = tokens.make(session, tokens.Scope.STUDIO, "test")
    with TestClient(app, headers={"Authorization": f"Bearer {secret}"}) as http:
        yield Studio(place, http, secret)
    worker.stop()


__all__ = ["addresses", "bucket", "place", "postgres", "studio"]
