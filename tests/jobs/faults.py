"""Faults at random while jobs run; then everything is counted.

Web, workers and database are killed, clocks are set by an hour, clients are slow; with
``--on disk`` the data lie on a disk that forgets what was not flushed, and the power is cut and the
disk full.
Run ``python -m tests.jobs.faults --jobs 200 --on servers`` (or ``--on disk``) for the long form.
Everything listens on 127.0.0.1. It ends by itself, with status 1 if anything was lost, done twice
or left behind.
"""

from __future__ import annotations

import json
import os
import random
import signal
import socket
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable
from contextlib import ExitStack, suppress
from dataclasses import dataclass, field
from pathlib import Path

import click
import httpx
from sqlalchemy import select

from evenhand.jobs.job import OVER
from evenhand.jobs.place import Place, addresses_in
from evenhand.shoots import record, storage, tables, tokens
from tests.jobs.forgetful_disk import command, forgetful_disk
from tests.jobs.plain_retoucher import Plain, picture
from tests.jobs.servers import PATIENCE_S, PostgreSQL, free_port, postgresql, s3_store
from tests.jobs.shifted_clock import HOURS

SILENT_S = 3.0
"""After this long a worker is taken for dead."""

WORKERS = 2
"""Worker processes."""

REST_S = (0.3, 1.5)
"""Shortest and longest time between two faults, seconds."""

EVERY = 4
"""At the latest after so many portraits something happens, however quick the machine is."""

CLOCKS = (-1, 0, 1)
"""Hours by which clocks are wrong."""

SLOW_CLIENTS = 40
"""Connections that never finish what they say."""

FULL_S = (0.5, 3.0)
"""For how long the disk is full."""

LONGEST_S = 3000
"""After this long nothing more is sent; what was sent is counted."""


@dataclass
class Counted:
    """What was found at the end."""

    faults: Counter[str] = field(default_factory=Counter)
    jobs: int = 0
    unfinished: int = 0
    failed: int = 0
    found_twice: int = 0
    found_never: int = 0
    damaged: int = 0
    orphans: int = 0
    broken_records: int = 0
    lost_uploads: int = 0
    seconds: float = 0.0

    @property
    def sound(self) -> bool:
        """Whether nothing was lost, done twice or left behind."""
        return not (
            self.unfinished + self.failed + self.found_twice + self.found_never + self.damaged
            + self.orphans + self.broken_records + self.lost_uploads
        )  # fmt: skip


class Studio:
    """Processes of a studio that can be killed and come back."""

    def __init__(
        self, records: str, files: str, server: PostgreSQL | None, disk: Path | None
    ) -> None:
        self.records, self.files, self.server, self.disk = records, files, server, disk
        self.place = Place.at(records, files, Plain())
        with self.place.database.writing() as session:
            _, self.secret = tokens.make(session, tokens.Scope.STUDIO, "faults")
        self.port, self.hours = free_port(), 0
        self.slow: list[socket.socket] = []
        self.web = self._web()
        self.workers = [self._worker() for _ in range(WORKERS)]

    def _web(self) -> subprocess.Popen[bytes]:
        return self._start("tests.jobs.plain_web", str(self.port))

    def _worker(self) -> subprocess.Popen[bytes]:
        return self._start("tests.jobs.plain_worker", "0.05", str(SILENT_S))

    def _start(self, module: str, *more: str) -> subprocess.Popen[bytes]:
        command = [sys.executable, "-m", module, self.records, self.files, *more]
        log = (Path(tempfile.gettempdir()) / f"evenhand-faults-{os.getpid()}.log").open("ab")
        environment = os.environ | {HOURS: str(self.hours)}
        return subprocess.Popen(command, stdout=log, stderr=log, env=environment)

    def do_something(self, chance: random.Random) -> str:
        """Let something happen; gives what."""
        faults: dict[str, Callable[[random.Random], None]] = {
            "web killed": self._kill_web,
            "worker killed": self._kill_worker,
            "clock set": self._set_clock,
            "slow clients": self._be_slow,
        }
        if self.server is not None:
            faults["database killed"] = self._kill_database
        if self.disk is not None:
            faults |= {"power cut": self._cut_power, "disk full": self._fill_disk}
        what = chance.choice(list(faults))
        faults[what](chance)
        return what

    def _kill_web(self, chance: random.Random) -> None:
        self.web.send_signal(signal.SIGKILL)
        self.web.wait()
        self.web = self._web()

    def _kill_worker(self, chance: random.Random) -> None:
        number = chance.randrange(WORKERS)
        self.workers[number].send_signal(signal.SIGKILL)
        self.workers[number].wait()
        self.workers[number] = self._worker()

    def _set_clock(self, chance: random.Random) -> None:
        """One process after another comes back with a clock that is wrong."""
        self.hours = chance.choice(CLOCKS)
        chance.choice([self._kill_web, self._kill_worker])(chance)

    def _be_slow(self, chance: random.Random) -> None:
        """Clients that never finish what they say; those of before go."""
        for connection in self.slow:
            connection.close()
        self.slow = []
        for number in range(SLOW_CLIENTS):
            with suppress(OSError):
                connection = socket.create_connection(("127.0.0.1", self.port), timeout=5)
                self.slow.append(connection)
                if number % 2:
                    connection.sendall(b"POST /v1/shoots HTTP/1.1\r\nContent-Length: 999\r\n\r\n ")

    def _kill_database(self, chance: random.Random) -> None:
        assert self.server is not None
        self.server.kill()
        time.sleep(0.5)
        self.server.start()

    def _cut_power(self, chance: random.Random) -> None:
        """Everything ends at once; what was not flushed is gone, in one way or the other."""
        assert self.disk is not None
        for process in (self.web, *self.workers):
            process.send_signal(signal.SIGKILL)
        for process in (self.web, *self.workers):
            process.wait()
        self.place.database.close()
        command(self.disk, f"cut {chance.choice(['flushed', 'names'])}")
        self.place = Place.at(self.records, self.files, Plain())
        self.web = self._web()
        self.workers = [self._worker() for _ in range(WORKERS)]

    def _fill_disk(self, chance: random.Random) -> None:
        assert self.disk is not None
        command(self.disk, f"room {-(10**9)}")
        time.sleep(chance.uniform(*FULL_S))
        command(self.disk, f"room {1 << 40}")

    def revive(self) -> None:
        """Start what ended by itself, as a service manager would."""
        if self.web.poll() is not None:
            self.web = self._web()
        for number, worker in enumerate(self.workers):
            if worker.poll() is not None:
                self.workers[number] = self._worker()

    def stop(self) -> None:
        """Kill all."""
        for process in (self.web, *self.workers):
            process.kill()
            process.wait()
        self.place.database.close()


