"""The contact sheet: every final before and after, what was done, and what must be said."""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from reportlab.lib.pagesizes import A4
from reportlab.lib.units import mm
from reportlab.lib.utils import ImageReader, simpleSplit
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.pdfgen.canvas import Canvas

from evenhand.report import NOTICES

FONT = "Vera"
"""A font that reportlab brings along."""

MARGIN = 15 * mm
"""Around the page."""

WIDTH = A4[0] - 2 * MARGIN
"""Of what is inside the margins."""

NUMBERS = 25 * mm
"""Width kept for the page's number beside the title."""

GAP = 5 * mm
"""Between pictures."""

ROWS = 3
"""Portraits on a page."""

CAPTION = 13 * mm
"""Height of the words under a pair."""

GREY = 0.35
"""Of the small words: 0 is black."""


@dataclass(frozen=True)
class Entry:
    """A portrait on the sheet.

    Attributes
    ----------
    name : str
        Of the final.
    before, after : bytes
        JPEG.
    done : str
        Which steps at which strengths.
    basis : str
        By which sign-off, or why without.
    """

    name: str
    before: bytes
    after: bytes
    done: str
    basis: str


def write_contact_sheet(path: Path, title: str, entries: Sequence[Entry]) -> None:
    """Write the sheet as a PDF; the same content gives the same bytes.

    Parameters
    ----------
    path : path
        Replaced if it is there.
    title : str
        The shoot's name.
    entries : sequence of Entry
        In the order of the sheet, `ROWS` on a page.
    """
    pdfmetrics.registerFont(TTFont(FONT, "Vera.ttf"))
    canvas = Canvas(str(path), pagesize=A4, invariant=1)
    canvas.setTitle(f"{title}: before and after")
    pages = [entries[start : start + ROWS] for start in range(0, len(entries), ROWS)]
    for number, page in enumerate(pages, 1):
        _heading(canvas, f"{title}, before and after", f"{number} of {len(pages)}")
        for row, entry in enumerate(page):
            _pair(canvas, entry, row)
        _notices(canvas)
        canvas.showPage()
    canvas.save()


def _heading(canvas: Canvas, title: str, page: str) -> None:
    canvas.setFillGray(0)
    canvas.setFont(FONT, 12)
    canvas.drawString(MARGIN, A4[1] - MARGIN, _fitting(title, 12, WIDTH - NUMBERS))
    canvas.setFont(FONT, 8)
    canvas.drawRightString(A4[0] - MARGIN, A4[1] - MARGIN, page)


def _pair(canvas: Canvas, entry: Entry, row: int) -> None:
    width = (WIDTH - GAP) / 2
    space = (A4[1] - 2 * MARGIN - 30 * mm) / ROWS
    top = A4[1] - MARGIN - 6 * mm - row * space
    for column, picture in enumerate((entry.before, entry.after)):
        left = MARGIN + column * (width + GAP)
        _picture(canvas, picture, left, top, width, space - CAPTION)
    under = top - (space - CAPTION) - 4 * mm
    canvas.setFillGray(0)
    canvas.setFont(FONT, 8)
    canvas.drawString(MARGIN, under, _fitting(entry.name, 8, WIDTH))
    canvas.setFillGray(GREY)
    canvas.setFont(FONT, 7)
    caption = _fitting(f"{entry.done}; {entry.basis}", 7, WIDTH)
    canvas.drawString(MARGIN, under - 3.5 * mm, caption)


def _fitting(words: str, size: float, width: float) -> str:
    """The words, or as much of their beginning as fits and three dots."""
    fitting = words
    while pdfmetrics.stringWidth(fitting, FONT, size) > width:
        words = words[:-1]
        fitting = f"{words}..."
    return fitting


def _picture(
    canvas: Canvas, jpeg: bytes, left: float, top: float, width: float, height: float
) -> None:
    """Draw a picture as large as fits, hanging from `top`."""
    picture = ImageReader(io.BytesIO(jpeg))
    columns, rows = picture.getSize()
    scale = min(width / columns, height / rows)
    canvas.drawImage(picture, left, top - rows * scale, columns * scale, rows * scale)


def _notices(canvas: Canvas) -> None:
    canvas.setFillGray(GREY)
    canvas.setFont(FONT, 6)
    lines = simpleSplit(" ".join(NOTICES.values()), FONT, 6, WIDTH)
    for number, line in enumerate(reversed(lines)):
        canvas.drawString(MARGIN, MARGIN + number * 2.6 * mm, line)
