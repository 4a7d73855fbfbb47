"""Looking and correcting on the photographer's page: by key, brush, in two tabs, after reload."""

from __future__ import annotations

from pathlib import Path

from playwright.sync_api import BrowserContext, Page, expect

from tests.pages.conftest import Demo, Screens
from tests.pages.serving import Server, demo_picture, until
from tests.pages.test_rendering import settled


def strength_of(server: Server, portrait: str, step: str) -> float:
    rows = server.get(f"/v1/portraits/{portrait}/layers")
    return float(next(row["strength"] for row in rows if row["step"] == step))


def shot(page: Page, screens: Screens, name: str) -> None:
    settled(page)
    screens.take(page, f"{name}")


def test_ways_to_look(page: Page, demo: Demo, screens: Screens) -> None:
    page.goto(f"/#/portrait/{demo.portraits[0]}")
    viewer = page.locator(".viewer")
    shot(page, screens, "portrait-whole")
    page.keyboard.press("d")
    expect(viewer).to_have_attribute("data-compare", "divider")
    divider = page.get_by_role("slider", name="Divider between before and after")
    divider.press("PageDown")
    expect(divider).to_have_attribute("aria-valuenow", "30")
    box = divider.bounding_box()
    assert box is not None
    page.mouse.move(box["x"] + box["width"] / 2, box["y"] + 100)
    page.mouse.down()
    page.mouse.move(box["x"] + 200, box["y"] + 120, steps=4)
    page.mouse.up()
    until(page, "document.querySelector('.divider').ariaValueNow > 40")
    shot(page, screens, "portrait-divided")
    page.keyboard.press("s")
    expect(viewer).to_have_attribute("data-compare", "beside")
    shot(page, screens, "portrait-beside")
    page.keyboard.press("a")
    page.keyboard.press("w")
    expect(page.locator(".legend")).to_contain_text("largest here")
    until(page, "/[1-9]/.test(document.querySelector('.legend').lastChild.textContent)")
    shot(page, screens, "portrait-change")
    page.keyboard.press("w")
    page.keyboard.press("1")
    assert page.evaluate("evenhandViewer.scale()") == 1
    page.keyboard.press("2")
    assert page.evaluate("evenhandViewer.scale()") == 2
    shot(page, screens, "portrait-200")
    before = page.evaluate("evenhandViewer.view.x")
    page.keyboard.press("ArrowRight")
    assert page.evaluate("evenhandViewer.view.x") > before
    page.keyboard.press("0")
    assert page.evaluate("evenhandViewer.view.zoom") is None


def test_reload_and_back_keep_what_was_seen(page: Page, demo: Demo) -> None:
    page.goto(f"/#/shoot/{demo.shoot}")
    page.get_by_label("Choose freckles.jpg").check()
    page.locator(".sheet a").first.click()
    settled(page)
    page.keyboard.press("2")
    page.keyboard.press("ArrowDown")
    page.keyboard.press("d")
    page.keyboard.press("n")
    kept = page.evaluate("JSON.stringify(evenhandViewer.view)")
    page.reload()
    settled(page)
    assert page.evaluate("JSON.stringify(evenhandViewer.view)") == kept
    expect(page.locator(".marks li.chosen")).to_have_count(1)
    page.go_back()
    expect(page.get_by_label("Choose freckles.jpg")).to_be_checked()
    page.go_forward()
    settled(page)
    assert page.evaluate("JSON.stringify(evenhandViewer.view)") == kept


def test_two_tabs_agree_and_undo_outlives_reload(
    context: BrowserContext, server: Server, demo: Demo
) -> None:
    portrait = demo.portraits[1]
    one, other = context.new_page(), context.new_page()
    for tab in (one, other):
        tab.goto(f"/#/portrait/{portrait}")
        settled(tab)
    was = strength_of(server, portrait, "redness")
    label = "Less redness"
    slider = one.get_by_label(label, exact=True)
    slider.focus()
    slider.press("ArrowLeft")
    expect(other.get_by_label(label, exact=True)).to_have_value(str(round(was * 100) - 1))
    one.bring_to_front()
    assert strength_of(server, portrait, "redness") == round(was - 0.01, 2)
    one.reload()
    settled(one)
    one.locator(".viewer").press("Control+z")
    expect(one.get_by_label(label, exact=True)).to_have_value(str(round(was * 100)))
    expect(other.get_by_label(label, exact=True)).to_have_value(str(round(was * 100)))
    one.locator(".viewer").press("Control+Shift+z")
    expect(one.get_by_label(label, exact=True)).to_have_value(str(round(was * 100) - 1))
    one.get_by_role("button", name="Undo").click()
    expect(one.get_by_label(label, exact=True)).to_have_value(str(round(was * 100)))


