"""Render invented people on two days, unburnt and burnt, for measuring.

    python pairs.py --parts FOLDER --out PAIRS

Each person is rendered before the sun (`NAME_before.jpg`) and a day after, in another light, from
another side and with another head: as they would be without a burn (`NAME_clean.jpg`), burnt where
cloth and turned-away skin were spared (`NAME_burnt.jpg`), and burnt all over (`NAME_all_over.jpg`).
`NAME_skin.png`, `NAME_label.png` and `NAME_burnt_burn.png`, `NAME_all_over_burn.png` are the truth
of the second day. Skin is matt, as in `views.py`; a processor needs some minutes for each person.
"""

from __future__ import annotations

import argparse
import json
import time
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image
from portraits import DARK, OLD_TEE, SHORTS, TEE, VEE, developed, save_jpeg
from scene import labels, render
from scene.assets import Assets
from scene.backdrop import Backdrop, Wall
from scene.camera import Camera, Shot
from scene.cloth import Fabric
from scene.figure import Place
from scene.light import (
    COOL,
    EVENING_SKY,
    GREY_SKY,
    NOON,
    ROOM,
    WARM,
    Lamp,
    Light,
    catchlight,
    shine,
)
from scene.objects import set_attribute
from scene.person import HairColour, Person, PersonSpec
from scene.pose import Pose
from scene.shape import Build, random_features
from scene.skin import Complexion
from scene.variation import IRISES

LARGEST = 600_000
"""Bytes of a picture."""

NO_SUN, ALL_SUN, BARE = -1.0, 1.0, -1.0
"""Dose that burns nothing and everything, whatever mottle is added; nothing that covers."""

BALANCED = 0.7
"""Share of the key light's cast that the camera takes off, in logarithm."""

NOON_SUN = Light(
    "noon", ((0.20, 0.18, 0.12), (0.75, 0.80, 0.82), (0.32, 0.50, 0.92)), 0.65,
    (Lamp("SUN", 40, 45, 2.6, NOON, 2.5), Lamp("AREA", -35, 15, 7, COOL, 1.8)),
)  # fmt: skip
LATE_SUN = Light(
    "late",
    EVENING_SKY,
    0.6,
    (Lamp("SUN", -50, 28, 2.6, WARM, 2.5), Lamp("AREA", 40, 15, 7, COOL, 1.8)),
)
OVERCAST = Light("overcast", GREY_SKY, 1.0, ())
INDOORS = Light(
    "indoors",
    ROOM,
    0.8,
    (Lamp("AREA", 45, 30, 110, (1.0, 0.9, 0.78), 1.2), Lamp("AREA", -50, 10, 40, COOL, 1.5)),
)
LIGHTS = {light.name: light for light in (NOON_SUN, LATE_SUN, OVERCAST, INDOORS)}
CASTS = {"noon": NOON, "late": WARM, "overcast": (0.92, 0.97, 1.0), "indoors": (1.0, 0.9, 0.78)}
"""Lights, and the colour of each one's key."""


@dataclass(frozen=True)
class Day:
    """When a picture is taken: light, camera's azimuth, head against the chest, exposure."""

    light: str
    azimuth: float
    head: tuple[float, float, float]
    exposure: float = 1.0


@dataclass(frozen=True)
class Pair:
    """A person, the day before the sun and the day after."""

    name: str
    spec: PersonSpec
    before: Day
    after: Day
    features: int


def _spec(
    build: Build, complexion: Complexion, hair: str, colour: HairColour, iris: int
) -> PersonSpec:
    white = Fabric((0.5, 0.5, 0.5), (0.3, 0.3, 0.3))
    return PersonSpec(
        build, replace(complexion, matt=True), hair, colour, iris=IRISES[iris],
        clothes=((SHORTS, DARK), (VEE if build.male < 0.5 else TEE, white)),
        sunlit=(0.5, -0.7, 0.5), burn_cut=OLD_TEE,
    )  # fmt: skip


PAIRS = (
    Pair(
        "light",
        _spec(
            Build(0.0, 0.2, 0.0, (0.8, 0.1, 0.1)), Complexion(2.8, burn=0.9, seed=41),
            "tail", HairColour(0.45, 0.4), 4,
        ),
        Day("overcast", -10, (4, 0, 2)), Day("noon", 12, (-10, 2, 0)), 101,
    ),
    Pair(
        "tan",
        _spec(
            Build(1.0, 0.3, 0.1, (0.4, 0.1, 0.5)), Complexion(5.3, burn=1.0, seed=42),
            "side", HairColour(0.85, 0.3), 0,
        ),
        Day("indoors", 8, (-6, 0, 0)), Day("late", -12, (10, 1, 2)), 102,
    ),
    Pair(
        "brown",
        _spec(
            Build(0.0, 0.25, 0.1, (0.2, 0.6, 0.2)), Complexion(6.8, burn=1.1, seed=43),
            "bun", HairColour(0.95, 0.3), 1,
        ),
        Day("noon", 0, (6, 0, 0), 1.1), Day("overcast", 10, (-12, 0, 3), 1.15), 103,
    ),
    Pair(
        "dark",
        _spec(
            Build(1.0, 0.2, 0.0, (0.05, 0.9, 0.05)), Complexion(8.6, burn=1.25, seed=44),
            "short_coily", HairColour(0.97, 0.3), 1,
        ),
        Day("late", -8, (-8, 0, 0), 1.4), Day("indoors", 10, (6, 2, 0), 1.5), 104,
    ),
)  # fmt: skip
"""People of four tones, none of them in the demo portraits."""


