"""Render labelled views of invented people for training and measuring.

    python views.py --parts FOLDER --out VIEWS --scenes 0:200 --views 12 --size 448

One scene is one seed: the same people, clothes and background from several sides, in several
poses and lights. Every third seed belongs to the test split. `--pictures` writes larger JPEG
pictures with PNG labels instead of archives. Skin is matt: its relief and the light under it do
not show at about a millimetre a pixel. On a processor a view of 288 pixels with 2 samples takes
about three seconds of one core.
"""

from __future__ import annotations

import argparse
import json
import subprocess
import sys
import time
import traceback
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image
from scene import labels, render
from scene.assets import Assets, Floats
from scene.backdrop import Surround, clutter, ground
from scene.camera import Camera, Shot, far
from scene.figure import Place
from scene.light import Heavens, random_light
from scene.person import Person, PersonSpec
from scene.pose import turn
from scene.shape import Build
from scene.skin import Complexion, base_colour
from scene.stored_views import View, save_scene
from scene.variation import (
    AIMS,
    FRAMINGS,
    USUAL_FRAMINGS,
    random_backdrop,
    random_direction,
    random_ground,
    random_head,
    random_person,
    random_pose,
)

USUAL = 0.5
"""Share of scenes with people as photographers mostly meet them: dressed, upright, from in front,
in neutral light. The others show what is rare and hard."""

TEST_EVERY = 3
"""Seeds that this divides belong to the test split."""

VIEWS_PER_POSE = 4
"""Cameras and lights tried on a pose before people move again."""

BOUNCES = 2
"""Bounces of light."""


