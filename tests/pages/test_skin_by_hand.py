"""Skin by hand on the photographer's page: skin that was missed, and somebody who was not found."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import numpy as np
import pytest
from playwright.sync_api import Page, expect

from evenhand.people.person import Person, Region
from tests.pages.conftest import DESKTOP, Demo, Screens
from tests.pages.serving import Server, demo_picture
from tests.pages.test_accessible import faults, fits
from tests.pages.test_burns import on_screen, opened, skin_of
from tests.pages.test_looking import shot


@contextmanager
def seeing(server: Server, seen: Any) -> Iterator[None]:
    """Let the service find what `seen` makes of the people who are found."""
    find = server.place.retoucher.find
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(server.place.retoucher, "find", lambda photograph: seen(find(photograph)))
        yield


def without_arms(people: list[Person]) -> list[Person]:
    """Everybody, as if the parser had missed their arms."""
    for person in people:
        dict.pop(person.masks, Region.ARM, None)  # type: ignore[arg-type]
        dict.pop(person.masks, Region.HAND, None)  # type: ignore[arg-type]
    return people


@pytest.fixture
def armless(server: Server) -> Demo:
    """A portrait of Ines of which the arms were missed; she agreed to less redness."""
    shoot = server.shoot("Regatta, arms missed")
    with seeing(server, without_arms):
        portrait = server.portrait(shoot, "burnt_arm.jpg", demo_picture("burnt_arm"))
    return Demo(shoot, [portrait], [server.agreed(shoot, portrait, ["Ines"], ["redness"])])


@pytest.fixture
def nobody(server: Server) -> Demo:
    """A portrait in which nobody was found."""
    shoot = server.shoot("Regatta, nobody found")
    with seeing(server, lambda _: []):
        portrait = server.portrait(shoot, "burnt_arm.jpg", demo_picture("burnt_arm"))
    return Demo(shoot, [portrait], [])


def stroke(page: Page, *points: tuple[int, int]) -> None:
    """Draw along points of the portrait, and wait until it is kept."""
    page.mouse.move(*on_screen(page, points[0]))
    page.mouse.down()
    for point in points[1:]:
        page.mouse.move(*on_screen(page, point), steps=6)
    with page.expect_response(lambda answer: "mask-edits?" in answer.url and answer.ok):
        page.mouse.up()


def point(page: Page, server: Server, demo: Demo, spot: tuple[int, int]) -> None:
    """Say that skin is burnt there, and wait for what comes of it."""
    page.locator(".viewer").press("h")
    page.mouse.click(*on_screen(page, spot))
    expect(page.locator(".found")).not_to_contain_text("being computed")
    expect(page.locator(".person")).to_contain_text("Points: 1 burnt")
    server.settle(demo.shoot)
    expect(page.locator("#news")).to_contain_text("Ines: ")
    page.keyboard.press("Escape")


ARM = ((500, 460), (512, 600), (540, 760))
"""Along the upper arm at the right edge of the demo portrait of 600 x 800 pixels."""


def test_an_arm_that_was_missed_is_stroked_and_its_burn_goes(
    page: Page, server: Server, armless: Demo, screens: Screens
) -> None:
    person, portrait = armless.people[0][0], armless.portraits[0]
    before = skin_of(server, person)
    assert before[600, 515] == 0
    opened(page, armless)
    card = page.locator(".person")
    card.get_by_role("button", name="This is skin").click()
    expect(card.get_by_role("button", name="This is skin")).to_have_attribute(
        "aria-pressed", "true"
    )
    expect(page.locator(".hint:visible")).to_contain_text("Stroke over skin of Ines")
    page.locator(".hint:visible").get_by_label("Size of the brush").fill("7")
    stroke(page, *ARM)
    page.wait_for_timeout(500)
    screens.take(page, "this-is-skin")
    assert faults(page) == []
    after = skin_of(server, person)
    assert after[600, 515] == 255
    assert after[600, 550] == 0  # water under the stroke
    server.settle(armless.shoot)
    (found,) = server.get(f"/v1/portraits/{portrait}/people")
    assert max(one["box"]["right"] for one in found["regions"]) > 560
    point(page, server, armless, ARM[1])
    (layer,) = server.get(f"/v1/portraits/{portrait}/layers")
    assert any(burn["pointed_at"] for burn in layer["facts"]["burns"])
    assert layer["box"]["right"] > 540  # the layer reaches over the arm
    # a part of it is no skin after all
    card.get_by_role("button", name="No skin").click()
    expect(page.locator(".hint:visible")).to_contain_text("lie on no skin of Ines")
    stroke(page, (538, 740), (542, 770))
    assert skin_of(server, person)[755, 540] == 0
    assert skin_of(server, person)[560, 508] == 255
    page.keyboard.press("Control+z")
    expect(page.get_by_text("Undone: No skin of Ines")).to_be_visible()
    assert skin_of(server, person)[755, 540] == 255
    page.keyboard.press("Control+z")  # the point
    expect(page.get_by_text("Undone: Burnt here, Ines")).to_be_visible()
    page.keyboard.press("Control+z")
    expect(page.get_by_text("Undone: Skin of Ines")).to_be_visible()
    np.testing.assert_array_equal(skin_of(server, person), before)
    page.keyboard.press("Escape")
    expect(page.locator(".hint:visible")).to_have_count(0)
    server.settle(armless.shoot)


def test_somebody_who_was_not_found_is_named_painted_asked_and_retouched(
    page: Page, server: Server, nobody: Demo, screens: Screens
) -> None:
    portrait = nobody.portraits[0]
    opened(page, nobody)
    expect(page.get_by_text("Nobody was found in this portrait.")).to_be_visible()
    screens.take(page, "somebody-missing")
    page.get_by_label("Who is missing?").fill("Ines")
    page.get_by_role("button", name="Add", exact=True).click()
    card = page.locator(".person")
    expect(card).to_contain_text("No skin of this person yet")
    expect(card).to_contain_text("Has agreed to nothing yet")
    card.get_by_role("button", name="This is skin").click()
    page.locator(".hint:visible").get_by_label("Size of the brush").fill("7")
    stroke(page, *ARM)
    stroke(page, (325, 400), (318, 470))  # neck and chest
    expect(card).not_to_contain_text("No skin of this person yet")
    for width in (320, 390, 1280, 1920):
        page.set_viewport_size({"width": width, "height": 844})
        fits(page)
        screens.take(page, f"by-hand-{width}")
    page.set_viewport_size(DESKTOP)
    server.settle(nobody.shoot)
    assert server.get(f"/v1/portraits/{portrait}/layers") == []  # not asked yet
    permission = {"name": "Ines", "steps": ["redness"]}
    server.send("POST", f"/v1/shoots/{nobody.shoot}/permissions", json=permission)
    server.settle(nobody.shoot)
    expect(card.locator(".found")).to_be_visible()
    point(page, server, nobody, ARM[1])
    (layer,) = server.get(f"/v1/portraits/{portrait}/layers")
    (burn,) = (one for one in layer["facts"]["burns"] if one["pointed_at"])
    assert burn["action"] == "taken off"
    shot(page, screens, "by-hand-retouched")
    assert faults(page) == []
    # and removed again
    card.get_by_role("button", name="Remove").click()
    page.get_by_role("dialog").get_by_role("button", name="Remove").click()
    expect(card).to_have_count(0)
    assert server.get(f"/v1/portraits/{portrait}/people") == []
    expect(page.get_by_role("button", name="Undo")).to_be_disabled()


def test_a_region_that_was_not_found_can_be_painted_by_name(
    page: Page, server: Server, armless: Demo
) -> None:
    person = armless.people[0][0]
    opened(page, armless, f"?mask={person}.skin")
    choose = page.get_by_label("Show", exact=True)
    expect(choose.get_by_role("option", name="hand (not found)")).to_be_attached()
    choose.select_option(label="hand (not found)")
    page.get_by_role("radio", name="Paint in").click()
    stroke(page, (40, 740), (40, 760))
    expect(choose.get_by_role("option", name="hand", exact=True)).to_be_attached()
    server.settle(armless.shoot)
