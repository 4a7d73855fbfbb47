"""Trains the burn network on rendered views with drawn burns, on a processor.

    python -m models.burns.train --views FOLDER --out OUT --minutes 40

Writes ``burns.pt``, ``burns.onnx``, ``metrics.json``, ``log.txt`` and a contact sheet.
"""

from __future__ import annotations

import argparse
import copy
import json
import random
import time
from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import torch
from PIL import Image
from torch import Tensor, nn
from torch.multiprocessing import Process, Queue
from torch.nn import functional

from models.parser.burns import burnt, look_alikes, red_shade, warm_and_cold
from models.parser.camera import blurred_by, mildly_photographed, photographed, plain_picture
from models.parser.frames import Framed, framed, unframed
from models.parser.randomness import chance, log_uniform, uniform
from models.parser.train import follow, rate_at, some
from models.parser.variation import recoloured, relit
from models.parser.views import MOST_PEOPLE, Views, read_views, scenes_of

from .export import write_onnx
from .features import SIDE, features
from .network import BurnNetwork

FACE, HAND, SKIN = 1, 6, (1, 7)
# Numbers of parts, see evenhand.people.parser.Part; skin from first to last.

TONES = {"light": (0.0, 4.0), "tan": (4.0, 6.0), "brown": (6.0, 8.0), "dark": (8.0, 11.0)}
# Groups of skin tones by the Monk scale: from, below.

BURN_CHANCE, MILD = 0.7, 0.9
# Shares of pictures with a burn, and of those spared the harsh variations of the camera.

BURNT_WEIGHT = 2.0
# Of burnt places in the loss, which are the fewer.

RATE = 3e-3
# Peak of the learning rate.

LEAST_SKIN = 60
# Pixels of skin of a person that is looked at.

KEPT, FEWEST = 6000, 96
# Pictures drawn last that are learnt from again and again, and fewest to begin with: drawing one
# costs several times as much as a step on it.

CHECKED = 60
# Scenes that are measured on.


@dataclass
class People:
    """One person of each picture: features, truth and where it counts, shapes (N, C, S, S)."""

    picture: Tensor
    features: Tensor
    burn: Tensor
    weight: Tensor


def one_person(front: Framed) -> Tensor:
    """Share of one person's skin in each picture, picked by chance among those seen."""
    count = front.light.shape[0]
    skin = ((front.part >= SKIN[0]) & (front.part <= SKIN[1])).float()
    areas = torch.stack(
        [(skin * (front.who == number)).sum((1, 2, 3)) for number in range(1, MOST_PEOPLE + 1)], 1
    )
    seen = (areas > LEAST_SKIN).float() + 1e-6
    number = torch.multinomial(seen, 1)[:, 0] + 1
    return skin * (front.who == number.view(count, 1, 1, 1))


def as_parsed(skin: Tensor) -> Tensor:
    """A mask with the errors of a parser: edges a little off and soft, holes and strays."""
    count = skin.shape[0]
    soft = blurred_by(skin, log_uniform(skin, 0.5, 2.5, count))
    level = uniform(skin, 0.3, 0.7, count, 1, 1, 1)
    return ((soft - level) * log_uniform(skin, 1.5, 6, count, 1, 1, 1) + 0.5).clamp(0, 1)


def drawn(views: Views, count: int) -> People:
    """A batch of varied pictures of people, some of them burnt."""
    front = framed(views, torch.randint(0, len(views), (count,)), SIDE)
    front.light, front.cut_out = recoloured(front)
    burn = burnt(front, BURN_CHANCE)
    light = warm_and_cold(red_shade(relit(front.light * look_alikes(front) * burn.ratio)))
    spared = chance(light, MILD, count)
    picture, known = mildly_photographed(light), burn.known
    if not spared.all():
        harsh, colour = photographed(light[~spared])
        picture[~spared] = harsh
        known = known.clone()
        known[~spared] *= colour
    return people_of(front, torch.round(picture * 255) / 255, burn.share, known, as_parsed)


