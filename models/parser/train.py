"""Trains the parser on rendered views, from scratch or on from own weights, and measures it.

    python -m models.parser.train --views views --out out --minutes 9
    python -m models.parser.train --views views --out out --minutes 20 --start parser.pt --hold
        --batch 16 --size 256 --rate 1e-3 --workers 1

The first wants a GPU; the second (one line) is for a processor: a picture of 256 px takes one core
with bfloat16 arithmetic about 0.15 s. With ``--hold`` the start's own answer stays what is asked
for wherever neither it nor the truth is one of the small parts, so that few views of heads teach
those without making the network forget bodies (as in Li and Hoiem 2016, "Learning without
Forgetting").

Writes into the output folder: ``parser.pt`` (weights in half precision), ``parser.onnx``,
``metrics.json``, ``log.txt`` and two contact sheets.
"""

from __future__ import annotations

import argparse
import copy
import json
import math
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import torch
from torch import Tensor, nn
from torch.nn import functional

from .export import write_onnx
from .heads import head_loss
from .measures import measured
from .network import Parser
from .sheets import contact_sheet
from .variation import SKIN_FIRST, SKIN_LAST, Batch, plain_batch, varied_batch
from .views import Views, read_views

PART_WEIGHTS = (1, 1, 1, 1.5, 1, 1, 1.2, 1, 3, 2, 2.5, 2, 3, 1, 2, 2, 2, 1, 1.5)
# Weight of each part in the loss: small parts count for more than their area.

KEEP_PARTS = (8, 9, 10, 11, 12)
# Eye, brow, lip, mouth, nostril.

SMALL_PARTS = (8, 9, 10, 11, 12)
# Eye, brow, lip, mouth, nostril: what is learnt while the rest is held.

HELD_MERGES = (2, 3)
# Steps of the decoder, coarse ones, that are held together with encoder and heads.

LEARNING_RATE = 2e-3
# Peak for AdamW; falls with a cosine over the time given.

WARM_UP = 0.04
# Share of the time in which the rate rises.

MINUTES_AFTER = 0.8
# Of the time given, kept back for measuring and writing.

AVERAGE_DECAY = 0.999
# Of the moving average of the weights, which is what is kept.


HEAD_WEIGHT = 0.3
# Of the heads' loss beside that of the parts.

Note = Callable[[str], None]
# Takes a line for the log.


def arguments() -> argparse.Namespace:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--views", type=Path, required=True, help="folder of scene_*.npz")
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--minutes", type=float, default=9.0, help="for the whole run")
    parser.add_argument("--batch", type=int, default=192)
    parser.add_argument("--size", type=int, default=320)
    parser.add_argument("--rate", type=float, default=LEARNING_RATE)
    parser.add_argument("--workers", type=int, default=14)
    parser.add_argument("--most", type=int, help="scenes at most, for a rehearsal")
    parser.add_argument("--start", type=Path, help="own weights to go on from")
    parser.add_argument(
        "--hold", action="store_true", help="learn small parts only; the rest stays as in --start"
    )
    parser.add_argument(
        "--again", type=float, default=math.inf, help="minutes after which to read the views again"
    )
    parser.add_argument("--state", type=Path, help="file to go on from, if there, and to keep")
    parser.add_argument("--steps", type=int, default=10**9, help="at most, for a rehearsal")
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


def held_loss(logits: Tensor, before: Tensor, batch: Batch, weights: Tensor) -> Tensor:
    """Cross-entropy with the truth at small parts and the answer `before` elsewhere, plus kept.

    `before` are the parts' logits of the network that training started from.
    """
    small = torch.zeros(logits.shape[1], dtype=torch.bool, device=logits.device)
    small[list(SMALL_PARTS)] = True
    truth = functional.one_hot(batch.part, logits.shape[1]).permute(0, 3, 1, 2).float()
    at_truth = (small[batch.part] | small[before.argmax(1)])[:, None]
    truth = truth * weights[:, None, None]  # what is held must not grow by the parts' weights
    wanted = torch.where(at_truth, truth, before.float().softmax(1))
    chances = logits.float().log_softmax(1)
    keep = chances.exp()[:, KEEP_PARTS].sum(1).clamp(1e-5, 1 - 1e-5)
    hard = -(wanted * chances).sum() / wanted.sum()
    return hard + 2 * functional.binary_cross_entropy(keep, batch.keep)


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
        for mean, now in zip(average.parameters(), network.parameters(), strict=True):
            mean.lerp_(now, 1 - decay)
        for mean, now in zip(average.buffers(), network.buffers(), strict=True):
            if mean.dtype.is_floating_point:
                mean.lerp_(now, 1 - decay)


