"""Pointing at burns, strength by region and what was found, on the photographer's page."""

from __future__ import annotations

import base64
import io
import json
import re
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from PIL import Image
from playwright.sync_api import Browser, Page, Route, expect

from evenhand.errors import EvenhandError
from evenhand.people.person import SKIN_REGIONS
from evenhand.report import findings
from evenhand.steps.burns import POINT_MM
from tests.jobs.servers import PATIENCE_S
from tests.pages.conftest import DESKTOP, PHONE, Demo, Screens, watched
from tests.pages.serving import Server, demo_picture
from tests.pages.test_accessible import WIDTHS, faults, fits
from tests.pages.test_looking import shot
from tests.pages.test_rendering import settled
from tests.pages.test_texts import MODULES, PAGES, TEXTS

Point = tuple[int, int]


@pytest.fixture(scope="module")
def burnt(server: Server) -> Demo:
    """One portrait of somebody with a burn, who agreed to less redness."""
    shoot = server.shoot("Regatta, late in the day")
    portrait = server.portrait(shoot, "burnt_arm.jpg", demo_picture("burnt_arm"))
    return Demo(shoot, [portrait], [server.agreed(shoot, portrait, ["Ines"], ["redness"])])


@pytest.fixture
def fresh(server: Server, burnt: Demo) -> Demo:
    """The same, nothing said of anybody's redness."""
    server.send("PUT", f"/v1/people/{burnt.people[0][0]}/steps/redness", json={})
    server.settle(burnt.shoot)
    return burnt


def said_of(server: Server, demo: Demo) -> dict[str, Any]:
    """What was said of the person's redness."""
    (person,) = server.get(f"/v1/portraits/{demo.portraits[0]}/people")
    return dict(person["settings"].get("redness", {}))


def said_when(
    page: Page, server: Server, demo: Demo, holds: Callable[[dict[str, Any]], bool]
) -> dict[str, Any]:
    """The same once it holds: the page shows what was said before the service has it."""
    deadline = time.monotonic() + PATIENCE_S
    while not holds(said := said_of(server, demo)):
        assert time.monotonic() < deadline, f"never: {said}"
        page.wait_for_timeout(100)
    return said


def redness_of(server: Server, demo: Demo) -> Any:
    (layer,) = server.get(f"/v1/portraits/{demo.portraits[0]}/layers")
    return layer


def skin_of(server: Server, person: str) -> np.ndarray[Any, Any]:
    """A person's skin at the size of the demo portraits."""
    response = server.http.get(f"/v1/people/{person}/skin.png?side=800")
    return np.asarray(Image.open(io.BytesIO(response.content)))


@contextmanager
def held(server: Server) -> Iterator[None]:
    """Keep layers from being computed for so long."""
    go_on, compute = threading.Event(), server.place.retoucher.layers

    def waiting(*asked: Any) -> Any:
        go_on.wait(PATIENCE_S)
        return compute(*asked)

    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(server.place.retoucher, "layers", waiting)
        try:
            yield
        finally:
            go_on.set()


def amid_skin(server: Server, person: str) -> Point:
    """Column and row farthest inside a person's skin."""
    deep = cv2.distanceTransform((skin_of(server, person) > 128).astype(np.uint8), cv2.DIST_L2, 5)
    row, column = np.unravel_index(int(deep.argmax()), deep.shape)
    return int(column), int(row)


def on_screen(page: Page, point: tuple[float, float]) -> tuple[float, float]:
    """Place in the window of a point of the portrait."""
    x, y = page.evaluate(
        "([column, row]) => { const v = evenhandViewer, o = v.origin(), s = v.scale(),"
        " b = v.canvas.getBoundingClientRect();"
        " return [b.left + (o.x + column * s) / v.density, b.top + (o.y + row * s) / v.density]; }",
        [point[0] + 0.5, point[1] + 0.5],
    )
    return float(x), float(y)


def opened(page: Page, demo: Demo, more: str = "") -> None:
    page.goto(f"/#/portrait/{demo.portraits[0]}{more}")
    settled(page)


