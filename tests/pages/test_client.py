"""The client's page: looking, choosing, approving, asking for a change, on every size of screen."""

from __future__ import annotations

import io
import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image
from playwright.sync_api import Browser, Page, Route, ViewportSize, expect

from tests.pages.conftest import DESKTOP, PHONE, Demo, Screens, watched
from tests.pages.serving import Server, demo_picture, until
from tests.pages.test_accessible import faults, fits

SMALL: ViewportSize = {"width": 320, "height": 640}
LARGE: ViewportSize = {"width": 3840, "height": 2160}
SIZES = {"320": SMALL, "phone": PHONE, "desk": DESKTOP, "4k": LARGE}


@pytest.fixture(scope="module")
def shoot(server: Server) -> Demo:
    """Two portraits with strengths that are not whole: 55 and 40 %."""
    shoot = server.shoot("The eights")
    portraits, people = [], []
    for name in ("freckles", "pair"):
        portraits.append(server.portrait(shoot, f"{name}.jpg", demo_picture(name)))
        names = ["Mara"] if name == "freckles" else ["Pia", "Tom"]
        steps = ["redness", "smoothing", "marks"]
        people.append(server.agreed(shoot, portraits[-1], names, steps))
        for layer in server.get(f"/v1/portraits/{portraits[-1]}/layers"):
            strength = 0.4 if layer["step"] == "smoothing" else 0.55
            path = f"/v1/layers/{layer['id']}/strength"
            server.send("PUT", path, json={"strength": strength})
    return Demo(shoot, portraits, people)


@pytest.fixture
def link(server: Server, shoot: Demo) -> str:
    """Address of a new proof of both."""
    server.settle(shoot.shoot)
    wanted = {"portraits": shoot.portraits, "message": "Dear Mara, please look."}
    made = server.send("POST", f"/v1/shoots/{shoot.shoot}/proofs", json=wanted)
    return str(made["link"]["path"])


@pytest.fixture
def page(browser: Browser, server: Server) -> Iterator[Page]:
    """A phone."""
    with watched(browser, server, viewport=PHONE, is_mobile=True, has_touch=True) as phone:
        yield phone.new_page()


def ready(page: Page) -> None:
    """Wait until the picture is there and can be decided on."""
    until(page, "document.querySelector('.ask')?.disabled === false")
    until(page, "document.querySelector('.stage').ariaBusy !== 'true'")


def opened(page: Page, link: str) -> None:
    page.goto(link)
    ready(page)


def altered(page: Page, change: Any) -> None:
    """Let the page be told something else of its proof."""

    def told(route: Route) -> None:
        response = route.fetch()
        proof = response.json()
        change(proof)
        route.fulfill(response=response, body=json.dumps(proof))

    page.route("**/v1/proof", told)


def pixels(page: Page) -> np.ndarray[Any, Any]:
    """What the frame of the picture looks like."""
    shot = page.locator(".stage").screenshot()
    return np.asarray(Image.open(io.BytesIO(shot)).convert("RGB")).astype(int)


def where(page: Page, row: float, column: float) -> tuple[float, float]:
    """Place on the screen of a place of the photograph."""
    at = page.locator("img.after").evaluate(
        """(image, [row, column]) => {
          const box = image.getBoundingClientRect();
          return [box.left + column * box.width, box.top + row * box.height];
        }""",
        [row, column],
    )
    return float(at[0]), float(at[1])


