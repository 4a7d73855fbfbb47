"""Trains the burn network on rendered views with drawn burns.

    python -m models.burns.train --views FOLDER --out OUT --minutes 20

Views may still be coming. Writes ``burns.pt``, ``burns.onnx``, ``metrics.json``, ``log.txt`` and a
contact sheet. With a graphics card it takes minutes, on a processor hours.
"""

from __future__ import annotations

import argparse
import copy
import json
import os
import random
import time
from collections import deque
from pathlib import Path

import numpy as np
import torch
from PIL import Image
from torch import Tensor, nn
from torch.nn import functional

from models.parser.train import Note, follow, rate_at, some
from models.parser.views import GrowingViews, Views, read_views, scenes_of

from .export import write_onnx
from .features import SIDE
from .network import BurnNetwork
from .pictures import People, drawn, plain

TONES = {"light": (0.0, 4.0), "tan": (4.0, 6.0), "brown": (6.0, 8.0), "dark": (8.0, 11.0)}
# Groups of skin tones by the Monk scale: from, below.

BURNT_WEIGHT = 1.5
# Of burnt places in the loss, which are the fewer.

RATE = 2e-3
# Peak of the learning rate.

DRAWN_EVERY, KEPT = 3, 48
# Steps from one drawn batch to the next, and batches kept: drawing costs more than a step, and what
# was drawn is learnt from several times, mixed and mirrored anew.

FEWEST = 64
# Views from which training begins.

MINUTES_AFTER = 0.5
# Of the time given, kept back for measuring and writing.

CHECKED = 100
# Scenes that are measured on.


