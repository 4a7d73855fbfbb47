"""Drawn pictures laid on skin: flat from one side, or wound round a limb."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import bpy
import numpy as np
from mathutils import Vector

from . import labels, motifs
from .assets import Floats
from .figure import Figure
from .motifs import Picture
from .nodes import Nodes
from .zones import hand_axes

LIMBS = {
    "upperarm": ("shoulder", "elbow", ("arm",)),
    "forearm": ("elbow", "hand", ("arm",)),
    "thigh": ("upper-leg", "knee", ("leg",)),
    "shin": ("knee", "ankle", ("leg",)),
}
"""Joints at both ends of a limb's stretch and the body parts it belongs to."""

FACE_SPOTS = {
    "face": (0.0, -0.025),
    "cheek": (0.045, -0.045),
    "temple": (0.055, 0.015),
    "forehead": (0.02, 0.055),
    "jaw": (0.045, -0.09),
}
"""Places of a face: distance from the middle and height above the eyes, metres."""

DEPTH = {"thigh": 0.05, "torso": 0.09, "face": 0.11, "hand": 0.014, "neck": 0.035, "foot": 0.03}
"""Metres below its highest point that a flat picture reaches on round parts."""


@dataclass(frozen=True)
class Mark:
    """One tattoo, scar or painting on skin: motif, place, height in metres.

    `site`: a limb with 'l-' or 'r-' before it, or one of 'chest', 'back', 'belly', 'nape',
    'neck', 'hand', 'foot', with a side before it too; `along`: 0 to 1 down the limb or from the
    middle outwards; `about`: degrees round it; `turn`: degrees in its own plane;
    `label`: 'tattoo', 'paint' or, where skin stays skin, ''.
    """

    motif: str
    site: str
    size: float
    inks: tuple[motifs.Colour, ...]
    opacity: float = 0.9
    along: float = 0.5
    about: float = 0.0
    turn: float = 0.0
    wound: bool = False
    seed: int = 0
    label: str = "tattoo"


@dataclass(frozen=True)
class Projection:
    """Where a picture lies: its middle, its axes to the right, up and out of the skin (unit).

    `size`: width and height in metres; a `wound` one goes round its up axis once, its middle at
    the middle of its height.
    """

    middle: Floats
    right: Floats
    up: Floats
    out: Floats
    size: tuple[float, float]
    depth: float
    parts: tuple[str, ...]
    side: int = 0
    wound: bool = False


def projection(figure: Figure, mark: Mark) -> Projection:
    """Where a tattoo lies on a figure at rest."""
    letter, name = mark.site.split("-", 1)
    side = 1 if letter == "l" else -1
    size = (mark.size * motifs.WIDE.get(mark.motif, 1.0), mark.size)
    if name in LIMBS:
        first, last, parts = LIMBS[name]
        start, end = figure.joint(f"{letter}-{first}"), figure.joint(f"{letter}-{last}")
        down = (end - start) / np.linalg.norm(end - start)
        front = _across(np.array([0.0, -1.0, 0.0]), down)
        outward = np.cross(front, down) * side
        outward *= np.sign(outward[0]) * side or 1
        angle = np.radians(mark.about)
        out = np.cos(angle) * front + np.sin(angle) * outward
        middle = start + mark.along * (end - start)
        if mark.wound:
            return Projection(
                middle, np.cross(-down, out), -down, out, size, 0.13, parts, side, True
            )
        up = -down
    else:
        middle, out, up, parts = _elsewhere(figure, name, letter, side, mark.along)
    hit = figure.tree.ray_cast(Vector(middle), Vector(out), 0.3)[0]
    middle = np.array(hit) if hit is not None else middle
    right = np.cross(up, out)
    angle = np.radians(mark.turn)
    right, up = (np.cos(angle) * right + np.sin(angle) * up,
                 np.cos(angle) * up - np.sin(angle) * right)  # fmt: skip
    depth = DEPTH.get(parts[0] if parts[0] in DEPTH else name, 0.03)
    limb = name in LIMBS or name in ("hand", "foot")
    return Projection(middle, right, up, out, size, depth, parts, side if limb else 0)


def spot(figure: Figure, site: str, along: float, about: float) -> Floats:
    """A point of the skin at rest, placed as a tattoo is."""
    return projection(figure, Mark("small", site, 0.1, (), 1.0, along, about)).middle


