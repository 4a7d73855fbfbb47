"""The picture that the browser blends is the final, to within one code value."""

from __future__ import annotations

import io
from typing import Any

import imagecodecs
import numpy as np
import numpy.typing as npt
import pytest
import tifffile
from PIL import Image
from playwright.sync_api import Page, expect

from evenhand.colour.encoding import CodeValues
from evenhand.jobs.packing import unpack_layer
from evenhand.photo.photograph import Photograph
from tests.colour import profiles
from tests.pages.conftest import Demo
from tests.pages.serving import DEMO, Server

Codes = npt.NDArray[np.uint8]

STRENGTHS = {"redness": 0.37, "smoothing": 0.815, "marks": 1.0}

READ = """async () => {
  const viewer = evenhandViewer, canvas = viewer.canvas;
  const copy = new OffscreenCanvas(canvas.width, canvas.height).getContext('2d');
  copy.drawImage(canvas, 0, 0);
  const { data } = copy.getImageData(0, 0, canvas.width, canvas.height);
  let text = '';
  for (let i = 0; i < data.length; i += 32768)
    text += String.fromCharCode(...data.subarray(i, i + 32768));
  return { width: canvas.width, height: canvas.height, ...viewer.origin(), scale: viewer.scale(),
           shown: viewer.shownSize(), data: btoa(text) };
}"""
# What is on the canvas now, and where the portrait lies on it.


def settled(page: Page) -> None:
    """Wait until every tile in view has come and is drawn."""
    expect(page.locator(".viewer")).to_have_attribute("data-waiting", "0")
    page.evaluate(
        "() => new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)))"
    )
    expect(page.locator(".viewer")).to_have_attribute("data-waiting", "0")


def on_canvas(page: Page) -> tuple[Codes, dict[str, Any]]:
    """Codes of the canvas, shape (height, width, 3), and the place of the portrait on it."""
    import base64

    settled(page)
    read = page.evaluate(READ)
    codes = np.frombuffer(base64.b64decode(read.pop("data")), np.uint8)
    return codes.reshape(read["height"], read["width"], 4)[..., :3], read


def final_of(server: Server, portrait_id: str) -> tuple[Photograph, CodeValues]:
    """The original and the final at `STRENGTHS`, before the file is encoded."""
    portrait = server.get(f"/v1/portraits/{portrait_id}")
    shoot = portrait["shoot_id"]
    with server.place.files.as_path(shoot, portrait["sha256"], portrait["name"]) as path:
        photograph = server.place.retoucher.read(path)
    rows = server.get(f"/v1/portraits/{portrait_id}/layers")
    layers = [unpack_layer(server.place.files.read(shoot, row["sha256"])) for row in rows]
    strengths = [STRENGTHS[layer.step] for layer in layers]
    return photograph, server.place.retoucher.blend(photograph, layers, strengths)


def choose_strengths(server: Server, portrait_id: str) -> None:
    for row in server.get(f"/v1/portraits/{portrait_id}/layers"):
        strength = STRENGTHS[row["step"]]
        server.send("PUT", f"/v1/layers/{row['id']}/strength", json={"strength": strength})


@pytest.fixture
def strengths(server: Server, demo: Demo) -> None:
    choose_strengths(server, demo.portraits[0])


def in_frame(seen: Codes, place: dict[str, Any], whole: CodeValues) -> tuple[Codes, CodeValues]:
    """The part of the canvas on which the portrait lies at full size, and that part of `whole`."""
    top, left = max(0, -place["y"]), max(0, -place["x"])
    canvas = seen[max(0, place["y"]) :, max(0, place["x"]) :]
    part = whole[top : top + canvas.shape[0], left : left + canvas.shape[1]]
    return canvas[: part.shape[0], : part.shape[1]], part


