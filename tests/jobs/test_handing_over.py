"""Workers that never come back, on both kinds of places: their work is handed over, done once."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from sqlalchemy import select

from evenhand.jobs.job import MOST_DEATHS, OVER, SupersededError, begin
from evenhand.jobs.place import Place
from evenhand.jobs.queue import Queue
from evenhand.shoots import record, tables
from evenhand.shoots.database import SESSION_LOST_S
from tests.jobs.servers import PATIENCE_S
from tests.jobs.waiting import waiting_portrait

pytestmark = pytest.mark.slow

SILENT_S = 2.0
"""After this long a worker is taken for dead here; the service waits longer."""


class Workers:
    """Worker processes with the plain retoucher."""

    def __init__(self, place: Place) -> None:
        self.place = place
        self.processes: list[subprocess.Popen[bytes]] = []

    def start(self, slow_s: float = 0.0, gate: Path | None = None) -> subprocess.Popen[bytes]:
        """Start one that takes `slow_s` for every photograph and waits while `gate` is there."""
        command = [
            sys.executable, "-m", "tests.jobs.plain_worker", self.place.database.address,
            self.place.files.address, str(slow_s), str(SILENT_S), *([str(gate)] if gate else []),
        ]  # fmt: skip
        process = subprocess.Popen(command, stderr=subprocess.DEVNULL)
        self.processes.append(process)
        return process

    def stop(self) -> None:
        """Kill all that still run."""
        for process in self.processes:
            process.kill()
            process.wait()


@pytest.fixture
def workers(place: Place) -> Iterator[Workers]:
    """No workers yet."""
    workers = Workers(place)
    yield workers
    workers.stop()


def job(place: Place, job_id: str) -> tables.Job:
    """A job as it stands."""
    with place.database.reading() as session:
        return session.get_one(tables.Job, job_id)


def until(condition: Callable[[], bool], within_s: float = PATIENCE_S) -> None:
    """Wait for something to become true."""
    deadline = time.monotonic() + within_s
    while not condition():
        assert time.monotonic() < deadline, "waited too long"
        time.sleep(0.05)


def found_times(place: Place, job_id: str) -> int:
    """How often the record says that people were found."""
    with place.database.reading() as session:
        shoot = session.get_one(tables.Job, job_id).shoot_id
        return [entry.action for entry in record.entries(session, shoot)].count("people found")


def number_of_workers(place: Place) -> int:
    """How many workers the records know."""
    with place.database.reading() as session:
        return len(session.scalars(select(tables.Worker)).all())


def test_work_of_a_worker_that_never_comes_back_is_handed_over(
    place: Place, workers: Workers
) -> None:
    jobs = Queue(place.database)
    doomed = workers.start(slow_s=60)
    job_id = waiting_portrait(place, jobs, 1)
    until(lambda: job(place, job_id).state == "running")
    doomed.send_signal(signal.SIGKILL)
    doomed.wait()
    workers.start()
    until(lambda: job(place, job_id).state in OVER)
    done = job(place, job_id)
    assert (done.state, done.attempt) == ("done", 2)
    assert found_times(place, job_id) == 1
    until(lambda: number_of_workers(place) == 1)


def test_a_worker_that_only_seemed_dead_leaves_no_second_trace(
    place: Place, workers: Workers
) -> None:
    if place.database.embedded:
        pytest.skip("a process frozen in the midst of writing would hold SQLite's only lock")
    jobs = Queue(place.database)
    frozen = workers.start(slow_s=1.0)
    job_id = waiting_portrait(place, jobs, 2)
    until(lambda: job(place, job_id).state == "running")
    os.kill(frozen.pid, signal.SIGSTOP)
    other = workers.start()
    # Frozen inside a transaction it holds its locks until PostgreSQL ends the transaction.
    until(lambda: job(place, job_id).state in OVER, within_s=SESSION_LOST_S + PATIENCE_S)
    os.kill(frozen.pid, signal.SIGCONT)
    time.sleep(2.5)
    assert job(place, job_id).state == "done"
    assert found_times(place, job_id) == 1
    other.terminate()
    assert other.wait(PATIENCE_S) == 0


def test_a_worker_told_to_stop_finishes_what_it_does(place: Place, workers: Workers) -> None:
    jobs = Queue(place.database)
    polite = workers.start(slow_s=1.0)
    job_id = waiting_portrait(place, jobs, 3)
    until(lambda: job(place, job_id).state == "running")
    polite.terminate()
    assert polite.wait(PATIENCE_S) == 0
    done = job(place, job_id)
    assert (done.state, done.attempt) == ("done", 1)


def test_only_the_last_attempt_counts(place: Place) -> None:
    jobs = Queue(place.database)
    job_id = waiting_portrait(place, jobs, 4)
    first = begin(place.database, job_id)
    second = begin(place.database, job_id)
    assert first is not None
    assert second is not None
    with pytest.raises(SupersededError):
        first.doing("finding people", 0.5)
    with pytest.raises(SupersededError), first.committing() as session:
        first.end(session)
    with second.committing() as session:
        second.end(session)
    assert begin(place.database, job_id) is None


def test_a_job_that_kills_its_workers_is_given_up(place: Place) -> None:
    jobs = Queue(place.database)
    job_id = waiting_portrait(place, jobs, 5)
    for _ in range(MOST_DEATHS):
        assert begin(place.database, job_id) is not None
    assert begin(place.database, job_id) is None
    assert job(place, job_id).state == "failed"


def test_a_cancelled_job_leaves_nothing(place: Place, workers: Workers, tmp_path: Path) -> None:
    jobs = Queue(place.database)
    gate = tmp_path / "gate"
    gate.touch()
    workers.start(gate=gate)
    job_id = waiting_portrait(place, jobs, 6)
    until(lambda: job(place, job_id).state == "running")
    with place.database.writing() as session:
        jobs.cancel(session, job_id)
    gate.unlink()
    time.sleep(1.0)
    assert job(place, job_id).state == "cancelled"
    assert found_times(place, job_id) == 0
    with place.database.writing() as session:
        again = jobs.retry(session, job_id).id
    until(lambda: job(place, again).state in OVER)
    assert job(place, again).state == "done"
    assert found_times(place, again) == 1