def test_from_a_change_asked_for_to_signed_finals_on_a_phone(
    browser: Browser, server: Server, tmp_path: Path, screens: Screens
) -> None:
    """Approve one, ask for a change of the other, be answered, approve; then the finals."""
    shoot = server.shoot("The fours")
    portraits = []
    for name, who in (("freckles", "Mara"), ("bowman", "Jon")):
        portraits.append(server.portrait(shoot, f"{name}.jpg", demo_picture(name, 560)))
        server.agreed(shoot, portraits[-1], [who], ["redness", "smoothing"])
    made = server.send("POST", f"/v1/shoots/{shoot}/proofs", json={"portraits": portraits})
    kept = [{"name": "evenhand.token", "value": server.token}]
    state: Any = {
        "cookies": [],
        "origins": [{"origin": server.address, "localStorage": kept}],
    }
    phone: Any = {"viewport": PHONE, "is_mobile": True, "has_touch": True}
    with (
        watched(browser, server, **phone) as somebody,
        watched(browser, server, **phone, storage_state=state) as photographer,
    ):
        client = somebody.new_page()
        opened(client, made["link"]["path"])
        client.locator(".decide .approve").tap()
        client.get_by_label("Your name").fill("Mara")
        client.get_by_role("button", name="Yes, approve").tap()
        expect(client.get_by_text("Approved by Mara")).to_be_visible()
        screens.take(client, "client-approved")
        client.get_by_role("link", name="Next picture").tap()
        expect(client.locator(".strip [aria-current]")).to_have_attribute("aria-label", "Picture 2")
        ready(client)
        client.locator(".decide .ask").tap()
        client.touchscreen.tap(*where(client, 0.3, 0.5))
        client.get_by_label("What should be different?").fill("A little less, please.")
        expect(client.get_by_text("1 place shown.")).to_be_visible()
        expect(client.get_by_label("Your name")).to_have_value("Mara")
        screens.take(client, "client-asks")
        client.get_by_role("button", name="Send").tap()
        expect(client.get_by_text("You asked for a change.")).to_be_visible()
        screens.take(client, "client-asked")

        page = photographer.new_page()
        page.goto(f"/#/shoot/{shoot}/proofs")
        card = page.locator(".asked-change")
        expect(card).to_contain_text("A little less, please.")
        expect(card).to_contain_text("Round 1")
        answer = card.get_by_label("Your answer")
        answer.fill("Half of it now")
        layer = server.get(f"/v1/portraits/{portraits[1]}/layers")[0]
        server.send("PUT", f"/v1/layers/{layer['id']}/strength", json={"strength": 0.5})
        page.wait_for_timeout(2500)  # the page has looked again meanwhile
        expect(answer).to_have_value("Half of it now")
        screens.take(page, "change-asked-for")
        card.get_by_role("button", name="Answer and show it again").tap()
        expect(card).to_have_count(0)

        expect(client.get_by_text("The studio has answered.")).to_be_visible()
        expect(client.get_by_text("Half of it now").first).to_be_visible()
        ready(client)
        screens.take(client, "client-answered")
        client.locator(".decide .approve").tap()
        client.get_by_role("button", name="Yes, approve").tap()
        expect(client.get_by_text("Approved by Mara")).to_be_visible()
        expect(client.get_by_text("2 of 2 approved")).to_be_visible()

    asked = server.send(
        "POST", f"/v1/shoots/{shoot}/finals", json={"format": "jpeg", "longest_side": 400}
    )
    assert len(asked["jobs"]) == 2
    assert asked["left"] == []
    server.settle(shoot)
    for final in server.get(f"/v1/shoots/{shoot}/finals"):
        content = server.http.get(f"/v1/finals/{final['id']}/file").content
        assert max(Image.open(io.BytesIO(content)).size) == 400
    (change,) = server.get(f"/v1/shoots/{shoot}/changes")
    (place,) = change["places"]
    portrait = server.get(f"/v1/portraits/{portraits[1]}")
    assert abs(place["row"] / portrait["height"] - 0.3) < 0.02
    assert abs(place["column"] / portrait["width"] - 0.5) < 0.02
    signed = server.get(f"/v1/shoots/{shoot}/sign-offs")[0]["applied"]
    assert {one["step"]: one["strength"] for one in signed}[layer["step"]] == 0.5


