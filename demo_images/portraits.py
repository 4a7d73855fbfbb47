"""Render the demo portraits: a rowing club's regatta day, everybody invented.

    python portraits.py --parts FOLDER --out demo_images --truth tests/scenes

Each portrait is rendered once large, and once at a smaller scale with its labels; where it shows
burnt or blemished skin a third time, clean: the same people, light and noise without sunburn and
blemishes; freckles and moles stay.
"""

from __future__ import annotations

import argparse
import json
import time
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image
from scene import labels, render
from scene.assets import Assets, Floats
from scene.backdrop import Backdrop, Wall, bunting
from scene.camera import Camera, Shot
from scene.cloth import Cut, Fabric
from scene.figure import Place
from scene.light import COOL, NOON, WARM, Lamp, Light, catchlight, shine
from scene.person import HairColour, Person, PersonSpec
from scene.pose import Pose
from scene.shape import Build, random_features
from scene.skin import Complexion
from scene.variation import IRISES, reach

GRAIN = 0.8
"""Standard deviation of the added sensor noise, 8-bit code values."""

LARGEST = 1_000_000
"""Bytes that a demo portrait may take."""

TRUTH_SCALE = 0.4
"""Size of the truth files against the portraits."""

CLUB_BLUE, CLUB_WHITE, CLUB_RED = (0.020, 0.060, 0.20), (0.72, 0.71, 0.68), (0.42, 0.02, 0.03)
"""Linear colours of the invented club's kit."""

Arms = tuple[tuple[Floats, Floats], tuple[Floats, Floats]]


@dataclass(frozen=True)
class Sitter:
    """One person of a portrait: who, how they hold themselves, where they stand."""

    spec: PersonSpec
    head: tuple[float, float, float] = (0, 0, 0)
    lean: tuple[float, float, float] = (0, 0, 0)
    arms: str = "down"
    place: Place = field(default_factory=Place)
    features: int = 0


@dataclass(frozen=True)
class Portrait:
    """A picture: sitters, framing (height of view and its centre below the eyes), light."""

    name: str
    sitters: tuple[Sitter, ...]
    size: tuple[int, int]
    height: float
    below: float
    azimuth: float
    light: Light
    exposure: float = 1.0
    lens: float = 85
    elevation: float = 2.0
    aperture: float = 4.0
    bank: float = 0.2
    flags: bool = False
    meta: dict[str, Any] = field(default_factory=dict)


def _sky(kind: str) -> tuple[Any, ...]:
    return {
        "noon": ((0.20, 0.18, 0.12), (0.75, 0.80, 0.82), (0.32, 0.50, 0.92)),
        "late": ((0.22, 0.17, 0.10), (1.0, 0.76, 0.50), (0.42, 0.60, 0.95)),
    }[kind]


def _sun(
    azimuth: float, height: float, power: float, colour: Any, strength: float, kind: str
) -> Light:
    fill = Lamp("AREA", -35.0 * np.sign(azimuth), 15, 7, COOL, 1.8)
    return Light(
        kind, _sky(kind), strength, (Lamp("SUN", azimuth, height, power, colour, 2.5), fill)
    )


TANK = Cut("tank", "tank", strap=0.112, sleeve=0.03, hem=0.86, offset=0.004, loose=0.004)
TEE = Cut("tee", "crew", sleeve=0.19, hem=0.84, offset=0.006, loose=0.012)
VEE = Cut("vee", "vee", sleeve=0.21, hem=0.84, offset=0.006, loose=0.010)
SHORTS = Cut("shorts", top=1.02, hem=0.55, offset=0.005, loose=0.008)
OLD_TANK = Cut("earlier", "scoop", strap=0.136, sleeve=0.03, hem=0.5)
OLD_TEE = Cut("earlier tee", "crew", sleeve=0.13, hem=0.5)
DARK = Fabric((0.03, 0.03, 0.035), CLUB_WHITE)
SMILE = {"mouth-corner-puller": 0.55, "eye-left-slit": 0.15, "eye-right-slit": 0.15}
SOFT = {"mouth-corner-puller": 0.3}


def _club(pattern: str = "plain", first: Any = CLUB_BLUE, second: Any = CLUB_WHITE) -> Fabric:
    return Fabric(first, second, pattern, 1.6)


