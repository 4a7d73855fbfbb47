"""Things that are worn: an object with its rest points and the weights that move it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from mathutils import Vector

from . import labels
from .assets import Floats
from .figure import Figure
from .nodes import material
from .objects import object_from_mesh
from .pose import BONE_NAMES

Colour = tuple[float, float, float]


@dataclass
class Worn:
    """An object with its rest points; `weights` over bones moves it."""

    made: Any
    points: Floats
    weights: Floats


def solid(name: str, label: str, colour: Colour, metallic: float, rough: float) -> Any:
    """A plain opaque material whose pixels belong to the class `label`."""
    made, nodes = material(name)
    nodes.surface(nodes.principled(Base_Color=colour, Metallic=metallic, Roughness=rough))
    labels.write(nodes, {label: 1.0})
    return made


def worn(
    name: str, points: Floats, faces: list, look: Any, weights: Floats, subdivide: int = 0
) -> Worn:
    """A smooth mesh of rest points (n, 3), moved by `weights` (n, bones)."""
    made = object_from_mesh(name, points, faces, None, subdivide)
    made.data.materials.append(look)
    return Worn(made, points, weights)


def rigid(points: Floats, bone: str) -> Floats:
    """Weights that move all points with one bone."""
    weights = np.zeros((len(points), len(BONE_NAMES)))
    weights[:, BONE_NAMES.index(bone)] = 1
    return weights


def skin_weights(figure: Figure, points: Floats) -> Floats:
    """Weights of the skin nearest to each rest point, so that what lies on it follows it."""
    faces = [figure.faces[figure.tree.find_nearest(Vector(p))[2]] for p in points]
    return np.array([figure.weights[face].mean(0) for face in faces])


def back_of_hand(figure: Figure, side: str) -> Floats:
    """Direction out of the back of a hand at rest."""
    wrist, first, last, thumb, elbow = (
        figure.joint(f"{side}-{joint}")
        for joint in ("hand", "finger-2-1", "finger-5-1", "finger-1-3", "elbow")
    )
    back = np.cross(first - wrist, last - wrist)
    back /= np.linalg.norm(back)
    outward = np.cross(wrist - elbow, thumb - wrist) * (1 if side == "l" else -1)
    return -back if back @ outward < 0 else back


def around(
    figure: Figure, centre: Floats, axis: Floats, reach: float, count: int = 32
) -> tuple[Floats, Floats]:
    """Points of the skin (count, 3) in a ring round a limb, and the directions outwards.

    Rays run from `centre`, inside the limb, at right angles to `axis`; `reach` is the farthest
    skin looked for, metres.
    """
    axis = axis / np.linalg.norm(axis)
    first = np.cross(axis, [0.05, 1, 0.03])
    first /= np.linalg.norm(first)
    second = np.cross(axis, first)
    angle = np.linspace(0, 2 * np.pi, count, endpoint=False)[:, None]
    out = np.cos(angle) * first + np.sin(angle) * second
    hits = [figure.tree.ray_cast(Vector(centre), Vector(ray), reach) for ray in out]
    radius = np.array([np.nan if hit[0] is None else hit[3] for hit in hits])
    usual = 0.5 * reach if np.isnan(radius).all() else float(np.nanmedian(radius))
    radius = np.where(np.isnan(radius), usual, np.minimum(radius, 1.6 * usual))
    return centre + out * radius[:, None], out


def strip(
    figure: Figure, centre: Floats, axis: Floats, reach: float, width: float, thick: float
) -> tuple[Floats, list[list[int]]]:
    """Points and faces of a band round a limb, `width` along it and `thick` off the skin."""
    axis = axis / np.linalg.norm(axis)
    rows = []
    for along, off in ((-0.5, 0.1), (-0.5, 1), (0, 1.1), (0.5, 1), (0.5, 0.1)):
        lying, out = around(figure, centre + along * width * axis, axis, reach)
        rows.append(lying + off * thick * out)
    return np.concatenate(rows), sheet(len(rows), len(rows[0]))


def sheet(rows: int, sides: int) -> list[list[int]]:
    """Faces between `rows` closed rings of `sides` points each."""
    return [
        [r * sides + k, r * sides + (k + 1) % sides, (r + 1) * sides + (k + 1) % sides,
         (r + 1) * sides + k]
        for r in range(rows - 1) for k in range(sides)
    ]  # fmt: skip


def balls(centres: Floats, radii: Floats) -> tuple[Floats, list[list[int]]]:
    """Points and faces of a ball at every centre; `radii` are along x, y and z, metres."""
    rows, sides = 6, 9
    lift = np.linspace(-0.5, 0.5, rows)[:, None] * np.pi * 0.97
    turn = np.linspace(0, 2 * np.pi, sides, endpoint=False)[None]
    unit = np.stack(
        [np.cos(lift) * np.cos(turn), np.cos(lift) * np.sin(turn), np.sin(lift) + 0 * turn], -1
    ).reshape(-1, 3)
    faces = sheet(rows, sides)
    size = rows * sides
    points = (np.asarray(centres)[:, None] + unit * radii).reshape(-1, 3)
    return points, [[i + k * size for i in face] for k in range(len(centres)) for face in faces]
