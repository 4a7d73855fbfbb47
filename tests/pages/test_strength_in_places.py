"""A brush for strength: what the page shows of it is what the final has, to one code."""

from __future__ import annotations

import io
import time
from typing import Any

import numpy as np
import pytest
from PIL import Image
from playwright.sync_api import Page, expect

from tests.jobs.servers import PATIENCE_S
from tests.pages.conftest import DESKTOP, Demo, Screens
from tests.pages.serving import Server, demo_picture
from tests.pages.test_accessible import faults, fits
from tests.pages.test_burns import on_screen, opened
from tests.pages.test_looking import shot
from tests.pages.test_rendering import in_frame, on_canvas, settled

ARM = ((505, 470), (515, 560), (525, 640))
"""Along the burnt arm at the right edge of the demo portrait of 600 x 800 pixels."""


@pytest.fixture(scope="module")
def burnt(server: Server) -> Demo:
    """Somebody with a burn in a file without loss, who agreed to less redness and softer skin."""
    shoot = server.shoot("Regatta, in places")
    picture = io.BytesIO()
    Image.open(io.BytesIO(demo_picture("burnt_arm"))).save(picture, "PNG")
    portrait = server.portrait(shoot, "burnt_arm.png", picture.getvalue())
    people = server.agreed(shoot, portrait, ["Ines"], ["redness", "smoothing"])
    burnt_at = {"burnt_at": [list(ARM[0])]}
    server.send("PUT", f"/v1/people/{people[0]}/steps/redness", json=burnt_at)
    server.settle(shoot)
    return Demo(shoot, [portrait], [people])


def files_of(server: Server, demo: Demo) -> dict[str, str]:
    layers = server.get(f"/v1/portraits/{demo.portraits[0]}/layers")
    return {layer["step"]: layer["sha256"] for layer in layers}


def files_are(page: Page, server: Server, demo: Demo, wanted: dict[str, str]) -> None:
    """Wait until the layers' files are those."""
    deadline = time.monotonic() + PATIENCE_S
    while (now := files_of(server, demo)) != wanted:
        assert time.monotonic() < deadline, now
        page.wait_for_timeout(100)


def stroke(page: Page, server: Server, demo: Demo) -> None:
    """Draw along the arm, and wait until the page shows it."""
    before = files_of(server, demo)
    page.mouse.move(*on_screen(page, ARM[0]))
    page.mouse.down()
    for point in ARM[1:]:
        page.mouse.move(*on_screen(page, point), steps=5)
    with page.expect_response(lambda answer: "/strokes?" in answer.url and answer.ok):
        page.mouse.up()
    assert files_of(server, demo) != before
    shown_anew(page)


def shown_anew(page: Page) -> None:
    """Wait until the page has looked again and drawn what it saw."""
    with page.expect_response("**/v1/portraits/*/layers"):
        pass
    page.wait_for_timeout(300)
    settled(page)


def final_codes(server: Server, demo: Demo) -> tuple[Any, Any]:
    """Codes of the original and of a final made now."""
    portrait = demo.portraits[0]
    server.send("POST", f"/v1/portraits/{portrait}/final", json={"override": "to compare with"})
    server.settle(demo.shoot)
    finals = server.get(f"/v1/shoots/{demo.shoot}/finals")
    newest = max(finals, key=lambda one: one["created_at"])
    files = (f"/v1/portraits/{portrait}/original", f"/v1/finals/{newest['id']}/file")
    original, final = (
        np.asarray(Image.open(io.BytesIO(server.http.get(path).content))) for path in files
    )
    return original, final


def test_what_is_painted_less_is_shown_as_in_the_final_and_undone(
    page: Page, server: Server, burnt: Demo, screens: Screens
) -> None:
    before = files_of(server, burnt)
    _, whole = final_codes(server, burnt)
    opened(page, burnt, "?zoom=1&x=500&y=560&marks=0")
    card = page.locator(".person")
    card.get_by_text("In places").click()
    less = card.get_by_role("group", name="Less redness").get_by_role("button", name="Less here")
    less.click()
    expect(page.locator(".hint:visible")).to_contain_text("Each stroke takes half of")
    settled(page)
    stroke(page, server, burnt)
    stroke(page, server, burnt)
    assert files_of(server, burnt)["smoothing"] == before["smoothing"]
    expect(card.get_by_role("button", name="Take 2 strokes back")).to_be_visible()
    page.mouse.move(5, 5)
    shot(page, screens, "less-here")
    assert faults(page) == []
    for width in (320, 390, 1280, 1920):
        page.set_viewport_size({"width": width, "height": 844})
        fits(page)
        screens.take(page, f"less-here-{width}")
    page.set_viewport_size(DESKTOP)
    original, final = final_codes(server, burnt)
    seen, place = on_canvas(page)
    canvas, wanted = in_frame(seen, place, final)
    assert np.abs(canvas.astype(int) - wanted).max() <= 1
    # the arm is nearer to the original, by about three quarters; elsewhere nothing is other
    near = np.s_[540:600, 505:525]
    moved = [np.abs(one[near].astype(int) - original[near]).mean() for one in (final, whole)]
    assert moved[0] < 0.5 * moved[1]
    far = np.s_[:, :350]
    np.testing.assert_array_equal(final[far], whole[far])
    # given back, then all undone
    card.get_by_role("group", name="Less redness").get_by_role("button", name="More again").click()
    stroke(page, server, burnt)
    for label in ("More again", "Less", "Less"):
        page.keyboard.press("Control+z")
        expect(page.locator("#news")).to_contain_text(f"Undone: {label} in a place: Less redness")
    files_are(page, server, burnt, before)
    page.keyboard.press("Escape")
    expect(page.locator(".hint:visible")).to_have_count(0)


def test_all_strokes_are_taken_back_at_once(page: Page, server: Server, burnt: Demo) -> None:
    before = files_of(server, burnt)
    opened(page, burnt)
    card = page.locator(".person")
    card.get_by_text("In places").click()
    group = card.get_by_role("group", name="Less redness")
    group.get_by_role("button", name="Less here").click()
    settled(page)
    stroke(page, server, burnt)
    group.get_by_role("button", name="Take 1 stroke back").click()
    expect(group.get_by_role("button", name="Take 1 stroke back")).to_have_count(0)
    files_are(page, server, burnt, before)
    expect(page.get_by_role("button", name="Undo")).to_be_disabled()