class Scene:
    """People, clutter and a camera from one seed."""

    def __init__(self, assets: Assets, seed: int, size: int, samples: int):
        self.rng = np.random.default_rng(seed)
        self.size = size
        self.scene = render.empty_scene()
        render.prepare(self.scene, size, size, samples, seed, quick=True)
        rng = self.rng
        self.scene.cycles.max_bounces = BOUNCES
        self.scene.cycles.denoising_quality = "FAST"
        count = 1 if rng.random() < 0.8 else int(rng.integers(2, 5))
        density = 0.45 if count == 1 else 0.3
        self.usual = bool(rng.random() < USUAL)
        self.specs = [random_person(assets, rng, self.usual) for _ in range(count)]
        self.specs = [replace(s, complexion=replace(s.complexion, matt=True)) for s in self.specs]
        self.people = [
            Person(assets, s, seed * 10 + k, 1, density) for k, s in enumerate(self.specs)
        ]
        for number, person in enumerate(self.people, start=1):
            person.body.pass_index = number
        self.tone = self.specs[0].complexion.tone
        self.statue = self._statue(assets) if rng.random() < 0.12 else None
        colours = [
            tuple(base_colour(self.tone) * rng.uniform(0.7, 1.3)),
            tuple(base_colour(float(rng.uniform(1, 9)))),
            (0.3, 0.3, 0.3),
            (0.5, 0.2, 0.1),
            (0.22, 0.09, 0.04),
            (0.7, 0.45, 0.3),
        ]
        if rng.random() < 0.45:
            clutter(rng, int(rng.integers(2, 9)), colours)
        if rng.random() < 0.6:
            ground(random_ground(rng), float(rng.uniform(0, 50)))
        self.backdrop = random_backdrop(rng, self.tone)
        Surround(self.backdrop, float(rng.uniform(2.5, 7)))
        self.camera = Camera()
        self.heavens = Heavens(rng)
        self.poses: list[str] = []

    def _statue(self, assets: Assets) -> Person:
        rng = self.rng
        stone = tuple(
            float(c) for c in base_colour(float(rng.uniform(1, 9))) * rng.uniform(0.8, 1.3)
        )
        spec = PersonSpec(
            Build(float(rng.random()), 0.2, 0.0, (0.5, 0.2, 0.3)),
            Complexion(5),
            statue=stone if rng.random() < 0.5 else (0.5, 0.5, 0.48),  # type: ignore[arg-type]
        )
        return Person(assets, spec, int(rng.integers(1 << 30)), 1, 0.3)

    def move_people(self) -> None:
        """New poses and places for everybody."""
        rng = self.rng
        count = len(self.people)
        self.poses = []
        self.places = []
        hug = count > 1 and rng.random() < 0.4
        for k, person in enumerate(self.people):
            x = (k - (count - 1) / 2) * float(rng.uniform(*((0.2, 0.34) if hug else (0.38, 0.6))))
            y = float(rng.normal(0, 0.12)) if count > 1 else 0.0
            yaw = float(rng.normal(0, 18)) - (45 if hug else 20) * np.sign(x) * (count > 1)
            pose, name = random_pose(
                rng, person.figure, random_head(rng, self.usual), hug, self.usual
            )
            place = Place(x, y, yaw)
            person.pose(pose, place)
            self.places.append((pose, place))
            self.poses.append(name)
        if self.statue:
            pose, _ = random_pose(rng, self.statue.figure, random_head(rng))
            place = Place(
                float(rng.choice([-1, 1]) * rng.uniform(0.5, 1)), float(rng.uniform(0.4, 1.2)), 0
            )
            self.statue.pose(pose, place)

    def light_up(self, azimuth: float, subject: Floats) -> str:
        """A new light on a subject for a camera direction."""
        light = random_light(self.rng, self.usual)
        self.heavens.shine(light, float(np.radians(azimuth)), subject)
        return light.name

    def shoot(self, scratch: Path) -> View:
        """Choose a camera and a light and render."""
        rng = self.rng
        framings = USUAL_FRAMINGS if self.usual else FRAMINGS
        chances = np.array([chance for _, chance in framings])
        framing = framings[int(rng.choice(len(chances), p=chances))][0]
        chosen = int(rng.integers(len(self.people)))
        height = float(rng.uniform(*framing.height))
        group = len(self.people) > 1 and framing.name in ("bust", "half", "full")
        if group:
            height *= 1 + (0.1 if framing.name == "full" else 0.35) * (len(self.people) - 1)
        target = self._target(self.people[chosen], framing.name, height, group)
        direction = random_direction(rng, framing.name, self.usual)
        azimuth = float(self.places[chosen][1].yaw + direction.around)
        lens = float(np.exp(rng.uniform(np.log(35), np.log(135))))
        lowest = np.degrees(np.arcsin(np.clip((0.1 - target[2]) / far(height, lens), -1, 0.3)))
        shot = Shot(
            tuple(target), azimuth, max(direction.up, float(lowest)), height, lens, direction.roll,
            float(rng.choice([1.8, 2.8, 5.6])) if rng.random() < 0.3 else None,
        )  # fmt: skip
        self.camera.take(shot)
        light = self.light_up(azimuth, target)
        channels = render.render(self.scene, scratch)
        return self._view(channels, framing.name, light, azimuth, height)

    def _target(self, person: Person, framing: str, height: float, group: bool) -> Floats:
        rng, figure = self.rng, person.figure
        eye = person.landmark(figure.eye_level + np.array([0, 0.03, 0]))
        if group:
            eyes = [p.landmark(p.figure.eye_level) for p in self.people]
            eye = np.mean(eyes, 0)
        stray = rng.normal(0, 0.08 if rng.random() < 0.8 else 0.3, 3) * height
        if framing == "face":
            return eye + np.array([0, 0, -0.03]) + stray
        if framing == "bust":
            return eye + np.array([0, 0, -0.22 * height]) + stray
        if framing == "half":
            return eye + np.array([0, 0, -0.33 * height]) + stray
        if framing == "full":
            return np.array([eye[0], eye[1], 0.85]) + 0.5 * stray
        joint, bone = AIMS[framing]
        side = str(rng.choice(["l", "r"]))
        return person.landmark(figure.joint(f"{side}-{joint}"), f"{bone}.{side.upper()}") + stray

    def _view(
        self, channels: dict[str, Any], framing: str, light: str, azimuth: float, height: float
    ) -> View:
        mm_per_pixel = height * 1000 / self.size
        cover = labels.with_skin_between_hairs(labels.coverage(channels), mm_per_pixel)
        rgb, exposure = _metered(render.linear_rgb(channels), 1 - cover[..., 0])
        facts = {
            "frame": framing,
            "light": light,
            "background": self.backdrop.kind,
            "poses": self.poses,
            "exposure_ev": round(float(np.log2(exposure)), 2),
            "head": [self._head_turn(pose, place, azimuth) for pose, place in self.places],
            "heads": [self._head_box(person) for person in self.people],
        }
        body = np.maximum(channels["body"], 1e-3)
        known = channels["body"] > 0.2
        place = np.stack([channels[f"{labels.PLACE}.{c}"] for c in "RGB"], -1) / body[..., None]
        return View(
            rgb=rgb,
            label=cover.argmax(-1).astype(np.uint8),
            skin=_byte(cover[..., list(labels.SKIN)].sum(-1)),
            keep=_byte(cover[..., list(labels.KEPT)].sum(-1)),
            normal=np.where(known[..., None], render.normals(channels), 0).astype(np.float32),
            place=np.where(known[..., None], place, 0).astype(np.float32),
            who=np.where(known, np.rint(channels["who"] / body), 0).astype(np.uint8),
            gloss=render.gloss_share(channels),
            facts=facts,
        )

    def _head_turn(self, pose: Any, place: Place, azimuth: float) -> list[float]:
        """Yaw, pitch, roll of a head against the camera's direction, degrees."""
        towards = turn(place.yaw - azimuth, 0, 0) @ turn(*pose.lean) @ turn(*pose.head)
        ahead, left = towards @ [0, 0, 1], towards @ [1, 0, 0]
        yaw = np.degrees(np.arctan2(ahead[0], ahead[2]))
        pitch = np.degrees(np.arcsin(np.clip(ahead[1], -1, 1)))
        roll = np.degrees(np.arctan2(left[1], np.hypot(left[0], left[2])))
        return [round(float(a), 1) for a in (yaw, pitch, roll)]

    def _head_box(self, person: Person) -> list[int] | None:
        seen = self.camera.project(person.head_points, self.size, self.size)
        if seen[:, 2].min() <= 0:
            return None
        low, high = seen[:, :2].min(0), seen[:, :2].max(0)
        if (high < 0).any() or (low > self.size).any():
            return None
        return [int(v) for v in (*low, *high)]


