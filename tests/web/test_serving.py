"""The commands as a studio runs them, and the documentation's example with curl and Python."""

from __future__ import annotations

import os
import shutil
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import httpx
import imagecodecs
import numpy as np
import psutil
import pytest
from skimage import data

from evenhand.jobs.place import Place, addresses_in
from evenhand.shoots import storage, tables
from tests.jobs.plain_retoucher import Plain
from tests.jobs.servers import PATIENCE_S, free_port
from tests.shoots.test_backup import flip

EXAMPLE = Path(__file__).parent / "example"
PAGE = Path(__file__).parents[2] / "service" / "docs" / "service.md"
HEADING = "From upload to signed final"
SERVE = [sys.executable, "-m", "evenhand.web.commands"]


@dataclass
class Running:
    """A service that runs."""

    url: str
    token: str
    process: subprocess.Popen[str]
    folder: Path


@contextmanager
def serving(folder: Path, *options: str, scheme: str = "http") -> Iterator[Running]:
    """`evenhand serve` on a port of its own."""
    port = free_port()
    command = [*SERVE, "serve", "--data", str(folder / "data"), "--port", str(port), *options]
    log = (folder / "log").open("w")
    process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=log, text=True)
    try:
        assert process.stdout is not None
        said = process.stdout.readline()
        assert "told this once" in said, (folder / "log").read_text()
        url = f"{scheme}://127.0.0.1:{port}"
        deadline = time.monotonic() + PATIENCE_S
        while True:
            try:
                assert httpx.get(f"{url}/ready", verify=False).status_code == 200
                break
            except httpx.HTTPError:
                assert time.monotonic() < deadline, (folder / "log").read_text()
                time.sleep(0.2)
        yield Running(url, said.split()[-1], process, folder)
    finally:
        if process.poll() is None:
            process.kill()


@pytest.fixture(scope="module")
def running(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Running]:
    """A service as `evenhand serve` starts it."""
    with serving(tmp_path_factory.mktemp("serve")) as running:
        yield running


@pytest.fixture
def photo(tmp_path: Path) -> Path:
    """NASA's portrait of astronaut Eileen Collins, public domain, as scikit-image carries it."""
    path = tmp_path / "IMG 2041 & Zoë #1.jpg"
    path.write_bytes(bytes(imagecodecs.jpeg8_encode(data.astronaut(), level=95)))
    return path


@pytest.mark.parametrize("name", ["shoot.sh", "shoot.py"])
def test_the_worked_example(running: Running, photo: Path, tmp_path: Path, name: str) -> None:
    if name == "shoot.sh" and shutil.which("curl") is None:
        pytest.skip("curl is not installed")
    program = [sys.executable] if name == "shoot.py" else ["bash"]
    environment = os.environ | {"URL": running.url, "TOKEN": running.token, "PHOTO": str(photo)}
    done = subprocess.run(
        [*program, str(EXAMPLE / name)],
        cwd=tmp_path, env=environment, capture_output=True, text=True, timeout=2 * PATIENCE_S,
    )  # fmt: skip
    assert done.returncode == 0, done.stdout + done.stderr + (running.folder / "log").read_text()
    headers = {"Authorization": f"Bearer {running.token}"}
    shoot = httpx.get(f"{running.url}/v1/shoots", headers=headers).json()[0]["id"]
    sent = httpx.get(f"{running.url}/v1/shoots/{shoot}/portraits", headers=headers).json()
    assert sent[0]["name"] == photo.name
    final = imagecodecs.imread(tmp_path / "final.jpg").astype(int)
    original = imagecodecs.imread(photo).astype(int)
    assert final.shape == original.shape
    assert 0 < np.abs(final - original).max() < 128


@pytest.mark.parametrize("name", ["shoot.sh", "shoot.py"])
def test_the_page_shows_the_example_that_is_tested(name: str) -> None:
    section = PAGE.read_text("utf-8").partition(HEADING)[2]
    assert (EXAMPLE / name).read_text().strip() in section


def test_it_listens_on_loopback_and_speaks_to_nobody_else(running: Running) -> None:
    process = psutil.Process(running.process.pid)
    for one in (process, *process.children(recursive=True)):
        for connection in one.net_connections("inet"):
            assert connection.laddr.ip == "127.0.0.1"
            assert connection.laddr.port == int(running.url.rpartition(":")[2])
            assert not connection.raddr or connection.raddr.ip == "127.0.0.1"


