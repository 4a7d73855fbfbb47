"""Labelled pictures of people, read into one form whatever set they come from.

Photographs of real people lie outside the repository and are for measuring only.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

import numpy as np
import numpy.typing as npt
from PIL import Image
from skimage.measure import label as components
from skimage.measure import regionprops

Pixels = npt.NDArray[np.uint8]
T = TypeVar("T")
Chosen = npt.NDArray[np.bool_]
BoxCorners = tuple[float, float, float, float]

PHOTOGRAPHS = Path(__file__).resolve().parents[3] / "shared" / "eval"
# Labelled photographs beside the repository; may be absent.

BROW_LARGEST_SHARE = 0.02
# multipose labels brows as hair: a separate patch of that label this small is a brow.

HEAD_SHARE_OF_BODY = 0.25
# body: the head is sought in this upper share of the labelled person.

BYSTANDER_MARGIN = 0.05
# body labels the main person alone: background further from the person's bounding box than this
# share of its height is not judged.

RENDERED_KEPT = {
    "background": (0,),
    "eye": (9, 10),
    "brow": (11,),
    "lip": (12,),
    "mouth": (13,),
    "nostril": (14,),
    "hair": (15,),
    "beard": (16,),
    "glasses": (17,),
    "jewellery": (18,),
    "cloth": (19, 20),
    "tattoo, paint": (21, 22),
}
# Kept parts and their classes in the rendered views.

MONK_GROUPS = ("Monk 1-2",) * 2 + ("Monk 3-4",) * 2 + ("Monk 5-6",) * 2 + ("Monk 7-10",) * 4
# Group of each tone of the Monk scale (Monk 2019), the tone a rendered person was given.

HEAD_CLASSES = (1, 3, 9, 10, 11, 12, 13, 14, 15, 16, 17)
# Face, ears, and what is on a head, in the rendered views.

LEAST_OF_HEAD = 0.3
# A head counts if pixels of heads fill this share of its box: it is neither cut off by the
# picture's edge nor hidden by somebody. A whole one fills about 0.7.

FACE_CLASS = 1
# Class of face skin in the rendered views.


@dataclass(frozen=True)
class Sample:
    """A labelled picture.

    Attributes
    ----------
    name : str
        File name without its ending.
    path : Path
        The picture's file.
    pixels : ndarray of uint8, shape (height, width, 3)
        sRGB code values.
    skin : ndarray of bool, shape (height, width)
        Pixels that are skin.
    judged : ndarray of bool, shape (height, width)
        Pixels that count.
    kept : mapping of str to ndarray of bool
        Kept parts that the set labels.
    face_skin : ndarray of bool
        Skin of the face, from which its tone is measured.
    heads : tuple of (left, top, right, bottom)
        Around every labelled head, hair included, pixels.
    tone : str or None
        Skin tone where it is known without measuring: that of the rendered person.
    """

    name: str
    path: Path
    pixels: Pixels
    skin: Chosen
    judged: Chosen
    kept: Mapping[str, Chosen]
    face_skin: Chosen
    heads: tuple[BoxCorners, ...]
    tone: str | None = None


def corners(chosen: Chosen) -> BoxCorners:
    """Box around the chosen pixels."""
    rows, columns = np.nonzero(chosen.any(1))[0], np.nonzero(chosen.any(0))[0]
    return float(columns[0]), float(rows[0]), float(columns[-1] + 1), float(rows[-1] + 1)


def read_pixels(path: Path) -> Pixels:
    """The picture as sRGB code values."""
    with Image.open(path) as image:
        return np.asarray(image.convert("RGB"))


def read_labels(path: Path) -> Pixels:
    """A label picture as class numbers."""
    with Image.open(path) as image:
        return np.asarray(image if image.mode in ("L", "P") else image.convert("L"))


def multipose() -> Iterator[Sample]:
    """Head and neck, thirteen turns: 0 skin, 1 nose, 2 eyes, 3 mouth, 4 hair and brows, 5 rest."""
    folder = PHOTOGRAPHS / "multipose"
    for path in sorted((folder / "photos").glob("*.jpg")):
        labels = read_labels(folder / "labels" / f"{path.stem}.png")
        skin = labels <= 1
        brow = small_patches(labels == 4)
        kept = {
            "eye": labels == 2,
            "lip": labels == 3,
            "brow": brow,
            "hair": (labels == 4) & ~brow,
            "background, cloth": labels == 5,
        }
        yield Sample(
            path.stem,
            path,
            read_pixels(path),
            skin,
            np.ones_like(skin),
            kept,
            skin,
            (head_above_neck(labels),),
        )


def small_patches(hair: Chosen) -> Chosen:
    """Patches of the hair label that are small enough to be brows."""
    patches = np.zeros_like(hair)
    numbered = components(hair)
    for patch in regionprops(numbered):
        if patch.area < BROW_LARGEST_SHARE * hair.size:
            patches |= numbered == patch.label
    return patches


def head_above_neck(labels: Pixels) -> BoxCorners:
    """Box of a multipose head: everything labelled, down to a third of an eye-to-mouth below."""
    left, top, right, bottom = corners(labels <= 4)
    eyes, mouth = labels == 2, labels == 3
    if eyes.any() and mouth.any():
        eye_row, mouth_row = np.nonzero(eyes)[0].mean(), np.nonzero(mouth)[0].mean()
        bottom = min(bottom, float(mouth_row + 0.8 * (mouth_row - eye_row)))
    return left, top, right, bottom


def body() -> Iterator[Sample]:
    """People head to foot; the skin label includes eyes, brows and lips."""
    folder = PHOTOGRAPHS / "body"
    rows = (row.split() for row in (folder / "labels.txt").read_text().splitlines())
    number = {name: int(index) for index, name in rows}
    jewellery = [number[n] for n in ("bracelet", "earrings", "necklace", "ring", "watch")]
    glasses = [number["glasses"], number["sunglasses"]]
    for path in sorted((folder / "photos").glob("*.jpg")):
        labels = read_labels(folder / "labels" / f"{path.stem}.png")
        skin, hair = labels == number["skin"], labels == number["hair"]
        person = labels > 0
        kept = {
            "hair": hair,
            "glasses": np.isin(labels, glasses),
            "jewellery": np.isin(labels, jewellery),
        }
        kept["cloth"] = person & ~skin & ~hair & ~kept["glasses"] & ~kept["jewellery"]
        judged = judged_near(person)
        kept["background"] = ~person & judged
        head = head_at_top(person, skin | kept["glasses"], hair)
        face = np.zeros_like(skin)
        if head is not None:
            left, top, right, bottom = (int(v) for v in head)
            face[top:bottom, left:right] = skin[top:bottom, left:right]
        heads = () if head is None else (head,)
        yield Sample(path.stem, path, read_pixels(path), skin, judged, kept, face, heads)


def judged_near(person: Chosen) -> Chosen:
    """Pixels in the person's bounding box and a margin around it."""
    left, top, right, bottom = corners(person)
    margin = BYSTANDER_MARGIN * (bottom - top)
    judged = np.zeros_like(person)
    judged[
        max(0, int(top - margin)) : int(bottom + margin),
        max(0, int(left - margin)) : int(right + margin),
    ] = True
    return judged