PORTRAITS = (
    Portrait(
        "burnt_arm",
        (
            Sitter(
                PersonSpec(
                    Build(0.0, 0.12, 0.0, (0.75, 0.05, 0.20), {}, SMILE),
                    Complexion(3.4, burn=0.95, flush=0.9, shine=0.3, seed=3, moles=0.5),
                    "tail",
                    HairColour(0.42, 0.45),
                    ("eyebrow001", 0.9),
                    iris=IRISES[4],
                    clothes=((SHORTS, DARK), (TANK, _club())),
                    sunlit=(0.98, -0.10, 0.42),
                    burn_cut=OLD_TANK,
                    burn_head=0.25,
                ),
                head=(-6, 2, 3),
                lean=(14, 0, 0),
                features=11,
            ),
        ),
        (1600, 2133),
        0.64,
        0.165,
        8,
        _sun(48, 42, 2.9, NOON, 0.62, "noon"),
        1.0,
        bank=0.1,
    ),
    Portrait(
        "freckles",
        (
            Sitter(
                PersonSpec(
                    Build(0.0, 0.05, -0.15, (0.95, 0.0, 0.05), {}, SOFT),
                    Complexion(
                        2.2,
                        freckles=0.95,
                        flush=1.1,
                        shine=0.2,
                        seed=8,
                        moles=0.8,
                        blemishes=(
                            (0.031, -0.053, 0.0020),
                            (0.037, -0.061, 0.0014),
                            (-0.034, -0.056, 0.0022),
                            (-0.028, -0.072, 0.0016),
                            (0.012, 0.046, 0.0018),
                            (-0.017, 0.039, 0.0013),
                            (0.008, -0.089, 0.0019),
                            (-0.041, -0.041, 0.0012),
                        ),
                    ),
                    "wavy",
                    HairColour(0.40, 0.95),
                    ("eyebrow001", 0.75),
                    iris=IRISES[3],
                    clothes=((SHORTS, DARK), (VEE, _club("stripes", CLUB_WHITE, CLUB_BLUE))),
                ),
                head=(10, 1, -4),
                lean=(-10, 0, 0),
                features=22,
            ),
        ),
        (1600, 2000),
        0.46,
        0.075,
        -6,
        _sun(-42, 38, 2.3, NOON, 0.70, "noon"),
        1.0,
        bank=0.3,
    ),
    Portrait(
        "beard",
        (
            Sitter(
                PersonSpec(
                    Build(1.0, 0.30, 0.1, (0.55, 0.05, 0.40), {}, SOFT),
                    Complexion(5.7, flush=0.8, shine=0.5, seed=13, moles=0.7),
                    "side",
                    HairColour(0.90, 0.4, 0.10),
                    ("eyebrow010", 1.2),
                    ("full", 0.014, 1.3),
                    IRISES[0],
                    ((SHORTS, DARK), (TEE, _club("plain", (0.55, 0.54, 0.50)))),
                ),
                head=(-14, 0, 2),
                lean=(20, 0, 0),
                features=33,
            ),
        ),
        (1600, 2133),
        0.62,
        0.12,
        4,
        _sun(58, 30, 2.8, WARM, 0.55, "late"),
        1.05,
        bank=0.3,
    ),
    Portrait(
        "pair",
        (
            Sitter(
                PersonSpec(
                    Build(0.0, 0.15, 0.05, (0.05, 0.9, 0.05), {}, SMILE),
                    Complexion(8.2, flush=0.8, shine=0.8, seed=21, moles=0.3),
                    "coily",
                    HairColour(0.96, 0.3),
                    ("eyebrow001", 1.1),
                    iris=IRISES[1],
                    clothes=((SHORTS, DARK), (TANK, _club("plain", CLUB_RED))),
                    jewellery=({"kind": "earrings", "colour": (0.9, 0.6, 0.22), "hoop": True},),
                ),
                head=(8, 0, 6),
                lean=(-8, 0, 3),
                place=Place(-0.215, 0.02, -8),
                features=44,
            ),
            Sitter(
                PersonSpec(
                    Build(1.0, 0.62, 0.25, (0.9, 0.0, 0.1), {}, SMILE),
                    Complexion(
                        3.0,
                        burn=0.75,
                        flush=1.2,
                        mottle=1.2,
                        shine=0.4,
                        seed=34,
                        moles=1.0,
                        stubble=0.5,
                    ),
                    "swept",
                    HairColour(0.5, 0.3, 0.75),
                    ("eyebrow010", 1.1),
                    iris=IRISES[5],
                    clothes=((SHORTS, DARK), (TEE, _club())),
                    sunlit=(-0.1, -0.75, 0.6),
                    burn_cut=OLD_TEE,
                ),
                head=(-10, 0, -4),
                lean=(10, 0, 0),
                place=Place(0.215, 0.04, 6, -0.02),
                features=55,
            ),
        ),
        (2200, 1650),
        0.72,
        0.14,
        0,
        _sun(38, 45, 2.6, NOON, 0.72, "noon"),
        1.0,
        lens=70,
        aperture=5.6,
        bank=0.3,
        flags=True,
    ),
    Portrait(
        "turned",
        (
            Sitter(
                PersonSpec(
                    Build(1.0, 0.10, -0.1, (0.05, 0.92, 0.03), {}, {}),
                    Complexion(9.3, flush=0.6, shine=1.0, seed=5, moles=0.3),
                    "short_coily",
                    HairColour(0.97, 0.3),
                    ("eyebrow010", 1.0),
                    iris=IRISES[1],
                    clothes=((SHORTS, DARK), (TANK, _club("plain", CLUB_WHITE))),
                ),
                head=(-52, 4, 0),
                lean=(-6, 0, 0),
                features=66,
            ),
        ),
        (1600, 2000),
        0.58,
        0.11,
        5,
        _sun(-62, 34, 3.6, WARM, 0.65, "late"),
        1.35,
        bank=0.25,
    ),
    Portrait(
        "cox",
        (
            Sitter(
                PersonSpec(
                    Build(0.0, 0.72, 0.15, (0.35, 0.05, 0.60), {}, SMILE),
                    Complexion(4.6, flush=1.0, mottle=1.35, shine=0.2, seed=17, moles=1.0),
                    "bob",
                    HairColour(0.75, 0.3, 0.65),
                    ("eyebrow001", 0.7),
                    iris=IRISES[0],
                    clothes=((SHORTS, DARK), (TEE, _club("stripes", CLUB_BLUE, CLUB_WHITE))),
                    glasses={
                        "colour": (0.02, 0.02, 0.025),
                        "metal": False,
                        "tint": 0.0,
                        "square": 0.4,
                    },
                    jewellery=(
                        {
                            "kind": "necklace",
                            "colour": (0.8, 0.8, 0.82),
                            "low": 0.03,
                            "beads": False,
                        },
                    ),
                ),
                head=(4, -1, -3),
                lean=(-12, 0, 0),
                features=77,
            ),
        ),
        (1600, 2000),
        0.52,
        0.09,
        -3,
        _sun(35, 52, 2.2, NOON, 0.85, "noon"),
        1.0,
        bank=0.2,
        flags=True,
    ),
    Portrait(
        "bowman",
        (
            Sitter(
                PersonSpec(
                    Build(1.0, 0.22, 0.0, (0.35, 0.55, 0.10), {}, SOFT),
                    Complexion(
                        7.8,
                        burn=1.25,
                        flush=0.8,
                        shine=0.6,
                        seed=29,
                        moles=0.6,
                        stubble=0.7,
                        blemishes=(
                            (0.030, -0.060, 0.0017),
                            (-0.020, 0.044, 0.0016),
                            (-0.036, -0.050, 0.0019),
                        ),
                    ),
                    "short_coily",
                    HairColour(0.94, 0.35),
                    ("eyebrow010", 1.15),
                    iris=IRISES[2],
                    clothes=((SHORTS, DARK), (TANK, _club("plain", (0.62, 0.60, 0.20)))),
                    sunlit=(-0.7, -0.5, 0.55),
                    burn_cut=OLD_TEE,
                ),
                head=(12, 0, -2),
                lean=(-16, 0, 0),
                arms="hips",
                features=88,
            ),
        ),
        (1600, 2133),
        0.80,
        0.20,
        -6,
        _sun(-45, 40, 3.0, NOON, 0.62, "noon"),
        1.1,
        bank=0.1,
    ),
)
"""The demo portraits."""