def test_it_says_what_to_open(running: Running) -> None:
    assert running.process.stdout is not None
    assert running.process.stdout.readline() == f"Open {running.url}/ in a browser.\n"


def test_a_stopped_service_leaves_no_process(running: Running) -> None:
    """Runs last: it stops the service."""
    family = psutil.Process(running.process.pid).children(recursive=True)
    assert family
    running.process.send_signal(signal.SIGTERM)
    assert running.process.wait(PATIENCE_S) in (0, -signal.SIGTERM)
    _, alive = psutil.wait_procs(family, timeout=PATIENCE_S)
    assert not alive


def test_it_refuses_to_be_reachable_without_tls(tmp_path: Path) -> None:
    command = [*SERVE, "serve", "--data", str(tmp_path), "--host", "0.0.0.0"]
    refused = subprocess.run(command, capture_output=True, text=True, timeout=PATIENCE_S)
    assert refused.returncode == 1
    assert "TLS" in refused.stderr


def test_links_are_made_with_the_public_address(tmp_path: Path) -> None:
    options = ["--workers", "0", "--public-url", "https://proofs.example.org"]
    with serving(tmp_path, *options) as running:
        headers = {"Authorization": f"Bearer {running.token}"}
        with httpx.Client(base_url=running.url, headers=headers) as studio:
            shoot = studio.post("/v1/shoots", json={"name": "Regatta"}).json()["id"]
            asked = {"name": "Mara"}
            link = studio.post(f"/v1/shoots/{shoot}/permission-links", json=asked).json()
        assert link["url"] == f"https://proofs.example.org{link['path']}"
        assert running.process.stdout is not None
        told = running.process.stdout.readline()
        assert told == "Open https://proofs.example.org/ in a browser.\n"


def test_a_public_address_that_is_none_is_told(tmp_path: Path) -> None:
    command = [*SERVE, "serve", "--data", str(tmp_path), "--public-url", "proofs"]
    refused = subprocess.run(command, capture_output=True, text=True, timeout=PATIENCE_S)
    assert refused.returncode == 2
    assert "public_url" in refused.stderr


def test_a_port_that_is_taken_is_told(tmp_path: Path) -> None:
    with socket.create_server(("127.0.0.1", 0)) as other:
        port = str(other.getsockname()[1])
        command = [*SERVE, "serve", "--data", str(tmp_path), "--port", port]
        refused = subprocess.run(command, capture_output=True, text=True, timeout=PATIENCE_S)
    assert refused.returncode == 1
    assert f"Port {port}" in refused.stderr
    assert "--port" in refused.stderr
    assert "token" not in refused.stdout


def test_a_folder_that_cannot_be_made_is_told(tmp_path: Path) -> None:
    (tmp_path / "file").touch()
    command = [*SERVE, "token", "test", "--data", str(tmp_path / "file" / "data")]
    refused = subprocess.run(command, capture_output=True, text=True, timeout=PATIENCE_S)
    assert refused.returncode == 1
    assert "--data" in refused.stderr
    assert "Traceback" not in refused.stderr


@pytest.mark.parametrize(
    ("option", "address"), [("--records", "mysql://x/y"), ("--files", "ftp://host/files")]
)
def test_a_wrong_address_is_told(tmp_path: Path, option: str, address: str) -> None:
    command = [*SERVE, "token", "test", "--data", str(tmp_path), option, address]
    refused = subprocess.run(command, capture_output=True, text=True, timeout=PATIENCE_S)
    assert refused.returncode == 1
    assert "Give" in refused.stderr


@pytest.mark.skipif(shutil.which("openssl") is None, reason="openssl is not installed")
def test_with_a_certificate_it_speaks_tls(tmp_path: Path) -> None:
    key, certificate = tmp_path / "key.pem", tmp_path / "certificate.pem"
    made = ["openssl", "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-days", "1"]
    made += ["-subj", "/CN=127.0.0.1", "-keyout", str(key), "-out", str(certificate)]
    subprocess.run(made, check=True, capture_output=True)
    options = ["--workers", "0", "--tls-certificate", str(certificate), "--tls-key", str(key)]
    with serving(tmp_path, *options, scheme="https") as running:
        answer = httpx.get(f"{running.url}/health", verify=False)
        assert "max-age" in answer.headers["Strict-Transport-Security"]
        with pytest.raises(httpx.HTTPError):
            httpx.get(running.url.replace("https", "http") + "/health")
        port, began = int(running.url.rpartition(":")[2]), time.monotonic()
        with socket.create_connection(("127.0.0.1", port), timeout=PATIENCE_S) as silent:
            assert silent.recv(1) == b""  # no handshake came
        assert time.monotonic() - began < 45