def rendered(
    assets: Assets, pair: Pair, day: Day, options: argparse.Namespace
) -> dict[str, tuple[NDArray[np.uint8], dict[str, Any]]]:
    """Pictures and channels of a day by state: before, or clean, burnt and all over."""
    scene = render.empty_scene()
    render.prepare(scene, options.size * 3 // 4, options.size, options.samples, quick=True)
    scene.render.threads = options.threads
    features = random_features(assets, np.random.default_rng(pair.features), 0.55)
    spec = replace(pair.spec, build=replace(pair.spec.build, features=features))
    person = Person(assets, spec, pair.features, 2, 0.5)
    upper, lower = np.array([0.24, -1, -0.02]), np.array([0.14, -1, 0.20])
    arms = (upper, lower), (upper * [-1, 1, 1], lower * [-1, 1, 1])
    person.pose(Pose(day.head, (0, 0, 0), arms, (10, 10)), Place())
    eyes = person.landmark(person.figure.eye_level)
    target = eyes + np.array([0, 0.04, -0.10])
    place = Camera().take(Shot(tuple(target), day.azimuth, 2.0, 0.55, 85))
    Wall(Backdrop("river", ((0, 0, 0),) * 3, 1.0, 0.2, seed=pair.features), 14).face(place, target)
    shine(LIGHTS[day.light], target, float(np.radians(day.azimuth)))
    catchlight(eyes, float(np.radians(day.azimuth)))
    gains = np.array(CASTS[day.light], np.float32) ** -BALANCED
    size = person.figure.body_size
    spared = {"burn": np.full(size, NO_SUN)}
    states = {"before": spared}
    if day is pair.after:
        everywhere = {"burn": np.full(size, ALL_SUN), "covered": np.full(size, BARE)}
        states = {"clean": spared, "burnt": {}, "all_over": everywhere}
    given = {
        name: np.array([value.value for value in person.body.data.attributes[name].data])
        for name in ("burn", "covered")
    }
    made = {}
    for state, changes in states.items():
        for name, values in {**given, **changes}.items():
            set_attribute(person.body, name, values)
        person.body.data.update()
        channels = render.render(scene, options.scratch)
        rgb = render.linear_rgb(channels) * (gains / gains[1])
        made[state] = developed(rgb, day.exposure, 1), channels
    return made


def main() -> None:
    """Render the wanted people."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--parts", type=Path, required=True, help="folder of meshes and targets")
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--only", nargs="*", help="names of pairs")
    parser.add_argument("--size", type=int, default=720, help="height in pixels")
    parser.add_argument("--samples", type=int, default=24)
    parser.add_argument("--threads", type=int, default=1)
    parser.add_argument("--scratch", type=Path, default=Path("/dev/shm"))
    options = parser.parse_args()
    options.out.mkdir(parents=True, exist_ok=True)
    assets = Assets(options.parts)
    for pair in PAIRS:
        if options.only and pair.name not in options.only:
            continue
        for day in (pair.before, pair.after):
            started = time.time()
            for state, (picture, channels) in rendered(assets, pair, day, options).items():
                save_jpeg(options.out / f"{pair.name}_{state}.jpg", picture, LARGEST)
                if state == "clean":
                    cover = labels.coverage(channels)
                    _save(options.out / f"{pair.name}_label.png", cover.argmax(-1))
                    skin = cover[..., list(labels.SKIN)].sum(-1)
                    _save(options.out / f"{pair.name}_skin.png", 255 * np.clip(skin, 0, 1))
                elif state != "before":
                    burn = 255 * np.clip(channels["burn"], 0, 1)
                    _save(options.out / f"{pair.name}_{state}_burn.png", burn)
            print(f"{pair.name} {day.light}: {time.time() - started:.1f} s", flush=True)
    (options.out / "classes.json").write_text(json.dumps(labels.CLASSES))


def _save(path: Path, values: NDArray[Any]) -> None:
    Image.fromarray(np.rint(values).astype(np.uint8)).save(path, optimize=True)


if __name__ == "__main__":
    main()