def test_a_click_on_a_burn_is_a_point_and_a_click_on_the_point_takes_it_back(
    page: Page, server: Server, fresh: Demo, screens: Screens
) -> None:
    spot = amid_skin(server, fresh.people[0][0])
    before = redness_of(server, fresh)["sha256"]
    opened(page, fresh)
    page.get_by_role("button", name="Burnt here").click()
    expect(page.get_by_role("button", name="Burnt here")).to_have_attribute("aria-pressed", "true")
    expect(page.locator("p.hint")).to_contain_text("the whole burn goes")
    with held(server):
        page.mouse.click(*on_screen(page, spot))
        expect(page.locator(".found")).to_have_text("Redness is being computed again.")
        screens.take(page, "burnt-here")
    (point,) = said_when(page, server, fresh, lambda said: "burnt_at" in said)["burnt_at"]
    assert np.hypot(point[0] - spot[0], point[1] - spot[1]) < 2
    expect(page.locator(".person")).to_contain_text("Points: 1 burnt, 0 to leave")
    server.settle(fresh.shoot)
    layer = redness_of(server, fresh)
    assert layer["sha256"] != before
    assert [burn["action"] for burn in layer["facts"]["burns"] if burn["pointed_at"]]
    expect(page.locator(".found li").first).to_contain_text("taken off")
    expect(page.locator("#news")).to_contain_text("Ines: Burn on")
    shot(page, screens, "burnt-here-done")
    page.mouse.click(*on_screen(page, (point[0], point[1])))
    expect(page.locator(".person")).not_to_contain_text("Points:")
    said_when(page, server, fresh, lambda said: said["burnt_at"] == [])
    server.settle(fresh.shoot)
    page.keyboard.press("Escape")
    expect(page.locator("p.hint")).to_be_hidden()


def test_points_are_undone_and_done_again(page: Page, server: Server, fresh: Demo) -> None:
    spot = amid_skin(server, fresh.people[0][0])
    opened(page, fresh)
    page.get_by_role("button", name="Leave this").click()
    page.mouse.click(*on_screen(page, spot))
    undo = page.get_by_role("button", name="Undo")
    expect(undo).to_have_attribute("title", "Undo: Leave this, Ines")
    undo.click()
    expect(page.get_by_text("Undone: Leave this, Ines")).to_be_visible()
    assert said_of(server, fresh) == {}
    expect(page.locator(".person")).not_to_contain_text("Points:")
    page.get_by_role("button", name="Redo").click()
    expect(page.locator(".person")).to_contain_text("Points: 0 burnt, 1 to leave")
    page.get_by_role("button", name="Take all back").click()
    expect(page.locator(".person")).not_to_contain_text("Points:")
    said_when(page, server, fresh, lambda said: said["leave_at"] == [])
    server.settle(fresh.shoot)


def test_points_said_one_after_the_other_are_all_kept(
    page: Page, server: Server, fresh: Demo
) -> None:
    column, row = amid_skin(server, fresh.people[0][0])
    opened(page, fresh)
    page.locator(".viewer").press("h")
    spots = [(column + 25 * step, row + 25 * step) for step in (-1, 0, 1)]
    for spot in spots:
        page.mouse.click(*on_screen(page, spot))
    expect(page.locator(".person")).to_contain_text("Points: 3 burnt, 0 to leave")
    said = said_when(page, server, fresh, lambda said: len(said.get("burnt_at", ())) == 3)[
        "burnt_at"
    ]
    np.testing.assert_allclose(said, spots, atol=2)
    page.keyboard.press("Control+z")
    expect(page.locator(".person")).to_contain_text("Points: 2 burnt, 0 to leave")
    assert said_of(server, fresh)["burnt_at"] == said[:2]
    server.settle(fresh.shoot)


