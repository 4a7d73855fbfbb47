"""The service on loopback with one worker, and Debian's Chromium to look at its pages."""

from __future__ import annotations

import shutil
import socket
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path
from typing import Any

import httpx
import pytest
import structlog
import uvicorn
from PIL import Image
from playwright.sync_api import Page

from evenhand.jobs import queue
from evenhand.jobs.job import OVER
from evenhand.jobs.place import Place, addresses_in
from evenhand.jobs.queue import JobWorker
from evenhand.jobs.retoucher import Engine, Retoucher
from evenhand.shoots import tokens
from evenhand.web.app import create_app
from evenhand.web.serving import IDLE_S
from evenhand.web.settings import ServiceSettings
from tests.jobs.servers import PATIENCE_S

CHROMIUM = next(
    filter(None, (shutil.which(name) for name in ("chromium", "chromium-browser"))), None
)

ARGUMENTS = [
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
    "--force-color-profile=srgb", "--lang=en",
]  # fmt: skip
# No network of its own; WebGL 2 comes from the software rasteriser in Debian's Chromium.

DEMO = Path(__file__).parents[2] / "demo_images"

SIDE = 800
# Longer side of the demo portraits in these tests: the engine is quick on them.


def demo_picture(name: str, side: int = SIDE) -> bytes:
    """A demo portrait made smaller, as JPEG."""
    path = DEMO / f"{name}.jpg"
    if not path.exists():
        pytest.skip(f"the demo portrait {path.name} is not there")
    picture = Image.open(path)
    picture.thumbnail((side, side))
    out = BytesIO()
    picture.save(out, "JPEG", quality=93)
    return out.getvalue()


@dataclass
class Server:
    """A running service and short ways to it."""

    address: str
    place: Place
    token: str
    http: httpx.Client

    def get(self, path: str, **more: Any) -> Any:
        """JSON of a path."""
        response = self.http.get(path, **more)
        assert response.is_success, response.text
        return response.json()

    def send(self, method: str, path: str, **more: Any) -> Any:
        """JSON that a request answers."""
        response = self.http.request(method, path, **more)
        assert response.is_success, response.text
        return response.json()

    def settle(self, shoot: str, within_s: float = PATIENCE_S) -> None:
        """Wait until no job of a shoot is waiting or running."""
        deadline = time.monotonic() + within_s
        while time.monotonic() < deadline:
            jobs = self.get(f"/v1/shoots/{shoot}/jobs")
            if all(job["state"] in OVER for job in jobs):
                return
            time.sleep(0.1)
        raise AssertionError("jobs are still running")

    def shoot(self, name: str = "Summer regatta") -> str:
        """A new shoot."""
        return str(
            self.send("POST", "/v1/shoots", json={"name": name, "client": "Rowing club"})["id"]
        )

    def portrait(self, shoot: str, name: str, content: bytes) -> str:
        """A portrait in which people have been looked for."""
        added = self.send(
            "POST", f"/v1/shoots/{shoot}/portraits", params={"name": name}, content=content
        )
        self.settle(shoot)
        return str(added["portrait"]["id"])

    def agreed(self, shoot: str, portrait: str, names: list[str], steps: list[str]) -> list[str]:
        """Name everybody in a portrait, record that they agree, wait for the layers."""
        people = [one["id"] for one in self.get(f"/v1/portraits/{portrait}/people")]
        for person, name in zip(people, names, strict=False):
            self.send("PUT", f"/v1/people/{person}", json={"name": name})
            self.send(
                "POST", f"/v1/shoots/{shoot}/permissions", json={"name": name, "steps": steps}
            )
        self.settle(shoot)
        return people


@contextmanager
def running(folder: Path, retoucher: Retoucher | None = None) -> Iterator[Server]:
    """A service with its records and files in a folder."""
    structlog.configure(wrapper_class=structlog.make_filtering_bound_logger(30))
    place = Place.at(*addresses_in(folder), retoucher or Engine())
    with place.database.writing() as session:
        _, token = tokens.make(session, tokens.Scope.STUDIO, "test")
    settings = ServiceSettings(requests_per_minute=100_000, guesses_per_minute=1000)
    listening = socket.create_server(("127.0.0.1", 0))
    web = uvicorn.Server(
        uvicorn.Config(
            create_app(place, settings),
            log_config=None,
            access_log=False,
            timeout_keep_alive=IDLE_S,
        )
    )
    thread = threading.Thread(target=web.run, args=([listening],), daemon=True)
    worker = JobWorker(place)
    with pytest.MonkeyPatch.context() as quickly:
        quickly.setattr(queue, "LOOK_EVERY_S", 0.1)
        elsewhere(worker.start)
    thread.start()
    address = f"http://127.0.0.1:{listening.getsockname()[1]}"
    headers = {"Authorization": f"Bearer {token}"}
    with httpx.Client(base_url=address, headers=headers, timeout=PATIENCE_S) as http:
        while not web.started:
            time.sleep(0.02)
        yield Server(address, place, token, http)
    web.should_exit = True
    thread.join(PATIENCE_S)
    elsewhere(worker.stop)
    place.database.close()


def until(page: Page, expression: str, within_s: float = PATIENCE_S) -> None:
    """Wait until an expression holds on a page, without `eval`, which the pages forbid."""
    deadline = time.monotonic() + within_s
    while not page.evaluate(expression):
        assert time.monotonic() < deadline, f"never: {expression}"
        page.wait_for_timeout(100)


def elsewhere(work: Callable[[], Any]) -> None:
    """Do something in a thread of its own, where no event loop of Playwright's is running."""
    thread = threading.Thread(target=work)
    thread.start()
    thread.join()
