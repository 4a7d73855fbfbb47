"""Trains the parser on rendered views, from scratch or on from own weights, and measures it.

    python -m models.parser.train --views views --out out --minutes 9

Views may still be coming: those that appear under the folder are taken up while it trains. With
RANK, LOCAL_RANK, WORLD_SIZE, MASTER_ADDR and MASTER_PORT set, processes share each step. Writes
into the output folder: ``parser.pt`` (weights in half precision), ``parser.onnx``,
``metrics.json``, ``log.txt`` and two contact sheets.
"""

from __future__ import annotations

import argparse
import copy
import json
import math
import os
import random
import time
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import torch
import torch.distributed
from torch import Tensor, nn
from torch.nn import functional

from .export import write_onnx
from .heads import head_loss
from .measures import measured
from .network import ENCODER_BLOCKS, Parser
from .sheets import contact_sheet
from .variation import MILD, SKIN_FIRST, SKIN_LAST, Batch, plain_batch, varied_batch
from .views import GrowingViews, Views, read_views, scenes_of

PART_WEIGHTS = (1, 1, 1, 1.5, 1, 1, 1.2, 1, 3, 2, 2.5, 2, 3, 1, 2, 2, 3, 1, 3)
# Weight of each part in the loss: small parts count for more than their area.

KEEP_PARTS = (8, 9, 10, 11, 12)
# Eye, brow, lip, mouth, nostril.

LEARNING_RATE = 2e-3
# Peak for AdamW; falls with a cosine over the time given.

WARM_UP = 0.03
# Share of the time in which the rate rises.

MINUTES_AFTER = 0.6
# Of the time given, kept back for measuring and writing.

DRAWN_EVERY, KEPT = 2, 24
# Steps from one drawn batch to the next, and batches kept: drawing pictures takes longer than a
# step on them, and what was drawn is learnt from again.

AVERAGE_DECAY = 0.999
# Of the moving average of the weights, which is what is kept.

HEAD_WEIGHT = 0.3
# Of the heads' loss beside that of the parts.

FEWEST = 64
# Views from which training begins.

MOST_CHECKED = 400
# Views of the check and test splits that are measured on.

Note = Callable[[str], None]
# Takes a line for the log.


def arguments() -> argparse.Namespace:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--views", type=Path, required=True, help="folder of scene_*.zip")
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--minutes", type=float, default=9.0, help="for the whole run")
    parser.add_argument("--batch", type=int, default=160, help="pictures a step and card")
    parser.add_argument("--size", type=int, default=320)
    parser.add_argument("--width", type=float, default=1.0, help="of the network")
    parser.add_argument(
        "--blocks", type=int, nargs=5, default=ENCODER_BLOCKS, help="of the encoder"
    )
    parser.add_argument("--mild", type=float, default=MILD, help="share of mild pictures")
    parser.add_argument("--rate", type=float, default=LEARNING_RATE)
    parser.add_argument("--workers", type=int, default=4, help="threads that read views")
    parser.add_argument("--room", type=int, default=24000, help="views that fit in memory")
    parser.add_argument("--start", type=Path, help="own weights to go on from")
    parser.add_argument("--seed", type=int, default=1)
    return parser.parse_args()


def part_loss(logits: Tensor, batch: Batch, weights: Tensor) -> Tensor:
    """Cross-entropy of the parts, plus that of soft skin and soft kept coverage."""
    logits = logits.float()
    hard = functional.cross_entropy(logits, batch.part, weights, label_smoothing=0.02)
    probability = logits.softmax(1)
    skin = probability[:, SKIN_FIRST : SKIN_LAST + 1].sum(1).clamp(1e-5, 1 - 1e-5)
    keep = probability[:, KEEP_PARTS].sum(1).clamp(1e-5, 1 - 1e-5)
    soft = functional.binary_cross_entropy(skin, batch.skin)
    soft = soft + 2 * functional.binary_cross_entropy(keep, batch.keep)
    overlap = (skin * batch.skin).sum() + (keep * batch.keep).sum() * 4
    total = (skin + batch.skin).sum() + (keep + batch.keep).sum() * 4
    return hard + soft + 0.3 * (1 - 2 * overlap / total.clamp(min=1))


def rate_at(share: float, peak: float) -> float:
    """Learning rate after a share of the time: a rise, then a cosine to a hundredth."""
    if share < WARM_UP:
        return peak * (share / WARM_UP + 0.02)
    fall = (share - WARM_UP) / (1 - WARM_UP)
    return peak * (0.01 + 0.99 * 0.5 * (1 + math.cos(math.pi * min(1.0, fall))))


