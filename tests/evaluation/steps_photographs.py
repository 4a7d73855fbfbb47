"""Real photographs as clean skin: what a portrait shows is the truth, changes are simulated on it.

The public-domain portrait of scikit-image, and photographs outside the repository where present.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import skimage.data

from evenhand import photo
from evenhand.colour.encoding import CodeValues, encoding_of
from evenhand.colour.lab import lab_of
from evenhand.errors import EvenhandError
from evenhand.people import find_people
from evenhand.people.burnt import belief_of
from evenhand.people.person import Belief, Region
from evenhand.people.views import View
from evenhand.photo.photograph import Photograph
from evenhand.steps.patch import SkinPatch, patch_of
from tests.colour.typology import Typology, typology, typology_angle
from tests.evaluation.steps_scenes import MARKS_DRAWN, Case, strapped_burn
from tests.optics.changes import blotches, nothing
from tests.optics.scene import Scene
from tests.optics.skin import Skin

PORTRAITS = Path(__file__).parents[3] / "shared" / "eval" / "portraits"
"""Portraits for measuring only, never trained on.

Constants of the steps were chosen on odd numbers only. Even numbers are measured, but their results
have been looked at between changes too, so that they are not pictures never seen.
"""

LONGEST = 1600
"""Pixels of the longer side that portraits are reduced to."""

TONES = {
    Typology.VERY_LIGHT: "light",
    Typology.LIGHT: "light",
    Typology.INTERMEDIATE: "intermediate",
    Typology.TAN: "tan",
    Typology.BROWN: "brown",
    Typology.DARK: "dark",
}
"""Tone of a table's column by typology of the skin as photographed."""


def photographs(tuning: bool) -> Iterator[tuple[str, SkinPatch]]:
    """Names and patches of the portraits for tuning or for measuring, none where absent."""
    if not tuning:
        yield from _patches("astronaut", Photograph(skimage.data.astronaut()))
    for path in sorted(PORTRAITS.glob("*")) if PORTRAITS.is_dir() else ():
        if (int(path.stem.split("_")[1]) % 2 == 1) != tuning:
            continue
        try:
            whole = photo.read(path)
        except EvenhandError:
            continue
        yield from _patches(path.stem, Photograph(_reduced(whole.pixels), whole.profile))


def _patches(name: str, photograph: Photograph) -> Iterator[tuple[str, SkinPatch]]:
    for person in find_people(photograph):
        if person.skin_box.area:
            yield name, patch_of(photograph, person)


def _reduced(pixels: CodeValues) -> CodeValues:
    factor = LONGEST / max(pixels.shape[:2])
    if factor >= 1:
        return pixels
    return np.asarray(cv2.resize(pixels, None, fx=factor, fy=factor, interpolation=cv2.INTER_AREA))


def as_scene(patch: SkinPatch) -> Scene:
    """A photographed person as clean skin, their melanin from how light the skin is."""
    green = float(np.quantile(patch.linear[patch.skin > 0.9][:, 1], 0.7))
    shares = np.geomspace(0.005, 0.4, 40)
    greens = Skin(0.05).with_pigment(shares, 0.005)[:, 1]
    skin = Skin(float(np.interp(green, greens[::-1], shares[::-1])))
    return Scene(
        skin=skin,
        clean=patch.linear,
        changed=patch.linear,
        masks=dict(patch.masks),
        mm_per_pixel=patch.mm_per_pixel,
        dose=nothing(patch.skin.shape),
        box=patch.box,
        face=patch.face,
    )


def with_belief(scene: Scene) -> Scene:
    """The scene with what the burn network believes of it as it is now."""
    box = scene.patch.box
    coded = encoding_of(None).from_linear(scene.changed, 255)
    pixels = np.clip(np.rint(coded), 0, 255).astype(np.uint8)
    view = View(pixels, np.array([[1.0, 0, box.left], [0, 1.0, box.top]]))
    none = np.zeros_like(scene.alpha)
    face, hand = (scene.masks.get(region, none) for region in (Region.FACE, Region.HAND))
    belief = belief_of(view, scene.alpha, face, hand)
    return replace(scene, belief=belief or Belief(none, view.to_photograph))


def tone_of(patch: SkinPatch) -> str:
    """Column of the table for a photographed person."""
    colour = np.median(patch.linear[patch.skin > 0.9], axis=0)
    return TONES[typology(float(typology_angle(lab_of(colour))))]


def cases(tuning: bool, change: str) -> Iterator[Case]:
    """Photographed people with simulated `change`: burnt, blotched or marked."""
    for number, (_, patch) in enumerate(photographs(tuning)):
        rng = np.random.default_rng(5000 + number)
        clean = as_scene(patch)
        if change == "burnt":
            scene = with_belief(strapped_burn(clean, rng))
        elif change == "blotched":
            scene = clean.with_dose(blotches(clean.alpha.shape, clean.mm_per_pixel, rng))
        else:
            scene = clean.with_marks(MARKS_DRAWN, rng)
        yield Case(tone_of(patch), scene)