def head_at_top(person: Chosen, skin: Chosen, hair: Chosen) -> BoxCorners | None:
    """Box of the topmost large patch of skin or glasses in the person's upper part, with its hair.

    Dark glasses part a face in two: without them the forehead alone would be the head.
    """
    _, top, _, bottom = corners(person)
    upper = np.zeros_like(skin)
    height = bottom - top
    upper[int(top) : int(top + HEAD_SHARE_OF_BODY * height)] = True
    numbered = components(skin & upper)
    least_area = (0.015 * height) ** 2
    patches = [p for p in regionprops(numbered) if p.area >= least_area]
    if not patches:
        return None
    face = min(patches, key=lambda patch: patch.bbox[0])
    face_top, left, face_bottom, right = face.bbox
    face_bottom = min(face_bottom, face_top + int(0.14 * height))
    margin = (right - left) // 2
    near = np.zeros_like(skin)
    near[:face_bottom, max(0, left - margin) : right + margin] = True
    box = corners(((hair & near) | (numbered == face.label)) & near)
    return box


def rendered(folder: Path) -> Iterator[Sample]:
    """Views that the scene script set aside: exact truth for every pixel."""
    for path in sorted(folder.rglob("view_*.jpg")):
        stem = path.with_suffix("").as_posix()
        labels = read_labels(Path(f"{stem}_label.png"))
        soft = read_labels(Path(f"{stem}_skin.png"))
        record = json.loads(Path(f"{stem}_meta.json").read_text())
        heads = tuple(visible_heads(record, labels))
        yield Sample(
            path.stem,
            path,
            read_pixels(path),
            soft >= 128,
            np.ones(labels.shape, np.bool_),
            {name: np.isin(labels, classes) for name, classes in RENDERED_KEPT.items()},
            labels == FACE_CLASS,
            heads,
            known_tone(record),
        )


def visible_heads(record: Mapping[str, Any], labels: Pixels) -> Iterator[BoxCorners]:
    """Heads of a rendered view of which the picture shows enough."""
    on_head = np.isin(labels, HEAD_CLASSES)
    height, width = labels.shape
    for box in record["views"][0]["heads"]:
        if box is None:
            continue
        left, top, right, bottom = (float(value) for value in box)
        columns = slice(max(0, int(left)), max(0, min(width, int(right))))
        rows = slice(max(0, int(top)), max(0, min(height, int(bottom))))
        shown = on_head[rows, columns].sum() / max(1.0, (right - left) * (bottom - top))
        if shown >= LEAST_OF_HEAD:
            yield left, top, right, bottom


def known_tone(record: Mapping[str, Any]) -> str | None:
    """Group on the Monk scale of the people of a rendered view, None if they differ."""
    tones = {MONK_GROUPS[int(person["monk"]) - 1] for person in record.get("people", [])}
    return tones.pop() if len(tones) == 1 else None


def halves(every: Sequence[T], half: str) -> list[T]:
    """The odd or the even ones of a set in order, counted from one, or all.

    What is chosen on photographs is chosen on the odd ones; the even ones are what is reported.
    """
    return list({"odd": every[::2], "even": every[1::2], "all": every}[half])


def photographs_of(name: str) -> list[Path]:
    """Photographs of a set beside the repository, in order; none where it is absent."""
    found = (PHOTOGRAPHS / name).rglob("*")
    kinds = (".jpg", ".jpeg", ".png", ".tif", ".tiff")
    return sorted(p for p in found if p.suffix.lower() in kinds and p.parent.name != "labels")


def samples(name: str) -> Iterator[Sample] | None:
    """The samples of a set, ``multipose``, ``body`` or a folder of rendered views.

    Returns None if the set is not there.
    """
    if name in ("multipose", "body"):
        present = (PHOTOGRAPHS / name / "photos").is_dir()
        return {"multipose": multipose, "body": body}[name]() if present else None
    folder = Path(name)
    return rendered(folder) if any(folder.rglob("view_*_label.png")) else None
