"""What the redness step does to photographed people without a burn: it should be nothing."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from PIL import Image

from evenhand import photo
from evenhand.colour.difference import ciede2000
from evenhand.colour.encoding import encoding_of
from evenhand.colour.lab import lab_of
from evenhand.errors import EvenhandError
from evenhand.people import find_people
from evenhand.photo.photograph import Photograph
from evenhand.steps.patch import patch_of
from evenhand.steps.redness import RednessSettings, redness
from tests.evaluation.masks_goals import UNBURNT
from tests.evaluation.masks_sets import halves, photographs_of

SEEN = 4.0
# CIEDE2000 from which a change of skin is seen as a patch.

LONGEST = 1600
# Pixels of the longer side that photographs are reduced to.

TILE = 300
# Pixels of the longer side of a picture on the sheet.


@dataclass(frozen=True)
class Harm:
    """What the step did to one photograph.

    Attributes
    ----------
    name : str
    moved : float
        Share of the frame that moved by more than `SEEN`.
    mean : float
        Mean CIEDE2000 over skin.
    told : tuple of str
        What was done about each place that was taken for a burn.
    tile : Image
        Before and after.
    """

    name: str
    moved: float
    mean: float
    told: tuple[str, ...]
    tile: Image.Image


def harm_of(path: Path) -> Harm | None:
    """The redness step at its defaults on a photograph; None where it cannot be read."""
    try:
        whole = photo.read(path)
    except EvenhandError:
        return None
    photograph = reduced(whole)
    linear = photograph.encoding.to_linear(photograph.pixels)
    result = linear.copy()
    moved = np.zeros(photograph.shape, np.float32)
    total = area = 0.0
    told: list[str] = []
    for person in find_people(photograph):
        if not person.skin_box.area:
            continue
        patch = patch_of(photograph, person)
        change = redness(patch, RednessSettings())
        told += [burn["action"] for burn in change.facts["burns"]]
        place, skin = patch.box.slices, patch.skin > 0.5
        result[place] += change.wanted - patch.linear
        difference = ciede2000(lab_of(change.wanted), lab_of(patch.linear))
        moved[place] = np.maximum(moved[place], difference)
        total, area = total + float(difference[skin].sum()), area + float(skin.sum())
    tile = np.concatenate([_shown(linear), _shown(result)], axis=1)
    name = f"{path.parent.parent.name if path.parent.name == 'photos' else path.parent.name}"
    return Harm(
        f"{name}/{path.stem}",
        float((moved > SEEN).mean()),
        total / max(area, 1.0),
        tuple(told),
        Image.fromarray(tile),
    )


def measure_harm(half: str, sheet: Path | None) -> None:
    """Prints the figures of every set and writes sheets of before and after, most moved first."""
    found: list[Harm] = []
    for name in UNBURNT:
        mine = [h for p in halves(photographs_of(name), half) if (h := harm_of(p)) is not None]
        found += mine
        if mine:
            print(_line(name, mine), flush=True)
    if not found:
        print("skipped: there are no photographs here")
        return
    print(_line("all", found))
    found.sort(key=lambda harm: -harm.moved)
    for harm in found[:8]:
        print(f"  {harm.name:28s} {harm.moved * 100:6.3f} %  mean {harm.mean:.2f}  {harm.told}")
    if sheet is not None:
        write_sheets([harm.tile for harm in found], sheet)


def write_sheets(tiles: list[Image.Image], path: Path, columns: int = 3, rows: int = 6) -> None:
    """Writes the tiles on numbered sheets."""
    path.parent.mkdir(parents=True, exist_ok=True)
    for number, begin in enumerate(range(0, len(tiles), columns * rows)):
        canvas = Image.new("RGB", (columns * 2 * TILE, rows * TILE))
        for k, tile in enumerate(tiles[begin : begin + columns * rows]):
            canvas.paste(tile, (k % columns * 2 * TILE, k // columns * TILE))
        canvas.save(path.with_stem(f"{path.stem}_{number}"), quality=90)


def _line(name: str, found: list[Harm]) -> str:
    moved = [harm.moved for harm in found]
    skin = [harm.mean for harm in found]
    taken = sum("taken off" in harm.told for harm in found)
    eased = sum("eased" in harm.told for harm in found)
    return (
        f"{name:10s} {len(found):4d} pictures: moved by more than {SEEN:.0f} "
        f"{np.mean(moved) * 100:.3f} % of the frame (goal .02), worst {max(moved) * 100:.2f} % "
        f"(goal .3), mean change of skin {np.mean(skin):.2f} (goal .4); burns taken off in "
        f"{taken}, eased in {eased}"
    )


def reduced(photograph: Photograph) -> Photograph:
    """A photograph whose longer side is `LONGEST` at most."""
    factor = max(photograph.shape) / LONGEST
    if factor <= 1:
        return photograph
    pixels = cv2.resize(
        photograph.pixels, None, fx=1 / factor, fy=1 / factor, interpolation=cv2.INTER_AREA
    )
    return Photograph(pixels, photograph.profile)


def _shown(linear: np.ndarray) -> np.ndarray:
    coded = np.clip(np.rint(encoding_of(None).from_linear(linear, 255)), 0, 255).astype(np.uint8)
    factor = TILE / max(coded.shape[:2])
    return cv2.resize(coded, None, fx=factor, fy=factor, interpolation=cv2.INTER_AREA)
