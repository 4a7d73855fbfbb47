"""Scenes with known clean skin, split for good into those for tuning and those for measuring."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from tests.optics.changes import MarkKind, blotches, strapped, sunburn
from tests.optics.scene import Scene, skin_scene
from tests.optics.skin import MELANIN, Light, Skin, Tissue

TUNING_SEEDS = range(0, 1000)
"""Seeds that constants of the steps may be chosen on."""

MEASURING_SEEDS = range(1000, 2000)
"""Seeds that nothing is chosen on."""

MARKS_DRAWN = (
    [MarkKind.PIMPLE] * 5
    + [MarkKind.SCAB] * 3
    + [MarkKind.BITE] * 2
    + [MarkKind.PRESSURE] * 2
    + [MarkKind.FRECKLE] * 12
    + [MarkKind.MOLE] * 3
)
"""Marks on one face."""


@dataclass(frozen=True)
class Case:
    """A scene of one skin tone."""

    tone: str
    scene: Scene


def a_skin(tone: str, rng: np.random.Generator) -> Skin:
    """A skin of a tone with tissue, blood and light drawn from their ranges."""
    return Skin(
        melanin=MELANIN[tone] * float(rng.uniform(0.8, 1.25)),
        blood=float(rng.uniform(0.003, 0.008)),
        light=list(Light)[rng.integers(3)],
        balanced=bool(rng.integers(2)),
        tissue=Tissue.drawn(rng),
    )


def burnt(seeds: range, each: int) -> Iterator[Case]:
    """Sunburn of severity 0.3 to 1 with edges from 0.5 to 12 mm, `each` scenes a tone."""
    for tone, rng, seed in _drawn(seeds, each):
        clean = skin_scene(a_skin(tone, rng), seed, (300, 400), 0.35)
        yield Case(tone, strapped_burn(clean, rng))


def blotched(seeds: range, each: int) -> Iterator[Case]:
    """Blotch between 1.5 and 10 mm, `each` scenes a tone."""
    for tone, rng, seed in _drawn(seeds, each):
        clean = skin_scene(a_skin(tone, rng), seed, (420, 560), 0.2)
        yield Case(tone, clean.with_dose(blotches(clean.alpha.shape, 0.2, rng)))


def marked(seeds: range, each: int) -> Iterator[Case]:
    """Passing and lasting marks, `each` scenes a tone, each about a face's size."""
    for tone, rng, seed in _drawn(seeds, each):
        clean = skin_scene(a_skin(tone, rng), seed, (440, 560), 0.25)
        yield Case(tone, clean.with_marks(MARKS_DRAWN, rng))


def _drawn(seeds: range, each: int) -> Iterator[tuple[str, np.random.Generator, int]]:
    places = iter(seeds)
    for _ in range(each):
        for tone in MELANIN:
            seed = next(places)
            yield tone, np.random.default_rng(seed), seed


def strapped_burn(clean: Scene, rng: np.random.Generator) -> Scene:
    """Burn of severity 0.3 to 1 beside a strap, edges from 0.5 to 12 mm."""
    mm = clean.mm_per_pixel
    where = strapped(clean.alpha.shape, mm, float(rng.choice([0.5, 2.0, 12.0])))
    return clean.with_dose(sunburn(where, float(rng.uniform(0.3, 1.0)), clean.skin, mm, rng))