@pytest.mark.parametrize(("way", "painter"), [("gl", "WebGL 2"), ("plain", "canvas")])
@pytest.mark.usefixtures("strengths")
def test_full_size_is_the_final(
    page: Page, server: Server, demo: Demo, way: str, painter: str
) -> None:
    page.goto(f"/#/portrait/{demo.portraits[0]}?zoom=1&marks=0&canvas={way}")
    expect(page.locator(".viewer")).to_have_attribute("data-painter", painter)
    seen, place = on_canvas(page)
    photograph, final = final_of(server, demo.portraits[0])
    canvas, wanted = in_frame(seen, place, final)
    _, before = in_frame(seen, place, photograph.pixels)
    assert (wanted != before).any(axis=2).sum() > 5000
    worst = np.abs(canvas.astype(int) - wanted).max()
    assert worst <= 1  # promised; whole numbers make it none
    assert worst == 0


@pytest.mark.parametrize("way", ["gl", "plain"])
@pytest.mark.usefixtures("strengths")
def test_fitted_is_the_final_made_smaller(page: Page, server: Server, demo: Demo, way: str) -> None:
    page.set_viewport_size({"width": 1000, "height": 600})
    page.goto(f"/#/portrait/{demo.portraits[0]}?marks=0&canvas={way}")
    seen, place = on_canvas(page)
    height, width = place["shown"]["height"], place["shown"]["width"]
    canvas = seen[place["y"] : place["y"] + height, place["x"] : place["x"] + width]
    _, final = final_of(server, demo.portraits[0])
    assert height < final.shape[0]
    from evenhand.jobs.pictures import resized

    wanted = resized(final.astype(np.uint8), (height, width))
    assert np.abs(canvas - wanted).max() <= 1.5  # one code, and the half by which 8 bits round


PROFILED = {
    "Adobe RGB, 16 bits": (16, profiles.adobe_rgb, "light"),
    "Display P3, 8 bits": (8, profiles.display_p3, "light"),
    "sRGB, 16 bits": (16, lambda: None, "same"),
    "a profile of tables, 8 bits": (8, profiles.table_profile, "table"),
}
"""Depth, profile, and how pages come to its colours."""


BURNT_AT = (0.56, 0.475)
"""A place on the burn of the demo portrait, as parts of its width and height."""


@pytest.fixture(scope="module")
def profiled(server: Server) -> dict[str, str]:
    """A demo portrait in files of other depths and profiles, layers computed."""
    shoot = server.shoot("Profiles")
    made = {}
    for name, (depth, profile, _) in PROFILED.items():
        file = io.BytesIO()
        codes = demo_codes("burnt_arm", depth)
        tifffile.imwrite(file, codes, iccprofile=profile())
        made[name] = server.portrait(shoot, f"{name}.tif", file.getvalue())
        (person,) = server.agreed(shoot, made[name], ["Mara"], ["redness", "smoothing"])
        burnt = {
            "burnt_at": [[round(BURNT_AT[0] * codes.shape[1]), round(BURNT_AT[1] * codes.shape[0])]]
        }
        server.send("PUT", f"/v1/people/{person}/steps/redness", json=burnt)
        server.settle(shoot)
        choose_strengths(server, made[name])
    return made