def _elsewhere(
    figure: Figure, name: str, letter: str, side: int, along: float
) -> tuple[Floats, Floats, Floats, tuple[str, ...]]:
    """A point within the body, the way out of it to the picture, up, and parts."""
    up = np.array([0.0, 0.0, 1.0])
    if name in ("hand", "foot"):
        root = figure.joint(f"{letter}-{'hand' if name == 'hand' else 'ankle'}")
        tip = figure.joint(f"{letter}-{'finger-3-1' if name == 'hand' else 'toe-3-1'}")
        ahead = (tip - root) / np.linalg.norm(tip - root)
        out = hand_axes(figure, letter, side)[1] if name == "hand" else _across(up, ahead)
        return root + (0.2 + 0.6 * along) * (tip - root), out, -ahead, (name,)
    neck, pelvis = figure.joint("neck"), figure.joint("pelvis")
    if name == "neck":
        level = 0.5 * (neck + figure.joint("head"))
        angle = np.radians(40 + 80 * along)
        out = np.array([side * np.sin(angle), -np.cos(angle), 0.0])
        return level, out, up, ("neck", "torso")
    if name == "nape":
        return neck + np.array([0.0, 0.0, 0.03]), np.array([0.0, 1.0, 0.0]), up, ("neck", "torso")
    if name in FACE_SPOTS:
        x, height = FACE_SPOTS[name]
        middle = figure.surface(side * x, figure.eye_level[2] + height)
        return middle + np.array([0, 0.05, 0]), np.array([0.0, -1.0, 0.0]), up, ("face", "ear")
    heights = {"chest": 0.20, "back": 0.25, "belly": 0.62}
    level = neck + heights[name] * (pelvis - neck)
    level = level + np.array([side * 0.13 * along, 0.0, 0.0])
    front = np.array([0.0, 1.0 if name == "back" else -1.0, 0.0])
    return level, front, up, ("torso",)


def _across(way: Floats, axis: Floats) -> Floats:
    way = way - axis * (way @ axis)
    return way / np.linalg.norm(way)


def lay(nodes: Nodes, rest: Any, part: Any, picture: Picture, at: Projection) -> tuple[Any, Any]:
    """Colour and ink share of a picture on the skin."""
    offset = nodes.vector("SUBTRACT", rest, at.middle).outputs[0]

    def dot(axis: Floats) -> Any:
        return nodes.vector("DOT_PRODUCT", offset, axis).outputs["Value"]

    high = nodes.add(dot(at.up / at.size[1]), 0.5)
    if at.wound:
        angle = nodes.math("ARCTAN2", dot(at.right), dot(at.out))
        across = nodes.add(nodes.mul(angle, 1 / (2 * np.pi)), 0.5)
        inside = nodes.math("LESS_THAN", nodes.math("ABSOLUTE", nodes.add(high, -0.5)), 0.5)
    else:
        across = nodes.add(dot(at.right / at.size[0]), 0.5)
        inside = nodes.above(dot(at.out), -at.depth)
    node = nodes.node("ShaderNodeTexImage", extension="REPEAT" if at.wound else "CLIP")
    node.image = stored(picture)
    nodes.feed(nodes.joined(across, high, 0.0), node.inputs[0])
    here = [nodes.is_index(part, labels.CLASSES.index(name)) for name in at.parts]
    share = nodes.mul(node.outputs["Alpha"], inside, nodes.add(*here))
    if at.side:
        share = nodes.mul(share, nodes.above(nodes.mul(nodes.split(rest)[0], float(at.side)), 0.0))
    return node.outputs["Color"], share


def stored(picture: Picture) -> Any:
    """A picture as an image of the scene."""
    height, width = picture.shape[:2]
    image = bpy.data.images.new("decal", width, height, alpha=True)
    image.alpha_mode = "CHANNEL_PACKED"
    coded = picture.copy()
    colour = np.clip(picture[..., :3], 0, 1)
    coded[..., :3] = np.where(
        colour > 0.0031308, 1.055 * colour ** (1 / 2.4) - 0.055, 12.92 * colour
    )
    image.pixels.foreach_set(coded[::-1].astype(np.float32).ravel())
    image.pack()
    return image
