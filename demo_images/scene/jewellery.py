"""Jewellery: necklaces, earrings, rings, bands round limbs, watches, studs and clips."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from .assets import Floats
from .figure import Figure
from .objects import tube
from .worn import Worn, around, back_of_hand, balls, rigid, skin_weights, solid, strip, worn

Colour = tuple[float, float, float]
Lift = Callable[[Floats], Floats]
"""Metres of cloth over rest points of the skin."""

LIMBS = {
    "wrist": ("elbow", "hand", 0.86, 0.06),
    "forearm": ("elbow", "hand", 0.45, 0.09),
    "arm": ("shoulder", "elbow", 0.55, 0.12),
    "ankle": ("knee", "ankle", 0.90, 0.10),
}
"""Where a band sits: joints before and after, how far between them, farthest skin in metres."""


def jewellery(figure: Figure, item: dict[str, Any], lift: Lift) -> list[Worn]:
    """The objects of one item: its `kind` names a function here, the rest are its arguments.

    With `over` it lies on the clothes instead of below them.
    """
    what = dict(item)
    make = {"necklace": necklace, "earrings": earrings, "ring": ring, "band": band,
            "watch": watch, "stud": stud, "clip": clip}[what.pop("kind")]  # fmt: skip
    if what.pop("over", False):
        what["lift"] = lift
    return make(figure, **what)  # type: ignore[operator]


def _look(colour: Colour, metal: bool, rough: float = 0.25) -> Any:
    return solid("jewellery", "jewellery", colour, 1.0 if metal else 0.0, rough)


def necklace(
    figure: Figure, colour: Colour, low: float, beads: bool, thick: float | None = None,
    pendant: tuple[float, float, float] | None = None, pendant_colour: Colour | None = None,
    lift: Lift | None = None,
) -> list[Worn]:  # fmt: skip
    """A chain or a string of beads round the neck, lying on the skin.

    It hangs `low` metres below the neck in front, a choker with a negative `low` above it;
    `thick`: radius of chain or beads; `pendant`: half width, depth and height.
    """
    neck = figure.joint("neck")
    angle = np.linspace(0, 2 * np.pi, 120, endpoint=False)
    front = np.clip(-np.sin(angle), 0, 1)
    path = np.stack([0.085 * np.cos(angle), 0.075 * np.sin(angle), 0 * angle], 1) + neck
    path[:, 2] += 0.005 - (0.045 + max(low, 0)) * front**1.4
    path[:, 0] *= 1 - 0.35 * front**3
    radius = thick or (0.0032 if beads else 0.0011)
    choker = low < 0
    if choker:
        throat, out = around(figure, neck + np.array([0, 0, -low]), np.array([0, -0.35, 1.0]), 0.12)
        lying = throat + out * radius * 0.8
    else:
        found = [figure.nearest(point) for point in path]
        skin = np.array([place for place, _ in found])
        off = radius * 0.8 + (lift(skin) if lift else 0)
        lying = skin + np.array([normal for _, normal in found]) * np.reshape(off, (-1, 1))

    def weights(points: Floats) -> Floats:
        return skin_weights(figure, points) if choker else rigid(points, "chest")

    if beads:
        points, faces = balls(_spaced(lying, 2.05 * radius), np.full(3, radius))
    else:
        points, faces = tube(lying, radius, closed=True)
    made = [worn("necklace", points, faces, _look(colour, not beads), weights(points))]
    if pendant:
        lowest = lying[np.argmin(lying[:, 2] + 10 * (lying[:, 1] > neck[1]))]
        centre = lowest - [0, pendant[1] + radius, 0.8 * pendant[2]]
        points, faces = balls(centre[None], np.array(pendant))
        look = _look(pendant_colour or colour, pendant_colour is None)
        made.append(worn("pendant", points, faces, look, weights(points)))
    return made


def _spaced(path: Floats, apart: float) -> Floats:
    """Points evenly `apart` along a closed path."""
    closed = np.vstack([path, path[:1]])
    at = np.concatenate([[0], np.cumsum(np.linalg.norm(np.diff(closed, axis=0), axis=1))])
    wanted = np.linspace(0, at[-1], max(8, int(at[-1] / apart)), endpoint=False)
    return np.stack([np.interp(wanted, at, closed[:, k]) for k in range(3)], 1)


def earrings(
    figure: Figure, colour: Colour, hoop: bool, size: float = 0.014, drop: float = 0.0,
    metal: bool = True,
) -> list[Worn]:  # fmt: skip
    """Hoops of radius `size` at the lobes, or studs; `drop` metres below hangs another bead."""
    look = _look(colour, metal, 0.15)
    ears = figure.face_centres[figure.painted("mpfb_ears.jpg") > 0.5]
    made = []
    for sign in (1, -1):
        side = ears[ears[:, 0] * sign > 0]
        if not len(side):
            continue
        low = side[side[:, 2] < np.quantile(side[:, 2], 0.12)]
        lobe = low[np.argmax(low[:, 0] * sign)] + np.array([0, 0, 0.002])
        if hoop:
            angle = np.linspace(0, 2 * np.pi, 24, endpoint=False)
            circle = np.stack([0 * angle, size * np.cos(angle), size * np.sin(angle)], 1)
            centre = lobe + np.array([sign * 0.001, 0, -size])
            parts = [tube(circle + centre, 0.0010 + 0.02 * max(0.0, size - 0.014), closed=True)]
        else:
            parts = [balls(lobe[None] + [sign * 0.5 * size, 0, 0], np.full(3, size))]
        if drop:
            end = lobe - [-sign * 0.002, 0, drop]
            parts.append(tube(np.linspace(lobe, end, 3), 0.0007))
            parts.append(balls(end[None], np.array([0.6, 0.8, 1.2]) * max(0.003, 0.16 * drop)))
        made += [worn("earring", *part, look, rigid(part[0], "head")) for part in parts]
    return made


def ring(
    figure: Figure, colour: Colour, side: str, finger: int, width: float, stone: Colour | None
) -> list[Worn]:
    """A ring on a finger (2 the first, 5 the little one), `width` along it, metres."""
    first, second = (figure.joint(f"{side}-finger-{finger}-{k}") for k in (1, 2))
    at = first + 0.55 * (second - first)
    bone = f"finger{finger}1.{side.upper()}"
    points, faces = strip(figure, at, second - first, 0.02, width, 0.0009)
    made = [worn("ring", points, faces, _look(colour, True), rigid(points, bone))]
    if stone:
        lying, out = around(figure, at, second - first, 0.02)
        top = int(np.argmax(out[:, 2] - 0.3 * out[:, 1]))
        points, faces = balls((lying[top] + 0.002 * out[top])[None], np.full(3, 0.0035))
        made.append(worn("stone", points, faces, _look(stone, False, 0.1), rigid(points, bone)))
    return made


def _limb(figure: Figure, place: str, side: str) -> tuple[Floats, Floats, float]:
    before, after, share, reach = LIMBS[place]
    start, end = figure.joint(f"{side}-{before}"), figure.joint(f"{side}-{after}")
    return start + share * (end - start), end - start, reach


def band(
    figure: Figure, colour: Colour, place: str, side: str, width: float, thick: float = 0.0015,
    metal: bool = True, beads: bool = False, shift: float = 0.0, tilt: float = 0.0,
    lift: Lift | None = None,
) -> list[Worn]:  # fmt: skip
    """A bracelet, bangle, anklet or arm band at one of LIMBS; `shift` metres along the limb.

    With `beads` a string of beads `width` across; narrower than 4 mm a round wire.
    """
    at, axis, reach = _limb(figure, place, side)
    unit = axis / np.linalg.norm(axis)
    at, axis = at + shift * unit, unit + tilt * np.array([0.4, 1.0, 0.2])
    cloth = float(lift(at[None])[0]) if lift else 0.0
    if beads or width < 0.004:
        lying, out = around(figure, at, axis, reach)
        lying = lying + (cloth + 0.45 * width) * out
        if beads:
            points, faces = balls(_spaced(lying, 1.02 * width), np.full(3, width / 2))
        else:
            points, faces = tube(lying + thick * out, width / 2, closed=True)
    else:
        points, faces = strip(figure, at, axis, reach, width, thick + cloth)
    look = _look(colour, metal and not beads, 0.2 if metal else 0.5)
    return [worn("band", points, faces, look, skin_weights(figure, points))]


def watch(
    figure: Figure, colour: Colour, side: str, metal: bool, case: Colour, dial: Colour,
    lift: Lift | None = None,
) -> list[Worn]:  # fmt: skip
    """A strap of leather, cloth or metal round a wrist with a round case on its back."""
    made = band(figure, colour, "wrist", side, 0.018, 0.0022, metal, lift=lift)
    at, axis, reach = _limb(figure, "wrist", side)
    lying, out = around(figure, at, axis, reach)
    back = int(np.argmax(out @ back_of_hand(figure, side)))
    off = 0.004 + (float(lift(at[None])[0]) if lift else 0.0)
    across = np.cross(out[back], axis)
    across /= np.linalg.norm(across)
    along = np.cross(across, out[back])
    angle = np.linspace(0, 2 * np.pi, 24, endpoint=False)[:, None]
    circle = np.cos(angle) * across + np.sin(angle) * along
    middle = lying[back] + off * out[back]
    for radius, high, look in (
        (0.019, 0.004, _look(case, True)),
        (0.016, 0.0045, _look(dial, False, 0.1)),
    ):
        points = np.vstack([middle + radius * circle - 0.006 * out[back],
                            middle + radius * circle + high * out[back]])  # fmt: skip
        n = len(angle)
        faces = [[k, (k + 1) % n, n + (k + 1) % n, n + k] for k in range(n)]
        faces.append(list(range(n, 2 * n)))
        made.append(worn("case", points, faces, look, skin_weights(figure, points)))
    return made


def stud(figure: Figure, colour: Colour, place: str, side: int, size: float) -> list[Worn]:
    """A pierced stud or bead at 'nose', 'brow', 'lip' or 'septum'; `size`: radius, metres."""
    nose, mouth, eye = figure.nose_tip, figure.mouth, figure.eyes[0]
    x, z = {
        "nose": (0.0135, nose[2] - 0.001),
        "septum": (0.0, nose[2] - 0.011),
        "brow": (abs(eye[0]) + 0.016, eye[2] + 0.026),
        "lip": (0.012, mouth[2] - 0.014),
    }[place]
    points, faces = balls(figure.surface(side * x, z)[None], np.full(3, size))
    return [worn("stud", points, faces, _look(colour, True), rigid(points, "head"))]


def clip(figure: Figure, colour: Colour, side: int, size: float, metal: bool) -> list[Worn]:
    """A hair clip above a temple, `size` metres long."""
    eye = figure.eye_level
    place, normal = figure.nearest(eye + np.array([side * 0.075, 0.05, 0.07]))
    radii = np.array([0.004, size / 2, 0.004])
    points, faces = balls((place + 0.010 * normal)[None], radii)
    return [worn("clip", points, faces, _look(colour, metal), rigid(points, "head"))]