def test_a_stroke_becomes_few_points_on_that_persons_skin(
    page: Page, server: Server, fresh: Demo, screens: Screens
) -> None:
    person = fresh.people[0][0]
    column, row = amid_skin(server, person)
    opened(page, fresh)
    page.locator(".viewer").press("l")
    page.mouse.move(*on_screen(page, (column - 60, row - 40)))
    page.mouse.down()
    page.mouse.move(*on_screen(page, (column + 60, row + 40)), steps=6)
    page.mouse.move(*on_screen(page, (-30, row + 40)), steps=6)
    page.wait_for_timeout(200)
    screens.take(page, "leave-this")
    assert said_of(server, fresh) == {}
    page.mouse.up()
    expect(page.locator(".person")).to_contain_text("to leave")
    said = said_when(page, server, fresh, lambda said: "leave_at" in said)
    points = np.array(said["leave_at"])
    assert said["burnt_at"] == []
    assert 4 < len(points) <= 24
    skin = skin_of(server, person)
    near = cv2.dilate(skin, np.ones((5, 5), np.uint8))  # half a pixel of either size
    assert (near[points[:, 1], points[:, 0]] > 128).all()
    apart = np.linalg.norm(points[:, None] - points, axis=-1) + 1e9 * np.eye(len(points))
    (found,) = server.get(f"/v1/portraits/{fresh.portraits[0]}/people")
    assert apart.min() > 2 * POINT_MM / found["mm_per_pixel"] - 2
    # the last word counts: what is now said to be burnt is no longer to be left
    page.locator(".viewer").press("h")
    x, y = on_screen(page, (points[0][0], points[0][1]))
    page.mouse.move(x - 12, y)
    page.mouse.down()
    page.mouse.move(x + 12, y, steps=4)
    page.mouse.up()
    expect(page.locator(".person")).to_contain_text(re.compile(r"Points: [1-9]\d* burnt"))
    said = said_when(page, server, fresh, lambda said: len(said["burnt_at"]) > 0)
    assert points[0].tolist() not in said["leave_at"]
    server.settle(fresh.shoot)


def overlay_of(page: Page) -> np.ndarray[Any, Any]:
    """What is drawn above the portrait."""
    data = page.evaluate("evenhandViewer.overlay.toDataURL()").partition(",")[2]
    return np.asarray(Image.open(io.BytesIO(base64.b64decode(data))))


def test_the_outline_grows_while_one_draws(
    page: Page, server: Server, fresh: Demo, screens: Screens
) -> None:
    person = fresh.people[0][0]
    column, row = amid_skin(server, person)
    answers: list[dict[str, Any]] = []
    page.on(
        "response",
        lambda response: (
            answers.append({"asked": response.request.post_data_json, **response.json()})
            if response.url.endswith("/burn-outlines")
            else None
        ),
    )
    opened(page, fresh)
    with page.expect_response("**/burn-outlines"):  # what goes by itself, before anybody points
        page.locator(".viewer").press("h")
    page.mouse.move(*on_screen(page, (column - 40, row - 60)))
    page.mouse.down()
    for step in range(1, 7):
        page.mouse.move(*on_screen(page, (column - 40 + 10 * step, row - 60 + 40 * step)), steps=4)
        page.wait_for_timeout(300)
    drawn = overlay_of(page)
    screens.take(page, "burnt-here-grows")
    while_drawn = len(answers)
    assert said_of(server, fresh) == {}
    told = [len(one["asked"]["burnt_at"]) for one in answers]
    assert while_drawn >= 4
    assert told == sorted(told)
    assert told[0] == 0
    assert told[-1] >= 3
    page.mouse.up()
    said = said_when(page, server, fresh, lambda said: "burnt_at" in said)
    assert answers[-1]["asked"]["burnt_at"] == said["burnt_at"][: told[-1]]
    # the line lies where the layer then changes most
    server.settle(fresh.shoot)
    (found,) = server.get(f"/v1/portraits/{fresh.portraits[0]}/layers")
    facts = found["facts"]["burns"]
    assert any(one["pointed_at"] for one in facts)
    portrait = server.get(f"/v1/portraits/{fresh.portraits[0]}")
    shape = portrait["height"], portrait["width"]
    shown = np.zeros(shape, np.uint8)
    lines = [np.rint(np.array(line)).astype(np.int32) for line in answers[-1]["outlines"]]
    cv2.fillPoly(shown, lines, 1)
    size = f"full/{shape[1]},{shape[0]}"
    raw = server.http.get(f"/v1/layers/{found['id']}/differences/{size}").content
    moved = np.abs(np.frombuffer(raw, "<i2").reshape(*shape, 3).astype(int)).sum(axis=-1)
    strong = moved > 0.5 * np.quantile(moved[moved > 0], 0.95)
    assert (strong & (shown > 0)).sum() > 0.9 * strong.sum()
    assert drawn[..., 3].any()
    expect(page.locator(".found")).not_to_contain_text("being computed")
    page.keyboard.press("Escape")
    deadline = time.monotonic() + PATIENCE_S
    while overlay_of(page)[..., 3].any():  # the line goes with the brush
        assert time.monotonic() < deadline
        page.wait_for_timeout(100)


