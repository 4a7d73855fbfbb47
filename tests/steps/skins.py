"""Scenes that several tests of steps look at, made once."""

from __future__ import annotations

import json
from functools import lru_cache
from pathlib import Path

import imagecodecs
import numpy as np

from evenhand.colour.encoding import encoding_of
from evenhand.people.person import Region
from tests.optics.changes import Dose, MarkKind, blotches, strapped, sunburn, tan
from tests.optics.scene import Scene, skin_scene
from tests.optics.skin import MELANIN, Light, Skin

MM = 0.4
"""Pixel size of the scenes, millimetres."""

SHAPE = (240, 320)
"""Height and width of the scenes."""

SCENES = Path(__file__).parents[1] / "scenes"
"""Rendered people and their truth."""

RENDERED_MM = 0.83
"""Pixel size on the rendered woman, millimetres, from her pupils' distance."""

RENDERED_REGIONS = {
    "face": Region.FACE,
    "neck": Region.NECK,
    "ear": Region.EAR,
    "torso": Region.TORSO,
    "arm": Region.ARM,
    "hand": Region.HAND,
}
"""Regions by the names of the rendered labels."""

MARKS = [MarkKind.PIMPLE] * 3 + [MarkKind.FRECKLE] * 6 + [MarkKind.MOLE] * 2
"""Marks of the marked scenes."""


@lru_cache
def clean(tone: str, light: Light = Light.D65, balanced: bool = True) -> Scene:
    """Clean skin."""
    return skin_scene(Skin(MELANIN[tone], light=light, balanced=balanced), 7, SHAPE, MM)


@lru_cache
def burnt(
    tone: str, edge_mm: float = 2.0, light: Light = Light.D65, balanced: bool = True
) -> Scene:
    """Skin with a strong burn beside a strap."""
    scene = clean(tone, light, balanced)
    rng = np.random.default_rng(8)
    return scene.with_dose(sunburn(strapped(SHAPE, MM, edge_mm), 0.7, scene.skin, MM, rng))


@lru_cache
def tanned(tone: str) -> Scene:
    """Skin with a tan beside a strap."""
    scene = clean(tone)
    return scene.with_dose(tan(strapped(SHAPE, MM, 2.0), scene.skin))


@lru_cache
def blotched(tone: str) -> Scene:
    """Skin with blotch."""
    scene = skin_scene(Skin(MELANIN[tone]), 7, (320, 400), 0.25)
    return scene.with_dose(blotches((320, 400), 0.25, np.random.default_rng(9)))


@lru_cache
def marked(tone: str) -> Scene:
    """Skin with passing and lasting marks."""
    scene = skin_scene(Skin(MELANIN[tone]), 7, (360, 440), 0.25)
    return scene.with_marks(MARKS, np.random.default_rng(10))


@lru_cache
def rendered_burnt_arm() -> Scene:
    """The rendered woman with a burnt arm, with the true masks of her render."""
    seen, truth = (
        imagecodecs.imread(SCENES / f"burnt_arm_{name}.jpg") for name in ("seen", "clean")
    )
    burn, skin, label = (
        imagecodecs.imread(SCENES / f"burnt_arm_{name}.png") for name in ("burn", "skin", "label")
    )
    names = json.loads((SCENES / "classes.json").read_text())
    encoding = encoding_of(None)
    masks = {
        region: ((label == names.index(name)) * (skin / 255)).astype(np.float32)
        for name, region in RENDERED_REGIONS.items()
    }
    dose = Dose(0.03 * burn / 255 * (skin > 242), np.zeros(skin.shape))
    linear, clean_linear = encoding.to_linear(seen), encoding.to_linear(truth)
    return Scene(Skin(MELANIN["light"]), clean_linear, linear, masks, RENDERED_MM, dose)
