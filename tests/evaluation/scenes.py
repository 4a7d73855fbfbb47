"""What the engine does to the demo people, against the same people without sunburn and blemishes.

``python -m tests.evaluation.scenes`` prints, for every scene of `tests/scenes`: the mean CIEDE2000
of burnt skin to clean before and after, how far unburnt skin moves, and the share of each kept
part's pixels that changes at all, away from its edge; and on the large portraits of `demo_images`
the energy of the texture and blotch bands that is left. The scenes are rendered, so their truth is
exact. Differences are scikit-image's CIEDE2000 of its own L*a*b* (D65). Burns are pointed at, once
in each piece, as a photographer would; everything else is at its default.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import cv2
import numpy as np
import numpy.typing as npt
import skimage.color

from evenhand import layers as layering
from evenhand import photo
from evenhand.computing import RetouchSettings, compute_layers, strengths_of
from evenhand.people.finding import find_people
from evenhand.people.person import Person
from evenhand.photo.photograph import Photograph
from evenhand.steps.redness import RednessSettings
from tests.evaluation.pointing import amid_each_piece
from tests.pictures import pixels_in

ROOT = Path(__file__).parents[2]
SCENES, PORTRAITS = ROOT / "tests" / "scenes", ROOT / "demo_images"
NAMES = sorted(path.name.removesuffix("_seen.jpg") for path in SCENES.glob("*_seen.jpg"))
BURNT = [name for name in NAMES if (SCENES / f"{name}_burn.png").exists()]
KEPT = ("eye", "brow", "lip", "hair", "cloth")

SEEN_BURN = 0.3
"""Strength of a rendered burn from which it is seen."""

FEATHER_MM = 2.0
"""Width of the edge in which a mask may fade into a kept part, millimetres on skin."""

TEXTURE_MM, BLOTCH_MM = 1.2, 10.0
"""Texture is finer than the first, blotch lies between the two: full widths at half maximum."""

FWHM = 2.3548
"""Of a Gaussian, in deviations."""


@dataclass(frozen=True)
class Retouched:
    """A picture before and after, and who is in it."""

    before: npt.NDArray[np.uint8]
    after: npt.NDArray[np.uint8]
    people: list[Person]

    @property
    def skin(self) -> npt.NDArray[np.float32]:
        """Union of everybody's skin masks."""
        frame = Photograph(self.before).frame
        return np.maximum.reduce([person.skin(frame) for person in self.people])

    @property
    def mm_per_pixel(self) -> float:
        """Of the person nearest to the camera."""
        return min(person.scale.mm_per_pixel for person in self.people)


@lru_cache(maxsize=len(NAMES))
def retouched(path: Path, burnt_at: tuple[tuple[int, int], ...] = ()) -> Retouched:
    """A picture at default settings, with points on burnt skin."""
    photograph = photo.read(path)
    settings = RetouchSettings(redness=RednessSettings(burnt_at=burnt_at))
    people = find_people(photograph)
    layers = compute_layers(photograph, people, settings)
    after = layering.blend(photograph, layers, strengths_of(layers))
    return Retouched(np.asarray(photograph.pixels), after, people)


def scene(name: str) -> Retouched:
    """A scene, its burns pointed at."""
    points = amid_each_piece(truth(name, "burn") > SEEN_BURN) if name in BURNT else ()
    return retouched(SCENES / f"{name}_seen.jpg", points)


def burnt(name: str) -> tuple[float, float]:
    """Mean CIEDE2000 of burnt skin to the same skin unburnt, before and after."""
    made, clean = scene(name), pixels_in(SCENES / f"{name}_clean.jpg")
    where = (truth(name, "burn") > SEEN_BURN) & (truth(name, "skin") > 0.9)
    before, after = (apart(seen[where], clean[where]) for seen in (made.before, made.after))
    return float(before.mean()), float(after.mean())


def unburnt(name: str) -> float:
    """Mean CIEDE2000 by which skin without sunburn and blemishes moves."""
    made = scene(name)
    where = truth(name, "skin") > 0.9
    for change in ("burn", "blemish"):
        if (SCENES / f"{name}_{change}.png").exists():
            where &= truth(name, change) < 0.02
    return float(apart(made.before[where], made.after[where]).mean())


