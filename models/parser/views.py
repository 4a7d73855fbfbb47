"""Rendered views as the scene script writes them, brought into memory as tensors."""

from __future__ import annotations

import json
import math
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import torch
from torch import Tensor

CLASS_TO_PART = (0, 1, 2, 3, 4, 5, 6, 7, 7, 8, 8, 9, 10, 11, 12, 13, 14, 15, 16, 17, 17, 18, 18, 6)
# Part of each class of the views: foot goes with leg, lash with eye, hat with cloth, paint with
# tattoo, nail with hand; the order of the parts is that of evenhand.people.parser.Part.

MOST_HEADS = 8
# Heads kept of one view, largest first.

HEAD_NUMBERS = 6
# Numbers of a head: left, top, right, bottom in pixels, roll and yaw in degrees.

TEST_EVERY = 3
# A scene whose seed this divides belongs to the test split, as the scene script says.

CHECK_EVERY = 16
# Of the other scenes, one in so many is left out of training to watch its progress.


@dataclass
class Views:
    """Views in one tensor each.

    Attributes
    ----------
    light : Tensor of float16, shape (views, 3, size, size)
        Square root of a quarter of scene-linear light, in [0, 1]: light is 4 times its square.
    part : Tensor of uint8, shape (views, size, size)
        Part of each pixel.
    skin, keep : Tensor of uint8, shape (views, size, size)
        Coverage with skin, and with eyes, brows, lips, nostrils and mouth; 255 is full.
    heads : Tensor of float32, shape (views, MOST_HEADS, HEAD_NUMBERS)
        Heads; NaN where there are fewer.
    """

    light: Tensor
    part: Tensor
    skin: Tensor
    keep: Tensor
    heads: Tensor

    def __len__(self) -> int:
        """Number of views."""
        return self.light.shape[0]


def heads_of(view: dict[str, list[list[float] | None]]) -> np.ndarray:
    """Heads of one view's record, float32 of shape (MOST_HEADS, HEAD_NUMBERS)."""
    rows = []
    for box, turn in zip(view["heads"], view["head"], strict=False):
        if box is not None and turn is not None:
            rows.append([*box, roll_in_picture(*turn), turn[0]])
    rows.sort(key=lambda row: -(row[2] - row[0]) * (row[3] - row[1]))
    heads = np.full((MOST_HEADS, HEAD_NUMBERS), np.nan, np.float32)
    if rows:
        heads[: len(rows[:MOST_HEADS])] = rows[:MOST_HEADS]
    return heads


def roll_in_picture(yaw: float, pitch: float, roll: float) -> float:
    """Clockwise turn in the picture, degrees, of a head's axis from neck to crown.

    Parameters
    ----------
    yaw, pitch : float
        Direction in which the face looks, degrees to the person's own left and up.
    roll : float
        Rise of the axis from right to left ear above the horizontal, degrees.
    """
    yaw, pitch, roll = (math.radians(angle) for angle in (yaw, pitch, roll))
    about_face = math.asin(max(-1.0, min(1.0, math.sin(roll) / max(math.cos(pitch), 1e-3))))
    right = -math.sin(pitch) * math.sin(yaw) * math.cos(about_face)
    right -= math.cos(yaw) * math.sin(about_face)
    up = math.cos(pitch) * math.cos(about_face)
    return math.degrees(math.atan2(right, up))


def read_scene(path: Path) -> tuple[Tensor, Tensor, Tensor, Tensor, Tensor] | None:
    """Tensors of one scene's file, or None with a note if it is damaged or unfinished."""
    try:
        with np.load(path) as arrays:
            rgb, label = arrays["rgb"], arrays["label"]
            skin, keep = arrays["skin"], arrays["keep"]
        record = json.loads(path.with_suffix(".json").read_text())
        light = torch.from_numpy((rgb.astype(np.float32) / 65535.0).astype(np.float16))
        part = torch.from_numpy(np.array(CLASS_TO_PART, np.uint8)[label])
        heads = torch.from_numpy(np.stack([heads_of(view) for view in record["views"]]))
        count = min(len(light), len(heads))
        return (
            light.permute(0, 3, 1, 2)[:count].contiguous(),
            part[:count],
            torch.from_numpy(skin[:count]),
            torch.from_numpy(keep[:count]),
            heads[:count],
        )
    except (OSError, ValueError, KeyError, EOFError, IndexError) as error:
        print(f"left out {path.name}: {error!r}", flush=True)
        return None


def seed_of(path: Path) -> int:
    """Seed in a scene's file name."""
    return int(path.stem.split("_")[-1])


def split_of(seed: int) -> str:
    """Name of the split a seed belongs to: test, check or train."""
    if seed % TEST_EVERY == 0:
        return "test"
    return "check" if seed // TEST_EVERY % CHECK_EVERY == 7 else "train"


def read_views(
    root: Path, split: str, device: torch.device, workers: int, most: int | None = None
) -> Views | None:
    """All views of a split under `root`, on `device`; None if there are none.

    Parameters
    ----------
    root : Path
        Folder of the scenes' files, searched in depth.
    split : str
        ``"train"``, ``"check"`` or ``"test"``.
    device : torch.device
        Where the tensors go, scene by scene, so that they need not fit in memory here.
    workers : int
        Threads that read.
    most : int, optional
        Scenes at most, evenly picked.
    """
    paths = sorted(p for p in root.rglob("scene_*.npz") if split_of(seed_of(p)) == split)
    if most is not None and len(paths) > most:
        paths = [paths[i * len(paths) // most] for i in range(most)]
    parts: list[list[Tensor]] = [[], [], [], [], []]
    with ThreadPoolExecutor(workers) as pool:
        for tensors in pool.map(read_scene, paths):
            if tensors is not None:
                for collected, tensor in zip(parts, tensors, strict=True):
                    collected.append(tensor.to(device))
    if not parts[0]:
        return None
    return Views(*(torch.cat(collected) for collected in parts))
