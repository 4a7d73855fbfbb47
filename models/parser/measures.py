"""What the network is worth on rendered views, whose truth is exact."""

from __future__ import annotations

import torch
from torch import Tensor, nn

from .heads import SMALLEST_HEAD, peaks
from .network import PART_COUNT
from .variation import SKIN_FIRST, SKIN_LAST, plain_batch
from .views import Views

PART_NAMES = (
    "background",
    *("face", "neck", "ear", "torso", "arm", "hand", "leg"),
    *("eye", "brow", "lip", "mouth", "nostril", "hair", "beard"),
    *("glasses", "jewellery", "cloth", "ink"),
)
# In the order of evenhand.people.parser.Part.

HEAD_THRESHOLD = 0.3
# Confidence from which a peak counts as a head.


def overlap(first: Tensor, second: Tensor) -> float:
    """Intersection over union of two boxes."""
    size = torch.minimum(first[2:4], second[2:4]) - torch.maximum(first[:2], second[:2])
    shared = size.clamp(min=0).prod()
    total = (first[2:4] - first[:2]).prod() + (second[2:4] - second[:2]).prod() - shared
    return float(shared / total)


def heads_matched(found: Tensor, true: Tensor) -> tuple[int, int, list[float], list[float]]:
    """True heads that were found, found heads that are true, errors of roll and yaw in degrees."""
    used: set[int] = set()
    rolls, yaws = [], []
    for head in true:
        fits = [(overlap(head[:4], f[:4]), i) for i, f in enumerate(found) if i not in used]
        if fits and max(fits)[0] > 0.4:
            best = max(fits)[1]
            used.add(best)
            turn = (found[best, 4:6] - head[4:6] + 180) % 360 - 180
            rolls.append(abs(float(turn[0])))
            yaws.append(abs(float(turn[1])))
    return len(used), len(found), rolls, yaws


@torch.no_grad()
def measured(network: nn.Module, views: Views, batch_size: int = 32) -> dict:
    """Measures over all views as they are, without variation."""
    device = views.light.device
    table = torch.zeros(PART_COUNT, PART_COUNT, device=device)
    true_heads = found_true = found_all = 0
    rolls: list[float] = []
    yaws: list[float] = []
    for begin in range(0, len(views), batch_size):
        chosen = torch.arange(begin, min(begin + batch_size, len(views)), device=device)
        batch = plain_batch(views, chosen)
        with torch.autocast(device.type, torch.bfloat16, enabled=device.type == "cuda"):
            parts, heads = network(batch.picture)
        pair = batch.part.flatten() * PART_COUNT + parts.argmax(1).flatten()
        table += torch.bincount(pair, minlength=PART_COUNT**2).reshape(PART_COUNT, PART_COUNT)
        for found, true in zip(peaks(heads, HEAD_THRESHOLD), batch.heads, strict=True):
            big = (true[:, 2:4] - true[:, :2]).amax(1) >= SMALLEST_HEAD
            hits, count, roll, yaw = heads_matched(found.cpu(), true[big].cpu())
            true_heads += int(big.sum())
            found_true, found_all = found_true + hits, found_all + count
            rolls, yaws = rolls + roll, yaws + yaw
    return summary(table.cpu().double()) | {
        "heads": true_heads,
        "heads_found": found_true / max(1, true_heads),
        "heads_true": found_true / max(1, found_all),
        "roll_error_median": float(torch.tensor(rolls or [float("nan")]).median()),
        "yaw_error_median": float(torch.tensor(yaws or [float("nan")]).median()),
    }


def summary(table: Tensor) -> dict:
    """Figures of a table of pixel counts, true part by answered part."""
    skin = slice(SKIN_FIRST, SKIN_LAST + 1)
    both = float(table[skin, skin].sum())
    true, answered = float(table[skin].sum()), float(table[:, skin].sum())
    shared = table.diagonal()
    area = table.sum(0) + table.sum(1) - shared
    present = table.sum(1) > 0
    into_skin = table[:, skin].sum(1) / table.sum(1).clamp(min=1)
    return {
        "skin_precision": both / max(1.0, answered),
        "skin_recall": both / max(1.0, true),
        "skin_f1": 2 * both / max(1.0, true + answered),
        "skin_iou": both / max(1.0, true + answered - both),
        "part_iou": {
            name: float(shared[i] / area[i]) if present[i] else None
            for i, name in enumerate(PART_NAMES)
        },
        "share_taken_for_skin": {
            name: float(into_skin[i]) if present[i] else None
            for i, name in enumerate(PART_NAMES)
            if not SKIN_FIRST <= i <= SKIN_LAST
        },
    }
