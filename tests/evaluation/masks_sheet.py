"""A contact sheet of the pictures whose masks are worst, for the eye."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import cv2
import numpy as np
from PIL import Image, ImageDraw

from tests.evaluation.masks_measures import MASK_THRESHOLD, Figures, Found
from tests.evaluation.masks_sets import Pixels, Sample

ROW_HEIGHT = 320
# Pixels of one picture on the sheet.

SHEET_COLUMNS = 3
# Cases side by side; each shows the picture and the picture with its errors.

FALSE_COLOUR, MISSED_COLOUR, HIT_COLOUR = (255, 40, 40), (40, 90, 255), (90, 200, 90)
# Called skin wrongly, skin that was missed, skin that was found.


def errors_shown(sample: Sample, found: Found) -> Pixels:
    """The picture in grey with hits green, misses blue and false skin red; faces in yellow."""
    grey: Pixels = cv2.cvtColor(cv2.cvtColor(sample.pixels, cv2.COLOR_RGB2GRAY), cv2.COLOR_GRAY2RGB)
    mask = found.skin >= MASK_THRESHOLD
    for chosen, colour in (
        (mask & sample.skin, HIT_COLOUR),
        (~mask & sample.skin & sample.judged, MISSED_COLOUR),
        (mask & ~sample.skin & sample.judged, FALSE_COLOUR),
    ):
        grey[chosen] = 0.5 * grey[chosen] + 0.5 * np.array(colour)
    for left, top, right, bottom in found.faces:
        corners = (int(left), int(top)), (int(right), int(bottom))
        cv2.rectangle(grey, *corners, (255, 255, 0), 2)
    return grey


def tile(sample: Sample, figures: Figures, found: Found) -> Image.Image:
    """One case: the picture, its errors, its name and figures."""
    pair = np.concatenate([sample.pixels, errors_shown(sample, found)], axis=1)
    width = round(pair.shape[1] * ROW_HEIGHT / pair.shape[0])
    image = Image.fromarray(cv2.resize(pair, (width, ROW_HEIGHT), interpolation=cv2.INTER_AREA))
    counts = figures.counts
    text = f"{figures.name} F1 {counts.f1:.3f} P {counts.precision:.2f} R {counts.recall:.2f}"
    draw = ImageDraw.Draw(image)
    draw.rectangle((0, 0, 7 * len(text), 14), fill=(0, 0, 0))
    draw.text((2, 1), text, fill=(255, 255, 255))
    return image


def write_sheet(tiles: Sequence[Image.Image], path: Path) -> None:
    """Writes the tiles row by row as one JPEG."""
    rows = [tiles[i : i + SHEET_COLUMNS] for i in range(0, len(tiles), SHEET_COLUMNS)]
    width = max(sum(image.width for image in row) for row in rows)
    sheet = Image.new("RGB", (width, ROW_HEIGHT * len(rows)))
    for number, row in enumerate(rows):
        left = 0
        for image in row:
            sheet.paste(image, (left, number * ROW_HEIGHT))
            left += image.width
    path.parent.mkdir(parents=True, exist_ok=True)
    sheet.save(path, quality=88)
