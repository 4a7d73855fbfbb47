"""A whole shoot on the photographer's page: names, permission, choosing, deleting, the link."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from playwright.sync_api import BrowserContext, Page, expect

from tests.pages.conftest import Demo, Screens
from tests.pages.serving import Server, demo_picture, until
from tests.pages.test_rendering import settled

PEOPLE = {"freckles": "Mara", "bowman": "Jon", "cox": "Ida", "beard": "Tom", "burnt_arm": "Pia"}

SIDE = 420

COUNTED = """
  addEventListener('click', (event) => {
    const before = Number(sessionStorage.clicks ?? 0);
    if (event.detail > 0 && event.isTrusted) sessionStorage.clicks = before + 1;
  }, true);
"""
# Clicks of the mouse; those that a key makes have no detail.

IN_FOCUS = "document.activeElement.dataset.key"


def photographs(folder: Path, count: int) -> list[Path]:
    """Portraits of five people, one after the other, no two files alike."""
    files = []
    for number in range(count):
        name = list(PEOPLE)[number * len(PEOPLE) // count]
        files.append(folder / f"{number:02d}-{name}.jpg")
        files[-1].write_bytes(demo_picture(name, SIDE + number))
    return files


def names_on_faces(server: Server, shoot: str) -> list[tuple[str, str | None]]:
    """Name of the file and of the person, for everybody found."""
    files = {one["id"]: one["name"] for one in server.get(f"/v1/shoots/{shoot}/portraits")}
    return [
        (files[one["portrait"]].rpartition(".")[0], one["person"]["name"])
        for one in server.get(f"/v1/shoots/{shoot}/people")
    ]


@pytest.mark.parametrize("way", ["Tab", "mouse"])
def test_names_land_on_their_faces_while_jobs_finish(
    page: Page, server: Server, tmp_path: Path, way: str
) -> None:
    """A field in use is never drawn anew: no letter is lost, none lands elsewhere."""
    shoot = server.shoot(f"Names by {way}")
    for name in PEOPLE.values():
        said = {"name": name, "steps": ["redness"]}
        server.send("POST", f"/v1/shoots/{shoot}/permissions", json=said)
    files = photographs(tmp_path, 5)
    for file in files[:2]:
        server.portrait(shoot, file.name, file.read_bytes())
    page.goto(f"/#/shoot/{shoot}/people")
    fields = page.get_by_label("Name of this person")
    expect(fields).to_have_count(2)
    for number, (file, name) in enumerate(zip(files, PEOPLE.values(), strict=True)):
        expect(fields.nth(number)).to_be_visible()
        if way == "mouse" or number == 0:
            fields.nth(number).click()
        held = page.evaluate(IN_FOCUS)
        page.keyboard.type(name[:2])
        if number + 2 < len(files):  # another one comes while a name is half written
            after = files[number + 2]
            server.portrait(shoot, after.name, after.read_bytes())
            expect(fields).to_have_count(number + 3)
        else:  # and what follows from the name before is computed
            server.settle(shoot)
            page.wait_for_timeout(2500)
        assert page.evaluate(IN_FOCUS) == held, file
        page.keyboard.type(name[2:])
        if way == "Tab":
            page.keyboard.press("Tab")
    page.keyboard.press("Escape")
    page.locator("h1").click()
    until(page, f"document.activeElement.dataset.key !== {json.dumps(held)}")
    page.wait_for_timeout(500)
    server.settle(shoot)
    assert names_on_faces(server, shoot) == [
        (file.stem, name) for file, name in zip(files, PEOPLE.values(), strict=True)
    ]


def test_an_offered_name_is_taken_by_enter_and_never_by_itself(
    page: Page, server: Server, tmp_path: Path
) -> None:
    shoot = server.shoot("Offers")
    for number in range(3):
        server.portrait(shoot, f"{number}.jpg", demo_picture("freckles", SIDE + number))
    page.goto(f"/#/shoot/{shoot}/people")
    fields = page.get_by_label("Name of this person")
    fields.first.click()
    page.keyboard.type("Mara")
    page.keyboard.press("Tab")
    offer = page.get_by_role("button", name="Mara?")
    expect(offer.first).to_be_visible()
    page.keyboard.press("Tab")  # passed by: nobody is named so
    page.wait_for_timeout(2500)
    assert [name for _, name in names_on_faces(server, shoot)] == ["Mara", None, None]
    fields.nth(1).focus()
    page.keyboard.press("Enter")
    expect(fields.nth(1)).to_have_value("Mara")
    assert page.evaluate(IN_FOCUS) == fields.nth(2).get_attribute("data-key")
    page.keyboard.type("Ida")
    page.keyboard.press("Enter")
    until(page, "document.querySelectorAll('.who-is-who .named').length === 3")
    assert [name for _, name in names_on_faces(server, shoot)] == ["Mara", "Mara", "Ida"]


def test_from_twelve_portraits_to_a_copied_link_in_twelve_clicks(
    context: BrowserContext, server: Server, tmp_path: Path, screens: Screens
) -> None:
    shoot = server.shoot("A morning of five")
    context.grant_permissions(["clipboard-read", "clipboard-write"], origin=server.address)
    page = context.new_page()
    page.add_init_script(COUNTED)
    page.goto(f"/#/shoot/{shoot}")
    page.set_input_files("#files", photographs(tmp_path, 12))
    expect(page.locator(".sheet li[data-state]")).to_have_count(12)
    page.evaluate("sessionStorage.clicks = 0")

    page.get_by_role("link", name="People and permission").click()
    fields = page.get_by_label("Name of this person")
    fields.first.click()
    files = [file.stem for file in sorted(tmp_path.iterdir())]
    typed = 0
    for number, file in enumerate(files):
        if number + 1 < len(files):  # the next face has come; others are still looked for
            fields.nth(number + 1).wait_for()
        name = PEOPLE[file.partition("-")[2]]
        offer = page.get_by_role("button", name=f"{name}?")
        if number and files[number - 1].partition("-")[2] == file.partition("-")[2]:
            page.locator(".who-is-who li").nth(number).locator(offer).wait_for()
            page.keyboard.press("Enter")
        else:
            page.keyboard.type(name)
            page.keyboard.press("Tab")
            typed += 1
            continue
        until(page, f"{IN_FOCUS} !== {json.dumps(fields.nth(number).get_attribute('data-key'))}")
    assert typed == 5
    server.settle(shoot)
    assert names_on_faces(server, shoot) == [
        (file, PEOPLE[file.partition("-")[2]]) for file in files
    ]
    screens.take(page, "who-is-who")

    page.get_by_role("button", name="Write down what several said").click()
    dialog = page.get_by_role("dialog")
    for step in ("Less redness", "Softer skin", "Passing marks"):
        dialog.get_by_label(step, exact=True).click()
    screens.take(page, "several-asked")
    dialog.get_by_role("button", name="Write it down").click()
    page.get_by_role("link", name="Contact sheet").click()
    page.get_by_role("button", name="Show all 12 to the client").click()
    screens.take(page, "proof-check")
    make = page.get_by_role("button", name="Make the link")
    expect(make).to_be_enabled()
    make.click()
    page.get_by_role("button", name="Copy the link").click()
    expect(page.get_by_text("Copied.")).to_be_visible()
    screens.take(page, "proof-link")
    assert int(page.evaluate("sessionStorage.clicks")) <= 12
    link = page.evaluate("navigator.clipboard.readText()")
    shown = server.http.get(
        "/v1/proof", headers={"Authorization": f"Bearer {link.partition('#')[2]}"}
    )
    assert len(shown.json()["portraits"]) == 12


def test_undo_belongs_to_the_open_portrait_and_withdraws_no_permission(
    page: Page, server: Server, demo: Demo
) -> None:
    shoot = demo.shoot
    page.goto(f"/#/shoot/{shoot}/people")
    expect(page.get_by_role("button", name="Undo")).to_have_count(0)
    page.get_by_role("button", name="Permission", exact=True).first.click()
    page.get_by_role("dialog").get_by_label("Eyes a little lighter").check()
    page.get_by_role("button", name="Write it down").click()
    expect(page.get_by_role("dialog")).to_have_count(0)
    agreed = server.get(f"/v1/shoots/{shoot}/permissions")["agreed"]
    page.goto(f"/#/portrait/{demo.portraits[0]}")
    settled(page)
    for _ in range(4):
        page.locator(".viewer").press("Control+z")
    page.wait_for_timeout(1000)
    assert server.get(f"/v1/shoots/{shoot}/permissions")["agreed"] == agreed
    slider = page.get_by_label("Softer skin", exact=True)
    slider.focus()
    slider.press("ArrowLeft")
    expect(page.get_by_role("button", name="Undo")).to_be_enabled()
    page.goto(f"/#/portrait/{demo.portraits[1]}")
    settled(page)
    expect(page.get_by_role("button", name="Undo")).to_be_disabled()
    page.go_back()
    settled(page)
    page.get_by_role("button", name="Undo").click()
    expect(page.get_by_text("Undone: Softer skin")).to_be_visible()
    server.settle(shoot)


def test_permission_is_withdrawn_by_an_act_of_its_own_that_is_confirmed(
    page: Page, server: Server
) -> None:
    shoot = server.shoot("Second thoughts")
    server.portrait(shoot, "a.jpg", demo_picture("freckles", SIDE))
    (one,) = server.get(f"/v1/shoots/{shoot}/people")
    server.send("PUT", f"/v1/people/{one['person']['id']}", json={"name": "Mara"})
    said = {"name": "Mara", "steps": ["redness", "smoothing"]}
    server.send("POST", f"/v1/shoots/{shoot}/permissions", json=said)
    page.goto(f"/#/shoot/{shoot}/people")
    for answer, left in (("No", ["redness", "smoothing"]), ("Take it out", ["redness"])):
        page.get_by_role("button", name="Permission", exact=True).click()
        page.get_by_role("button", name="taken back … Softer skin").click()
        page.get_by_role("dialog").last.get_by_role("button", name=answer).click()
        page.wait_for_timeout(500)
        assert server.get(f"/v1/shoots/{shoot}/permissions")["agreed"]["Mara"] == left
        if answer == "No":
            page.get_by_role("dialog").get_by_role("button", name="Close").click()


def test_deleting_happens_on_the_server_and_is_undone_there(
    context: BrowserContext, server: Server
) -> None:
    shoot = server.shoot("Too many")
    for name in ("freckles", "bowman"):
        server.portrait(shoot, f"{name}.jpg", demo_picture(name, SIDE))
    page = context.new_page()
    page.goto(f"/#/shoot/{shoot}")
    page.get_by_label("Choose bowman.jpg").check()
    with page.expect_response(lambda answer: answer.url.endswith("/removed")):
        page.get_by_role("button", name="Delete", exact=True).click()
    page.close()
    left = [one["name"] for one in server.get(f"/v1/shoots/{shoot}/portraits")]
    assert left == ["freckles.jpg"]
    other = context.new_page()
    other.goto(f"/#/shoot/{shoot}")
    expect(other.get_by_role("heading", name="Deleted")).to_be_visible()
    other.get_by_role("button", name="Bring it back").click()
    expect(other.get_by_label("Choose bowman.jpg")).to_have_count(1)
    assert len(server.get(f"/v1/shoots/{shoot}/portraits")) == 2


def test_copied_is_said_only_when_it_was(page: Page, server: Server, demo: Demo) -> None:
    page.add_init_script(
        "navigator.clipboard.writeText = () => Promise.reject(new Error('no'));"
        "document.execCommand = () => false;"
    )
    page.goto(f"/#/shoot/{demo.shoot}")
    page.get_by_role("button", name="Show all 2 to the client").click()
    page.get_by_role("button", name="Make the link").click()
    page.get_by_role("button", name="Copy the link").click()
    expect(page.get_by_text("It could not be copied.")).to_be_visible()
    expect(page.get_by_text("Copied.", exact=True)).to_have_count(0)
    told = page.get_by_role("textbox", name="Link").input_value()
    page.get_by_role("button", name="Close").click()
    page.get_by_role("link", name="Proofs, sign-offs, finals").click()
    page.get_by_role("button", name="See the link").first.click()
    expect(page.get_by_role("textbox", name="Link")).to_have_value(told)
    page.locator("summary", has_text="A text for the mail").click()
    text = page.get_by_label("A text for the mail").input_value()
    assert told in text
    assert "Summer regatta" in text


def test_the_link_waits_until_everybody_is_named_and_asked(page: Page, server: Server) -> None:
    shoot = server.shoot("Not yet")
    server.portrait(shoot, "pair.jpg", demo_picture("pair", 700))
    page.goto(f"/#/shoot/{shoot}")
    page.get_by_role("button", name="Show it to the client").click()
    expect(page.get_by_text("2 faces have no name yet.")).to_be_visible()
    expect(page.get_by_role("button", name="Make the link")).to_be_disabled()
    people = server.get(f"/v1/shoots/{shoot}/people")
    for one, name in zip(people, ("Ada", "Ben"), strict=True):
        server.send("PUT", f"/v1/people/{one['person']['id']}", json={"name": name})
    page.reload()
    page.get_by_role("button", name="Show it to the client").click()
    expect(page.get_by_text("Not asked yet: Ada and Ben.")).to_be_visible()
    page.get_by_role("link", name="Put it right").click()
    expect(page.get_by_role("heading", name="Who is who")).to_be_visible()
    for number in range(2):  # both were asked, and said no
        page.get_by_role("button", name="Permission", exact=True).nth(number).click()
        page.get_by_role("button", name="Agrees to nothing").click()
        expect(page.get_by_role("dialog")).to_have_count(0)
    page.get_by_role("link", name="Contact sheet").click()
    page.get_by_role("button", name="Show it to the client").click()
    expect(page.get_by_text("Everybody is named and asked")).to_be_visible()
    expect(page.get_by_role("button", name="Make the link")).to_be_enabled()
    assert server.get(f"/v1/shoots/{shoot}/permissions")["agreed"] == {"Ada": [], "Ben": []}


def test_flicking_through_keeps_the_look_and_needs_no_answer_for_the_next_picture(
    page: Page, server: Server, demo: Demo
) -> None:
    page.goto(f"/#/portrait/{demo.portraits[0]}")
    settled(page)
    page.locator(".viewer").focus()
    page.keyboard.press("1")
    face = server.get(f"/v1/portraits/{demo.portraits[0]}/people")[0]["face"]
    view = page.evaluate("evenhandViewer.view")
    assert abs(view["y"] - (face["top"] + face["bottom"]) / 2) < 1 or view["y"] > face["top"]
    page.keyboard.press("d")
    until(page, "document.querySelector('.viewer').dataset.compare === 'divider'")
    page.wait_for_timeout(2500)  # the next ones are made ready
    page.context.route("**/v1/**", lambda route: None)  # from now on nothing is answered
    page.keyboard.press(">")
    until(page, f"evenhandViewer.portrait.id === '{demo.portraits[1]}'", within_s=10)
    until(page, "evenhandViewer.drawn > 0 && evenhandViewer.rough() !== null", within_s=10)
    lit = """() => {
      const { overlay } = evenhandViewer, at = overlay.getContext('2d');
      return at.getImageData(overlay.width / 2, overlay.height / 2, 1, 1).data[3];
    }"""
    assert page.evaluate(lit) == 255
    page.context.unroute("**/v1/**")
    page.reload()
    settled(page)
    assert page.evaluate("evenhandViewer.view.zoom") == 1
    assert page.evaluate("evenhandViewer.view.compare") == "divider"


def test_rings_are_off_at_first_and_kept_marks_are_only_counted(
    page: Page, server: Server, demo: Demo, screens: Screens
) -> None:
    portrait = demo.portraits[0]
    marks = server.get(f"/v1/portraits/{portrait}/marks")
    shown = [
        one for one in marks
        if "remove" in (one["proposed"], one["decision"]) or one["decision"]
        or (one["kind"] == "passing" and one["confidence"] < 0.7)
    ]  # fmt: skip
    assert len(shown) < len(marks)
    page.goto(f"/#/portrait/{portrait}")
    settled(page)
    expect(page.locator(".marks li")).to_have_count(len(shown))
    empty = """() => {
      const { overlay } = evenhandViewer;
      const { data } = overlay.getContext('2d').getImageData(0, 0, overlay.width, overlay.height);
      return data.every((code) => code === 0);
    }"""
    assert page.evaluate(empty)
    page.get_by_role("button", name="Spots").click()
    until(page, f"!({empty})()")
    screens.take(page, "spots")


def test_a_spot_that_was_not_found_is_taken_out_by_a_click_and_kept_by_another(
    page: Page, server: Server, demo: Demo
) -> None:
    portrait, (person,) = demo.portraits[0], demo.people[0]
    face = server.get(f"/v1/portraits/{portrait}/people")[0]["face"]
    column = face["left"] + 0.5 * (face["right"] - face["left"])
    row = face["top"] + 0.22 * (face["bottom"] - face["top"])  # the forehead
    page.goto(f"/#/portrait/{portrait}")
    settled(page)
    page.get_by_role("button", name="Spots").click()
    place = page.evaluate(
        """([x, y]) => {
          const v = evenhandViewer, o = v.origin(), b = v.canvas.getBoundingClientRect();
          return { x: b.left + (o.x + x * v.scale()) / v.density,
                   y: b.top + (o.y + y * v.scale()) / v.density };
        }""",
        [column, row],
    )
    page.mouse.click(place["x"], place["y"])
    expect(page.get_by_role("button", name="Undo")).to_be_enabled()
    server.settle(demo.shoot)
    settings = server.get(f"/v1/portraits/{portrait}/people")[0]["settings"]["marks"]
    assert len(settings["removed_at"]) == 1
    mark = next(
        one for one in server.get(f"/v1/portraits/{portrait}/marks")
        if abs(one["column"] - column) < 3 and abs(one["row"] - row) < 3
    )  # fmt: skip
    assert mark["proposed"] == "remove"
    expect(page.locator(".marks li").filter(has_text=str(mark["number"]))).not_to_have_count(0)
    page.wait_for_timeout(2500)
    page.mouse.click(place["x"], place["y"])
    until(page, "document.querySelector('.marks') !== null")
    page.wait_for_timeout(1500)
    server.settle(demo.shoot)
    settings = server.get(f"/v1/portraits/{portrait}/people")[0]["settings"]["marks"]
    assert settings["removed_at"] == []
    assert person