def _said(tmp_path: Path, *arguments: str) -> str:
    """What a command that must fail says; a plain sentence, no traceback."""
    done = subprocess.run(
        [*SERVE, *arguments], capture_output=True, text=True, timeout=PATIENCE_S, cwd=tmp_path
    )
    assert done.returncode == 1, done
    assert "Traceback" not in done.stderr, done.stderr
    return done.stderr


@pytest.mark.parametrize("how", ["no database", "cut", "overwritten"])
def test_a_corrupt_database_is_told(tmp_path: Path, how: str) -> None:
    data = tmp_path / "data"
    subprocess.run([*SERVE, "token", "test", "--data", str(data)], check=True, capture_output=True)
    path = data / "records.sqlite"
    for log in data.glob("records.sqlite-*"):
        log.unlink()
    held = path.read_bytes()
    if how == "no database":
        path.write_bytes(b"no database" * 1000)
    elif how == "cut":
        path.write_bytes(held[: len(held) // 2])
    else:
        path.write_bytes(held[:100] + bytes([255]) * (len(held) - 100))
    began = time.monotonic()
    assert "database is damaged" in _said(tmp_path, "token", "again", "--data", str(data))
    assert time.monotonic() - began < 30


@pytest.mark.skipif(os.geteuid() != 0, reason="only root can mount")
def test_a_folder_that_cannot_be_written_is_told(tmp_path: Path) -> None:
    data = tmp_path / "data"
    subprocess.run([*SERVE, "token", "test", "--data", str(data)], check=True, capture_output=True)
    mount = ["mount", "--bind", "-o", "ro", str(data), str(data)]
    if subprocess.run(mount, capture_output=True, check=False).returncode != 0:
        pytest.skip("nothing can be mounted here")
    try:
        subprocess.run(["mount", "-o", "remount,bind,ro", str(data)], check=True)
        for command in (["token", "again"], ["serve", "--port", str(free_port())]):
            said = _said(tmp_path, *command, "--data", str(data))
            assert "Read-only" in said or "cannot be written" in said, said
    finally:
        subprocess.run(["umount", str(data)], check=True)


def test_a_bad_archive_is_told(tmp_path: Path) -> None:
    (tmp_path / "bad.tar").write_bytes(b"no archive" * 100)
    said = _said(tmp_path, "restore", str(tmp_path / "bad.tar"), "--data", str(tmp_path / "data"))
    assert "cannot be restored" in said
    assert "Use another copy" in said


def test_a_damaged_file_is_named_by_backup_and_its_status_says_so(tmp_path: Path) -> None:
    data = tmp_path / "data"
    place = Place.at(*addresses_in(data), Plain())
    with place.database.writing() as session:
        shoot = tables.Shoot(name="Regatta")
        session.add(shoot)
        session.flush()
        stored = [place.files.put(shoot.id, content) for content in (b"whole", b"broken")]
        for file, content in zip(stored, (b"whole", b"broken"), strict=True):
            storage.enter(session, place.files, shoot.id, file, content, "image/png")
    flip(place, shoot.id, stored[1].sha256)
    place.database.close()
    said = _said(tmp_path, "backup", str(tmp_path / "backup.tar"), "--data", str(data))
    assert stored[1].sha256 in said
    assert stored[0].sha256 not in said
    assert (tmp_path / "backup.tar").stat().st_mode & 0o777 == 0o600
    new = str(tmp_path / "new")
    assert stored[1].sha256 in _said(
        tmp_path, "restore", str(tmp_path / "backup.tar"), "--data", new
    )
    assert stored[1].sha256 in _said(tmp_path, "check-files", "--data", new)


@pytest.mark.skipif(shutil.which("curl") is None, reason="curl is not installed")
def test_the_example_with_curl_stops_at_the_first_error(tmp_path: Path) -> None:
    """Nobody listens there."""
    environment = os.environ | {"URL": "http://127.0.0.1:9", "TOKEN": "x", "PHOTO": __file__}
    done = subprocess.run(
        ["bash", str(EXAMPLE / "shoot.sh")], env=environment, capture_output=True, text=True,
        cwd=tmp_path, check=False,
    )  # fmt: skip
    assert done.returncode != 0
    assert done.stderr.count("curl:") == 1
