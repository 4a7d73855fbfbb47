"""Pimples on rendered faces of every tone, masks found: ``demo_images/pimples.py`` renders them.

Seeds below `MEASURING` are for tuning; nothing is chosen on the others.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import cv2
import imagecodecs
import numpy as np
import numpy.typing as npt

from evenhand.people import find_people
from evenhand.photo.photograph import Photograph
from evenhand.steps.marks import MarksSettings, marks
from evenhand.steps.patch import SkinPatch, patch_of
from tests.evaluation.steps_sheet import codes_of

FACES = Path("build/pimples")
"""Where the faces are rendered to."""

TONES = ("light", "tan", "brown", "dark")
"""In the order of the figures."""

MEASURING = 8
"""First seed that nothing is chosen on."""

SHOWN = 0.25
"""Strength of a marking from which it is seen, its peak being about 1."""

NEAR_MM = 2.0
"""Distance from a pimple within which a fill is on it: its red halo reaches so far."""

WHOLE_SKIN = 230
"""Code value of a pixel that is skin nearly throughout."""

Marking = npt.NDArray[np.uint8]
Codes = npt.NDArray[np.uint8]


@dataclass(frozen=True)
class Face:
    """A rendered face: tone, seed, what the step is given, its truth cut to the same box."""

    tone: str
    seed: int
    patch: SkinPatch
    pimples: npt.NDArray[np.float64]
    lasting: Marking


@dataclass
class PimpleTally:
    """Counts over the faces of a tone."""

    faces: int = 0
    pimples: int = 0
    listed: int = 0
    filled: int = 0
    lasting_touched: int = 0
    false: int = 0


def measure_pimples(tuning: bool, sheet: Path, folder: Path = FACES) -> None:
    """Prints the figures of every tone and writes each tone's first face before and after."""
    counts: dict[str, PimpleTally] = defaultdict(PimpleTally)
    shown: dict[str, Codes] = {}
    for face in faces(folder, tuning):
        result = tally(face, counts[face.tone])
        pair = np.hstack([codes_of(face.patch.linear), codes_of(result)])
        shown.setdefault(face.tone, pair)
    if not counts:
        print("skipped: demo_images/pimples.py has rendered no faces here")
        return
    for tone in TONES:
        if tone in counts:
            print(_line(tone, counts[tone]), flush=True)
    sheet.parent.mkdir(parents=True, exist_ok=True)
    height, width = (max(pair.shape[axis] for pair in shown.values()) for axis in (0, 1))
    padded = [
        np.pad(pair, ((0, height - pair.shape[0]), (0, width - pair.shape[1]), (0, 0)))
        for pair in shown.values()
    ]
    cv2.imwrite(str(sheet), np.vstack(padded)[..., ::-1])


def _line(tone: str, count: PimpleTally) -> str:
    return (
        f"{tone:6s} {count.faces} faces: of {count.pimples} pimples {count.listed} listed, "
        f"{count.filled} filled ({8 * count.filled / max(1, count.pimples):.1f} of 8, goal 7); "
        f"lasting marks touched {count.lasting_touched} (goal 0), other fills {count.false}"
    )


def faces(folder: Path, tuning: bool) -> Iterator[Face]:
    """The rendered faces for tuning or for measuring."""
    for path in sorted(folder.glob("*_seen.jpg")):
        tone, seed = path.name.removesuffix("_seen.jpg").split("_")
        if (int(seed) < MEASURING) != tuning:
            continue
        photograph = Photograph(imagecodecs.imread(path))
        people = [person for person in find_people(photograph) if person.skin_box.area]
        if not people:
            continue
        patch = patch_of(photograph, max(people, key=lambda person: person.skin_box.area))
        skin, blemish, *lasting = (
            _truth(folder, f"{tone}_{seed}", name, photograph.shape)[patch.box.slices]
            for name in ("skin", "blemish", "freckle", "mole")
        )
        spots = np.where(skin > WHOLE_SKIN, blemish, 0)
        yield Face(tone, int(seed), patch, _middles(spots), np.maximum(*lasting))


def _truth(folder: Path, name: str, what: str, shape: tuple[int, int]) -> Marking:
    path = folder / f"{name}_{what}.png"
    return imagecodecs.imread(path).reshape(shape) if path.exists() else np.zeros(shape, np.uint8)


def _middles(blemish: Marking) -> npt.NDArray[np.float64]:
    """Rows and columns of the pimples' middles, shape (pimples, 2)."""
    count, labels, _, _ = cv2.connectedComponentsWithStats((blemish > 255 * SHOWN).astype(np.uint8))
    found = []
    for label in range(1, count):
        weight = np.where(labels == label, blemish, 0).astype(np.float64)
        if weight.max() > 255 * 2 * SHOWN:
            rows, columns = np.indices(blemish.shape)
            found.append([(weight * at).sum() / weight.sum() for at in (rows, columns)])
    return np.array(found).reshape(-1, 2)


def tally(face: Face, counts: PimpleTally) -> npt.NDArray[np.float32]:
    """Run the marks step on a face, add to the counts, return the result."""
    patch, mm = face.patch, face.patch.mm_per_pixel
    change = marks(patch, MarksSettings())
    counts.faces += 1
    counts.pimples += len(face.pimples)
    listed, filled = set(), set()
    around = max(1, round(0.5 / mm))
    lasting = cv2.dilate(face.lasting, np.ones((2 * around + 1, 2 * around + 1), np.uint8))
    for entry in change.facts["marks"]:
        row, column = entry["row"] - patch.box.top, entry["column"] - patch.box.left
        far = np.hypot(*(face.pimples - (row, column)).T) * mm
        if len(far) and far.min() < max(NEAR_MM, entry["size_mm"] / 2):
            listed.add(int(far.argmin()))
            if entry["decision"] == "filled":
                filled.add(int(far.argmin()))
        elif entry["decision"] == "filled":
            touched = lasting[round(row), round(column)] > 255 * SHOWN
            counts.lasting_touched += bool(touched)
            counts.false += not touched
    counts.listed += len(listed)
    counts.filled += len(filled)
    return change.wanted
