"""Render faces with eight pimples, freckles and moles on four tones, to measure marks on.

    python pimples.py --parts PARTS --out ../build/pimples --seeds 0:6

One seed is one face, of the tone that comes round; the pimples' places, the features, the hair, the
light and the view are drawn. Every picture comes with the strength of its markings, as
`portraits.py` writes them. A processor takes two to five minutes for a face.
"""

from __future__ import annotations

import argparse
import time
from pathlib import Path

import numpy as np
from portraits import (
    DARK,
    SHORTS,
    TEE,
    Portrait,
    Sitter,
    build,
    developed,
    save_jpeg,
    save_truth,
)
from scene import render
from scene.assets import Assets
from scene.cloth import Fabric
from scene.light import COOL, NOON, WARM, Lamp, Light
from scene.person import HairColour, PersonSpec
from scene.shape import Build
from scene.skin import Complexion
from scene.variation import IRISES

TONES = {"light": 2.6, "tan": 5.5, "brown": 7.0, "dark": 8.6}
"""Monk tones around which a face's is drawn."""

PIMPLES = 8
APART = 0.009
"""Metres between pimples at least, so that each can be counted."""

ZONES = (
    (0.026, 0.046, -0.072, -0.036, 5),
    (0.002, 0.030, 0.034, 0.052, 2),
    (0.002, 0.014, -0.098, -0.088, 1),
)
"""Cheeks, forehead and chin: from and to, metres beside the nose and above the eyes, and how often
each is drawn; clear of eyes, brows, nose and lips."""

RADII = (0.0012, 0.0022)
"""Metres; a pimple's red halo reaches about twice as far."""

SIZE, HEIGHT, SAMPLES = (608, 760), 0.25, 4
"""Pixels across and down, metres of the view's height, samples a pixel."""

LARGEST = 1_000_000
"""Bytes of a picture."""


def face(seed: int) -> tuple[str, Portrait]:
    """Tone and portrait of a seed."""
    rng = np.random.default_rng(seed)
    u = rng.uniform
    tone = list(TONES)[seed % len(TONES)]
    monk = TONES[tone] + float(u(-0.4, 0.4))
    deep = float(np.clip((monk - 5) / 3, 0, 1))
    male = float(rng.integers(2))
    ancestry = rng.dirichlet([3 * (1 - deep) + 0.1, 3 * deep + 0.1, 1.0])
    complexion = Complexion(
        monk,
        mottle=float(u(0.6, 1.3)),
        flush=float(u(0.4, 1.4)),
        freckles=float(u(0.3, 0.9)) if rng.random() < 0.6 * (1 - deep) + 0.15 else 0.0,
        moles=float(u(0.6, 1.3)),
        blemishes=_places(rng),
        shine=float(u(-0.3, 0.9)),
        seed=float(u(0, 50)),
    )
    spec = PersonSpec(
        Build(male, float(u(0, 0.4)), float(u(-0.2, 0.4)), tuple(ancestry), {}, {}),  # type: ignore[arg-type]
        complexion,
        "short_coily" if deep > 0.5 else "side" if male else "tail",
        HairColour(0.45 + 0.5 * deep, 0.4),
        ("eyebrow010" if male else "eyebrow001", 0.9),
        iris=IRISES[int(rng.integers(2 if deep > 0.5 else len(IRISES)))],
        clothes=((SHORTS, DARK), (TEE, Fabric((0.35, 0.36, 0.38), (0.7, 0.7, 0.7), "plain", 1.6))),
    )
    sitter = Sitter(
        spec, head=(float(u(-14, 14)), float(u(-4, 4)), float(u(-4, 4))), features=seed + 100
    )
    light = _light(rng)
    exposure = (1.0 + 0.35 * deep) * float(u(0.9, 1.1))
    return tone, Portrait(
        f"{tone}_{seed:03d}", (sitter,), SIZE, HEIGHT, 0.03, float(u(-12, 12)), light, exposure
    )  # fmt: skip


def _places(rng: np.random.Generator) -> tuple[tuple[float, float, float], ...]:
    """Where pimples are and how large: beside the nose, above the eyes, radius; metres."""
    chances = np.array([zone[-1] for zone in ZONES], float)
    found: list[tuple[float, float, float]] = []
    while len(found) < PIMPLES:
        left, right, low, high, _ = ZONES[int(rng.choice(len(ZONES), p=chances / chances.sum()))]
        x = float(rng.uniform(left, right) * rng.choice([-1, 1]))
        height = float(rng.uniform(low, high))
        if all(np.hypot(x - a, height - b) > APART for a, b, _ in found):
            found.append((x, height, float(rng.uniform(*RADII))))
    return tuple(found)


def _light(rng: np.random.Generator) -> Light:
    """Sun from a side, a low warm sun, or an even grey sky."""
    kind = str(rng.choice(["noon", "late", "grey"]))
    side = float(rng.choice([-1, 1]))
    fill = Lamp("AREA", -35 * side, 15, 7, COOL, 1.8)
    if kind == "grey":
        sky = ((0.25, 0.25, 0.24), (0.8, 0.82, 0.84), (0.8, 0.84, 0.9))
        lamp = Lamp("AREA", 25 * side, 35, 22, NOON, 1.6)
        return Light(kind, sky, 1.0, (lamp, fill))
    sky = {
        "noon": ((0.20, 0.18, 0.12), (0.75, 0.80, 0.82), (0.32, 0.50, 0.92)),
        "late": ((0.22, 0.17, 0.10), (1.0, 0.76, 0.50), (0.42, 0.60, 0.95)),
    }[kind]
    sun = Lamp(
        "SUN", side * float(rng.uniform(25, 55)), float(rng.uniform(30, 48)), 2.4,
        NOON if kind == "noon" else WARM, 2.5,
    )  # fmt: skip
    return Light(kind, sky, 0.65, (sun, fill))


def main() -> None:
    """Render the faces of some seeds that are not there yet."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--parts", type=Path, required=True, help="folder of meshes and targets")
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--seeds", default="0:8", help="first:end")
    parser.add_argument("--samples", type=int, default=SAMPLES)
    parser.add_argument("--scratch", type=Path, default=Path("/dev/shm"))
    options = parser.parse_args()
    options.out.mkdir(parents=True, exist_ok=True)
    assets = Assets(options.parts)
    first, end = (int(n) for n in options.seeds.split(":"))
    for seed in range(first, end):
        _, portrait = face(seed)
        path = options.out / f"{portrait.name}_seen.jpg"
        if path.exists():
            continue
        started = time.time()
        channels = render.render(
            build(assets, portrait, 1.0, options.samples, 2, 0.3), options.scratch
        )
        save_truth(options.out, portrait.name, channels)
        save_jpeg(path, developed(render.linear_rgb(channels), portrait.exposure, seed), LARGEST)
        print(f"{portrait.name}: {time.time() - started:.1f} s", flush=True)


if __name__ == "__main__":
    main()