def test_marks_by_key(page: Page, server: Server, demo: Demo, screens: Screens) -> None:
    portrait = demo.portraits[0]
    marks = server.get(f"/v1/portraits/{portrait}/marks")
    passing = next(mark for mark in marks if mark["proposed"] == "remove")
    page.goto(f"/#/portrait/{portrait}")
    settled(page)
    page.locator(".viewer").focus()
    page.keyboard.press("n")  # the first of those that are listed
    chosen = page.locator(".marks li.chosen")
    expect(chosen).to_contain_text(str(passing["number"]))
    page.keyboard.press("k")
    expect(chosen.get_by_role("radio", name="Keep")).to_have_attribute("aria-checked", "true")
    server.settle(demo.shoot)
    kept = server.get(f"/v1/portraits/{portrait}/marks")
    assert next(m for m in kept if m["number"] == passing["number"])["decision"] == "keep"
    shot(page, screens, "marks")
    page.keyboard.press("Control+z")
    expect(page.get_by_text("Undone: Mark")).to_be_visible()
    server.settle(demo.shoot)
    kept = server.get(f"/v1/portraits/{portrait}/marks")
    assert next(m for m in kept if m["number"] == passing["number"])["decision"] is None


def test_the_brush_corrects_a_mask(
    page: Page, server: Server, demo: Demo, screens: Screens
) -> None:
    portrait, (person,) = demo.portraits[0], demo.people[0]
    page.goto(f"/#/portrait/{portrait}?marks=0&mask={person}.face-skin")
    settled(page)
    page.wait_for_timeout(700)
    shot(page, screens, "mask")
    page.locator(".viewer").focus()
    page.keyboard.press("o")
    page.keyboard.press("g")
    spot = page.evaluate(
        "(() => { const v = evenhandViewer, b = v.canvas.getBoundingClientRect();"
        " return { x: b.left + b.width / 2, y: b.top + b.height / 2 }; })()"
    )
    page.mouse.move(spot["x"] - 20, spot["y"])
    page.mouse.down()
    page.mouse.move(spot["x"] + 20, spot["y"] + 10, steps=5)
    page.mouse.up()
    expect(page.get_by_role("button", name="Undo")).to_have_attribute(
        "title", "Undo: Painted out of face skin"
    )
    (edit,) = server.get(f"/v1/people/{person}/mask-edits")
    assert (edit["paint"], edit["region"]) == ("out", "face-skin")
    server.settle(demo.shoot)
    page.wait_for_timeout(2500)
    shot(page, screens, "mask-painted")
    page.keyboard.press("Escape")
    page.keyboard.press("Control+z")
    expect(page.get_by_text("Undone: Painted out of face skin")).to_be_visible()
    assert server.get(f"/v1/people/{person}/mask-edits") == []
    server.settle(demo.shoot)


def test_letters_can_be_turned_off(page: Page, demo: Demo) -> None:
    page.goto(f"/#/portrait/{demo.portraits[0]}")
    settled(page)
    page.keyboard.press("?")
    page.get_by_label("Shortcuts of a single letter").uncheck()
    page.keyboard.press("Escape")
    page.locator(".viewer").press("d")
    expect(page.locator(".viewer")).to_have_attribute("data-compare", "after")
    page.locator(".viewer").press("1")
    assert page.evaluate("evenhandViewer.scale()") == 1


def test_an_upload_goes_on_after_reload(page: Page, server: Server, tmp_path: Path) -> None:
    shoot = server.shoot("Evening race")
    photograph = tmp_path / "freckles.jpg"
    photograph.write_bytes(demo_picture("freckles", 300))
    page.context.route("**/v1/shoots/*/uploads", lambda route: route.abort())
    page.goto(f"/#/shoot/{shoot}")
    page.set_input_files("#files", photograph)
    expect(page.locator(".sending")).to_contain_text("freckles.jpg")
    page.reload()
    expect(page.locator(".sending")).to_contain_text("freckles.jpg")
    page.context.unroute("**/v1/shoots/*/uploads")
    expect(page.locator(".sheet li[data-state]")).to_have_count(1)
    server.settle(shoot)


def test_the_contact_sheet_by_key(page: Page, demo: Demo, screens: Screens) -> None:
    page.goto(f"/#/shoot/{demo.shoot}")
    expect(page.locator(".sheet img[src]")).to_have_count(2)
    page.keyboard.press("ArrowRight")
    page.keyboard.press("ArrowRight")
    page.keyboard.press(" ")
    expect(page.get_by_label("Choose bowman.jpg")).to_be_checked()
    screens.take(page, "sheet")
    page.keyboard.press("Enter")
    expect(page).to_have_title("bowman.jpg · Evenhand")


def test_tones_side_by_side(page: Page, server: Server, demo: Demo, screens: Screens) -> None:
    page.goto(f"/#/shoot/{demo.shoot}/tones?name=Jon")
    expect(page.locator(".tones figure")).to_have_count(1)
    until(page, "document.querySelector('.tones .strip').style.background !== ''")
    screens.take(page, "tones")
