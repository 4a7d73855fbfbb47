"""The portrait before a burn, named on the photographer's page."""

from __future__ import annotations

import io
from typing import Any

import numpy as np
import pytest
from PIL import Image
from playwright.sync_api import Page, expect

from evenhand.report import findings
from tests.pages.conftest import DESKTOP, PHONE, Demo, Screens
from tests.pages.serving import Server, demo_picture
from tests.pages.test_accessible import faults, fits
from tests.pages.test_burns import opened, redness_of, said_when
from tests.pages.test_looking import shot


def paler(picture: bytes) -> bytes:
    """The same portrait a little less red: another day, as far as the service can tell."""
    codes = np.asarray(Image.open(io.BytesIO(picture))).astype(np.float32)
    out = io.BytesIO()
    Image.fromarray((codes * [0.97, 1, 1]).astype(np.uint8)).save(out, "JPEG", quality=93)
    return out.getvalue()


@pytest.fixture(scope="module")
def days(server: Server) -> Demo:
    """Ines burnt, Ines the day before, Jon, and somebody without a name."""
    shoot = server.shoot("Regatta, two days")
    burnt = demo_picture("burnt_arm")
    given = {"sunday.jpg": burnt, "saturday.jpg": paler(burnt), "jon.jpg": demo_picture("bowman")}
    portraits = [server.portrait(shoot, name, picture) for name, picture in given.items()]
    portraits.append(server.portrait(shoot, "nobody.jpg", demo_picture("freckles")))
    people = [
        server.agreed(shoot, portrait, [name], ["redness"])
        for portrait, name in zip(portraits[:3], ("Ines", "Ines", "Jon"), strict=True)
    ]
    return Demo(shoot, portraits, people)


@pytest.fixture
def fresh(server: Server, days: Demo) -> Demo:
    """The same, nothing said of anybody's redness."""
    for people in days.people[:2]:
        server.send("PUT", f"/v1/people/{people[0]}/steps/redness", json={})
    server.settle(days.shoot)
    return days


def told(page: Page) -> list[str]:
    said = page.locator(".found li > span").all_inner_texts()
    return [text[0].lower() + text[1:] for text in said]


def test_only_portraits_of_the_same_name_are_offered_and_one_is_compared_with(
    page: Page, server: Server, fresh: Demo, screens: Screens
) -> None:
    opened(page, fresh)
    card = page.locator(".person")
    card.get_by_role("button", name="Compare with an earlier portrait").click()
    dialog = page.get_by_role("dialog")
    expect(dialog.locator(".earlier-list button")).to_have_text(["saturday.jpg"])
    page.wait_for_timeout(500)
    assert faults(page) == []
    screens.take(page, "before-burn-choose")
    dialog.get_by_role("button", name="saturday.jpg").click()
    expect(dialog).to_be_hidden()
    expect(card.locator(".earlier")).to_contain_text("Taken before the burn: saturday.jpg")
    saturday = fresh.portraits[1]
    said_when(page, server, fresh, lambda said: said == {"before_burn": saturday})
    server.settle(fresh.shoot)
    layer = redness_of(server, fresh)
    assert layer["settings"]["before_burn"] == saturday
    assert layer["facts"]["before"]["balanced_by"]
    said = (findings.COMPARED, findings.NO_REDDER)
    expect(card.locator(".found")).not_to_contain_text("being computed")
    assert [text for text in told(page) if text in said]
    assert told(page) == layer["findings"]
    expect(page.locator("#news")).to_contain_text("Ines: ")
    shot(page, screens, "before-burn")
    for width in (320, 390, 1280, 1920):
        page.set_viewport_size({"width": width, "height": 844})
        fits(page)
        card.scroll_into_view_if_needed()
        screens.take(page, f"before-burn-{width}")
    page.set_viewport_size(DESKTOP)
    # taken off again, undone, done again
    card.get_by_role("button", name="Do not compare").click()
    expect(card.locator(".earlier")).to_be_hidden()
    said_when(page, server, fresh, lambda said: said == {})
    server.settle(fresh.shoot)
    expect(card.locator(".found")).not_to_contain_text("being computed")
    assert "before" not in redness_of(server, fresh)["facts"]
    assert not [text for text in told(page) if text in said]
    page.keyboard.press("Control+z")
    expect(card.locator(".earlier")).to_contain_text("saturday.jpg")
    said_when(page, server, fresh, lambda said: said == {"before_burn": saturday})
    server.settle(fresh.shoot)


