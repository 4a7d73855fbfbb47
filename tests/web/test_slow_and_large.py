"""Senders that are slow, large or many, over real connections, without any token.

Memory is that of the operating system's own count of the server's process (psutil).
"""

from __future__ import annotations

import socket
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import ExitStack, suppress
from dataclasses import dataclass
from pathlib import Path

import httpx
import psutil
import pytest

from evenhand.jobs.place import Place, addresses_in
from evenhand.shoots import tokens
from tests.jobs.plain_retoucher import Plain, picture
from tests.jobs.servers import PATIENCE_S, free_port

OPEN_FILES = 256
"""Open files that the server is allowed: as few as some systems give."""


@dataclass
class Server:
    """A web process of its own."""

    port: int
    secret: str
    process: subprocess.Popen[bytes]
    log: Path

    def url(self, path: str) -> str:
        """Address of a path."""
        return f"http://127.0.0.1:{self.port}{path}"

    def connect(self) -> socket.socket:
        """A connection that has said nothing yet."""
        return socket.create_connection(("127.0.0.1", self.port), timeout=PATIENCE_S)

    def memory(self) -> int:
        """Bytes that the process holds."""
        return int(psutil.Process(self.process.pid).memory_info().rss)


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    """A running server with few open files."""
    folder = tmp_path_factory.mktemp("slow")
    records, files = addresses_in(folder)
    place = Place.at(records, files, Plain())
    with place.database.writing() as session:
        _, secret = tokens.make(session, tokens.Scope.STUDIO, "test")
    port, log = free_port(), folder / "log"
    command = [sys.executable, "-m", "tests.jobs.plain_web", records, files, str(port)]
    with log.open("wb") as out:
        process = subprocess.Popen([*command, str(OPEN_FILES)], stderr=out)
    server = Server(port, secret, process, log)
    deadline = time.monotonic() + PATIENCE_S
    while True:
        with suppress(httpx.HTTPError):
            if httpx.get(server.url("/health")).status_code == 200:
                break
        assert time.monotonic() < deadline
        time.sleep(0.1)
    yield server
    process.kill()
    process.wait()
    place.database.close()


def head(method: str, path: str, *lines: str) -> bytes:
    """The head of a request."""
    return "\r\n".join([f"{method} {path} HTTP/1.1", "Host: here", *lines, "", ""]).encode()


def answer_of(connection: socket.socket) -> bytes:
    """What comes until the connection ends, or is ended."""
    came = b""
    with suppress(OSError):
        while piece := connection.recv(65536):
            came += piece
    return came


@pytest.mark.parametrize(
    "path", ["/v1/shoots", "/v1/proof/portraits/" + "0" * 32 + "/sign-off", "/v1/nothing"]
)
@pytest.mark.parametrize("kind", ["image/jpeg", "application/octet-stream", "application/json"])
def test_a_large_body_without_a_token_is_not_read(server: Server, path: str, kind: str) -> None:
    """700 MB announced or sent in chunks: refused, and the server grows by less than 64 MB."""
    before = server.memory()
    with server.connect() as connection:
        connection.sendall(
            head("POST", path, f"Content-Type: {kind}", f"Content-Length: {700 * 2**20}")
        )
        assert b" 413 " in answer_of(connection).splitlines()[0]
    with server.connect() as connection:
        connection.sendall(
            head("POST", path, f"Content-Type: {kind}", "Transfer-Encoding: chunked")
        )
        piece = bytes(2**20)
        with suppress(OSError):
            for _ in range(700):
                connection.sendall(b"100000\r\n" + piece + b"\r\n")
        answer = answer_of(connection)
        assert not answer or answer.split()[1] in (b"401", b"404", b"413")
    assert server.memory() - before < 64 * 2**20