def clean(sitter: Sitter) -> Sitter:
    """The same sitter without sunburn and blemishes."""
    complexion = replace(sitter.spec.complexion, burn=0.0, blemishes=())
    return replace(sitter, spec=replace(sitter.spec, complexion=complexion))


def build(
    assets: Assets, portrait: Portrait, scale: float, samples: int, detail: int, density: float
) -> Any:
    """Set up a portrait's scene and return it."""
    scene = render.empty_scene()
    width, height = (round(s * scale) for s in portrait.size)
    print(portrait.name, "on", render.prepare(scene, width, height, samples), flush=True)
    people = []
    for sitter in portrait.sitters:
        features = random_features(assets, np.random.default_rng(sitter.features), 0.55)
        shape = replace(sitter.spec.build, features=features)
        person = Person(assets, replace(sitter.spec, build=shape), sitter.features, detail, density)
        person.pose(
            Pose(sitter.head, sitter.lean, _arms(person, sitter.arms), (10, 10)), sitter.place
        )
        people.append(person)
    eyes = np.mean([p.landmark(p.figure.eye_level) for p in people], 0)
    target = eyes + np.array([0, 0.04, -portrait.below])
    camera = Camera()
    place = camera.take(
        Shot(tuple(target), portrait.azimuth, portrait.elevation, portrait.height, portrait.lens,
             aperture=portrait.aperture, focus=tuple(eyes + np.array([0, -0.01, 0])))
    )  # fmt: skip
    wall = Wall(
        Backdrop("river", ((0, 0, 0),) * 3, 1.0, portrait.bank, seed=portrait.sitters[0].features),
        14,
    )
    wall.face(place, target)
    if portrait.flags:
        bunting(np.random.default_rng(1), target + np.array([0, 3.0, 0.75]), 6)
    shine(portrait.light, target, float(np.radians(portrait.azimuth)))
    catchlight(eyes, float(np.radians(portrait.azimuth)))
    return scene