def test_points_and_the_earlier_portrait_do_not_undo_each_other(
    page: Page, server: Server, fresh: Demo
) -> None:
    said: dict[str, Any] = {"burnt_at": [[300, 400]], "by_region": {"arm": 0.5}}
    person = fresh.people[0][0]
    server.send("PUT", f"/v1/people/{person}/steps/redness", json=said)
    server.settle(fresh.shoot)
    opened(page, fresh)
    page.get_by_role("button", name="Compare with an earlier portrait").click()
    page.get_by_role("dialog").get_by_role("button", name="saturday.jpg").click()
    both = {**said, "before_burn": fresh.portraits[1]}
    said_when(page, server, fresh, lambda now: now == both)
    page.get_by_role("button", name="Take all back").click()
    left = {"burnt_at": [], "leave_at": [], "by_region": {"arm": 0.5}}
    said_when(page, server, fresh, lambda now: now == {**left, "before_burn": both["before_burn"]})
    server.settle(fresh.shoot)


def test_a_portrait_that_shows_somebody_else_by_now_counts_for_nothing(
    page: Page, server: Server, fresh: Demo
) -> None:
    person, other = fresh.people[0][0], fresh.people[1][0]
    saturday = fresh.portraits[1]
    server.send("PUT", f"/v1/people/{person}/steps/redness", json={"before_burn": saturday})
    server.send("PUT", f"/v1/people/{other}", json={"name": "Ida"})
    server.settle(fresh.shoot)
    opened(page, fresh)
    card = page.locator(".person")
    expect(card.locator(".earlier")).to_contain_text("no longer shows Ines")
    expect(card.locator(".found")).not_to_contain_text("being computed")
    card.get_by_role("button", name="Do not compare").click()
    said_when(page, server, fresh, lambda said: said == {})
    expect(card.locator(".earlier")).to_be_hidden()
    server.send("PUT", f"/v1/people/{other}", json={"name": "Ines"})
    server.settle(fresh.shoot)


def test_who_has_no_other_portrait_is_offered_none(page: Page, server: Server, fresh: Demo) -> None:
    jon = Demo(fresh.shoot, fresh.portraits[2:3], fresh.people[2:3])
    opened(page, jon)
    expect(page.locator(".person .found")).to_be_visible()
    expect(page.get_by_text("earlier portrait")).to_have_count(0)


def test_a_portrait_that_shows_other_skin_cannot_be_chosen(
    page: Page, server: Server, fresh: Demo
) -> None:
    """What the service would refuse is said before it is asked."""
    saturday = fresh.portraits[1]

    def only_a_leg(route: Any) -> None:
        found = route.fetch().json()
        for one in found:
            if one["portrait"] == saturday:
                box = {"top": 0, "left": 0, "bottom": 9, "right": 9}
                one["person"]["regions"] = [{"region": "leg", "box": box}]
        route.fulfill(json=found)

    page.route("**/v1/shoots/*/people", only_a_leg)
    page.set_viewport_size(PHONE)
    opened(page, fresh)
    page.get_by_role("button", name="Compare with an earlier portrait").click()
    choice = page.get_by_role("dialog").get_by_role("button", name="saturday.jpg")
    expect(choice).to_be_disabled()
    expect(choice).to_contain_text("shows none of the skin seen here")
    fits(page)
    page.unroute_all(behavior="ignoreErrors")