def people_of(front: Framed, picture: Tensor, burn: Tensor, known: Tensor, parsed) -> People:
    """Features and truth of one person of each picture."""
    mine = one_person(front)
    skin = parsed(mine)
    face, hand = (
        functional.avg_pool2d((front.part == p).float() * mine, 3, 1, 1) for p in (FACE, HAND)
    )
    weight = functional.avg_pool2d(mine * front.skin.clamp(0, 1) * known, 2)
    share = functional.avg_pool2d(burn, 2).clamp(0, 1)
    return People(picture, features(picture, skin, face, hand), share, weight)


def draw(paths: list[Path], count: int, queue: Queue) -> None:
    """Draws batches for ever, in a process of its own: features, burn and weight."""
    torch.set_num_threads(1)
    views = read_views(paths, torch.device("cpu"), 1)
    assert views is not None
    with torch.no_grad():
        while True:
            people = drawn(views, count)
            queue.put(tuple(t.half() for t in (people.features, people.burn, people.weight)))


def picked(kept: Sequence[tuple[Tensor, ...]], count: int) -> list[Tensor]:
    """People picked from the batches kept, mirrored and turned by quarters at random."""
    batch = random.randrange(len(kept)), random.randrange(len(kept))
    halves = [
        [t[k * count // 2 : (k + 1) * count // 2] for t in kept[b]] for k, b in enumerate(batch)
    ]
    turns, mirror = random.randrange(4), random.random() < 0.5
    people = []
    for first, second in zip(*halves, strict=True):
        tensor = torch.rot90(torch.cat([first, second]), turns, (2, 3))
        tensor = tensor.flip(3) if mirror else tensor
        people.append(tensor.float().contiguous(memory_format=torch.channels_last))
    return people


def loss_of(logit: Tensor, burn: Tensor, weight: Tensor) -> Tensor:
    """Cross-entropy on skin; every person counts alike, however much of it is seen."""
    each = functional.binary_cross_entropy_with_logits(logit, burn, reduction="none")
    weight = weight * (1 + (BURNT_WEIGHT - 1) * burn)
    mean = (each * weight).sum((1, 2, 3)) / weight.sum((1, 2, 3)).clamp(min=20)
    return mean.mean()


@torch.no_grad()
def measured(network: nn.Module, views: Views) -> dict:
    """Intersection over union of drawn burns by tone, and belief where nobody is burnt."""
    torch.manual_seed(5)
    hit = {name: [0.0, 0.0] for name in TONES}
    false = {name: [0.0, 0.0, 0.0] for name in TONES}
    for begin in range(0, len(views), 16):
        chosen = torch.arange(begin, min(begin + 16, len(views)))
        for burn_chance in (0.0, 1.0):
            front = unframed(views, chosen)
            burn = burnt(front, burn_chance)
            picture = plain_picture(front.light * burn.ratio)
            shrunk = functional.interpolate
            people = people_of(front, picture, burn.share, burn.known, lambda skin: skin)
            size = (SIDE, SIDE)
            belief = network(shrunk(people.features, size=size, mode="area")).sigmoid()
            share, weight = (
                shrunk(t, size=(SIDE // 2,) * 2, mode="area") for t in (people.burn, people.weight)
            )
            sure = weight > 0.8
            for k, tone in enumerate(views.tone[chosen, 0].tolist()):
                name = next(n for n, (low, high) in TONES.items() if low <= tone < high)
                hot, cold = sure[k] & (share[k] > 0.5), sure[k] & (share[k] < 0.1)
                believed = belief[k] > 0.5
                if burn_chance:
                    hit[name][0] += float((hot & believed).sum())
                    hit[name][1] += float((hot | (cold & believed)).sum())
                else:
                    false[name][0] += float((cold & believed).sum())
                    false[name][1] += float((cold & (belief[k] > 0.8)).sum())
                    false[name][2] += float(cold.sum())
    return {
        "burn_iou": {n: a / max(1.0, b) for n, (a, b) in hit.items()},
        "burn_false": {n: a / max(1.0, c) for n, (a, _, c) in false.items()},
        "burn_false_sure": {n: b / max(1.0, c) for n, (_, b, c) in false.items()},
    }


@torch.no_grad()
def contact_sheet(network: nn.Module, people: People, path: Path) -> None:
    """Pictures above the truth above the belief."""
    belief = network(people.features).sigmoid()
    rows = []
    for begin in range(0, len(belief), 10):
        part = slice(begin, begin + 10)
        tiles = [people.picture[part]]
        for plane in (people.burn * (people.weight > 0.3), belief * (people.weight > 0.05)):
            large = functional.interpolate(plane[part], size=(SIDE, SIDE))
            tiles.append(large.expand(-1, 3, -1, -1))
        rows += [torch.cat(list(tile), 2) for tile in tiles]
    sheet = (torch.cat(rows, 1).permute(1, 2, 0).clamp(0, 1) * 255).byte().numpy()
    Image.fromarray(np.ascontiguousarray(sheet)).save(path, quality=88)


def main() -> None:
    """Reads, trains, measures, writes."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--views", type=Path, required=True)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--minutes", type=float, default=40)
    parser.add_argument("--batch", type=int, default=24)
    parser.add_argument("--threads", type=int, default=2)
    parser.add_argument("--rate", type=float, default=RATE)
    parser.add_argument("--start", type=Path)
    options = parser.parse_args()
    options.out.mkdir(parents=True, exist_ok=True)
    log = (options.out / "log.txt").open("a")
    torch.set_num_threads(options.threads)
    torch.manual_seed(int(time.time()) if options.start else 1)
    cpu = torch.device("cpu")
    paths = scenes_of(options.views, "train")
    if not paths:
        raise SystemExit(f"no views to train on under {options.views}")
    queue: Queue = Queue(4)
    Process(target=draw, args=(paths, options.batch, queue), daemon=True).start()
    network = BurnNetwork().to(memory_format=torch.channels_last)
    if options.start:
        network.load_state_dict(torch.load(options.start, weights_only=True))
    average = copy.deepcopy(network).requires_grad_(False).eval()
    optimiser = torch.optim.AdamW(network.parameters(), options.rate, weight_decay=0.02)
    kept: deque[tuple[Tensor, ...]] = deque([queue.get()], KEPT // options.batch)
    begin = last = time.monotonic()
    step = drawn_batches = 0
    while (share := (time.monotonic() - begin) / (60 * options.minutes)) < 1:
        while not queue.empty() or len(kept) < FEWEST // options.batch:
            kept.append(queue.get())
            drawn_batches += 1
        for group in optimiser.param_groups:
            group["lr"] = rate_at(share, options.rate)
        given, burn, weight = picked(kept, options.batch)
        with torch.autocast("cpu", torch.bfloat16):
            logit = network(given)
        loss = loss_of(logit.float(), burn, weight)
        optimiser.zero_grad(set_to_none=True)
        loss.backward()
        norm = nn.utils.clip_grad_norm_(network.parameters(), 2.0)
        if bool(torch.isfinite(norm)):
            optimiser.step()
            follow(average, network, step)
        step += 1
        if step in (1, 10, 50) or time.monotonic() - last > 60:
            last = time.monotonic()
            count = drawn_batches * options.batch
            line = f"{last - begin:6.0f} s step {step} loss {loss.item():.4f} drawn {count}"
            print(line, flush=True)
            log.write(line + "\n")
            torch.save(average.state_dict(), options.out / "burns.pt")
    views = read_views(some(paths, CHECKED), cpu, options.threads)
    assert views is not None
    torch.save(average.state_dict(), options.out / "burns.pt")
    results: dict = {"scenes": len(paths), "pictures": drawn_batches * options.batch, "steps": step}
    for split in ("check", "test"):
        held = read_views(some(scenes_of(options.views, split), CHECKED), cpu, options.threads)
        if held is not None:
            results[split] = measured(average, held) | {"views": len(held)}
            print(split, json.dumps(results[split]), flush=True)
    (options.out / "metrics.json").write_text(json.dumps(results, indent=1))
    contact_sheet(average, drawn(views, 40), options.out / "varied.jpg")
    write_onnx(average, options.out / "burns.onnx")


if __name__ == "__main__":
    main()
