"""A full disk: jobs wait and say why, uploads are refused, and all goes on when there is space."""

from __future__ import annotations

import errno
import os
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import httpx
import pytest
from obstore.exceptions import GenericError
from PIL import UnidentifiedImageError
from sqlalchemy.exc import IntegrityError, OperationalError

from evenhand.errors import NotWrittenError, UnreadablePhotographError
from evenhand.jobs import work
from evenhand.jobs.job import MOST_DEATHS, begin
from evenhand.jobs.place import Place, addresses_in
from evenhand.jobs.queue import Queue
from evenhand.jobs.work import do
from evenhand.shoots import tables, tokens
from evenhand.shoots.files import LEAST_FREE
from evenhand.shoots.outages import (
    DISK_FULL,
    FILES_AWAY,
    READ_ONLY,
    RECORDS_AWAY,
    RECORDS_DAMAGED,
    outage_of,
)
from tests.jobs.forgetful_disk import available, command, forgetful_disk
from tests.jobs.plain_retoucher import Plain, picture
from tests.jobs.servers import PATIENCE_S, free_port
from tests.jobs.waiting import waiting_portrait

pytestmark = pytest.mark.slow

needs_disk = pytest.mark.skipif(not available(), reason="no file system in user space (fuse3)")


@dataclass
class Service:
    """A service whose data lie on a disk that can be filled."""

    http: httpx.Client
    disk: Path
    place: Place
    gate: Path

    def fill(self) -> None:
        """Leave no room, whatever is freed."""
        command(self.disk, f"room {-(10**9)}")

    def free(self) -> None:
        """Leave room again."""
        command(self.disk, f"room {1 << 40}")

    def until(self, condition: Callable[[], bool]) -> None:
        """Wait for something to become true."""
        deadline = time.monotonic() + PATIENCE_S
        while not condition():
            assert time.monotonic() < deadline, "waited too long"
            time.sleep(0.2)

    def job(self, job: str) -> Any:
        """A job."""
        return self.http.get(f"/v1/jobs/{job}").json()


@pytest.fixture
def service(tmp_path: Path) -> Iterator[Service]:
    """A web process and a worker."""
    with forgetful_disk(tmp_path / "disk") as disk:
        records, files = addresses_in(disk / "data")
        place = Place.at(records, files, Plain())
        with place.database.writing() as session:
            _, secret = tokens.make(session, tokens.Scope.STUDIO, "test")
        port, gate = free_port(), tmp_path / "gate"
        processes = [
            subprocess.Popen([sys.executable, "-m", *line], stderr=subprocess.DEVNULL)
            for line in (
                ["tests.jobs.plain_web", records, files, str(port)],
                ["tests.jobs.plain_worker", records, files, "0", "5", str(gate)],
            )
        ]
        headers = {"Authorization": f"Bearer {secret}"}
        url = f"http://127.0.0.1:{port}"
        with httpx.Client(base_url=url, headers=headers, timeout=PATIENCE_S) as http:
            service = Service(http, disk, place, gate)
            service.until(lambda: _answers(http))
            yield service
        for process in processes:
            process.kill()
            process.wait()
        place.database.close()


def _answers(http: httpx.Client) -> bool:
    try:
        return http.get("/health").status_code == 200
    except httpx.HTTPError:
        return False


@needs_disk
def test_a_job_waits_for_space_and_goes_on(service: Service) -> None:
    http = service.http
    service.gate.touch()
    shoot = http.post("/v1/shoots", json={"name": "Regatta"}).json()["id"]
    added = http.post(f"/v1/shoots/{shoot}/portraits", content=picture(501)).json()
    service.until(lambda: service.job(added["job"])["state"] == "running")
    service.fill()
    service.gate.unlink()
    time.sleep(6)  # longer than a worker may be silent here
    waiting = service.job(added["job"])
    assert waiting.get("state") == "running", waiting
    assert "The disk is full" in waiting["doing"]
    assert http.get("/ready").status_code == 503
    service.free()
    service.until(lambda: service.job(added["job"])["state"] not in ("running", "waiting"))
    done = service.job(added["job"])
    assert (done["state"], done["trouble"]) == ("done", None)
    service.until(lambda: http.get("/ready").status_code == 200)


@needs_disk
def test_what_cannot_be_stored_is_refused_with_the_reason(service: Service) -> None:
    http = service.http
    shoot = http.post("/v1/shoots", json={"name": "Regatta"}).json()["id"]
    command(service.disk, f"room {LEAST_FREE // 2}")
    nearly = http.post(f"/v1/shoots/{shoot}/portraits", content=picture(502))
    assert (nearly.status_code, nearly.json()["title"]) == (507, "No space left")
    assert http.get("/ready").json()["space"] is False
    service.fill()
    full = [http.post("/v1/shoots", json={"name": f"Shoot {n} {'x' * 150}"}) for n in range(100)]
    refused = [answer for answer in full if answer.status_code != 201]
    assert refused
    assert {answer.status_code for answer in refused} == {507}
    assert "disk is full" in refused[0].json()["detail"]
    service.free()
    assert http.post("/v1/shoots", json={"name": "Again"}).status_code == 201
    kept = {shoot["id"] for shoot in http.get("/v1/shoots").json()}
    assert {answer.json()["id"] for answer in full if answer.status_code == 201} <= kept