def test_a_stroke_beside_all_skin_says_so(page: Page, server: Server, fresh: Demo) -> None:
    assert skin_of(server, fresh.people[0][0])[5, 5] == 0
    opened(page, fresh)
    page.locator(".viewer").press("h")
    page.mouse.click(*on_screen(page, (5, 5)))
    expect(page.locator("#news")).to_contain_text("No skin of anybody was found there.")
    assert said_of(server, fresh) == {}


def test_who_has_not_agreed_is_not_pointed_at(page: Page, server: Server) -> None:
    shoot = server.shoot()
    portrait = server.portrait(shoot, "freckles.jpg", demo_picture("freckles"))
    people = server.agreed(shoot, portrait, ["Mara"], ["smoothing"])
    demo = Demo(shoot, [portrait], [people])
    opened(page, demo)
    page.locator(".viewer").press("h")
    page.mouse.click(*on_screen(page, amid_skin(server, people[0])))
    expect(page.locator("#news")).to_contain_text("Mara has not agreed to less redness.")
    assert said_of(server, demo) == {}


def test_pointing_by_key(page: Page, server: Server, fresh: Demo) -> None:
    column, row = amid_skin(server, fresh.people[0][0])
    opened(page, fresh, f"?zoom=1&x={column}.5&y={row}.5")
    viewer = page.locator(".viewer")
    viewer.press("i")
    expect(page.get_by_role("radio", name="Paint in")).to_have_attribute("aria-checked", "true")
    viewer.press("h")
    expect(page.get_by_role("radio", name="Only look")).to_have_attribute("aria-checked", "true")
    viewer.press(" ")
    expect(page.locator(".person")).to_contain_text("Points: 1 burnt, 0 to leave")
    (point,) = said_when(page, server, fresh, lambda said: "burnt_at" in said)["burnt_at"]
    middle = page.evaluate("[evenhandViewer.view.x, evenhandViewer.view.y].map(Math.floor)")
    assert point == middle
    viewer.press(" ")
    expect(page.locator(".person")).not_to_contain_text("Points:")
    viewer.press("o")
    expect(page.get_by_role("button", name="Burnt here")).to_have_attribute("aria-pressed", "false")
    viewer.press("Escape")
    page.keyboard.press("?")
    expect(page.get_by_role("dialog")).to_contain_text("Pointing at burns")
    server.settle(fresh.shoot)


def test_two_fingers_are_no_stroke(page: Page, server: Server, fresh: Demo) -> None:
    x, y = amid_skin(server, fresh.people[0][0])
    opened(page, fresh)
    page.locator(".viewer").press("h")
    x, y = on_screen(page, (x, y))
    page.evaluate(
        "([x, y]) => { const on = evenhandViewer.overlay; on.setPointerCapture = () => undefined;"
        " const fire = (kind, pointerId, clientX) => on.dispatchEvent(new PointerEvent(kind,"
        " { pointerId, clientX, clientY: y, button: 0, bubbles: true }));"
        " fire('pointerdown', 11, x); fire('pointerdown', 12, x + 60);"
        " fire('pointerup', 12, x + 60); fire('pointerup', 11, x); }",
        [x, y],
    )
    page.wait_for_timeout(500)
    assert said_of(server, fresh) == {}


def test_strength_by_region(page: Page, server: Server, fresh: Demo, screens: Screens) -> None:
    (person,) = server.get(f"/v1/portraits/{fresh.portraits[0]}/people")
    found = [one["region"] for one in person["regions"] if one["region"] in list(SKIN_REGIONS)]
    opened(page, fresh)
    card = page.locator(".person")
    expect(card.get_by_label("neck", exact=True)).to_be_hidden()
    card.get_by_text("By region").click()
    expect(card.locator(".by-region input[type=range]")).to_have_count(len(found))
    neck = card.get_by_label("neck", exact=True)
    neck.focus()
    with held(server):
        for _ in range(3):
            neck.press("ArrowLeft")
        expect(card.locator(".found")).to_have_text("Redness is being computed again.")
        expect(neck).to_have_value("97")
        said_when(page, server, fresh, lambda said: said.get("by_region") == {"neck": 0.97})
    server.settle(fresh.shoot)
    assert redness_of(server, fresh)["settings"]["by_region"] == {"neck": 0.97}
    expect(card.locator(".found")).not_to_have_text("Redness is being computed again.")
    expect(neck).to_be_visible()
    expect(neck).to_be_focused()
    shot(page, screens, "by-region")
    page.locator(".viewer").press("Control+z")
    expect(neck).to_have_value("100")
    assert said_of(server, fresh) == {}
    server.settle(fresh.shoot)


