"""Contact sheets: pictures beside their truth and the network's answer, for the eye."""

from __future__ import annotations

from pathlib import Path

import torch
from PIL import Image, ImageDraw
from torch import nn
from torch.nn import functional

from .heads import peaks
from .measures import HEAD_THRESHOLD
from .variation import Batch

COLOURS = torch.tensor(
    [
        (40, 40, 40),
        (255, 200, 170),
        (235, 160, 130),
        (255, 120, 90),
        (220, 180, 120),
        (250, 220, 120),
        (255, 150, 200),
        (200, 140, 90),
        (0, 90, 255),
        (120, 70, 0),
        (220, 0, 60),
        (255, 255, 255),
        (150, 0, 150),
        (90, 60, 40),
        (120, 110, 60),
        (0, 220, 220),
        (255, 230, 0),
        (70, 120, 90),
        (0, 160, 0),
    ],
    dtype=torch.uint8,
)
# One colour for each part, told apart by the eye.


@torch.no_grad()
def contact_sheet(network: nn.Module, batch: Batch, path: Path, columns: int = 6) -> None:
    """Writes a JPEG of the batch: picture with heads, truth, answer, in rows of three."""
    count, _, height, width = batch.picture.shape
    parts, heads = network(batch.picture)
    answer = functional.interpolate(parts.float(), size=(height, width), mode="bilinear")
    truth = functional.interpolate(batch.part[:, None].float(), size=(height, width))
    rows = rows_for(count, columns)
    sheet = Image.new("RGB", (columns * width, rows * height * 3))
    for index, found in enumerate(peaks(heads, HEAD_THRESHOLD)):
        picture = (batch.picture[index].float() * 255).round().byte().permute(1, 2, 0).cpu()
        image = Image.fromarray(picture.numpy())
        draw = ImageDraw.Draw(image)
        for head in batch.heads[index]:
            if not torch.isnan(head[0]):
                draw.rectangle(head[:4].tolist(), outline=(0, 255, 0))
        for head in found:
            draw.rectangle([*sorted_box(head[:4].tolist())], outline=(255, 0, 0))
        x, y = index % columns * width, index // columns * height * 3
        sheet.paste(image, (x, y))
        for step, part in enumerate((truth[index, 0].round().long(), answer[index].argmax(0))):
            sheet.paste(Image.fromarray(COLOURS[part.cpu()].numpy()), (x, y + (step + 1) * height))
    sheet.save(path, quality=85)


def rows_for(count: int, columns: int) -> int:
    """Rows that hold `count` pictures."""
    return -(-count // columns)


def sorted_box(box: list[float]) -> tuple[float, float, float, float]:
    """The box with its corners in order."""
    return min(box[0], box[2]), min(box[1], box[3]), max(box[0], box[2]), max(box[1], box[3])
