"""From upload to signed final through both pages, and what people do on the way."""

from __future__ import annotations

import hashlib
import json
import zipfile
from io import BytesIO
from pathlib import Path

import numpy as np
from PIL import Image
from playwright.sync_api import Browser, Page, expect

from tests.pages.conftest import DESKTOP, PHONE, Demo, Screens, watched
from tests.pages.serving import Server, demo_picture, until
from tests.pages.test_rendering import settled


def test_from_upload_to_signed_final(
    browser: Browser, server: Server, tmp_path: Path, screens: Screens
) -> None:
    photograph = tmp_path / "freckles.jpg"
    photograph.write_bytes(demo_picture("freckles", 560))
    with (
        watched(browser, server, viewport=DESKTOP) as photographer,
        watched(browser, server, viewport=PHONE, is_mobile=True, has_touch=True) as phone,
    ):
        page = photographer.new_page()
        page.goto("/")
        page.get_by_label("Access token").fill("wrong")
        page.get_by_role("button", name="Sign in").click()
        expect(page.get_by_text("This token is not valid")).to_be_visible()
        page.get_by_label("Access token").fill(server.token)
        page.get_by_role("button", name="Sign in").click()

        page.get_by_label("Name of the shoot").fill("Regatta, second day")
        page.get_by_role("button", name="Make the shoot").click()
        expect(page.get_by_text("Nothing here yet")).to_be_visible()
        screens.take(page, "sheet-empty")
        page.set_input_files("#files", photograph)
        expect(page.locator(".sheet .state")).to_have_text("to name")

        page.locator(".sheet a").first.click()
        settled(page)
        page.get_by_label("Name of this person").fill("Mara")
        page.get_by_label("Name of this person").press("Enter")
        page.get_by_role("button", name="Permission", exact=True).click()
        for step in ("Less redness", "Softer skin", "Passing marks"):
            page.get_by_role("dialog").get_by_label(step, exact=True).check()
        screens.take(page, "permission-asked")
        page.get_by_role("button", name="Write it down").click()
        expect(page.locator(".status .state")).to_have_text("to review")

        page.get_by_role("link", name="Regatta, second day").click()
        page.get_by_role("button", name="Show it to the client").click()
        page.get_by_label("Message to the client").fill("Dear Mara, this is my first pass.")
        page.get_by_role("button", name="Make the link").click()
        link = page.get_by_role("textbox", name="Link").input_value()
        page.get_by_role("button", name="Close").click()
        expect(page.locator(".sheet .state")).to_have_text("with the client")
        page.get_by_role("link", name="Proofs, sign-offs, finals").click()
        expect(page.get_by_text("1 not signed yet")).to_be_visible()

        client = phone.new_page()
        client.goto(link)
        expect(client.get_by_text("Dear Mara, this is my first pass.")).to_be_visible()
        signed_at(client, "Half")
        screens.take(client, "client-signed")
        client.locator(".more summary").click()
        with client.expect_download() as kept:
            client.get_by_role("button", name="Keep a copy").click()
        copy = kept.value.path().read_bytes()

        expect(page.get_by_text("Mara signed off freckles.jpg.")).to_be_visible()
        page.get_by_role("button", name="Make all signed").click()
        page.get_by_label("Name of each file").fill("{shoot}-{number}")
        screens.take(page, "finals-asked")
        page.get_by_role("dialog").get_by_role("button", name="Make all signed").click()
        with page.expect_download() as saved:
            page.get_by_role("button", name="Save the file").click()
        final = saved.value.path().read_bytes()
        page.get_by_role("button", name="Pack all finals").click()
        with page.expect_download() as packed:
            page.get_by_role("button", name="Save all finals (ZIP)").click()
        expect(page.locator(".job", has_text="The finals are packed:")).to_contain_text("1 final")
        expect(page.get_by_text("the newest final of each portrait")).to_be_visible()
        with zipfile.ZipFile(packed.value.path()) as package:
            assert len(package.namelist()) == 2
            assert package.read("Regatta-second-day-001.jpg") == final
            assert package.read("contact-sheet.pdf").startswith(b"%PDF")
        screens.take(page, "signed-and-final")

        page.get_by_role("link", name="freckles.jpg").first.click()
        expect(page.get_by_text("Signed by Mara")).to_be_visible()
        expect(page.get_by_label("Softer skin", exact=True)).to_be_disabled()
        screens.take(page, "locked")
        page.get_by_role("button", name="Unlock to change it").click()
        page.get_by_role("dialog").get_by_role("button", name="Unlock").click()
        expect(page.get_by_label("Softer skin", exact=True)).to_be_enabled()

    shoot = server.get("/v1/shoots")[0]["id"]
    (sign_off,) = server.get(f"/v1/shoots/{shoot}/sign-offs")
    assert {choice["strength"] for choice in sign_off["choices"]} == {0.5}
    assert hashlib.sha256(copy).hexdigest() == sign_off["image_sha256"]
    (made,) = server.get(f"/v1/shoots/{shoot}/finals")
    assert made["sign_off_id"] == sign_off["id"]
    assert hashlib.sha256(final).hexdigest() == made["sha256"]
    before, after = (
        np.asarray(Image.open(BytesIO(content)).convert("RGB")).astype(int)
        for content in (photograph.read_bytes(), final)
    )
    assert before.shape == after.shape
    assert (before != after).any()
    record = json.dumps(server.get(f"/v1/shoots/{shoot}/record"))
    assert "signed off" in record


def signed_at(client: Page, strength: str) -> None:
    """Choose on the client's page, and approve."""
    client.get_by_role("radio", name=strength).first.check()
    until(client, "document.querySelector('.approve').disabled === false")
    client.locator(".decide .approve").click()
    client.get_by_label("Your name").fill("Mara")
    client.get_by_role("button", name="Yes, approve").click()
    expect(client.get_by_text("Approved by Mara")).to_be_visible()


def test_a_closed_link_says_so(browser: Browser, server: Server) -> None:
    with watched(browser, server, viewport=PHONE) as phone:
        page = phone.new_page()
        page.goto("/proof#nothing")
        expect(page.get_by_role("heading", name="This link no longer works")).to_be_visible()


def test_a_person_says_what_they_agree_to(
    browser: Browser, server: Server, demo: Demo, screens: Screens
) -> None:
    made = server.send("POST", f"/v1/shoots/{demo.shoot}/permission-links", json={"name": "Pia"})
    with watched(browser, server, viewport=PHONE) as phone:
        page = phone.new_page()
        page.goto(made["path"])
        page.get_by_label("Less redness").check()
        screens.take(page, "asked")
        page.get_by_role("button", name="Save what I said").click()
        expect(page.get_by_text("Saved. Thank you.")).to_be_visible()
        page.reload()
        expect(page.get_by_label("Less redness")).to_be_checked()
        page.get_by_label("Less redness").uncheck()
        page.get_by_role("button", name="Save what I said").click()
        expect(page.get_by_text("Saved. Thank you.")).to_be_visible()
    agreed = server.get(f"/v1/shoots/{demo.shoot}/permissions")["agreed"]
    assert agreed["Pia"] == []
