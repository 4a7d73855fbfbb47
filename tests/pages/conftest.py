"""A service with demo portraits, and pages that must not fail silently."""

from __future__ import annotations

import os
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

pytest.importorskip("playwright", reason="Playwright is not installed (pip install playwright)")

from playwright.sync_api import (
    Browser,
    BrowserContext,
    Page,
    ViewportSize,
    expect,
    sync_playwright,
)

from tests.jobs.servers import PATIENCE_S
from tests.pages.serving import ARGUMENTS, CHROMIUM, Server, demo_picture, running

DESKTOP: ViewportSize = {"width": 1360, "height": 850}

PHONE: ViewportSize = {"width": 390, "height": 844}

expect.set_options(timeout=PATIENCE_S * 1000)


@dataclass
class Demo:
    """A shoot with two portraits, everybody named and asked, layers computed."""

    shoot: str
    portraits: list[str]
    people: list[list[str]]


@pytest.fixture(scope="package")
def browser() -> Iterator[Browser]:
    """Debian's Chromium, headless."""
    if CHROMIUM is None:
        pytest.skip("Chromium is not installed (Debian: apt-get install chromium)")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        yield browser
        browser.close()


@pytest.fixture(scope="package")
def server(tmp_path_factory: pytest.TempPathFactory, browser: Browser) -> Iterator[Server]:
    """The service with the engine itself."""
    with running(tmp_path_factory.mktemp("pages")) as server:
        yield server


@pytest.fixture(scope="package")
def demo(server: Server) -> Demo:
    """Two portraits ready to be looked at."""
    shoot = server.shoot()
    portraits: list[str] = []
    people: list[list[str]] = []
    for name in ("freckles", "bowman"):
        portraits.append(server.portrait(shoot, f"{name}.jpg", demo_picture(name)))
        steps = ["redness", "smoothing", "marks"]
        people.append(server.agreed(shoot, portraits[-1], ["Mara" if not people else "Jon"], steps))
    return Demo(shoot, portraits, people)


@pytest.fixture
def context(browser: Browser, server: Server) -> Iterator[BrowserContext]:
    """A browser of somebody who is signed in; nothing may fail or leave this machine."""
    kept = [{"name": "evenhand.token", "value": server.token}]
    state = {"cookies": [], "origins": [{"origin": server.address, "localStorage": kept}]}
    with watched(browser, server, viewport=DESKTOP, storage_state=state) as context:
        yield context


@pytest.fixture
def page(context: BrowserContext, server: Server) -> Page:
    """A tab of theirs."""
    return context.new_page()


class watched:
    """A browser context that fails the test when a page throws or asks another machine."""

    def __init__(self, browser: Browser, server: Server, **options: Any) -> None:
        options = {"locale": "en-GB", **options}
        self.context = browser.new_context(base_url=server.address, **options)
        self.context.set_default_timeout(PATIENCE_S * 1000)
        self.faults: list[str] = []
        self.context.on("weberror", lambda error: self.faults.append(str(error.error)))
        self.context.on(
            "request",
            lambda request: (
                self.faults.append(f"asked {request.url}")
                if not request.url.startswith((server.address, "data:", "blob:"))
                else None
            ),
        )

    def __enter__(self) -> BrowserContext:
        return self.context

    def __exit__(self, *fault: object) -> None:
        self.context.close()
        if fault[0] is None:
            assert self.faults == []


class Screens:
    """Pictures of what the tests see, for the folder that EVENHAND_SCREENS names; else none."""

    def __init__(self, folder: Path | None) -> None:
        self.folder = folder

    def take(self, page: Page, name: str, **more: Any) -> None:
        """Keep a picture of a page, when it has come to rest, as NAME.jpg."""
        if self.folder is not None:
            page.wait_for_timeout(500)
            path = self.folder / f"{name}.jpg"
            page.screenshot(path=path, type="jpeg", quality=80, **more)


@pytest.fixture(scope="session")
def screens() -> Screens:
    """Where pictures of pages go."""
    chosen = os.environ.get("EVENHAND_SCREENS")
    folder = Path(chosen) if chosen else None
    if folder is not None:
        folder.mkdir(parents=True, exist_ok=True)
    return Screens(folder)