def _arms(person: Person, name: str) -> Arms:
    if name == "hips":
        sides = [reach(person.figure, s, np.array([s * 2.0, 1.5, 0.5]), 1.4) for s in (1, -1)]
        return sides[0], sides[1]
    upper, lower = np.array([0.24, -1, -0.02]), np.array([0.14, -1, 0.20])
    return (upper, lower), (upper * [-1, 1, 1], lower * [-1, 1, 1])


def developed(rgb: NDArray[np.float32], exposure: float, seed: int) -> NDArray[np.uint8]:
    """Scene-linear colour as an sRGB picture: a soft shoulder, a little contrast, fine grain."""
    x = np.clip(rgb * exposure, 0, None)
    x = np.where(x > 0.5, 0.5 + 0.5 * (1 - np.exp(-(x - 0.5) / 0.5)), x)
    coded = np.where(x > 0.0031308, 1.055 * x ** (1 / 2.4) - 0.055, 12.92 * x)
    coded = coded + 0.10 * coded * (1 - coded) * (2 * coded - 1)
    grain = np.random.default_rng(seed).normal(0, GRAIN / 255, coded.shape)
    return (np.clip(coded + grain, 0, 1) * 255 + 0.5).astype(np.uint8)


def save_jpeg(path: Path, picture: NDArray[np.uint8], limit: int) -> None:
    """Save at the best quality that stays below `limit` bytes."""
    for quality in range(95, 60, -2):
        Image.fromarray(picture).save(path, quality=quality, subsampling=0, optimize=True)
        if path.stat().st_size <= limit:
            return


def save_truth(folder: Path, name: str, channels: dict[str, Any]) -> None:
    """Labels, soft skin and markings of a portrait as 8-bit PNG of its own size."""
    cover = labels.coverage(channels)
    images = {"label": cover.argmax(-1).astype(np.uint8)}
    images["skin"] = _byte(cover[..., list(labels.SKIN)].sum(-1))
    for marking in labels.TRUTHS:
        if channels[marking].max() > 0.02:
            images[marking] = _byte(channels[marking])
    for what, image in images.items():
        Image.fromarray(image).save(folder / f"{name}_{what}.png", optimize=True)


def _byte(share: NDArray[np.float32]) -> NDArray[np.uint8]:
    return (np.clip(share, 0, 1) * 255 + 0.5).astype(np.uint8)


def main() -> None:
    """Render the wanted portraits, and at a smaller scale their truth and clean partners."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--parts", type=Path, required=True, help="folder of meshes and targets")
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--truth", type=Path, required=True)
    parser.add_argument("--only", nargs="*", help="names of portraits")
    parser.add_argument("--scale", type=float, default=1.0)
    parser.add_argument("--samples", type=int, default=400)
    parser.add_argument("--detail", type=int, default=3, help="subdivisions of the body")
    parser.add_argument("--density", type=float, default=1.0, help="share of hair strands")
    parser.add_argument("--scratch", type=Path, default=Path("/dev/shm"))
    options = parser.parse_args()
    assets = Assets(options.parts)
    for folder in (options.out, options.truth):
        folder.mkdir(parents=True, exist_ok=True)
    for portrait in PORTRAITS:
        if options.only and portrait.name not in options.only:
            continue
        cleaned = tuple(clean(s) for s in portrait.sitters)
        versions = [("seen", portrait.sitters)]
        if cleaned != portrait.sitters:
            versions.append(("clean", cleaned))
        for kind, sitters in versions:
            started = time.time()
            scene = build(
                assets, replace(portrait, sitters=sitters), options.scale, options.samples,
                options.detail, options.density,
            )  # fmt: skip
            if kind == "seen":
                channels = render.render(scene, options.scratch)
                picture = developed(render.linear_rgb(channels), portrait.exposure, 1)
                save_jpeg(options.out / f"{portrait.name}.jpg", picture, LARGEST)
            scene.render.resolution_percentage = round(100 * TRUTH_SCALE)
            channels = render.render(scene, options.scratch)
            picture = developed(render.linear_rgb(channels), portrait.exposure, 1)
            save_jpeg(options.truth / f"{portrait.name}_{kind}.jpg", picture, LARGEST // 3)
            if kind == "seen":
                save_truth(options.truth, portrait.name, channels)
            print(f"{portrait.name} {kind}: {time.time() - started:.1f} s", flush=True)
    (options.truth / "classes.json").write_text(json.dumps(labels.CLASSES))


if __name__ == "__main__":
    main()
