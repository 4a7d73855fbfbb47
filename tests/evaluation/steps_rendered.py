"""Rendered people of `tests/scenes` whose clean partner is rendered too, masks found by `people`.

Constants of the redness step were looked at on these pictures too: they show how it does end to
end, not how it does on pictures never seen.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import imagecodecs
import numpy as np

from evenhand.people import find_people
from evenhand.photo.photograph import Photograph
from evenhand.steps.patch import patch_of
from tests.evaluation.steps_photographs import as_scene, tone_of
from tests.evaluation.steps_scenes import Case
from tests.optics.changes import Dose

SCENES = Path(__file__).parents[1] / "scenes"
"""Rendered people and their truth; each is absent until it is rendered."""

WHOLE_SKIN = 242
"""Code value of a pixel that is skin nearly throughout."""

FULL_DOSE = 0.03
"""Blood that a rendered burn of 1 counts as, so that burnt and unburnt are told as elsewhere."""


def burnt() -> Iterator[Case]:
    """People with a rendered burn."""
    for path in sorted(SCENES.glob("*_burn.png")):
        name = path.stem.removesuffix("_burn")
        seen, clean = (_photograph(f"{name}_{kind}.jpg") for kind in ("seen", "clean"))
        skin = imagecodecs.imread(SCENES / f"{name}_skin.png") > WHOLE_SKIN
        burn = imagecodecs.imread(path) / 255 * skin
        for person in find_people(seen):
            patch = patch_of(seen, person)
            linear = clean.encoding.to_linear(clean.pixels[patch.box.slices])
            dose = Dose(FULL_DOSE * burn[patch.box.slices], np.zeros(patch.skin.shape))
            yield Case(
                tone_of(patch),
                replace(as_scene(patch), clean=linear, dose=dose, belief=person.burnt),
            )


def _photograph(name: str) -> Photograph:
    return Photograph(imagecodecs.imread(SCENES / name))
