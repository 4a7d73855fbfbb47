"""Shoes, boots, slippers and sandals, rigid with the foot."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import bmesh
import numpy as np

from .assets import Floats
from .figure import Figure
from .labels import CLASSES
from .worn import Worn, rigid, solid, strip, worn

Colour = tuple[float, float, float]


@dataclass(frozen=True)
class Shoes:
    """A pair: `kind` 'shoe', 'boot', 'pump' or 'sandal', colours of upper and sole (linear)."""

    kind: str
    colour: Colour
    sole: Colour
    shine: float = 0.0
    straps: int = 2


def build_shoes(figure: Figure, shoes: Shoes) -> list[Worn]:
    """Both shoes of a pair."""
    made = []
    upper = solid("shoe", "cloth", shoes.colour, 0.0, 0.8 - 0.6 * shoes.shine)
    sole = solid("sole", "cloth", shoes.sole, 0.0, 0.7)
    foot = CLASSES.index("foot")
    near = sorted({i for k in np.nonzero(figure.part_of_face == foot)[0] for i in figure.faces[k]})
    for sign, side in ((1, "l"), (-1, "r")):
        bone = f"foot.{side.upper()}"
        points = figure.points[near]
        points = points[points[:, 0] * sign > 0]
        up = points[:, 2] - figure.ground
        parts = [(_hull(_sole(points, up, figure.ground)), sole)]
        if shoes.kind == "sandal":
            parts += [(part, upper) for part in _straps(figure, points, side, shoes.straps)]
        else:
            parts.append((_hull(_upper(figure, points, up, side, shoes.kind)), upper))
        made += [worn("shoe", *part, look, rigid(part[0], bone)) for part, look in parts]
    return made


def _sole(points: Floats, up: Floats, ground: float) -> Floats:
    """Points of a sole a little wider than the foot."""
    low = points[up < 0.035]
    middle = low.mean(0)
    edge = middle + (low - middle) * 1.07
    thick = np.array([0, 0, 0.012])
    edge[:, 2] = ground + 0.004
    return np.vstack([edge, edge - thick])


def _upper(figure: Figure, points: Floats, up: Floats, side: str, kind: str) -> Floats:
    """Points whose convex hull is the upper of a shoe; a pump leaves the instep free."""
    ankle = figure.joint(f"{side}-ankle")
    ahead = ankle[1] - points[:, 1]
    if kind == "pump":
        kept = points[up < np.clip(0.055 - 0.30 * ahead, 0.018, 0.055)]
        kept = np.vstack([kept, points[(ahead > 0.105) & (up < 0.06)]])
    else:
        kept = points[up < (0.16 if kind == "boot" else 0.085)]
    middle = np.array([ankle[0], ankle[1] - 0.06, ankle[2] - 0.03])
    away = kept - middle
    away /= np.linalg.norm(away, axis=1, keepdims=True)
    return kept + 0.007 * away


def _hull(points: Floats) -> tuple[Floats, list[list[int]]]:
    """The convex hull of points."""
    mesh = bmesh.new()
    for point in points:
        mesh.verts.new(point)
    bmesh.ops.convex_hull(mesh, input=mesh.verts)
    loose = [vertex for vertex in mesh.verts if not vertex.link_faces]
    bmesh.ops.delete(mesh, geom=loose, context="VERTS")
    mesh.verts.index_update()
    hull = np.array([v.co for v in mesh.verts])
    faces = [[v.index for v in face.verts] for face in mesh.faces]
    mesh.free()
    return hull, faces


def _straps(figure: Figure, points: Floats, side: str, count: int) -> list[Any]:
    """Straps round the foot, and one round the ankle if there are three or more."""
    ankle = figure.joint(f"{side}-ankle")
    toe = points[np.argmin(points[:, 1])]
    heel = np.array([ankle[0], ankle[1], figure.ground + 0.03])
    made = []
    for share in np.linspace(0.68, 0.38, min(count, 2)):
        at = heel + share * (toe - heel)
        at[2] = figure.ground + 0.03 - 0.012 * share
        made.append(strip(figure, at, toe - heel, 0.08, 0.012 if count > 1 else 0.03, 0.002))
    if count > 2:
        made.append(
            strip(figure, ankle + np.array([0, 0, 0.015]), np.array([0, 0.1, 1]), 0.08, 0.01, 0.002)
        )
    return made