def save(average: nn.Module, path: Path) -> None:
    """Writes weights in half precision."""
    torch.save(
        {k: v.half() for k, v in average.state_dict().items() if "num_batches" not in k}, path
    )


def load(network: nn.Module, path: Path) -> None:
    """Reads weights that `save` wrote."""
    state = torch.load(path, map_location="cpu", weights_only=True)
    network.load_state_dict({k: v.float() for k, v in state.items()}, strict=False)


def keep_statistics(network: nn.Module) -> None:
    """Lets batch normalisation go on with its means and variances: small batches measure poorly."""
    for layer in network.modules():
        if isinstance(layer, nn.BatchNorm2d):
            layer.eval()


@dataclass
class Run:
    """A training run: the network, its moving average, the optimiser, steps done.

    `before` is the network that training started from, where it is held to that one's answer.
    """

    network: nn.Module
    average: nn.Module
    optimiser: torch.optim.Optimizer
    step: int = 0
    before: nn.Module | None = None

    def keep(self, path: Path) -> None:
        """Writes everything needed to go on."""
        state = {"network": self.network.state_dict(), "average": self.average.state_dict()}
        torch.save(state | {"optimiser": self.optimiser.state_dict(), "step": self.step}, path)

    def take_up(self, path: Path) -> None:
        """Goes on where `keep` was."""
        state = torch.load(path, map_location="cpu", weights_only=True)
        self.network.load_state_dict(state["network"])
        self.average.load_state_dict(state["average"])
        self.optimiser.load_state_dict(state["optimiser"])
        self.step = state["step"]


def new_run(options: argparse.Namespace, device: torch.device) -> Run:
    """A run from the beginning, from own weights, or from a kept state."""
    network = Parser()
    if options.start:
        load(network, options.start)
        keep_statistics(network)
    network = network.to(device, memory_format=torch.channels_last)
    average = copy.deepcopy(network).requires_grad_(False).eval()
    before = copy.deepcopy(average) if options.hold else None
    if options.hold:
        held = [network.stages, network.context, network.heads]
        for part in (*held, *(network.merges[k] for k in HELD_MERGES)):
            part.requires_grad_(False)
    decayed = [p for p in network.parameters() if p.ndim > 1 and p.requires_grad]
    plain = [p for p in network.parameters() if p.ndim <= 1 and p.requires_grad]
    groups = [{"params": decayed, "weight_decay": 0.03}, {"params": plain, "weight_decay": 0.0}]
    optimiser = torch.optim.AdamW(groups, lr=options.rate, betas=(0.9, 0.99))
    run = Run(network, average, optimiser, before=before)
    if options.state and options.state.exists():
        run.take_up(options.state)
    return run


def one_step(run: Run, batch: Batch, weights: Tensor, size: int) -> tuple[Tensor, Tensor]:
    """One step down the loss; returns the losses of parts and heads."""
    picture = batch.picture.to(memory_format=torch.channels_last)
    with torch.autocast(picture.device.type, torch.bfloat16):
        parts, heads = run.network(picture)
        before = run.before(picture)[0] if run.before else None
    second = head_loss(heads, batch.heads, size)
    if before is None:
        first = part_loss(parts, batch, weights)
    else:
        first = held_loss(parts, before, batch, weights)
    run.optimiser.zero_grad(set_to_none=True)
    (first + HEAD_WEIGHT * second).backward()
    norm = nn.utils.clip_grad_norm_(run.network.parameters(), 2.0)
    if bool(torch.isfinite(norm)):
        run.optimiser.step()
        follow(run.average, run.network, run.step)
    run.step += 1
    return first.detach(), second.detach()


