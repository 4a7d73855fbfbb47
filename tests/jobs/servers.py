"""Real servers for tests: PostgreSQL from the system's packages, an S3-compatible store from moto.

Both listen on 127.0.0.1 only, keep everything in a temporary folder, and end with the test run.
"""

from __future__ import annotations

import os
import random
import shutil
import signal
import socket
import subprocess
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from glob import glob
from pathlib import Path

import psycopg

PATIENCE_S = 180
"""How long tests wait for anything before they give it up, seconds; a busy machine is slow."""

PORTS = range(20_000, 32_000)
"""Below those that Linux gives to outgoing connections, which take a port that was just free."""


def free_port() -> int:
    """A port that was free a moment ago."""
    while True:
        with socket.socket() as probe, suppress(OSError):
            port = random.SystemRandom().choice(PORTS)
            probe.bind(("127.0.0.1", port))
            return port


def postgres_programs() -> Path | None:
    """Folder with `initdb` and `postgres`, None where PostgreSQL is not installed."""
    found = sorted(glob("/usr/lib/postgresql/*/bin/postgres"), key=lambda p: int(p.split("/")[4]))
    if found:
        return Path(found[-1]).parent
    on_path = shutil.which("postgres")
    return Path(on_path).resolve().parent if on_path else None


@dataclass
class PostgreSQL:
    """A PostgreSQL server of its own that can be killed and started again."""

    folder: Path
    programs: Path
    port: int
    process: subprocess.Popen[bytes] | None = None
    made: int = 0

    def initialise(self) -> None:
        """Make the cluster."""
        self.folder.mkdir(parents=True)
        _give_to_postgres(self.folder)
        self._run("initdb", "-D", str(self.folder / "data"), "-U", "evenhand", "-A", "trust", "-N")

    def start(self) -> None:
        """Start the server and wait until it answers.

        It does not wait for the disk: what it wrote outlives its processes, and no test cuts the
        power of this disk (`tests.jobs.forgetful_disk` has one for that).
        """
        command = [
            str(self.programs / "postgres"), "-D", str(self.folder / "data"),
            "-c", f"port={self.port}", "-c", "listen_addresses=127.0.0.1",
            "-c", f"unix_socket_directories={self.folder}", "-c", "max_connections=200",
            "-c", "fsync=off",
        ]  # fmt: skip
        log = (self.folder / "log").open("ab")
        self.process = subprocess.Popen(
            command, stdout=log, stderr=log, start_new_session=True, **_as_postgres()
        )
        deadline = time.monotonic() + PATIENCE_S
        while True:
            try:
                psycopg.connect(self.address("postgres")).close()
                return
            except psycopg.OperationalError:
                if time.monotonic() > deadline or self.process.poll() is not None:
                    raise RuntimeError((self.folder / "log").read_text()[-2000:]) from None
                time.sleep(0.1)

    def kill(self) -> None:
        """Kill every process of the server at once."""
        if self.process is not None:
            os.killpg(self.process.pid, signal.SIGKILL)
            self.process.wait()
            self.process = None

    def database(self) -> str:
        """Address of a new empty database."""
        self.made += 1
        name = f"evenhand_{self.made}"
        with psycopg.connect(self.address("postgres"), autocommit=True) as connection:
            connection.execute(f"CREATE DATABASE {name}")  # type: ignore[call-overload]
        return self.address(name)

    def address(self, name: str) -> str:
        """Address of a database of this server."""
        return f"postgresql://evenhand@127.0.0.1:{self.port}/{name}"

    def _run(self, program: str, *arguments: str) -> None:
        subprocess.run(
            [str(self.programs / program), *arguments],
            check=True, capture_output=True, **_as_postgres(),
        )  # fmt: skip


@contextmanager
def postgresql() -> Iterator[PostgreSQL]:
    """A running PostgreSQL server, in a folder of its own that its user can reach."""
    programs = postgres_programs()
    assert programs is not None
    with tempfile.TemporaryDirectory(prefix="evenhand-postgres-") as folder:
        Path(folder).chmod(0o711)
        server = PostgreSQL(Path(folder) / "server", programs, free_port())
        server.initialise()
        server.start()
        try:
            yield server
        finally:
            server.kill()


@contextmanager
def s3_store(folder: Path) -> Iterator[str]:
    """Address of a running S3-compatible store with an empty bucket."""
    import sys
    import urllib.request

    port = free_port()
    folder.mkdir(parents=True, exist_ok=True)
    log = (folder / "log").open("wb")
    process = subprocess.Popen(
        [sys.executable, "-m", "moto.server", "-H", "127.0.0.1", "-p", str(port)],
        stdout=log, stderr=log,
    )  # fmt: skip
    try:
        deadline = time.monotonic() + PATIENCE_S
        while True:
            try:
                bucket = f"http://127.0.0.1:{port}/evenhand"
                urllib.request.urlopen(urllib.request.Request(bucket, method="PUT"), timeout=5)
                break
            except OSError:
                if time.monotonic() > deadline or process.poll() is not None:
                    raise
                time.sleep(0.2)
        yield (
            f"s3://evenhand/studio?endpoint=http://127.0.0.1:{port}&region=us-east-1"
            "&access_key_id=test&secret_access_key=test"
        )
    finally:
        process.kill()
        process.wait()


def _as_postgres() -> dict[str, str]:
    """PostgreSQL refuses to run as root."""
    return {"user": "postgres", "group": "postgres"} if os.geteuid() == 0 else {}


def _give_to_postgres(folder: Path) -> None:
    if os.geteuid() == 0:
        shutil.chown(folder, "postgres", "postgres")
