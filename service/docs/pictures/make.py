"""Makes the pictures of the gallery from the demo portraits, with `python .../make.py`.

Invented people only. Each picture is sRGB, without metadata.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import cv2
import numpy as np
import numpy.typing as npt

import evenhand

HERE = Path(__file__).parent
DEMO = HERE.parents[2] / "demo_images"

Picture = npt.NDArray[np.uint8]
Places = Sequence[tuple[int, int]]

WIDTH = 900
"""Pixels across: two columns of a page."""

GAP = 8
"""White pixels between the halves."""

BURNS = ((842, 1207), (1322, 1317))
"""Points (column, row) on the burns of ``burnt_arm.jpg``."""

COLOURS = {"skin": (230, 140, 60), "kept": (60, 130, 220)}
"""Of masks, sRGB."""


def main() -> None:
    """Make all of them."""
    show("burnt-arm", *retouched("burnt_arm", evenhand.RetouchSettings(
        steps=("redness",), redness=evenhand.RednessSettings(burnt_at=BURNS))))  # fmt: skip
    show("smoothing", *closely("cox", evenhand.RetouchSettings(
        steps=("smoothing",), smoothing=evenhand.SmoothingSettings(strength=1))))  # fmt: skip
    show("eyes", *closely("freckles", evenhand.RetouchSettings(
        steps=("eyes",), eyes=evenhand.EyesSettings(strength=1)), eyes=True))  # fmt: skip
    show("marks", *closely("freckles", evenhand.RetouchSettings(steps=("marks",))))
    show("masks", *masked("burnt_arm"))


def retouched(name: str, settings: evenhand.RetouchSettings) -> list[Picture]:
    """A portrait before and after."""
    photo = evenhand.read(DEMO / f"{name}.jpg")
    layers = evenhand.compute_layers(photo, evenhand.find_people(photo), settings)
    after = evenhand.blend(photo, layers, evenhand.strengths_of(layers))
    return [np.asarray(photo.pixels, np.uint8), np.asarray(after, np.uint8)]


def closely(name: str, settings: evenhand.RetouchSettings, *, eyes: bool = False) -> list[Picture]:
    """The face of a portrait, or its eyes, before and after."""
    person = evenhand.find_people(evenhand.read(DEMO / f"{name}.jpg"))[0]
    assert person.face is not None
    box = person.masks[evenhand.Region.EYE].box if eyes else person.face.box
    wide = box.grown(box.width // (3 if eyes else 12), (10**6, 10**6))
    return [picture[wide.slices] for picture in retouched(name, settings)]


def masked(name: str) -> list[Picture]:
    """A portrait, and what of it is skin and what is kept."""
    photo = evenhand.read(DEMO / f"{name}.jpg")
    masks = dict(evenhand.mask_arrays(evenhand.find_people(photo), photo.shape))
    shown = photo.pixels.astype(np.float32)
    for mask, colour in COLOURS.items():
        share = 0.6 * masks[mask][..., None]
        shown = shown * (1 - share) + np.array(colour, np.float32) * share
    return [np.asarray(photo.pixels, np.uint8), np.rint(shown).astype(np.uint8)]


def show(name: str, *pictures: Picture) -> None:
    """Write pictures side by side."""
    width = (WIDTH - GAP * (len(pictures) - 1)) // len(pictures)
    halves = []
    for picture in pictures:
        height = round(picture.shape[0] * width / picture.shape[1])
        smaller = cv2.INTER_AREA if width < picture.shape[1] else cv2.INTER_CUBIC
        halves += [cv2.resize(picture, (width, height), interpolation=smaller),
                   np.full((height, GAP, 3), 255, np.uint8)]  # fmt: skip
    evenhand.write_picture(np.hstack(halves[:-1]), HERE / f"{name}.jpg", overwrite=True)


if __name__ == "__main__":
    main()