FACTS = {
    "kept": 0.8,
    "burns": [
        {"regions": ["face-skin", "neck"], "action": "taken off", "at": [300, 200],
         "pointed_at": False, "sureness": 0.9, "excess": 0.3},
        {"regions": ["arm"], "action": "eased", "at": [310, 420],
         "pointed_at": False, "sureness": 0.6, "excess": 0.2},
        {"regions": ["torso", "leg"], "action": "left", "at": [330, 380],
         "pointed_at": False, "sureness": 0.3, "excess": 0.2},
        {"regions": ["hand"], "action": "left", "at": [90, 700],
         "pointed_at": False, "sureness": 0.4, "excess": None},
    ],
}  # fmt: skip
"""A burn of each kind."""


@contextmanager
def told(page: Page, facts: dict[str, Any]) -> Iterator[None]:
    """Let the service tell these facts of every redness layer."""

    def answer(route: Route) -> None:
        layers = route.fetch().json()
        for layer in layers:
            layer["facts"] = facts
        route.fulfill(json=layers)

    page.route("**/v1/portraits/*/layers", answer)
    yield
    page.unroute_all(behavior="ignoreErrors")


BEFORE = {"regions": ["face-skin"], "missing": [], "balanced_by": ["eye white"], "doubt": 0.1}
"""An earlier portrait that could be compared with."""


@pytest.mark.parametrize(
    "facts",
    [
        FACTS,
        {"kept": 1.0, "burns": []},
        {"grade": 2},
        {"burns": [], "looked": False},
        {"burns": [], "left_at": ["neck", "arm"]},
        {**FACTS, "left_at": ["ear"], "before": BEFORE},
        {"burns": [], "before": BEFORE},
        {"burns": [], "left_at": ["arm"], "before": {**BEFORE, "missing": ["arm", "hand"]}},
        {"burns": [], "before": {**BEFORE, "balanced_by": []}},
    ],
)
def test_what_was_found_is_told_as_the_service_tells_it(
    page: Page, fresh: Demo, facts: dict[str, Any], screens: Screens
) -> None:
    with told(page, facts):
        opened(page, fresh)
        expect(page.locator(".found")).to_have_count(1)
        said = page.locator(".found li > span").all_inner_texts()
        assert [text[0].lower() + text[1:] for text in said] == findings.findings_of(
            "redness", facts
        )
        shot(page, screens, f"found-{len(said)}")


def test_what_was_found_is_told_in_german(
    browser: Browser, server: Server, fresh: Demo, screens: Screens
) -> None:
    kept = [{"name": "evenhand.token", "value": server.token}]
    state: Any = {
        "cookies": [],
        "origins": [{"origin": server.address, "localStorage": kept}],
    }
    with watched(browser, server, locale="de-DE", viewport=PHONE, storage_state=state) as somebody:
        page = somebody.new_page()
        with told(page, FACTS):
            opened(page, fresh)
            expect(page.locator(".found li > span")).to_have_text(
                [
                    "Sonnenbrand im Gesicht und am Hals, herausgenommen",
                    "Röte am Arm, vielleicht Sonnenbrand: nur gemildert; zeigen Sie darauf, damit "
                    "sie weggeht",
                    "Röte an Brust oder Rücken und am Bein, gelassen: zeigen Sie darauf, wenn es "
                    "Sonnenbrand ist",
                    "Röte an der Hand, gelassen: zum Vergleichen ist zu wenig unverbrannte Haut da",
                    "Es wurde weniger herausgenommen, als da ist, damit kein Fleck entsteht",
                ]
            )
            page.locator(".person").scroll_into_view_if_needed()
            screens.take(page, "found-de")


