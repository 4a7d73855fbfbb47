"""Things in a hand: handles, balls, boxes. They belong to the background."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from .figure import Figure
from .nodes import material
from .objects import tube
from .worn import Worn, back_of_hand, balls, rigid, worn

Colour = tuple[float, float, float]


@dataclass(frozen=True)
class Held:
    """A thing in the `side` hand: `kind` 'bar', 'ball' or 'box', `size` metres across, `length`."""

    kind: str
    side: str
    colour: Colour
    size: float
    length: float = 0.5
    rough: float = 0.5


def build_held(figure: Figure, thing: Held) -> Worn:
    """The thing before the palm, rigid with the hand."""
    side = thing.side
    wrist, middle, first, last = (
        figure.joint(f"{side}-{j}") for j in ("hand", "finger-3-1", "finger-2-1", "finger-5-1")
    )
    back = back_of_hand(figure, side)
    across = (first - last) / np.linalg.norm(first - last)
    palm = wrist + 0.9 * (middle - wrist) - (0.014 + thing.size / 2) * back
    subdivide = 0
    if thing.kind == "bar":
        path = palm + np.linspace(-0.4, 0.6, 4)[:, None] * thing.length * across
        points, faces = tube(path, thing.size / 2, 14)
        faces += [list(range(14)), list(range(len(points) - 14, len(points)))]
    elif thing.kind == "ball":
        points, faces = balls(palm[None], np.full(3, thing.size / 2))
        subdivide = 2
    else:
        ahead = np.cross(across, back)
        corners = np.array([(x, y, z) for x in (-1, 1) for y in (-1, 1) for z in (-1, 1)])
        reach = np.stack([across * thing.length, ahead * thing.length, back * thing.size]) / 2
        points = palm + corners * [0.5, 0.9, 1] @ reach
        faces = [[0, 1, 3, 2], [4, 6, 7, 5], [0, 4, 5, 1], [2, 3, 7, 6], [0, 2, 6, 4], [1, 5, 7, 3]]
    look = _look(thing)
    return worn("held", points, faces, look, rigid(points, f"hand.{side.upper()}"), subdivide)


def _look(thing: Held) -> Any:
    made, nodes = material("held")
    place = nodes.node("ShaderNodeTexCoord").outputs["Generated"]
    grain = nodes.add(1.0, nodes.mul(nodes.noise(place, 6, 4), 0.7))
    colour = nodes.colour([nodes.mul(grain, c) for c in thing.colour])
    nodes.surface(nodes.principled(Base_Color=colour, Roughness=thing.rough))
    return made