@pytest.mark.parametrize("size", SIZES)
def test_two_equal_buttons_with_the_picture_in_view(
    browser: Browser, server: Server, link: str, size: str, screens: Screens
) -> None:
    window = SIZES[size]
    with watched(browser, server, viewport=window) as somebody:
        page = somebody.new_page()
        opened(page, link)
        fits(page)
        look = """(one) => {
          const { backgroundColor, color, fontSize, fontWeight } = getComputedStyle(one);
          const { width, height } = one.getBoundingClientRect();
          return [width, height, backgroundColor, color, fontSize, fontWeight];
        }"""
        approve, ask = page.locator(".decide .approve"), page.locator(".decide .ask")
        assert approve.evaluate(look) == ask.evaluate(look)
        for part in (".stage", ".decide .approve", ".decide .ask"):
            box = page.locator(part).bounding_box()
            assert box is not None
            assert box["x"] >= 0
            assert box["y"] >= 0
            assert box["x"] + box["width"] <= window["width"] + 0.5, part
            assert box["y"] + box["height"] <= window["height"] + 0.5, part
        box = page.locator(".stage").bounding_box()
        assert box is not None
        assert box["width"] * box["height"] > 0.3 * window["width"] * window["height"]
        screens.take(page, f"client-{size}")


@pytest.mark.parametrize("size", ["320", "phone", "desk"])
def test_a_long_list_never_makes_the_page_longer(
    browser: Browser, server: Server, link: str, size: str, screens: Screens
) -> None:
    def longer(proof: Any) -> None:
        shown = proof["portraits"][0]
        mark = shown["marks"][0]
        shown["marks"] = [
            mark | {"number": number, "id": f"{number:032x}", "shows": "taken out"}
            for number in range(80)
        ]
        proof["portraits"] = [
            shown | {"id": shown["id"] if k == 0 else f"{k:032x}", "ready": k == 0}
            for k in range(60)
        ]

    with watched(browser, server, viewport=SIZES[size]) as somebody:
        page = somebody.new_page()
        altered(page, longer)
        opened(page, link)
        page.locator(".more summary").click()
        expect(page.get_by_text("80 spots")).to_be_attached()
        assert page.evaluate("document.scrollingElement.scrollHeight <= innerHeight")
        fits(page)
        box = page.locator(".stage").bounding_box()
        assert box is not None
        assert box["height"] >= 170
        last = page.locator(".spots li").last
        last.scroll_into_view_if_needed()
        expect(last).to_be_in_viewport()
        expect(page.locator(".stage")).to_be_in_viewport(ratio=1)
        screens.take(page, f"client-more-{size}")