def trained(
    run: Run, options: argparse.Namespace, views: Views, check: Views, minutes: float, note: Note
) -> None:
    """Trains until the time is over; what counts is the run's averaged network."""
    device = views.light.device
    weights = torch.tensor(PART_WEIGHTS, device=device, dtype=torch.float32)
    begin = last_note = last_save = last_read = time.monotonic()
    first_step = run.step
    while (share := (time.monotonic() - begin) / (minutes * 60)) < 1:
        if run.step - first_step >= options.steps:
            break
        if time.monotonic() - last_read > options.again * 60:
            last_read = time.monotonic()
            views = read_views(options.views, "train", device, options.workers) or views
            check = read_views(options.views, "check", device, options.workers) or check
            note(f"{len(views)} views to train on, {len(check)} to check")
        with torch.no_grad():
            batch = varied_batch(views, options.batch, options.size)
        for group in run.optimiser.param_groups:
            group["lr"] = rate_at(share, options.rate)
        parts, heads = one_step(run, batch, weights, options.size)
        now, done = time.monotonic(), run.step - first_step
        if done in (1, 5, 20) or now - last_note > 15:
            last_note = now
            note(
                f"{now - begin:6.1f} s step {run.step} parts {parts.item():.4f} heads "
                f"{heads.item():.3f} rate {rate_at(share, options.rate):.5f} "
                f"{done * options.batch / (now - begin):.0f} pictures/s"
            )
        if now - last_save > 90:
            last_save = now
            save(run.average, options.out / "parser.pt")
            note(f"check {short(measured(run.average, check))}")


def short(measures: dict) -> str:
    """One line of the measures that matter."""
    names = ("skin_f1", "skin_iou", "heads_found", "heads_true")
    parts = " ".join(f"{n}:{v:.2f}" for n, v in measures["part_iou"].items() if v is not None)
    return " ".join(f"{n} {measures[n]:.4f}" for n in names) + " | " + parts


def main() -> None:
    """Reads, trains, measures, writes."""
    begin = time.monotonic()
    options = arguments()
    options.out.mkdir(parents=True, exist_ok=True)
    log = (options.out / "log.txt").open("a")

    def note(line: str) -> None:
        print(line, flush=True)
        log.write(line + "\n")
        log.flush()

    torch.manual_seed(options.seed)
    torch.backends.cudnn.benchmark = True
    torch.backends.cuda.matmul.allow_tf32 = True
    torch.backends.cudnn.allow_tf32 = True
    device = torch.device("cuda" if torch.cuda.is_available() else "cpu")
    views = read_views(options.views, "train", device, options.workers, options.most)
    if not views:
        raise SystemExit(f"no views to train on under {options.views}")
    check = read_views(options.views, "check", device, options.workers, options.most) or views
    spent = (time.monotonic() - begin) / 60
    note(f"{len(views)} views to train on, {len(check)} to check, read in {spent:.2f} min")
    run = new_run(options, device)
    trained(run, options, views, check, options.minutes - spent - MINUTES_AFTER, note)
    average = run.average
    save(average, options.out / "parser.pt")
    if options.state:
        run.keep(options.state)
    with torch.no_grad():
        contact_sheet(average, varied_batch(views, 24, options.size), options.out / "varied.jpg")
        pick = torch.randperm(len(check))[:24].to(device)
        contact_sheet(average, plain_batch(check, pick), options.out / "check.jpg")
    results = {"check": measured(average, check), "train_views": len(views), "steps": run.step}
    note("check " + short(results["check"]))
    del views
    test = read_views(options.views, "test", device, options.workers, options.most)
    if test:
        results["test"], results["test_views"] = measured(average, test), len(test)
        note("test " + short(results["test"]))
    (options.out / "metrics.json").write_text(json.dumps(results, indent=1))
    try:
        write_onnx(average.cpu(), options.out / "parser.onnx")
    except Exception as error:  # the weights are saved; they can be written again elsewhere
        note(f"no ONNX file: {error!r}")
    note(f"done after {(time.monotonic() - begin) / 60:.2f} min")


if __name__ == "__main__":
    main()
