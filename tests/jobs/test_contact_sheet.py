"""The contact sheet's pages as ISO 32000-1 (PDF 1.7) lays them out, read without reportlab.

Words are measured by FreeType with the sheet's own font.
"""

from __future__ import annotations

import base64
import io
import re
import zlib
from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path

import numpy as np
import pytest
from PIL import Image, ImageFont

from evenhand.jobs.contact_sheet import ROWS, Entry, write_contact_sheet
from evenhand.report import NOTICES

A4 = (210 / 25.4 * 72, 297 / 25.4 * 72)
"""ISO 216, in points."""

MARGIN = 15 / 25.4 * 72
"""Around the page, in points: nothing may be cut off by a printer."""

LONG = "W" * 300
"""A name as long as a file system may have, of wide letters."""


@dataclass(frozen=True)
class Drawn:
    """Something on a page: words, or a JPEG; its lower left corner and size in points."""

    what: str | bytes
    left: float
    bottom: float
    width: float
    height: float


def jpeg(width: int, height: int, seed: int) -> bytes:
    file = io.BytesIO()
    colour = tuple(np.random.default_rng(seed).integers(0, 256, 3).tolist())
    Image.new("RGB", (width, height), colour).save(file, "JPEG")
    return file.getvalue()


def entry(number: int, **others: str) -> Entry:
    """A lying picture before, a standing one after."""
    texts = {"name": f"bow-{number}.jpg", "done": "redness 0.7", "basis": "signed off", **others}
    return Entry(before=jpeg(60, 40, 2 * number), after=jpeg(40, 70, 2 * number + 1), **texts)


def pages_of(path: Path) -> list[list[Drawn]]:
    """What each page draws, by 7.3.10 (objects), 8.9.5 (images), 9.4.2 (places of words)."""
    objects = {
        int(number): body
        for number, body in re.findall(rb"(\d+) 0 obj\s(.*?)\sendobj", path.read_bytes(), re.S)
    }
    (tree,) = (body for body in objects.values() if b"/Type /Pages" in body)
    kids = re.search(rb"/Kids \[(.*?)\]", tree)
    assert kids is not None
    return [_page(objects, int(n)) for n in re.findall(rb"(\d+) 0 R", kids[1])]


def _page(objects: dict[int, bytes], number: int) -> list[Drawn]:
    body = objects[number]
    box = re.search(rb"/MediaBox \[ 0 0 (\S+) (\S+) \]", body)
    contents = re.search(rb"/Contents (\d+) 0 R", body)
    assert box is not None
    assert contents is not None
    assert (float(box[1]), float(box[2])) == pytest.approx(A4, abs=0.01)
    images = {name: int(held) for name, held in re.findall(rb"/(FormXob\.\w+) (\d+) 0 R", body)}
    content = zlib.decompress(_stream(objects[int(contents[1])]))
    drawn = [
        Drawn(_stream(objects[images[name]]), float(left), float(bottom), float(w), float(h))
        for w, h, left, bottom, name in re.findall(
            rb"(\S+) 0 0 (\S+) (\S+) (\S+) cm\n/(\S+) Do", content
        )
    ]
    for left, bottom, size, said in re.findall(
        rb"1 0 0 1 (\S+) (\S+) Tm /\S+ (\S+) Tf \S+ TL \((.*?)(?<!\\)\) Tj", content
    ):
        words = said.decode("latin-1").replace("\\(", "(").replace("\\)", ")")
        font = ImageFont.truetype(_font(), 1000)
        width = font.getlength(words) * float(size) / 1000
        drawn.append(Drawn(words, float(left), float(bottom), width, float(size)))
    return drawn


def _stream(body: bytes) -> bytes:
    """ASCII base 85 off; a JPEG stays one (DCTDecode)."""
    held = re.search(rb"stream\r?\n(.*?)endstream", body, re.S)
    assert held is not None
    return base64.a85decode(b"<~" + held[1].strip(), adobe=True)


def _font() -> str:
    spec = find_spec("reportlab")
    assert spec is not None
    assert spec.origin is not None
    return str(Path(spec.origin).parent / "fonts" / "Vera.ttf")


def said_on(page: list[Drawn]) -> list[str]:
    return [one.what for one in page if isinstance(one.what, str)]


def shown_on(page: list[Drawn]) -> list[Drawn]:
    return [one for one in page if isinstance(one.what, bytes)]


@pytest.mark.parametrize("count", [1, ROWS, ROWS + 1, 2 * ROWS + 2])
def test_every_final_is_there_before_and_after(count: int, tmp_path: Path) -> None:
    entries = [entry(number) for number in range(count)]
    write_contact_sheet(tmp_path / "a.pdf", "Summer regatta", entries)
    pages = pages_of(tmp_path / "a.pdf")
    assert len(pages) == -(-count // ROWS)
    pictures = [one.what for page in pages for one in shown_on(page)]
    assert sorted(pictures) == sorted(p for e in entries for p in (e.before, e.after))
    for number, page in enumerate(pages):
        words = said_on(page)
        assert "Summer regatta, before and after" in words
        assert f"{number + 1} of {len(pages)}" in words
        for one in entries[number * ROWS : (number + 1) * ROWS]:
            assert one.name in words
            assert "redness 0.7; signed off" in words
        text = " ".join(reversed(words))
        for notice in NOTICES.values():
            assert all(word in text for word in notice.split())


def test_pictures_keep_their_shape_and_do_not_touch(tmp_path: Path) -> None:
    entries = [entry(number) for number in range(ROWS)]
    write_contact_sheet(tmp_path / "a.pdf", "Summer regatta", entries)
    (page,) = pages_of(tmp_path / "a.pdf")
    by_jpeg = {one.what: one for one in shown_on(page)}
    for one in page:
        assert one.left >= MARGIN - 0.01
        assert one.bottom >= MARGIN - 0.01
        assert one.left + one.width <= A4[0] - MARGIN + 0.01
    for pair in entries:
        before, after = by_jpeg[pair.before], by_jpeg[pair.after]
        assert before.width / before.height == pytest.approx(60 / 40, rel=1e-3)
        assert after.width / after.height == pytest.approx(40 / 70, rel=1e-3)
        assert before.left + before.width < after.left
        assert before.bottom + before.height == pytest.approx(after.bottom + after.height)
        (name,) = (one for one in page if one.what == pair.name)
        assert name.bottom + name.height < min(before.bottom, after.bottom)
    tops = [by_jpeg[pair.before].bottom for pair in entries]
    assert tops == sorted(tops, reverse=True)


def test_long_words_stay_on_the_page(tmp_path: Path) -> None:
    long = entry(1, name=LONG, done=" and ".join(["smoothing 0.55"] * 20), basis=LONG)
    write_contact_sheet(tmp_path / "a.pdf", "Summer regatta " + LONG, [long])
    (page,) = pages_of(tmp_path / "a.pdf")
    assert any(one.startswith("WWWWWWWWWW") for one in said_on(page))
    for one in page:
        assert one.left + one.width <= A4[0] - MARGIN + 0.01, one.what


def test_the_same_sheet_twice_is_the_same_bytes(tmp_path: Path) -> None:
    for name in ("a.pdf", "b.pdf"):
        write_contact_sheet(tmp_path / name, "Summer regatta", [entry(1), entry(2)])
    assert (tmp_path / "a.pdf").read_bytes() == (tmp_path / "b.pdf").read_bytes()
