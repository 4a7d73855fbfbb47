"""Running the service: the web server in this process, workers beside it."""

from __future__ import annotations

import ipaddress
import os
import signal
import socket
import subprocess
import sys
import tempfile
import threading
import time
from dataclasses import dataclass
from pathlib import Path

import structlog
import uvicorn
from fastapi import FastAPI

from evenhand.errors import EvenhandError
from evenhand.jobs.place import Place
from evenhand.jobs.working import GRACE_S, PARENT
from evenhand.shoots import tables, tokens
from evenhand.shoots.database import Database
from evenhand.web import traces
from evenhand.web.app import create_app
from evenhand.web.connections import Loop, protocol_for
from evenhand.web.settings import ServiceSettings

AGAIN_S = 2.0
"""How long to wait before a worker that died is started again, seconds."""

IDLE_S = 75
"""How long a connection may lie idle, seconds: longer than clients keep theirs, so that none is
closed just as a request goes out on it."""

log = structlog.get_logger()


class ExposedError(EvenhandError):
    """The service would be reachable from elsewhere without TLS."""


class PortError(EvenhandError):
    """The service cannot listen where it was told to."""


@dataclass(frozen=True)
class Listening:
    """Where the service listens.

    Attributes
    ----------
    host : str
    port : int
    certificate, key : Path or None
        For TLS by the service itself.
    tls_in_front : bool
        The operator says that something in front of the service speaks TLS.
    """

    host: str
    port: int
    certificate: Path | None = None
    key: Path | None = None
    tls_in_front: bool = False

    @property
    def address(self) -> str:
        """Where a browser on this machine opens the pages."""
        host = "localhost" if self.host in ("0.0.0.0", "::") else self.host
        host = f"[{host}]" if ":" in host else host
        return f"{'https' if self.certificate else 'http'}://{host}:{self.port}/"

    def check(self) -> None:
        """Make sure that nobody elsewhere can reach it without TLS.

        Raises
        ------
        ExposedError
            They could.
        """
        if is_loopback(self.host) or self.tls_in_front or (self.certificate and self.key):
            return
        raise ExposedError(
            f"On {self.host} the service would be reachable from elsewhere without TLS.",
            "Give --tls-certificate and --tls-key, or say --tls-in-front if a proxy speaks TLS.",
        )

    def opened(self) -> socket.socket:
        """The socket to listen on.

        Raises
        ------
        PortError
            It cannot be had.
        """
        family = socket.AF_INET6 if ":" in self.host else socket.AF_INET
        try:
            return socket.create_server((self.host, self.port), family=family)
        except OSError as error:
            raise PortError(
                f"Port {self.port} of {self.host} cannot be used ({error.strerror}).",
                "Choose another with --port, or end the program that uses it.",
            ) from error


def is_loopback(host: str) -> bool:
    """Whether only this machine can reach a host's address.

    Parameters
    ----------
    host : str
        A name or an IP address; of names only localhost counts.

    Returns
    -------
    bool
    """
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False


def serve(settings: ServiceSettings, listening: Listening, workers: int) -> None:
    """Serve until told to stop, then finish what was begun.

    Parameters
    ----------
    settings : ServiceSettings
    listening : Listening
    workers : int
        Processes that do jobs.

    Raises
    ------
    ExposedError
        It would be reachable from elsewhere without TLS.
    PortError
        It cannot listen there.
    """
    listening.check()
    opened = listening.opened()
    traces.configure()
    place = Place.at(*settings.addresses, scratch=settings.scratch)
    tempfile.tempdir = str(place.files.scratch.folder)
    app = create_app(place, settings)
    _tell_first_token(place.database)
    print(f"Open {settings.public('/') or listening.address} in a browser.", flush=True)
    config = config_of(app, settings, listening)
    crew = Crew(settings, workers)
    crew.start()
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda *_: None)  # uvicorn stops, then raises the signal once more
    try:
        uvicorn.Server(config).run([opened])
    finally:
        crew.stop()
        place.database.close()


def config_of(app: FastAPI, settings: ServiceSettings, listening: Listening) -> uvicorn.Config:
    """How the web server runs.

    Parameters
    ----------
    app : FastAPI
    settings : ServiceSettings
    listening : Listening

    Returns
    -------
    uvicorn.Config
    """
    return uvicorn.Config(
        app,
        http=protocol_for(settings.most_connections),
        loop=f"{Loop.__module__}:{Loop.__name__}",
        ws="none",
        ssl_certfile=listening.certificate,
        ssl_keyfile=listening.key,
        proxy_headers=listening.tls_in_front,
        log_config=None,
        access_log=False,
        server_header=False,
        timeout_graceful_shutdown=GRACE_S,
        timeout_keep_alive=IDLE_S,
    )


class Crew:
    """Worker processes beside the web server, started again when one dies.

    Parameters
    ----------
    settings : ServiceSettings
    count : int
        How many.
    """

    def __init__(self, settings: ServiceSettings, count: int) -> None:
        records, files = settings.addresses
        self.environment = os.environ | {
            "EVENHAND_RECORDS": records,
            "EVENHAND_FILES": files,
            "EVENHAND_DATA": str(settings.data.resolve()),
            PARENT: str(os.getpid()),
        }
        self.processes: list[subprocess.Popen[bytes]] = []
        self.count = count
        self.stopping = threading.Event()
        self.watch = threading.Thread(target=self._watch, name="crew", daemon=True)

    def start(self) -> None:
        """Start them."""
        self.processes = [self._start_one() for _ in range(self.count)]
        self.watch.start()

    def stop(self) -> None:
        """Let them finish what they do, and end."""
        self.stopping.set()
        self.watch.join()
        for process in self.processes:
            process.terminate()
        deadline = time.monotonic() + GRACE_S + 10
        for process in self.processes:
            try:
                process.wait(max(0.1, deadline - time.monotonic()))
            except subprocess.TimeoutExpired:
                process.kill()
                process.wait()

    def _start_one(self) -> subprocess.Popen[bytes]:
        command = [sys.executable, "-m", "evenhand.web.commands", "worker"]
        return subprocess.Popen(command, env=self.environment)

    def _watch(self) -> None:
        while not self.stopping.wait(AGAIN_S):
            for number, process in enumerate(self.processes):
                if process.poll() is not None:
                    log.warning("a worker ended and is started again", status=process.returncode)
                    self.processes[number] = self._start_one()


def _tell_first_token(database: Database) -> None:
    """Make a studio token and print it, if there never was one."""
    with database.writing() as session:
        known = session.query(tables.Token).filter_by(scope=tokens.Scope.STUDIO.value).all()
        if known:
            if not any(tokens.is_open(token) for token in known):
                log.warning("no studio token opens any more; make one: evenhand token LABEL")
            return
        _, secret = tokens.make(session, tokens.Scope.STUDIO, "first token")
    print(f"Your access token, told this once: {secret}", flush=True)