def test_what_was_eased_or_left_is_one_tap_away(page: Page, server: Server, fresh: Demo) -> None:
    with told(page, FACTS):
        opened(page, fresh)
        buttons = page.get_by_role("button", name="Take it off")
        expect(buttons).to_have_text(["Take it off (arm)", "Take it off (chest or back and leg)"])
        page.get_by_role("button", name="Take it off (arm)").click()
        expect(page.locator(".person")).to_contain_text("Points: 1 burnt, 0 to leave")
        said_when(page, server, fresh, lambda said: said.get("burnt_at") == [[310, 420]])
        server.settle(fresh.shoot)


def test_a_refused_point_is_not_shown_as_if_it_were_there(
    page: Page, server: Server, fresh: Demo
) -> None:
    opened(page, fresh)
    page.route(
        "**/steps/redness",
        lambda route: route.fulfill(
            status=422, json={"detail": "It lies outside.", "advice": "Point inside."}
        ),
    )
    page.locator(".viewer").press("h")
    page.mouse.click(*on_screen(page, amid_skin(server, fresh.people[0][0])))
    expect(page.locator("#trouble")).to_contain_text("It lies outside. Point inside.")
    expect(page.locator(".person")).not_to_contain_text("Points:")
    assert said_of(server, fresh) == {}


def test_work_that_failed_says_why_and_can_be_tried_again(
    page: Page, server: Server, fresh: Demo
) -> None:
    path = f"/v1/people/{fresh.people[0][0]}/steps/redness"
    with pytest.MonkeyPatch.context() as broken:
        broken.setattr(server.place.retoucher, "read", failing)
        server.send("PUT", path, json={"burnt_at": [[300, 400]]})
        server.settle(fresh.shoot)
    opened(page, fresh)
    expect(page.locator(".found")).to_contain_text("There is no room. Make some.")
    page.locator(".found").get_by_role("button", name="Try again").click()
    expect(page.locator(".found")).not_to_contain_text("There is no room.")
    server.settle(fresh.shoot)
    assert redness_of(server, fresh)["settings"]["burnt_at"] == [[300, 400]]


def failing(path: Path) -> Any:
    raise EvenhandError("There is no room.", "Make some.")


def test_accessible_with_a_brush_in_hand(page: Page, fresh: Demo, screens: Screens) -> None:
    with told(page, FACTS):
        opened(page, fresh)
        page.get_by_role("button", name="Leave this").click()
        page.locator(".person").get_by_text("By region").click()
        assert faults(page) == []
        for size in WIDTHS:
            page.set_viewport_size(size)
            fits(page)
        page.set_viewport_size(WIDTHS[0])
        screens.take(page, "burns-320", full_page=True)
        page.set_viewport_size(DESKTOP)


def test_the_page_says_what_the_engine_says() -> None:
    """One wording: the English of the page is the engine's, and both name the same places."""
    english = TEXTS["en"]
    said = {
        "none": findings.NO_BURN,
        "alone": findings.ALONE,
        "weakened": findings.WEAKENED,
        "as-said": findings.AS_SAID,
        "not-looked": findings.NOT_LOOKED,
        "no-redder": findings.NO_REDDER,
        "compared": findings.COMPARED,
        "light-unknown": findings.LIGHT_UNKNOWN,
        "not-shown": findings.NOT_SHOWN,
        **{action.value: words for action, words in findings.WORDS.items()},
    }
    assert {f"found.{key}": words[0].upper() + words[1:] for key, words in said.items()} == {
        key: text for key, text in english.items() if key.startswith("found.")
    }
    assert {f"found-on.{region.value}": name for region, name in findings.NAMES.items()} == {
        key: text for key, text in english.items() if key.startswith("found-on.")
    }


def test_the_page_measures_as_the_engine_does() -> None:
    burns = MODULES[PAGES / "studio" / "burns.js"]
    assert re.search(r"POINT_MM = ([\d.]+);", burns)[1] == f"{POINT_MM:g}"  # type: ignore[index]
    parts = MODULES[PAGES / "studio" / "parts.js"]
    listed = json.loads(re.search(r"SKIN = (\[.*?\]);", parts)[1])  # type: ignore[index]
    assert listed == [region.value for region in findings.NAMES]
    assert set(listed) == {region.value for region in SKIN_REGIONS}