def test_dragging_across_compares_and_double_tap_enlarges(page: Page, link: str) -> None:
    opened(page, link)
    after = pixels(page)
    slider = page.get_by_role("slider", name="Before and after")
    box = page.locator("img.after").bounding_box()
    assert box is not None
    middle = box["y"] + box["height"] / 2
    page.mouse.move(box["x"] + 0.2 * box["width"], middle)
    page.mouse.down()
    page.mouse.move(box["x"] + 0.5 * box["width"], middle, steps=4)
    page.mouse.up()
    assert abs(float(slider.input_value()) - 50) < 2
    expect(page.locator(".stage .which")).to_be_visible()
    half = pixels(page)
    width = after.shape[1]
    changed = (np.abs(half - after).max(2) > 2).any(0)
    assert changed[: width // 2 - 30].any()
    assert not changed[width // 2 + 40 :].any()
    slider.fill("0")
    assert (np.abs(pixels(page) - after).max(2) > 16).sum() == 0  # but for the handle's soft edge

    def across() -> float:
        box = page.locator("img.after").bounding_box()
        assert box is not None
        return box["width"]

    whole = across()
    at = where(page, 0.4, 0.5)
    page.mouse.dblclick(*at)
    assert across() > 2 * whole
    assert np.allclose(where(page, 0.4, 0.5), at, atol=2)
    page.mouse.dblclick(*at)
    assert abs(across() - whole) < 1
    page.get_by_role("button", name="Enlarge").tap()
    assert across() > 2 * whole
    page.get_by_role("button", name="Enlarge").tap()


def test_two_fingers_enlarge(page: Page, link: str) -> None:
    """Touches as the browser's own protocol makes them."""
    opened(page, link)
    box = page.locator("img.after").bounding_box()
    assert box is not None
    touches = page.context.new_cdp_session(page)
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2

    def touch(kind: str, apart: float) -> None:
        points = [{"x": x - apart, "y": y, "id": 0}, {"x": x + apart, "y": y, "id": 1}]
        sent = {"type": kind, "touchPoints": [] if kind == "touchEnd" else points}
        touches.send("Input.dispatchTouchEvent", sent)

    touch("touchStart", 30)
    for apart in (45, 60, 75, 90):
        touch("touchMove", apart)
    touch("touchEnd", 90)
    wider = page.locator("img.after").bounding_box()
    assert wider is not None
    assert 2.5 < wider["width"] / box["width"] < 3.5
    expect(page.get_by_role("button", name="Enlarge")).to_have_attribute("aria-pressed", "true")


def test_by_keys_alone(browser: Browser, server: Server, link: str) -> None:
    with watched(browser, server, viewport=DESKTOP) as somebody:
        page = somebody.new_page()
        opened(page, link)
        stage = page.locator(".stage")
        stage.focus()
        page.keyboard.press("+")
        expect(page.get_by_role("button", name="Enlarge")).to_have_attribute("aria-pressed", "true")
        page.keyboard.press("0")
        page.keyboard.down("b")
        expect(page.get_by_role("slider", name="Before and after")).to_have_value("100")
        page.keyboard.up("b")
        expect(page.get_by_role("slider", name="Before and after")).to_have_value("0")
        page.keyboard.press("ArrowRight")
        expect(page).to_have_title("Picture 2 · The eights")
        ready(page)
        page.locator(".decide .ask").focus()
        page.keyboard.press("Enter")
        expect(page.get_by_label("What should be different?")).to_be_focused()
        page.keyboard.type("Less on the left.")
        page.keyboard.press("Tab")
        page.keyboard.press("Enter")
        expect(page.get_by_text("1 place shown.")).to_be_visible()
        page.get_by_label("Your name").focus()
        page.keyboard.press("Escape")
        expect(page.locator(".decide .ask")).to_be_focused()


def test_strengths_are_those_that_are_shown(page: Page, link: str) -> None:
    """The whole of 55 % is 55 %, half of it 28."""
    opened(page, link)
    expect(
        page.get_by_text("Shown: less redness 55%, softer skin 40% and passing marks 55%.")
    ).to_be_visible()
    expect(page.get_by_role("radio", name="Suggested 40% to 55%")).to_be_checked()
    page.get_by_role("radio", name="Half 20% to 28%").check()
    expect(
        page.get_by_text("Shown: less redness 28%, softer skin 20% and passing marks 28%.")
    ).to_be_visible()
    ready(page)
    page.locator(".decide .approve").tap()
    expect(page.get_by_text("As you see it: less redness 28%")).to_be_visible()
    expect(page.get_by_text("100%")).to_have_count(0)


def test_reload_and_back_keep_what_was_said(page: Page, link: str) -> None:
    opened(page, link)
    page.get_by_role("radio", name="Most").check()
    ready(page)
    page.locator(".decide .ask").tap()
    page.get_by_label("What should be different?").fill("Just as I am")
    page.get_by_role("link", name="Picture 2").tap()
    expect(page).to_have_title("Picture 2 · The eights")
    page.go_back()
    expect(page).to_have_title("Picture 1 · The eights")
    page.reload()
    ready(page)
    expect(page.get_by_role("radio", name="Most")).to_be_checked()
    page.locator(".decide .ask").tap()
    expect(page.get_by_label("What should be different?")).to_have_value("Just as I am")


def test_letters_are_not_lost_while_the_page_looks_again(
    page: Page, server: Server, shoot: Demo, link: str
) -> None:
    opened(page, link)
    page.locator(".decide .ask").tap()
    words = page.get_by_label("What should be different?")
    layer = server.get(f"/v1/portraits/{shoot.portraits[0]}/layers")[0]
    path = f"/v1/layers/{layer['id']}/strength"
    for number in range(5):
        words.press_sequentially(f"word {number} ", delay=60)
        server.send("PUT", path, json={"strength": 0.3 + 0.05 * number})
        page.wait_for_timeout(900)
    expect(words).to_be_focused()
    expect(words).to_have_value("".join(f"word {number} " for number in range(5)))
    server.send("PUT", path, json={"strength": layer["strength"]})


def test_what_changed_while_it_was_looked_at_is_not_signed(
    page: Page, server: Server, shoot: Demo, link: str
) -> None:
    opened(page, link)
    page.locator(".decide .approve").tap()
    page.get_by_label("Your name").fill("Mara")
    page.route("**/v1/proof", lambda route: route.abort())  # the page does not hear of it
    layer = server.get(f"/v1/portraits/{shoot.portraits[0]}/layers")[0]
    path = f"/v1/layers/{layer['id']}/strength"
    server.send("PUT", path, json={"strength": 0.1})
    page.get_by_role("button", name="Yes, approve").tap()
    expect(page.get_by_role("alert")).to_contain_text("has changed while you looked")
    assert server.get(f"/v1/shoots/{shoot.shoot}/sign-offs") == []
    server.send("PUT", path, json={"strength": layer["strength"]})


def test_a_client_taps_their_own_spot(
    page: Page, server: Server, shoot: Demo, link: str, screens: Screens
) -> None:
    portrait = server.get(f"/v1/portraits/{shoot.portraits[0]}")
    marks = server.get(f"/v1/portraits/{shoot.portraits[0]}/marks")
    alone = [
        mark
        for mark in marks
        if mark["shows"] == "taken out"
        and all(
            one is mark or abs(one["row"] - mark["row"]) + abs(one["column"] - mark["column"]) > 40
            for one in marks
        )
    ]
    mark = alone[0]
    opened(page, link)

    def tap() -> None:
        page.touchscreen.tap(
            *where(page, mark["row"] / portrait["height"], mark["column"] / portrait["width"])
        )

    tap()
    card = page.locator(".tapped")
    expect(card).to_contain_text(f"Spot {mark['number']}")
    expect(card).to_contain_text("is taken out here")
    expect(card.get_by_label("Take it out")).to_be_checked()
    screens.take(page, "client-spot")
    card.get_by_label("Leave it").check()
    expect(card).to_contain_text("is left as it is")
    expect(card.get_by_label("Leave it")).to_be_checked()
    server.settle(shoot.shoot)
    # What it shows is its present state, whatever was wished before.
    now = next(
        one
        for one in server.get(f"/v1/portraits/{shoot.portraits[0]}/marks")
        if one["number"] == mark["number"]
    )
    server.send("PUT", f"/v1/marks/{now['id']}", json={"decision": "remove"})
    server.settle(shoot.shoot)
    expect(card.get_by_label("Take it out")).to_be_checked()
    expect(card).to_contain_text("you asked to leave it")
    card.get_by_role("button", name="Take my wish back").tap()
    expect(card.get_by_role("button", name="Take my wish back")).to_have_count(0)


def test_a_spot_of_an_approved_picture_stays(
    page: Page, server: Server, shoot: Demo, link: str
) -> None:
    opened(page, link)
    page.get_by_role("link", name="Picture 2").tap()
    ready(page)
    page.locator(".decide .approve").tap()
    page.get_by_label("Your name").fill("Pia")
    page.get_by_role("button", name="Yes, approve").tap()
    expect(page.get_by_text("Approved by Pia")).to_be_visible()
    page.locator(".more summary").tap()
    spot = page.locator(".spot[data-shows='taken out']").first
    spot.get_by_label("Leave it").tap()
    expect(page.get_by_role("alert")).to_contain_text("You have approved this picture")
    expect(spot.get_by_label("Take it out")).to_be_checked()
    assert server.get(f"/v1/portraits/{shoot.portraits[1]}")["locked"]
    page.locator(".decide .ask").tap()
    expect(page.get_by_text("This takes your approval of the picture back.")).to_be_visible()
    page.get_by_label("What should be different?").fill("Leave the spot on my chin.")
    page.get_by_role("button", name="Send").tap()
    expect(page.get_by_text("You asked for a change.")).to_be_visible()
    assert not server.get(f"/v1/portraits/{shoot.portraits[1]}")["locked"]
    page.get_by_role("button", name="Take it back").tap()
    expect(page.get_by_text("You asked for a change.")).to_have_count(0)


def test_where_nothing_was_found_a_change_can_be_asked_for(page: Page, link: str) -> None:
    opened(page, link)
    page.touchscreen.tap(*where(page, 0.05, 0.1))
    expect(page.get_by_role("heading", name="Nothing was changed here")).to_be_visible()
    page.get_by_role("button", name="Ask for a change here").tap()
    expect(page.get_by_text("1 place shown.")).to_be_visible()
    expect(page.locator(".pin")).to_have_text("1")


def test_a_spot_that_was_not_found_goes_to_the_photographer_with_its_place(
    page: Page, browser: Browser, server: Server, shoot: Demo, link: str, screens: Screens
) -> None:
    opened(page, link)
    portrait = server.get(f"/v1/portraits/{shoot.portraits[0]}")
    page.touchscreen.tap(*where(page, 0.05, 0.1))
    expect(page.get_by_role("button", name="Please keep this")).to_be_visible()
    page.get_by_role("button", name="Please remove this").tap()
    expect(page.get_by_text("1 place shown.")).to_be_visible()
    words = page.get_by_label("What should be different?")
    expect(words).to_have_value("At 1: please remove this.")
    page.touchscreen.tap(*where(page, 0.1, 0.9))  # the form is open: a further place
    expect(page.get_by_text("2 places shown.")).to_be_visible()
    screens.take(page, "client-spot-not-found")
    assert faults(page) == []
    fits(page)
    page.get_by_label("Your name").fill("Mara")
    page.get_by_role("button", name="Send").tap()
    expect(page.get_by_text("You asked for a change.")).to_be_visible()
    (change,) = (
        one for one in server.get(f"/v1/shoots/{shoot.shoot}/changes") if one["standing"] == "asked"
    )
    assert change["words"] == "At 1: please remove this."
    first, second = change["places"]
    assert (first["wish"], second["wish"]) == ("please remove", None)
    assert abs(first["row"] - 0.05 * portrait["height"]) < 0.02 * portrait["height"]
    assert abs(first["column"] - 0.1 * portrait["width"]) < 0.02 * portrait["width"]
    kept = [{"name": "evenhand.token", "value": server.token}]
    state: Any = {"cookies": [], "origins": [{"origin": server.address, "localStorage": kept}]}
    with watched(browser, server, viewport=DESKTOP, storage_state=state) as photographer:
        studio = photographer.new_page()
        studio.goto(f"/#/portrait/{shoot.portraits[0]}")
        places = studio.locator(".places-asked li")
        expect(places).to_have_text(["Look at place 1: please remove", "Look at place 2"])
        places.nth(0).get_by_role("link").click()
        expect(studio.locator(".viewer")).to_be_visible()
        until(studio, "location.hash.includes('zoom=1')")
        screens.take(studio, "place-asked")
        assert faults(studio) == []
    page.get_by_role("button", name="Take it back").tap()
    expect(page.get_by_text("You asked for a change.")).to_have_count(0)


def test_the_studios_name_and_mark(
    page: Page,
    browser: Browser,
    server: Server,
    shoot: Demo,
    link: str,
    tmp_path: Path,
    screens: Screens,
) -> None:
    """Set on the photographer's page, seen on the client's."""
    Image.new("RGB", (300, 100), "black").save(tmp_path / "mark.png")
    (tmp_path / "mark.txt").write_text("no picture")
    kept = [{"name": "evenhand.token", "value": server.token}]
    state: Any = {"cookies": [], "origins": [{"origin": server.address, "localStorage": kept}]}
    with watched(browser, server, viewport=DESKTOP, storage_state=state) as photographer:
        studio = photographer.new_page()
        studio.goto(f"/#/shoot/{shoot.shoot}/proofs")
        studio.get_by_role("button", name="Your name and mark").click()
        studio.get_by_label("Name of the studio").fill("Studio by the lake")
        studio.set_input_files("#studio-mark", tmp_path / "mark.txt")
        expect(studio.get_by_text("Send a PNG or JPEG.")).to_be_visible()
        studio.set_input_files("#studio-mark", tmp_path / "mark.png")
        expect(studio.get_by_role("img", name="The mark")).to_be_visible()
        assert faults(studio) == []
        screens.take(studio, "name-and-mark")
        studio.get_by_role("button", name="Save").click()
        expect(studio.get_by_role("dialog")).to_have_count(0)
    opened(page, link)
    expect(page.get_by_text("Studio by the lake")).to_be_visible()
    until(page, "document.querySelector('.mark img')?.naturalWidth === 300")
    screens.take(page, "client-mark")
    server.send("PUT", "/v1/studio", json={"name": ""})
    server.send("DELETE", "/v1/studio/mark")


def empty(proof: Any) -> None:
    proof["portraits"] = []


def waiting(proof: Any) -> None:
    proof["portraits"][0]["ready"] = False


STATES = {
    "empty": (empty, "Nothing to look at yet"),
    "waiting": (waiting, "is at work on this picture"),
}


@pytest.mark.parametrize("size", ["320", "phone", "desk"])
@pytest.mark.parametrize("state", STATES)
def test_empty_and_waiting(
    browser: Browser, server: Server, link: str, state: str, size: str, screens: Screens
) -> None:
    change, text = STATES[state]
    with watched(browser, server, viewport=SIZES[size]) as somebody:
        page = somebody.new_page()
        altered(page, change)
        page.goto(link)
        expect(page.get_by_text(text).first).to_be_visible()
        fits(page)
        assert faults(page) == []
        screens.take(page, f"client-{state}-{size}")


def test_a_picture_that_does_not_come_is_asked_for_again(
    page: Page, link: str, screens: Screens
) -> None:
    page.route("**/picture?*", lambda route: route.abort())
    page.goto(link)
    expect(page.locator(".stage .failed")).to_contain_text("does not answer")
    expect(page.locator(".decide .approve")).to_be_disabled()
    screens.take(page, "client-wrong")
    page.unroute("**/picture?*")
    ready(page)


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("size", ["320", "phone", "desk"])
def test_every_state_is_accessible(
    browser: Browser, server: Server, link: str, size: str, scheme: Any, screens: Screens
) -> None:
    with watched(browser, server, viewport=SIZES[size], color_scheme=scheme) as somebody:
        page = somebody.new_page()
        opened(page, link)

        def looked_at(state: str) -> None:
            assert faults(page) == [], state
            fits(page)
            screens.take(page, f"client-{state}-{size}-{scheme}")

        looked_at("choose")
        page.locator(".more summary").click()
        looked_at("more")
        page.locator(".more summary").click()
        page.locator(".decide .ask").click()
        page.get_by_role("button", name="Point at the middle").click()
        looked_at("ask")
        page.get_by_role("button", name="Not yet").click()
        expect(page.locator(".decide .ask")).to_be_focused()
        page.locator(".decide .approve").click()
        looked_at("approve")
        page.get_by_role("button", name="Not yet").click()
        page.locator(".stage").focus()
        page.keyboard.press("Enter")
        expect(page.locator(".tapped")).to_be_visible()
        looked_at("spot")


def test_a_third_language_by_one_file(browser: Browser, server: Server, link: str) -> None:
    with watched(browser, server, viewport=PHONE, locale="fr-FR") as somebody:
        page = somebody.new_page()
        opened(page, link)
        expect(page.get_by_role("button", name="Demander une modification")).to_be_visible()
        assert page.evaluate("document.documentElement.lang") == "fr"
        languages = page.get_by_label("Langue").locator("option")
        expect(languages).to_have_text(["Deutsch", "English", "Français"])
        # It does not speak for the photographer's page, which stays with one that does.
        page.goto("/")
        expect(page.get_by_label("Access token")).to_be_visible()
        assert page.evaluate("document.documentElement.lang") == "en"
        expect(page.get_by_label("Language").locator("option")).to_have_text(["Deutsch", "English"])