@pytest.mark.parametrize("where", ["path", "header", "headers"])
def test_a_large_head_is_refused(server: Server, where: str) -> None:
    """A megabyte of head; the server's parser stops at 64 KiB (h11)."""
    before = server.memory()
    sent = {
        "path": head("GET", "/" + "x" * 2**20),
        "header": head("GET", "/health", f"X: {'x' * 2**20}"),
        "headers": head("GET", "/health", *(f"X-{n}: x" for n in range(100_000))),
    }[where]
    with server.connect() as connection:
        with suppress(OSError):
            connection.sendall(sent)
        answer = answer_of(connection)
        assert not answer or answer.split()[1] in (b"400", b"431")
    assert server.memory() - before < 16 * 2**20


def test_a_file_without_a_token_is_refused_unread(server: Server) -> None:
    before = server.memory()
    with server.connect() as connection:
        path = f"/v1/shoots/{'0' * 32}/portraits"
        connection.sendall(head("POST", path, f"Content-Length: {400 * 2**20}"))
        assert b" 401 " in connection.recv(4096)
    assert server.memory() - before < 64 * 2**20


def test_many_half_open_connections_stop_nothing(server: Server) -> None:
    """As the outside tester did: 300 connections that never finish their heads."""
    lines = len(server.log.read_bytes().splitlines())
    with ExitStack() as ending:
        for number in range(300):
            connection = ending.enter_context(server.connect())
            with suppress(OSError):
                connection.sendall(b"GET /health HTTP/1.1\r\nHost: here\r\n"[: 1 + number % 40])
        took = []
        for _ in range(10):
            began = time.monotonic()
            assert httpx.get(server.url("/health"), timeout=10).status_code == 200
            took.append(time.monotonic() - began)
            time.sleep(0.1)
        assert max(took) < 5, took
    assert len(server.log.read_bytes().splitlines()) - lines < 100


def test_a_slow_head_is_ended(server: Server) -> None:
    began = time.monotonic()
    with server.connect() as connection:
        connection.sendall(b"GET /health HTTP/1.1\r\n")
        with suppress(OSError):
            while time.monotonic() - began < 60:
                connection.sendall(b"X")
                time.sleep(0.5)
        assert answer_of(connection) == b""
    assert time.monotonic() - began < 45


def test_a_slow_body_is_ended(server: Server) -> None:
    began = time.monotonic()
    with server.connect() as connection:
        connection.sendall(
            head("POST", "/v1/shoots", "Content-Type: application/json", "Content-Length: 1000")
        )
        answers = []
        reading = threading.Thread(target=lambda: answers.append(answer_of(connection)))
        reading.start()
        with suppress(OSError):
            while reading.is_alive() and time.monotonic() - began < 90:
                connection.sendall(b" ")
                time.sleep(0.5)
        reading.join()
    assert b" 408 " in answers[0].splitlines()[0]
    assert time.monotonic() - began < 60


def test_an_upload_broken_off_is_no_portrait(server: Server) -> None:
    headers = {"Authorization": f"Bearer {server.secret}"}
    made = httpx.post(server.url("/v1/shoots"), headers=headers, json={"name": "Broken off"})
    shoot, data = made.json()["id"], picture(1)
    with server.connect() as connection:
        bearer = f"Authorization: Bearer {server.secret}"
        path = f"/v1/shoots/{shoot}/portraits?name=a.png"
        connection.sendall(head("POST", path, bearer, f"Content-Length: {len(data)}"))
        connection.sendall(data[: len(data) // 2])
        time.sleep(0.5)
    time.sleep(1.0)
    assert httpx.get(server.url(f"/v1/shoots/{shoot}/portraits"), headers=headers).json() == []


def test_many_refusals_write_few_lines(server: Server) -> None:
    lines = len(server.log.read_bytes().splitlines())
    with httpx.Client() as client:
        for number in range(200):
            client.get(server.url("/v1/shoots"), headers={"Authorization": f"Bearer {number}"})
    assert len(server.log.read_bytes().splitlines()) - lines < 150
