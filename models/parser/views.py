"""Rendered views as the scene script stores them, brought onto a device, more while they come."""

from __future__ import annotations

import io
import json
import math
import zipfile
from collections.abc import Iterable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import torch
from PIL import Image
from torch import Tensor

CLASS_TO_PART = (0, 1, 2, 3, 4, 5, 6, 7, 7, 8, 8, 9, 10, 11, 12, 13, 14, 15, 16, 17, 17, 18, 18, 6)
# Part of each class of the views: foot goes with leg, lash with eye, hat with cloth, paint with
# tattoo, nail with hand; the order of the parts is that of evenhand.people.parser.Part.

MOST_HEADS = 8
# Heads kept of one view, largest first.

HEAD_NUMBERS = 6
# Numbers of a head: left, top, right, bottom in pixels, roll and yaw in degrees.

MOST_PEOPLE = 5
# People told apart in one view.

TEST_EVERY = 3
# A scene whose seed this divides belongs to the test split, as the scene script says.

CHECK_EVERY = 16
# Of the other scenes, one in so many is left out of training to watch its progress.


@dataclass
class Views:
    """Views in one tensor for each kind; `size` is that of the pictures, `half` a half of it.

    Attributes
    ----------
    light : Tensor of uint8, shape (views, 3, size, size)
        Square root of a quarter of scene-linear light times 255: light is 4 times its square.
    part : Tensor of uint8, shape (views, size, size)
        Part of each pixel.
    skin, keep : Tensor of uint8, shape (views, size, size)
        Coverage with skin, and with eyes, brows, lips, nostrils and mouth; 255 is full.
    heads : Tensor of float32, shape (views, MOST_HEADS, HEAD_NUMBERS)
        Heads; NaN where there are fewer.
    normal : Tensor of uint8, shape (views, 3, half, half)
        World normals of skin, 0 to 255 for -1 to 1.
    place : Tensor of uint8, shape (views, 3, half, half)
        Place on the body at rest, 0 to 255 between `bounds`.
    who : Tensor of uint8, shape (views, half, half)
        Person whose skin it is, from 1; 0 for none.
    gloss : Tensor of uint8, shape (views, half, half)
        Share of light that is gloss.
    bounds : Tensor of float32, shape (views, 2, 3)
        Metres.
    tone : Tensor of float32, shape (views, MOST_PEOPLE)
        Tone of each person on the Monk scale.
    """

    light: Tensor
    part: Tensor
    skin: Tensor
    keep: Tensor
    heads: Tensor
    normal: Tensor
    place: Tensor
    who: Tensor
    gloss: Tensor
    bounds: Tensor
    tone: Tensor

    def __len__(self) -> int:
        """Number of views."""
        return self.light.shape[0]

    def tensors(self) -> tuple[Tensor, ...]:
        """All tensors, in the order of the attributes."""
        return tuple(vars(self).values())


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


def read_scene(path: Path) -> Views | None:
    """Views of one scene's archive, or None with a note if it is damaged."""
    try:
        with zipfile.ZipFile(path) as archive:
            record = json.loads(archive.read("record.json"))
            count = len(record["views"])

            def images(name: str) -> Tensor:
                read = [Image.open(io.BytesIO(archive.read(f"{k}_{name}"))) for k in range(count)]
                return torch.from_numpy(np.stack([np.asarray(image) for image in read]))

            def planes(name: str) -> Tensor:
                return images(name).permute(0, 3, 1, 2).contiguous()

            label, soft = images("label.png"), images("soft.jpg")
            size = label.shape[1]
            bounds = np.array([view["place_bounds"] for view in record["views"]], np.float32)
            tones = np.zeros(MOST_PEOPLE, np.float32)
            known = [person.get("monk", 5.0) for person in record["people"]][:MOST_PEOPLE]
            tones[: len(known)] = known
            return Views(
                planes("light.jpg"),
                torch.from_numpy(np.array(CLASS_TO_PART, np.uint8)[label.numpy()]),
                soft[:, :size].contiguous(),
                soft[:, size:].contiguous(),
                torch.from_numpy(np.stack([heads_of(view) for view in record["views"]])),
                planes("normal.jpg"),
                planes("place.jpg"),
                images("who.png").clamp(max=MOST_PEOPLE),
                images("gloss.jpg"),
                torch.from_numpy(bounds),
                torch.from_numpy(tones)[None].expand(count, -1).contiguous(),
            )
    except (OSError, ValueError, KeyError, EOFError, IndexError, zipfile.BadZipFile) as error:
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


def scenes_of(root: Path, split: str) -> list[Path]:
    """Archives of a split under `root`, searched in depth."""
    return sorted(p for p in root.rglob("scene_*.zip") if split_of(seed_of(p)) == split)


def read_views(paths: Iterable[Path], device: torch.device, workers: int) -> Views | None:
    """Views of some archives on `device`; None if there are none. `workers`: threads that read."""
    scenes: list[Views] = []
    with ThreadPoolExecutor(workers) as pool:
        for views in pool.map(read_scene, paths):
            if views is not None and len(views):
                scenes.append(Views(*(tensor.to(device) for tensor in views.tensors())))
    if not scenes:
        return None
    columns = zip(*(views.tensors() for views in scenes), strict=True)
    return Views(*(torch.cat(column) for column in columns))


class GrowingViews:
    """Views of a split in memory reserved beforehand, to which those of new archives are added.

    Rendering can go on while the network already trains on what is there.
    """

    def __init__(self, root: Path, split: str, device: torch.device, workers: int, room: int):
        self.root, self.split, self.device, self.workers = root, split, device, workers
        self.room, self.count = room, 0
        self.seen: set[Path] = set()
        self.store: Views | None = None
        self.reader = ThreadPoolExecutor(1)
        self.coming = self.reader.submit(self._read)

    def _read(self) -> Views | None:
        paths = [p for p in scenes_of(self.root, self.split) if p not in self.seen]
        self.seen.update(paths)
        return read_views(paths, torch.device("cpu"), self.workers)

    def grown(self, wait: bool = False) -> Views | None:
        """The views so far; looks for more in the background."""
        if wait or self.coming.done():
            more = self.coming.result()
            if more is not None:
                self._add(more)
            self.coming = self.reader.submit(self._read)
        if self.store is None:
            return None
        return Views(*(tensor[: self.count] for tensor in self.store.tensors()))

    def _add(self, more: Views) -> None:
        if self.store is None:
            self.store = Views(*(
                torch.empty(self.room, *tensor.shape[1:], dtype=tensor.dtype, device=self.device)
                for tensor in more.tensors()
            ))  # fmt: skip
        count = min(len(more), self.room - self.count)
        for whole, part in zip(self.store.tensors(), more.tensors(), strict=True):
            whole[self.count : self.count + count] = part[:count].to(self.device)
        self.count += count