def send(studio: Studio, shoot: str, data: bytes, deadline: float) -> bool:
    """Send a portrait, again and again until the service has it."""
    headers = {"Authorization": f"Bearer {studio.secret}"}
    url = f"http://127.0.0.1:{studio.port}/v1/shoots/{shoot}/portraits"
    while time.monotonic() < deadline:
        with suppress(httpx.HTTPError):
            answer = httpx.post(url, headers=headers, content=data, timeout=20)
            if answer.status_code == 201:
                return True
        studio.revive()
        time.sleep(0.2)
    return False


def until_quiet(studio: Studio, within_s: float) -> None:
    """Wait until no job is waiting or running."""
    deadline = time.monotonic() + within_s
    while time.monotonic() < deadline:
        with suppress(Exception), studio.place.database.reading() as session:
            if not session.scalars(
                select(tables.Job.id).where(tables.Job.state.not_in(OVER))
            ).first():
                return
        studio.revive()
        time.sleep(0.3)


def count(studio: Studio, shoot: str, sent: dict[str, bytes], counted: Counted) -> None:
    """Count what became of everything."""
    place = studio.place
    storage.sweep(place.database, place.files, shoot)
    storage.sweep_unentered(place.database, place.files, time.time() + 3600)
    with place.database.reading() as session:
        entered = set(session.scalars(select(tables.StoredFile.sha256)))
    counted.orphans = sum(name not in entered for _, name, _, _ in place.files.listing())
    counted.damaged = len(list(storage.damaged(place.database, place.files)))
    with place.database.reading() as session:
        jobs = session.scalars(select(tables.Job).where(tables.Job.shoot_id == shoot)).all()
        counted.jobs = len(jobs)
        counted.unfinished = sum(job.state not in OVER for job in jobs)
        counted.failed = sum(job.state == "failed" for job in jobs)
        entries = record.entries(session, shoot)
        counted.broken_records = int(record.first_broken(entries) is not None)
        found = Counter(e.facts["portrait"] for e in entries if e.action == "people found")
        portraits = session.scalars(
            select(tables.Portrait).where(tables.Portrait.shoot_id == shoot)
        ).all()
        counted.found_twice = sum(times > 1 for times in found.values())
        counted.found_never = sum(portrait.id not in found for portrait in portraits)
        held = {portrait.sha256 for portrait in portraits}
    for sha256, data in sent.items():
        if sha256 not in held or place.files.read(shoot, sha256) != data:
            counted.lost_uploads += 1


def run(jobs: int, on: str, seed: int) -> Counted:
    """Send `jobs` portraits while something fails every second or so."""
    import hashlib

    chance, counted, began = random.Random(seed), Counted(), time.monotonic()
    with ExitStack() as ending:
        folder = Path(ending.enter_context(tempfile.TemporaryDirectory(prefix="evenhand-faults-")))
        server = disk = None
        records, files = addresses_in(folder)
        if on == "disk":
            disk = ending.enter_context(forgetful_disk(folder / "disk"))
            records, files = addresses_in(disk / "data")
        if on == "servers":
            server = ending.enter_context(postgresql())
            records, files = server.database(), ending.enter_context(s3_store(folder / "s3"))
        studio = Studio(records, files, server, disk)
        ending.callback(studio.stop)
        with studio.place.database.writing() as session:
            row = tables.Shoot(name="Faults")
            session.add(row)
            session.flush()
            record.append(session, row.id, "test", "shoot made")
            shoot = row.id
        sent: dict[str, bytes] = {}
        due = time.monotonic() + 2
        deadline = began + LONGEST_S
        for number in range(jobs):
            if time.monotonic() > deadline:
                break
            data = picture(number)
            if send(studio, shoot, data, deadline):
                sent[hashlib.sha256(data).hexdigest()] = data
            else:
                counted.lost_uploads += 1
            if time.monotonic() >= due or number % EVERY == 1:
                counted.faults[studio.do_something(chance)] += 1
                due = time.monotonic() + chance.uniform(*REST_S)
        until_quiet(studio, PATIENCE_S)
        count(studio, shoot, sent, counted)
    counted.seconds = round(time.monotonic() - began, 1)
    return counted


@click.command()
@click.option("--jobs", default=200, show_default=True, type=click.IntRange(1, 2000))
@click.option("--on", type=click.Choice(["embedded", "servers", "disk"]), default="servers")
@click.option("--seed", default=1, show_default=True)
def main(jobs: int, on: str, seed: int) -> None:
    """Let things fail while jobs run, and count what is left."""
    counted = run(jobs, on, seed)
    print(json.dumps({**vars(counted), "faults": dict(counted.faults), "sound": counted.sound}))
    sys.exit(0 if counted.sound else 1)


if __name__ == "__main__":
    main()