def picked(kept: deque[People]) -> People:
    """Half of one kept batch and half of another, mirrored and turned by quarters at random."""
    halves = []
    for _ in range(2):
        people = random.choice(kept)
        halves.append(people.chosen(torch.randperm(len(people))[: len(people) // 2]))
    turns, mirror = random.randrange(4), random.random() < 0.5
    joined = {}
    for name, first in vars(halves[0]).items():
        tensor = torch.cat([first, vars(halves[1])[name]])
        if tensor.ndim == 4:
            tensor = torch.rot90(tensor, turns, (2, 3))
            tensor = tensor.flip(3) if mirror else tensor
        joined[name] = tensor
    return People(**joined)


def loss_of(logit: Tensor, people: People) -> Tensor:
    """Cross-entropy on skin; every person counts alike, however much of it is seen."""
    each = functional.binary_cross_entropy_with_logits(logit, people.burn, reduction="none")
    weight = people.weight * (1 + (BURNT_WEIGHT - 1) * people.burn)
    mean = (each * weight).sum((1, 2, 3)) / weight.sum((1, 2, 3)).clamp(min=20)
    return mean.mean()


@torch.no_grad()
def measured(network: nn.Module, views: Views) -> dict:
    """Intersection over union of drawn burns by tone, and belief where nobody is burnt."""
    torch.manual_seed(5)
    names = ("burn_iou", "burn_iou_pointed", "burn_false", "burn_false_sure")
    totals = {name: {tone: [0.0, 0.0] for tone in TONES} for name in names}
    for begin in range(0, len(views), 16):
        chosen = torch.arange(begin, min(begin + 16, len(views)), device=views.light.device)
        for name in ("burn_iou", "burn_iou_pointed", "burn_false"):
            people = plain(views, chosen, float(name != "burn_false"), name == "burn_iou_pointed")
            belief = network(people.features).sigmoid()
            sure = people.weight > 0.8
            hot, cold = sure & (people.burn > 0.5), sure & (people.burn < 0.1)
            for k, tone in enumerate(people.tone.tolist()):
                group = next(n for n, (low, high) in TONES.items() if low <= tone < high)
                wrong = float((cold[k] & (belief[k] > 0.5)).sum())
                if name == "burn_false":
                    surely = float((cold[k] & (belief[k] > 0.8)).sum())
                    count = float(cold[k].sum())
                    added = {name: (wrong, count), "burn_false_sure": (surely, count)}
                else:
                    right = float((hot[k] & (belief[k] > 0.5)).sum())
                    added = {name: (right, float(hot[k].sum()) + wrong)}
                for key, values in added.items():
                    for place, value in enumerate(values):
                        totals[key][group][place] += value
    return {
        name: {tone: a / max(1.0, b) for tone, (a, b) in groups.items()}
        for name, groups in totals.items()
    }


@torch.no_grad()
def contact_sheet(network: nn.Module, people: People, path: Path) -> None:
    """Pictures above the truth above the belief; points in blue and yellow."""
    belief = network(people.features).sigmoid()
    rows = []
    for begin in range(0, len(belief), 10):
        part = slice(begin, begin + 10)
        picture = people.picture[part].clone()
        for channel, plane in ((2, -2), (0, -1), (1, -1)):
            picture[:, channel] = torch.maximum(picture[:, channel], people.features[part, plane])
        tiles = [picture]
        for plane in (people.burn * (people.weight > 0.3), belief * (people.weight > 0.05)):
            large = functional.interpolate(plane[part], size=(SIDE, SIDE))
            tiles.append(large.expand(-1, 3, -1, -1))
        rows += [torch.cat(list(tile), 2) for tile in tiles]
    sheet = (torch.cat(rows, 1).permute(1, 2, 0).clamp(0, 1) * 255).byte().cpu().numpy()
    Image.fromarray(np.ascontiguousarray(sheet)).save(path, quality=88)


def trained(
    network: BurnNetwork, growing: GrowingViews, options: argparse.Namespace, note: Note
) -> tuple[BurnNetwork, int]:
    """Trains for the time given; the moving average of the network, and its steps."""
    device = growing.device
    views = growing.grown(wait=True)
    while views is None or len(views) < FEWEST:
        time.sleep(1)
        views = growing.grown(wait=True) or views
    average = copy.deepcopy(network).requires_grad_(False).eval()
    optimiser = torch.optim.AdamW(network.parameters(), options.rate, weight_decay=0.02)
    kept: deque[People] = deque(maxlen=KEPT)
    begin = last = time.monotonic()
    step = 0
    length = 60 * max(options.minutes - MINUTES_AFTER, options.minutes / 2)
    while (share := (time.monotonic() - begin) / length) < 1:
        if step % 50 == 0:
            views = growing.grown() or views
        if step % DRAWN_EVERY == 0:
            with torch.no_grad():
                kept.append(drawn(views, options.batch))
        for group in optimiser.param_groups:
            group["lr"] = rate_at(share, options.rate)
        people = picked(kept)
        with torch.autocast(device.type, torch.bfloat16):
            logit = network(people.features.contiguous(memory_format=torch.channels_last))
        loss = loss_of(logit.float(), people)
        optimiser.zero_grad(set_to_none=True)
        loss.backward()
        norm = nn.utils.clip_grad_norm_(network.parameters(), 2.0)
        if bool(torch.isfinite(norm)):
            optimiser.step()
            follow(average, network, step)
        step += 1
        if step in (1, 10, 50) or time.monotonic() - last > 30:
            last = time.monotonic()
            note(f"{last - begin:6.0f} s step {step} loss {loss.item():.4f} views {len(views)}")
            torch.save(average.state_dict(), options.out / "burns.pt")
    return average, step


def main() -> None:
    """Reads, trains, measures, writes."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--views", type=Path, required=True)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--minutes", type=float, default=20)
    parser.add_argument("--batch", type=int, default=128)
    parser.add_argument("--workers", type=int, default=2, help="threads that read views")
    parser.add_argument("--room", type=int, default=24000, help="views that fit in memory")
    parser.add_argument("--rate", type=float, default=RATE)
    parser.add_argument("--start", type=Path, help="own weights to go on from")
    options = parser.parse_args()
    options.out.mkdir(parents=True, exist_ok=True)
    log = (options.out / "log.txt").open("a")

    def note(line: str) -> None:
        print(line, flush=True)
        log.write(line + "\n")
        log.flush()

    torch.manual_seed(int(time.time()) if options.start else 1)
    torch.backends.cudnn.benchmark = True
    device = torch.device("cuda" if torch.cuda.is_available() else "cpu")
    growing = GrowingViews(options.views, "train", device, options.workers, options.room)
    network = BurnNetwork().to(device, memory_format=torch.channels_last)
    if options.start:
        network.load_state_dict(torch.load(options.start, "cpu", weights_only=True))
    average, step = trained(network, growing, options, note)
    torch.save(average.state_dict(), options.out / "burns.pt")
    results: dict = {"steps": step, "batch": options.batch, "train_views": growing.count}
    for split in ("check", "test"):
        paths = some(scenes_of(options.views, split), CHECKED)
        held = read_views(paths, device, options.workers)
        if held is not None:
            results[split] = measured(average, held) | {"views": len(held)}
            note(f"{split} {json.dumps(results[split])}")
    (options.out / "metrics.json").write_text(json.dumps(results, indent=1))
    views = growing.grown()
    assert views is not None
    with torch.no_grad():
        contact_sheet(average, drawn(views, 40), options.out / "varied.jpg")
    try:
        write_onnx(average.cpu(), options.out / "burns.onnx")
    except Exception as error:  # the weights are saved; they can be written again elsewhere
        note(f"no ONNX file: {error!r}")
    os._exit(0)  # threads that read would keep the process


if __name__ == "__main__":
    main()