def _metered(
    rgb: NDArray[np.float32], person: NDArray[np.float32]
) -> tuple[NDArray[np.float32], float]:
    """Exposed as a camera would: middle grey on the whole, people mostly below white."""
    luminance = np.clip(rgb @ np.array([0.2126, 0.7152, 0.0722], np.float32), 1e-5, None)
    grey = float(np.exp(np.log(luminance).mean()))
    scale = 0.17 / grey
    mine = luminance[person > 0.5]
    if len(mine) > 50:
        scale = float(
            np.exp(0.5 * np.log(scale) + 0.5 * np.log(0.25 / np.exp(np.log(mine).mean())))
        )
        scale = min(scale, 1.6 / float(np.quantile(mine, 0.98)))
    return rgb * np.float32(scale), scale


def _byte(share: NDArray[np.float32]) -> NDArray[np.uint8]:
    return (np.clip(share, 0, 1) * 255 + 0.5).astype(np.uint8)


def meta(scene: Scene, seed: int, views: list[View]) -> dict[str, Any]:
    """What a scene's JSON says."""
    return {
        "seed": seed,
        "split": "test" if seed % TEST_EVERY == 0 else "train",
        "size": scene.size,
        "usual": scene.usual,
        "people": [spec.meta for spec in scene.specs],
    }


