"""WCAG 2.2 AA as far as axe-core can tell, and room from 320 pixels to 4K."""

from __future__ import annotations

from typing import Literal

import pytest
from playwright.sync_api import Browser, Page, ViewportSize, expect

from tests.pages.conftest import DESKTOP, PHONE, Demo, Screens, watched
from tests.pages.serving import Server, until

axe_playwright = pytest.importorskip("axe_playwright_python.sync_playwright")

RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]

VIEWS = {
    "shoots": "/#/",
    "sheet": "/#/shoot/{shoot}",
    "people": "/#/shoot/{shoot}/people",
    "proofs": "/#/shoot/{shoot}/proofs",
    "tones": "/#/shoot/{shoot}/tones",
    "portrait": "/#/portrait/{portrait}",
    "divided": "/#/portrait/{portrait}?compare=divider&change=1&mask={person}.face-skin",
}

WIDTHS: list[ViewportSize] = [
    {"width": 320, "height": 640},
    DESKTOP,
    {"width": 3840, "height": 2160},
]


def faults(page: Page) -> list[str]:
    """What axe finds that is serious, and anything else it is sure of."""
    options = {"runOnly": RULES, "resultTypes": ["violations"]}
    found = axe_playwright.Axe().run(page, options=options)
    return [
        f"{one['impact']}: {one['id']} {[node['html'][:160] for node in one['nodes'][:3]]}"
        for one in found.response["violations"]
    ]


def address(view: str, demo: Demo) -> str:
    return VIEWS[view].format(
        shoot=demo.shoot, portrait=demo.portraits[0], person=demo.people[0][0]
    )


def fits(page: Page) -> None:
    """Nothing of the page is wider than its window, once it is drawn at its size."""
    page.evaluate(
        "() => new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)))"
    )
    until(page, "document.scrollingElement.scrollWidth <= innerWidth", within_s=20)


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("view", VIEWS)
def test_photographers_views(
    page: Page, demo: Demo, view: str, scheme: Literal["light", "dark"], screens: Screens
) -> None:
    page.emulate_media(color_scheme=scheme)
    page.goto(address(view, demo))
    until(page, "document.querySelector('#main').children.length > 0")
    page.wait_for_timeout(600)
    assert faults(page) == []
    screens.take(page, f"{view}-{scheme}")
    if scheme == "dark":
        return
    for size in WIDTHS:
        page.set_viewport_size(size)
        fits(page)
    page.set_viewport_size(WIDTHS[0])
    screens.take(page, f"{view}-320")
    if view == "portrait":
        page.set_viewport_size(WIDTHS[2])
        screens.take(page, "portrait-4k")


def test_sign_in_and_keys(browser: Browser, server: Server, screens: Screens) -> None:
    with watched(browser, server, viewport=DESKTOP) as somebody:
        page = somebody.new_page()
        page.goto("/")
        expect(page.get_by_label("Access token")).to_be_visible()
        assert faults(page) == []
        page.keyboard.press("Tab")
        page.get_by_role("button", name="Keys").click()
        assert faults(page) == []
        screens.take(page, "keys")
        page.keyboard.press("Escape")
        page.get_by_label("Language").select_option("de")
        expect(page.get_by_role("heading", name="Anmelden")).to_be_visible()
        assert faults(page) == []


def test_dialogs(page: Page, server: Server, demo: Demo) -> None:
    page.goto(f"/#/shoot/{demo.shoot}")
    page.get_by_label("Choose freckles.jpg").check()
    for opener in ("Show it to the client", "Strengths …"):
        page.get_by_role("button", name=opener).click()
        expect(page.get_by_role("dialog")).to_be_visible()
        assert faults(page) == []
        page.get_by_role("button", name="Close").click()
    page.get_by_role("link", name="People and permission").click()
    for opener in ("Write down what several said", "Permission"):
        page.get_by_role("button", name=opener, exact=True).first.click()
        expect(page.get_by_role("dialog")).to_be_visible()
        assert faults(page) == []
        page.get_by_role("button", name="Close").click()


@pytest.mark.parametrize("language", ["en-GB", "de-DE"])
def test_client_pages(
    browser: Browser, server: Server, demo: Demo, language: str, screens: Screens
) -> None:
    server.settle(demo.shoot)
    wanted = {"portraits": demo.portraits, "message": "Please look.", "strengths": [0, 0.5, 1]}
    made = server.send("POST", f"/v1/shoots/{demo.shoot}/proofs", json=wanted)
    asked = server.send("POST", f"/v1/shoots/{demo.shoot}/permission-links", json={"name": "Mara"})
    for name, path in (("client", made["link"]["path"]), ("permission", asked["path"])):
        with watched(browser, server, locale=language, viewport=PHONE) as context:
            looked_at(context.new_page(), path, f"{name}-{language[:2]}", screens)


def looked_at(page: Page, path: str, name: str, screens: Screens) -> None:
    """A page on a phone and wider, looked at by axe."""
    page.goto(path)
    expect(page.get_by_role("heading", level=1)).to_be_visible()
    page.wait_for_timeout(1500)
    assert faults(page) == []
    screens.take(page, f"{name}", full_page=True)
    for size in WIDTHS:
        page.set_viewport_size(size)
        fits(page)
    page.set_viewport_size(DESKTOP)
    screens.take(page, f"{name}-wide")


@pytest.mark.parametrize("size", [*WIDTHS, PHONE], ids=lambda size: str(size["width"]))
def test_the_photograph_is_the_largest_thing(page: Page, demo: Demo, size: ViewportSize) -> None:
    page.set_viewport_size(size)
    page.goto(f"/#/portrait/{demo.portraits[0]}")
    expect(page.locator(".viewer")).to_have_attribute("data-waiting", "0")
    shown = page.evaluate(
        """() => Object.fromEntries(['.viewer', '.doing', '#bar', '.tools', '.film'].map((one) => {
          const box = document.querySelector(one).getBoundingClientRect();
          const width = Math.min(innerWidth, box.right) - Math.max(0, box.left);
          const height = Math.min(innerHeight, box.bottom) - Math.max(0, box.top);
          return [one, Math.max(0, width) * Math.max(0, height) / innerWidth / innerHeight];
        }))"""
    )
    assert shown[".viewer"] > 0.5
    assert shown[".viewer"] == max(shown.values())