def follow(average: nn.Module, network: nn.Module, step: int) -> None:
    """Moves the averaged weights towards the network's."""
    decay = min(AVERAGE_DECAY, (1 + step) / (20 + step))
    with torch.no_grad():
        means, nows = list(average.parameters()), list(network.parameters())
        torch._foreach_lerp_(means, nows, 1 - decay)
        for mean, now in zip(average.buffers(), network.buffers(), strict=True):
            if mean.dtype.is_floating_point:
                mean.lerp_(now, 1 - decay)


def save(average: Parser, path: Path) -> None:
    """Writes weights in half precision, with the network's width and blocks."""
    state = {k: v.half() for k, v in average.state_dict().items() if "num_batches" not in k}
    torch.save({"width": average.width, "blocks": average.blocks, "weights": state}, path)


def loaded(path: Path) -> Parser:
    """The network that `save` wrote."""
    kept = torch.load(path, map_location="cpu", weights_only=True)
    network = Parser(kept["width"], kept["blocks"])
    network.load_state_dict({k: v.float() for k, v in kept["weights"].items()}, strict=False)
    return network


@dataclass
class Run:
    """A training run: the network, its moving average, the optimiser, steps done."""

    network: Parser
    average: Parser
    optimiser: torch.optim.Optimizer
    step: int = 0


def new_run(options: argparse.Namespace, device: torch.device) -> Run:
    """A run from the beginning or from own weights."""
    network = loaded(options.start) if options.start else Parser(options.width, options.blocks)
    network = network.to(device, memory_format=torch.channels_last)
    average = copy.deepcopy(network).requires_grad_(False).eval()
    decayed = [p for p in network.parameters() if p.ndim > 1]
    plain = [p for p in network.parameters() if p.ndim <= 1]
    groups = [{"params": decayed, "weight_decay": 0.03}, {"params": plain, "weight_decay": 0.0}]
    optimiser = torch.optim.AdamW(groups, lr=options.rate, betas=(0.9, 0.99))
    return Run(network, average, optimiser)


def one_step(run: Run, batch: Batch, weights: Tensor, size: int, cards: int) -> list[Tensor]:
    """One step down the loss; returns the losses of parts and heads."""
    picture = batch.picture.to(memory_format=torch.channels_last)
    with torch.autocast(picture.device.type, torch.bfloat16):
        parts, heads = run.network(picture)
    losses = [part_loss(parts, batch, weights), head_loss(heads, batch.heads, size)]
    run.optimiser.zero_grad(set_to_none=True)
    (losses[0] + HEAD_WEIGHT * losses[1]).backward()
    if cards > 1:
        shared_mean([p.grad for p in run.network.parameters() if p.grad is not None])
    norm = nn.utils.clip_grad_norm_(run.network.parameters(), 2.0)
    if bool(torch.isfinite(norm)):
        run.optimiser.step()
        follow(run.average, run.network, run.step)
    run.step += 1
    return [loss.detach() for loss in losses]


def shared_mean(gradients: list[Tensor]) -> None:
    """Replaces gradients by their mean over all cards."""
    flat = torch.cat([gradient.flatten() for gradient in gradients])
    torch.distributed.all_reduce(flat)
    flat /= torch.distributed.get_world_size()
    at = 0
    for gradient in gradients:
        gradient.copy_(flat[at : at + gradient.numel()].view_as(gradient))
        at += gradient.numel()


def trained(
    run: Run, options: argparse.Namespace, growing: GrowingViews, end: float, cards: int, note: Note
) -> None:
    """Trains until the clock reads `end`; what counts is the run's averaged network."""
    device = growing.device
    weights = torch.tensor(PART_WEIGHTS, device=device, dtype=torch.float32)
    begin = last_note = last_save = time.monotonic()
    first_step = run.step
    kept: deque[Batch] = deque(maxlen=KEPT)
    views = growing.grown(wait=True)
    while views is None or len(views) < FEWEST:
        time.sleep(1)
        views = growing.grown(wait=True) or views
    while True:
        share = (time.monotonic() - begin) / (end - begin)
        if stopped(share >= 1, cards, device):
            break
        if run.step % 50 == 0:
            views = growing.grown() or views
        if run.step % DRAWN_EVERY == 0:
            with torch.no_grad():
                batch = varied_batch(views, options.batch, options.size, options.mild)
            kept.append(batch)
        else:
            batch = random.choice(kept)
        for group in run.optimiser.param_groups:
            group["lr"] = rate_at(share, options.rate)
        losses = one_step(run, batch, weights, options.size, cards)
        now, done = time.monotonic(), run.step - first_step
        if done in (1, 5, 20) or now - last_note > 20:
            last_note = now
            values = " ".join(f"{loss.item():.4f}" for loss in losses)
            note(
                f"{now - begin:6.1f} s step {run.step} loss {values} rate "
                f"{rate_at(share, options.rate):.5f} views {len(views)} "
                f"{done * options.batch * cards / (now - begin):.0f} pictures/s"
            )
        if cards == 1 and now - last_save > 60:
            last_save = now
            save(run.average, options.out / "parser.pt")