def kept_changed(name: str, part: str) -> float:
    """Share of a kept part's pixels, away from its edge, that change at all."""
    made = scene(name)
    classes = json.loads((SCENES / "classes.json").read_text())
    label = pixels_in(SCENES / f"{name}_label.png").squeeze()
    feather = int(np.ceil(FEATHER_MM / made.mm_per_pixel)) + 1
    part_only = (label == classes.index(part)).astype(np.uint8)
    inside = cv2.erode(part_only, np.ones((3, 3)), None, iterations=feather) > 0
    changed = (made.before != made.after).any(axis=-1)
    return float(changed[inside].mean()) if inside.any() else 0.0


def bands_left(name: str) -> tuple[float, float]:
    """Energy of the texture and of the blotch band left in the skin of a large portrait."""
    made = retouched(PORTRAITS / f"{name}.jpg")
    inside = cv2.erode((made.skin > 0.99).astype(np.uint8), np.ones((9, 9))) > 0
    skin = inside.astype(np.float32)
    texture, blotch = zip(
        *(_band_energies(pixels, skin, made.mm_per_pixel) for pixels in (made.before, made.after)),
        strict=True,
    )
    return texture[1] / texture[0], blotch[1] / blotch[0]


def truth_on_edges(name: str) -> tuple[float, float]:
    """Mean lightness step along the outline of skin as its truth says, and as mirrored."""
    lightness = skimage.color.rgb2lab(pixels_in(SCENES / f"{name}_seen.jpg") / 255)[..., 0]
    steps = cv2.morphologyEx(lightness, cv2.MORPH_GRADIENT, np.ones((3, 3)))
    skin = (truth(name, "skin") > 0.5).astype(np.uint8)
    outline = cv2.morphologyEx(skin, cv2.MORPH_GRADIENT, np.ones((3, 3))) > 0
    return float(steps[outline].mean()), float(steps[outline[:, ::-1]].mean())


def truth(name: str, what: str) -> npt.NDArray[np.float32]:
    """A map of the scene, 0 to 1."""
    return pixels_in(SCENES / f"{name}_{what}.png").squeeze().astype(np.float32) / 255


def apart(one: npt.NDArray[np.uint8], other: npt.NDArray[np.uint8]) -> npt.NDArray[np.float64]:
    """CIEDE2000 of sRGB pixels, shape (n, 3), to others, shape (n,)."""
    first, second = skimage.color.rgb2lab(one / 255), skimage.color.rgb2lab(other / 255)
    return skimage.color.deltaE_ciede2000(first, second)


def _band_energies(
    pixels: npt.NDArray[np.uint8], skin: npt.NDArray[np.float32], mm_per_pixel: float
) -> tuple[float, float]:
    lightness = skimage.color.rgb2lab(pixels / 255)[..., 0].astype(np.float32)

    def smooth(mm: float) -> npt.NDArray[np.float32]:
        sigma = mm / FWHM / mm_per_pixel
        total = cv2.GaussianBlur(lightness * skin, None, sigma)
        return total / (cv2.GaussianBlur(skin, None, sigma) + 1e-6)

    fine, coarse = smooth(TEXTURE_MM), smooth(BLOTCH_MM)
    where = skin > 0
    return float(((lightness - fine)[where] ** 2).mean()), float(
        ((fine - coarse)[where] ** 2).mean()
    )


def main() -> None:
    """Print the table."""
    print(f"{'scene':12}{'burnt: before':>14}{'after':>7}{'less':>7}{'unburnt':>9}", end="")
    print("".join(f"{part:>8}" for part in KEPT), f"{'texture':>9}{'blotch':>8}")
    for name in NAMES:
        line = f"{name:12}"
        if name in BURNT:
            before, after = burnt(name)
            line += f"{before:14.2f}{after:7.2f}{1 - after / before:7.0%}"
        else:
            line += f"{'':28}"
        line += f"{unburnt(name):9.2f}"
        line += "".join(f"{kept_changed(name, part):8.2%}" for part in KEPT)
        texture, blotch = bands_left(name)
        print(f"{line} {texture:9.1%}{blotch:8.1%}", flush=True)


if __name__ == "__main__":
    main()