@pytest.fixture
def place(tmp_path: Path) -> Iterator[Place]:
    """Records and files of its own."""
    place = Place.at(*addresses_in(tmp_path), Plain())
    yield place
    place.database.close()


@pytest.mark.parametrize(
    "error",
    [
        OSError(errno.ENOSPC, "No space left on device"),
        OSError(errno.EIO, "Input/output error"),
        GenericError("Generic S3 error: connection refused"),
        OperationalError("INSERT", {}, Exception("database or disk is full")),
    ],
)
def test_however_often_it_cannot_a_job_is_done_in_the_end(
    place: Place, monkeypatch: pytest.MonkeyPatch, error: Exception
) -> None:
    """More often than a worker may die, and than a durable run is begun again."""
    monkeypatch.setattr(work, "SHORTEST_PAUSE_S", 0.001)
    monkeypatch.setattr(work, "LONGEST_PAUSE_S", 0.001)
    job_id, put, told = waiting_portrait(place, Queue(place.database), 503), place.files.put, set()
    times = iter(range(40))

    def failing(shoot: str, source: Any) -> Any:
        with place.database.reading() as session:
            told.add(session.get_one(tables.Job, job_id).waits_for)
        if next(times, None) is not None:
            raise error
        return put(shoot, source)

    monkeypatch.setattr(place.files, "put", failing)
    do(place, job_id)
    with place.database.reading() as session:
        job = session.get_one(tables.Job, job_id)
    assert (job.state, job.attempt, job.deaths, job.waits_for) == ("done", 1, 0, "")
    assert len(told - {""}) == 0 or outage_of(error).trouble in "".join(told)  # type: ignore[union-attr]


def test_a_worker_restarted_while_it_waits_did_not_die_of_the_job(place: Place) -> None:
    job_id = waiting_portrait(place, Queue(place.database), 503)
    for _ in range(3 * MOST_DEATHS):
        run = begin(place.database, job_id)
        assert run is not None
        run.waiting(DISK_FULL.trouble)
    with place.database.reading() as session:
        job = session.get_one(tables.Job, job_id)
    assert (job.state, job.deaths) == ("running", 0)
    assert job.doing == "waiting: The disk is full."


def test_a_job_short_of_memory_says_so(place: Place, monkeypatch: pytest.MonkeyPatch) -> None:
    def short(photograph: object) -> Any:
        raise MemoryError

    monkeypatch.setattr(place.retoucher, "find", short, raising=False)
    job_id = waiting_portrait(place, Queue(place.database), 503)
    do(place, job_id)
    with place.database.reading() as session:
        job = session.get_one(tables.Job, job_id)
    assert (job.state, job.trouble) == ("failed", "There was not enough memory for this.")


def test_a_cancelled_job_does_not_wait_on(place: Place, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(work, "SHORTEST_PAUSE_S", 0.001)
    job_id = waiting_portrait(place, Queue(place.database), 503)

    def cancelling(shoot: str, source: Any) -> Any:
        with place.database.writing() as session:
            session.get_one(tables.Job, job_id).state = "cancelled"
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(place.files, "put", cancelling)
    do(place, job_id)
    with place.database.reading() as session:
        assert session.get_one(tables.Job, job_id).state == "cancelled"


def caused(error: Exception, cause: Exception) -> Exception:
    """An error raised from another."""
    error.__cause__ = cause
    return error


@pytest.mark.parametrize(
    ("error", "expected"),
    [
        (OSError(errno.ENOSPC, os.strerror(errno.ENOSPC)), DISK_FULL),
        (OSError(errno.EDQUOT, os.strerror(errno.EDQUOT)), DISK_FULL),
        (OSError(errno.EROFS, os.strerror(errno.EROFS)), READ_ONLY),
        (OSError(errno.ENAMETOOLONG, os.strerror(errno.ENAMETOOLONG)), None),
        (GenericError("No space left on device (os error 28)"), DISK_FULL),
        (OperationalError("", {}, Exception("database or disk is full")), DISK_FULL),
        (OperationalError("", {}, Exception("attempt to write a readonly database")), READ_ONLY),
        (OperationalError("", {}, Exception("database disk image is malformed")), RECORDS_DAMAGED),
        (OperationalError("", {}, Exception("connection refused")), RECORDS_AWAY),
        (IntegrityError("", {}, Exception("UNIQUE constraint failed")), None),
        (ValueError("a fault"), None),
        (UnidentifiedImageError("cannot identify image file"), None),
        (OSError("image file is truncated (4 bytes not processed)"), None),
        (ConnectionResetError("reset by peer"), FILES_AWAY),
        (caused(NotWrittenError("", ""), OSError(errno.ENOSPC, "No space left")), DISK_FULL),
        (caused(UnreadablePhotographError("", ""), OSError(errno.EIO, "I/O error")), None),
    ],
)
def test_the_reason_is_the_true_one(error: Exception, expected: object) -> None:
    assert outage_of(error) is expected