def demo_codes(name: str, depth: int) -> CodeValues:
    """A demo portrait made four times smaller by the mean, its codes not rounded to 8 bits."""
    with Image.open(DEMO / f"{name}.jpg") as picture:
        codes = np.asarray(picture).astype(np.float64)
    height, width = (side // 4 for side in codes.shape[:2])
    small = codes[: height * 4, : width * 4].reshape(height, 4, width, 4, 3).mean((1, 3))
    white = 2**depth - 1
    return np.rint(small / 255 * white).astype(np.uint8 if depth == 8 else np.uint16)


def on_a_screen(codes: CodeValues, profile: bytes | None) -> npt.NDArray[np.float64]:
    """Codes of sRGB, not rounded, as Little CMS converts them by relative colorimetry."""
    wide = codes.astype(np.uint16) * 257 if codes.dtype == np.uint8 else codes
    if profile is None:
        return wide / 257
    shown = imagecodecs.cms_transform(
        wide, profile, imagecodecs.cms_profile("srgb"), colorspace="rgb", outcolorspace="rgb",
        outdtype="uint16", intent=imagecodecs.CMS.INTENT.RELATIVE_COLORIMETRIC,
        flags=imagecodecs.CMS.FLAGS.NOOPTIMIZE,
    )  # fmt: skip
    return np.asarray(shown) / 257


@pytest.mark.parametrize("way", ["gl", "plain"])
@pytest.mark.parametrize("name", PROFILED)
def test_other_depths_and_profiles_are_shown_as_the_final(
    page: Page, server: Server, profiled: dict[str, str], name: str, way: str
) -> None:
    page.goto(f"/#/portrait/{profiled[name]}?zoom=1&marks=0&canvas={way}")
    expect(page.locator(".viewer")).to_have_attribute("data-colours", PROFILED[name][2])
    seen, place = on_canvas(page)
    photograph, final = final_of(server, profiled[name])
    canvas, wanted = in_frame(seen, place, final)
    _, before = in_frame(seen, place, photograph.pixels)
    assert (wanted != before).any(axis=2).sum() > 5000
    shown = np.rint(on_a_screen(wanted, photograph.profile))
    assert np.abs(canvas - shown).max() <= 1


@pytest.mark.usefixtures("strengths")
def test_a_drag_is_drawn_before_anything_is_asked(page: Page, server: Server, demo: Demo) -> None:
    page.goto(f"/#/portrait/{demo.portraits[0]}?zoom=1&marks=0&canvas=gl")
    slider = page.get_by_label("Less redness", exact=True)
    before, _ = on_canvas(page)
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.method))
    slider.evaluate("(one) => { one.value = 0; one.dispatchEvent(new Event('input')); }")
    after, _ = on_canvas(page)
    assert (before != after).any()
    assert "PUT" not in asked


def test_before_is_the_original(page: Page, server: Server, demo: Demo) -> None:
    page.goto(f"/#/portrait/{demo.portraits[0]}?zoom=1&marks=0&canvas=gl")
    after, place = on_canvas(page)
    page.keyboard.down("b")
    expect(page.locator(".viewer")).to_have_attribute("data-compare", "before")
    held, _ = on_canvas(page)
    page.keyboard.up("b")
    expect(page.locator(".viewer")).to_have_attribute("data-compare", "after")
    photograph, _ = final_of(server, demo.portraits[0])
    np.testing.assert_array_equal(*in_frame(held, place, photograph.pixels))
    assert (after != held).any()


def test_previews_of_the_service_agree(page: Page, server: Server, demo: Demo) -> None:
    portrait = server.get(f"/v1/portraits/{demo.portraits[0]}")
    page.set_viewport_size({"width": 1000, "height": 600})
    page.goto(f"/#/portrait/{demo.portraits[0]}?marks=0")
    seen, place = on_canvas(page)
    size = f"{place['shown']['width']},{place['shown']['height']}"
    response = server.http.get(
        f"/v1/portraits/{portrait['id']}/iiif/retouched/full/{size}/0/default.png"
    )
    wanted = imagecodecs.png_decode(response.content)
    canvas = seen[place["y"] :, place["x"] :][: wanted.shape[0], : wanted.shape[1]]
    assert np.abs(canvas.astype(int) - wanted).max() <= 1


def test_the_scale_of_change_reads_without_red_and_green(page: Page, server: Server) -> None:
    """Lightness rises along the scale, also as people without one kind of cone see it.

    Simulation: G. M. Machado, M. M. Oliveira, L. A. F. Fernandes, IEEE TVCG 15(6), 2009, as in
    colour-science.
    """
    import colour

    page.goto("/")
    codes = page.evaluate(
        "async () => { const { scaleColour } = await import('/pages/studio/change_map.js');"
        " return Array.from({ length: 21 }, (_, k) => scaleColour(k / 20)); }"
    )
    linear = colour.cctf_decoding(np.array(codes) / 255)
    for kind in (None, "Protanomaly", "Deuteranomaly", "Tritanomaly"):
        seen = linear if kind is None else linear @ colour.matrix_cvd_Machado2009(kind, 1.0).T
        lightness = colour.XYZ_to_Lab(colour.RGB_to_XYZ(np.clip(seen, 0, 1), "sRGB"))[:, 0]
        assert (np.diff(lightness) > 1).all(), kind
