"""The commands as a studio runs them, and the worked example of the README with curl and Python."""

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

from tests.jobs.servers import PATIENCE_S, free_port

EXAMPLE = Path(__file__).parent / "example"
README = Path(__file__).parents[2] / "README.md"
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
    path = tmp_path / "IMG_2041.jpg"
    path.write_bytes(bytes(imagecodecs.jpeg8_encode(data.astronaut(), level=95)))
    return path


@pytest.mark.parametrize("name", ["shoot.sh", "shoot.py"])
def test_the_worked_example(running: Running, photo: Path, tmp_path: Path, name: str) -> None:
    if name == "shoot.sh" and shutil.which("curl") is None:
        pytest.skip("curl is not installed")
    program = [sys.executable] if name == "shoot.py" else ["bash", "-eu"]
    environment = os.environ | {"URL": running.url, "TOKEN": running.token, "PHOTO": str(photo)}
    done = subprocess.run(
        [*program, str(EXAMPLE / name)],
        cwd=tmp_path, env=environment, capture_output=True, text=True, timeout=2 * PATIENCE_S,
    )  # fmt: skip
    assert done.returncode == 0, done.stdout + done.stderr + (running.folder / "log").read_text()
    final = imagecodecs.imread(tmp_path / "final.jpg").astype(int)
    original = imagecodecs.imread(photo).astype(int)
    assert final.shape == original.shape
    assert 0 < np.abs(final - original).max() < 128


@pytest.mark.parametrize("name", ["shoot.sh", "shoot.py"])
def test_the_readme_shows_the_example_that_is_tested(name: str) -> None:
    section = README.read_text().partition(HEADING)[2]
    assert (EXAMPLE / name).read_text().strip() in section


def test_it_listens_on_loopback_and_speaks_to_nobody_else(running: Running) -> None:
    process = psutil.Process(running.process.pid)
    for one in (process, *process.children(recursive=True)):
        for connection in one.net_connections("inet"):
            assert connection.laddr.ip == "127.0.0.1"
            assert connection.laddr.port == int(running.url.rpartition(":")[2])
            assert not connection.raddr or connection.raddr.ip == "127.0.0.1"


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