def stopped(over: bool, cards: int, device: torch.device) -> bool:
    """Whether the time is over, for all cards at the same step."""
    if cards == 1:
        return over
    flag = torch.tensor(float(over), device=device)
    torch.distributed.all_reduce(flag)
    return bool(flag > 0)


def short(measures: dict) -> str:
    """One line of the measures that matter."""
    names = ("skin_f1", "heads_found", "heads_true")
    parts = " ".join(f"{n}:{v:.2f}" for n, v in measures["part_iou"].items() if v is not None)
    leak = " ".join(
        f"{n}:{v:.2f}" for n, v in measures["share_taken_for_skin"].items() if v is not None
    )
    line = " ".join(f"{n} {measures[n]:.4f}" for n in names)
    return f"{line} | {parts} | leak {leak}"


def some(paths: list[Path], most: int) -> list[Path]:
    """At most so many of the paths, evenly picked."""
    return [paths[k * len(paths) // most] for k in range(most)] if len(paths) > most else paths


def measure(run: Run, options: argparse.Namespace, views: Views, note: Note) -> None:
    """Measures, writes the figures and contact sheets."""
    device = views.light.device
    average = run.average
    results: dict = {"train_views": len(views), "steps": run.step}
    with torch.no_grad():
        batch = varied_batch(views, 24, options.size, options.mild)
        contact_sheet(average, batch, options.out / "varied.jpg")
        for split in ("check", "test"):
            paths = some(scenes_of(options.views, split), MOST_CHECKED // 6)
            held = read_views(paths, device, options.workers)
            if held is None:
                continue
            results[split] = measured(average, held) | {"views": len(held)}
            note(f"{split} {short(results[split])}")
            pick = torch.randperm(len(held))[:24].to(device)
            contact_sheet(average, plain_batch(held, pick), options.out / f"{split}.jpg")
    (options.out / "metrics.json").write_text(json.dumps(results, indent=1))


def main() -> None:
    """Reads, trains, measures, writes."""
    begin = time.monotonic()
    options = arguments()
    options.out.mkdir(parents=True, exist_ok=True)
    card, cards = int(os.environ.get("LOCAL_RANK", 0)), int(os.environ.get("WORLD_SIZE", 1))
    torch.manual_seed(options.seed)
    torch.backends.cudnn.benchmark = True
    torch.backends.cuda.matmul.allow_tf32 = True
    torch.backends.cudnn.allow_tf32 = True
    device = torch.device(f"cuda:{card}" if torch.cuda.is_available() else "cpu")
    if cards > 1:
        if device.type == "cuda":
            torch.cuda.set_device(device)
        torch.distributed.init_process_group("nccl" if device.type == "cuda" else "gloo")
    log = (options.out / "log.txt").open("a")

    def note(line: str) -> None:
        if card == 0:
            print(line, flush=True)
            log.write(line + "\n")
            log.flush()

    growing = GrowingViews(options.views, "train", device, options.workers, options.room)
    run = new_run(options, device)
    torch.manual_seed(options.seed + 1000 * card + 1)  # other pictures on every card
    end = begin + (options.minutes - MINUTES_AFTER) * 60
    trained(run, options, growing, end, cards, note)
    views = growing.grown()
    if card == 0 and views is not None:
        save(run.average, options.out / "parser.pt")
        measure(run, options, views, note)
        try:
            write_onnx(run.average.cpu(), options.out / "parser.onnx")
        except Exception as error:  # the weights are saved; they can be written again elsewhere
            note(f"no ONNX file: {error!r}")
        note(f"done after {(time.monotonic() - begin) / 60:.2f} min")
    os._exit(0)  # threads that read would keep the process


if __name__ == "__main__":
    main()
