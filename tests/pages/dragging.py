"""How many frames a second dragging a strength holds on a portrait of 4,000 x 6,000 pixels.

    python -m tests.pages.dragging [--width 1600 --height 1000]

Prints a line of JSON with WebGL 2 and one with the plain canvas: frames drawn in a second, the
middle and the 95th percentile of the time between frames, what a frame costs when it is waited for,
how large the portrait is shown and what paints it. Where there is no graphics card, WebGL 2 is
Chromium's software rasteriser's.
"""

from __future__ import annotations

import argparse
import json
import tempfile
from io import BytesIO
from pathlib import Path
from typing import Any

import psutil  # type: ignore[import-untyped]
from PIL import Image
from playwright.sync_api import Page, expect, sync_playwright

from tests.pages.serving import ARGUMENTS, CHROMIUM, DEMO, running

SIZE = (4000, 6000)

SECONDS = 4

DRAG = """async (seconds) => {
  const slider = document.querySelector('input[id^=strength-]'), viewer = evenhandViewer;
  const times = [], first = viewer.drawn, began = performance.now();
  for (let k = 0; performance.now() - began < seconds * 1000; k++) {
    slider.value = Math.round(50 + 50 * Math.sin(k / 9));
    slider.dispatchEvent(new Event('input'));
    times.push(await new Promise(requestAnimationFrame));
  }
  const seen = (performance.now() - began) / 1000, drawn = viewer.drawn - first;
  const costs = [], box = new Uint8Array(4);
  for (let k = 0; k < 40; k++) {
    slider.value = k * 2;
    slider.dispatchEvent(new Event('input'));
    await new Promise(requestAnimationFrame);
    await new Promise(requestAnimationFrame);
    const start = performance.now();
    viewer.setStrength(slider.id.slice(9), k / 40);
    await new Promise(requestAnimationFrame);
    const { gl } = viewer.painter;
    gl?.readPixels(0, 0, 1, 1, gl.RGBA, gl.UNSIGNED_BYTE, box);
    costs.push(performance.now() - start);
  }
  const gaps = times.slice(1).map((time, k) => time - times[k]).sort((a, b) => a - b);
  costs.sort((a, b) => a - b);
  const at = (list, part) => Math.round(list[Math.floor(list.length * part)] * 10) / 10;
  return { frames_per_second: Math.round(drawn / seen * 10) / 10,
           gap_ms: at(gaps, 0.5), gap_ms_p95: at(gaps, 0.95), waited_for_ms: at(costs, 0.5),
           painter: viewer.root.dataset.painter, shown: viewer.shownSize(),
           canvas: [viewer.canvas.width, viewer.canvas.height], layers: viewer.layers.length };
}"""


def frame(path: Path) -> bytes:
    """A demo portrait enlarged into a frame of `SIZE`."""
    picture = Image.open(path)
    scale = min(SIZE[0] / picture.width, SIZE[1] / picture.height)
    large = picture.resize((round(picture.width * scale), round(picture.height * scale)))
    whole = Image.new("RGB", SIZE, (128, 128, 128))
    whole.paste(large, ((SIZE[0] - large.width) // 2, (SIZE[1] - large.height) // 2))
    out = BytesIO()
    whole.save(out, "JPEG", quality=90)
    return out.getvalue()


def measured(page: Page, portrait: str, way: str) -> dict[str, Any]:
    """Drag once to warm up, then measure."""
    page.goto(f"/#/portrait/{portrait}?canvas={way}")
    expect(page.locator(".viewer")).to_have_attribute("data-waiting", "0", timeout=60_000)
    page.wait_for_timeout(1500)
    page.evaluate(DRAG, 1)
    before = browser_seconds()
    began = page.evaluate("evenhandViewer.drawn")
    figures = dict(page.evaluate(DRAG, SECONDS))
    frames = page.evaluate("evenhandViewer.drawn") - began
    figures["processor_ms_per_frame"] = round((browser_seconds() - before) * 1000 / frames, 1)
    return figures


def browser_seconds() -> float:
    """Processor time that the browser and all its processes have taken."""
    children = psutil.Process().children(recursive=True)
    times = [child.cpu_times() for child in children if "chrom" in child.name()]
    return float(sum(time.user + time.system for time in times))


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--width", type=int, default=1600)
    parser.add_argument("--height", type=int, default=1000)
    parser.add_argument("--picture", type=Path, default=DEMO / "freckles.jpg")
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder, running(Path(folder)) as server:
        shoot = server.shoot()
        portrait = server.portrait(shoot, "large.jpg", frame(options.picture))
        server.agreed(shoot, portrait, ["Mara"], ["redness", "smoothing", "marks"])
        kept = [{"name": "evenhand.token", "value": server.token}]
        state = {"cookies": [], "origins": [{"origin": server.address, "localStorage": kept}]}
        with sync_playwright() as playwright:
            browser = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
            page = browser.new_page(
                base_url=server.address,
                storage_state=state,  # type: ignore[arg-type]
                viewport={"width": options.width, "height": options.height},
            )
            for way in ("gl", "plain"):
                print(json.dumps(measured(page, portrait, way)), flush=True)
            browser.close()


if __name__ == "__main__":
    main()