def save_pictures(out: Path, seed: int, views: list[View], facts: dict[str, Any]) -> None:
    """Each view as an sRGB JPEG with PNG labels."""
    for k, view in enumerate(views):
        stem = f"view_{seed:06d}_{k}"
        Image.fromarray(_srgb(view.rgb)).save(out / f"{stem}.jpg", quality=92, subsampling=0)
        Image.fromarray(view.label).save(out / f"{stem}_label.png", optimize=True)
        Image.fromarray(view.skin).save(out / f"{stem}_skin.png", optimize=True)
        one = {**facts, "views": [view.facts]}
        (out / f"{stem}_meta.json").write_text(json.dumps(one))


def _srgb(rgb: NDArray[np.float32]) -> NDArray[np.uint8]:
    """SRGB code values with a soft shoulder above 0.6."""
    bright = np.where(
        rgb > 0.6, 0.6 + 0.4 * (1 - np.exp(-(rgb - 0.6) / 0.4)), np.clip(rgb, 0, None)
    )
    coded = np.where(bright > 0.0031308, 1.055 * bright ** (1 / 2.4) - 0.055, 12.92 * bright)
    return (np.clip(coded, 0, 1) * 255 + 0.5).astype(np.uint8)


def work(options: argparse.Namespace, seeds: list[int]) -> None:
    """Render some scenes, one after another, until the time is up."""
    assets = Assets(options.parts)
    end = time.time() + options.minutes * 60
    for seed in seeds:
        if time.time() > end:
            break
        if (options.out / f"scene_{seed:06d}.zip").exists():
            continue
        started = time.time()
        try:
            scene = Scene(assets, seed, options.size, options.samples)
            built = time.time()
            views = []
            for k in range(options.views):
                if views and time.time() > end:
                    break
                if k % VIEWS_PER_POSE == 0:
                    scene.move_people()
                views.append(scene.shoot(options.scratch))
            facts = meta(scene, seed, views)
            if options.pictures:
                save_pictures(options.out, seed, views, facts)
            else:
                save_scene(options.out / f"scene_{seed:06d}.zip", views, facts)
            print(f"scene {seed}: built {built - started:.1f} s, {len(views)} views "
                  f"{time.time() - built:.1f} s", flush=True)  # fmt: skip
        except Exception:  # one bad scene must not stop the others
            print(f"scene {seed} failed", flush=True)
            traceback.print_exc()


def main() -> None:
    """Share the scenes among worker processes."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--parts", type=Path, required=True, help="folder of meshes and targets")
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--scenes", default="0:10", help="first:end seeds")
    parser.add_argument("--views", type=int, default=12)
    parser.add_argument("--size", type=int, default=448)
    parser.add_argument("--samples", type=int, default=20)
    parser.add_argument("--workers", type=int, default=1)
    parser.add_argument("--minutes", type=float, default=1e6, help="start no scene after this")
    parser.add_argument("--only", choices=["train", "test"], help="one split only")
    parser.add_argument("--pictures", action="store_true", help="JPEG and PNG instead of archives")
    parser.add_argument("--scratch", type=Path, default=Path("/dev/shm"))
    parser.add_argument("--share", default="", help=argparse.SUPPRESS)
    options = parser.parse_args()
    options.out.mkdir(parents=True, exist_ok=True)
    first, end = (int(n) for n in options.scenes.split(":"))
    seeds = [
        s for s in range(first, end)
        if not options.only or (s % TEST_EVERY == 0) == (options.only == "test")
    ]  # fmt: skip
    if options.share:
        mine, of = (int(n) for n in options.share.split("/"))
        work(options, seeds[mine::of])
    elif options.workers == 1:
        work(options, seeds)
    else:
        command = [sys.executable, *sys.argv]
        workers = [
            subprocess.Popen([*command, "--share", f"{k}/{options.workers}"])
            for k in range(options.workers)
        ]
        for worker in workers:
            worker.wait()


if __name__ == "__main__":
    main()
