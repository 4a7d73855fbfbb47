"""What stands behind people: foliage, water, sand, wood, brick, studio cloth, skies and clutter."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import bpy
import numpy as np
from mathutils import Matrix, Vector

from .assets import Floats
from .nodes import Nodes, material
from .objects import object_from_mesh

Colour = tuple[float, float, float]

FAR = 40.0
"""Radius of the surround in metres: beyond every camera."""


@dataclass(frozen=True)
class Backdrop:
    """A picture behind the people: kind, colours (linear), how bright, how coarse, how sharp."""

    kind: str
    colours: tuple[Colour, Colour, Colour]
    brightness: float = 0.6
    scale: float = 1.0
    detail: float = 3.0
    seed: float = 0.0


class Wall:
    """A large plane that is always square to the camera, seen by the camera only."""

    def __init__(self, backdrop: Backdrop, distance: float):
        self.distance = distance
        wide = 40.0
        corners = np.array([(-wide, 0, -wide), (wide, 0, -wide), (wide, 0, wide), (-wide, 0, wide)])
        self.made = object_from_mesh("backdrop", corners, [[0, 1, 2, 3]])
        self.made.data.materials.append(_backdrop_material(backdrop, distance))
        for ray in ("diffuse", "glossy", "transmission", "shadow"):
            setattr(self.made, f"visible_{ray}", False)

    def face(self, camera: Floats, subject: Floats) -> None:
        """Stand behind the subject as seen from the camera."""
        ahead = Vector((subject - camera) * [1, 1, 0]).normalized()
        turn = ahead.to_track_quat("Y", "Z").to_matrix().to_4x4()
        self.made.matrix_world = Matrix.Translation(Vector(subject) + ahead * self.distance) @ turn


class Surround:
    """A large sphere round the scene that shows the camera the same picture from everywhere.

    Unlike a wall it never moves, so that the renderer keeps what it prepared between views.
    """

    def __init__(self, backdrop: Backdrop, distance: float):
        bpy.ops.mesh.primitive_uv_sphere_add(segments=24, ring_count=12, radius=FAR)
        made = bpy.context.object
        made.data.materials.append(_backdrop_material(backdrop, distance, with_camera=True))
        for ray in ("diffuse", "glossy", "transmission", "shadow"):
            setattr(made, f"visible_{ray}", False)


def _backdrop_material(backdrop: Backdrop, distance: float, with_camera: bool = False) -> Any:
    made, nodes = material("backdrop")
    place = nodes.node("ShaderNodeTexCoord").outputs["Camera" if with_camera else "Object"]
    if with_camera:
        across, up, ahead = nodes.split(place)
        shrink = nodes.math("DIVIDE", distance, ahead)
        place = nodes.joined(nodes.mul(across, shrink), 0.0, nodes.mul(up, shrink))
    shifted = nodes.vector("ADD", place, (backdrop.seed, 0, 3 * backdrop.seed)).outputs[0]
    scaled = nodes.node("ShaderNodeMapping")
    nodes.feed(shifted, scaled.inputs[0])
    size = 1.0 / backdrop.scale
    scaled.inputs["Scale"].default_value = (size, size, size)
    if backdrop.kind == "river":
        colour = _river(nodes, backdrop, place)
    elif backdrop.kind == "crowd":
        colour = _crowd(nodes, backdrop, shifted)
    else:
        value = _pattern(nodes, backdrop, scaled.outputs[0])
        first, second, third = backdrop.colours
        colour = nodes.ramp(value, [(0.2, first), (0.8, third), (0.5, second)])
    emission = nodes.node("ShaderNodeEmission")
    nodes.feed(colour, emission.inputs[0])
    emission.inputs[1].default_value = backdrop.brightness
    nodes.surface(emission.outputs[0])
    return made


def _pattern(nodes: Nodes, backdrop: Backdrop, place: Any) -> Any:
    """A value of 0 to 1 that the three colours follow."""
    kind, detail = backdrop.kind, backdrop.detail
    stretch = {"water": (0.5, 1, 4.0), "wood": (6.0, 1, 0.5), "sky": (0.4, 1, 1.2),
               "grass": (14.0, 1, 1.6), "fur": (11.0, 1, 4.0)}.get(kind, (1, 1, 1))  # fmt: skip
    mapping = nodes.node("ShaderNodeMapping")
    nodes.feed(place, mapping.inputs[0])
    mapping.inputs["Scale"].default_value = stretch
    at = mapping.outputs[0]
    coarse = nodes.noise(at, 1.2, detail)
    if kind == "studio":
        return nodes.add(0.5, nodes.mul(coarse, 0.25))
    if kind == "foliage":
        leaves = nodes.cells(at, 7).outputs["Distance"]
        return nodes.add(nodes.mul(leaves, 0.5), 0.25, nodes.mul(coarse, 1.2))
    if kind == "brick":
        brick = nodes.node("ShaderNodeTexBrick")
        nodes.feed(
            nodes.vector("MULTIPLY", _flat(nodes, at), (4, 4, 4)).outputs[0], brick.inputs[0]
        )
        tone = nodes.parts(brick.outputs[0])[0]
        return nodes.add(0.1, nodes.mul(tone, 0.7), nodes.mul(nodes.noise(at, 30, 4), 0.5))
    if kind == "blobs":
        spots = nodes.step(nodes.cells(at, 2.2).outputs["Distance"], 0.32, 0.26)
        return nodes.add(nodes.mul(spots, 0.6), 0.2, nodes.mul(coarse, 0.6))
    if kind == "noise":
        return nodes.add(0.5, nodes.mul(nodes.noise(at, 3, 8, 0.75), 1.6))
    if kind == "tiles":
        checker = nodes.node("ShaderNodeTexChecker")
        nodes.feed(_flat(nodes, at), checker.inputs[0])
        checker.inputs["Scale"].default_value = 3.0
        return nodes.add(nodes.mul(checker.outputs[1], 0.5), 0.25, nodes.mul(coarse, 0.4))
    if kind in ("leather", "leaves"):
        cells = nodes.cells(at, 45 if kind == "leather" else 9)
        shade = nodes.parts(cells.outputs["Color"])[0]
        if kind == "leather":
            return nodes.add(
                0.55, nodes.mul(cells.outputs["Distance"], -0.3), nodes.mul(coarse, 1.3)
            )
        return nodes.add(nodes.mul(shade, 0.8), nodes.mul(cells.outputs["Distance"], -0.3), 0.25)
    if kind == "cardboard":
        flutes = nodes.math("SINE", nodes.mul(nodes.split(at)[0], 400.0))
        return nodes.add(0.5, nodes.mul(flutes, 0.06), nodes.mul(coarse, 0.5))
    grain = nodes.mul(nodes.noise(at, 9, detail + 2, 0.6), 0.7)
    return nodes.add(0.5, nodes.mul(coarse, 1.1), grain)


def _crowd(nodes: Nodes, backdrop: Backdrop, place: Any) -> Any:
    """People far behind, out of focus: heads with hair over clothes, in many colours."""
    many = 2.2 / backdrop.scale
    across, _, up = nodes.split(place)
    people = nodes.cells(nodes.joined(across, 0.0, up), many)
    rough = nodes.vector("SUBTRACT", place, people.outputs["Position"]).outputs[0]
    right, _, high = nodes.split(rough)
    first, second, third = nodes.parts(people.outputs["Color"])
    size = 0.22 / many
    head = nodes.math("SQRT", nodes.add(nodes.mul(right, right, 1.6), nodes.mul(high, high)))
    soft = 0.3 * size
    is_head = nodes.step(head, size + soft, size - soft)
    is_hair = nodes.mul(is_head, nodes.step(high, 0.2 * size, 0.5 * size))
    below = nodes.step(high, -0.8 * size, -1.2 * size)
    is_cloth = nodes.mul(below, nodes.step(nodes.math("ABSOLUTE", right), 2 * size, 1.6 * size))
    skin = nodes.ramp(first, [(0.1, (0.06, 0.03, 0.02)), (0.9, (0.72, 0.52, 0.42)),
                              (0.5, (0.36, 0.2, 0.12))])  # fmt: skip
    hair = nodes.ramp(second, [(0.2, (0.01, 0.008, 0.006)), (0.9, (0.5, 0.38, 0.2))])
    bright = nodes.mul(third, 0.7)
    cloth = nodes.colour([nodes.mul(second, bright), nodes.mul(first, bright), bright])
    behind = nodes.mix(nodes.add(0.5, nodes.noise(place, 3, 2)), *backdrop.colours[:2])
    colour = nodes.mix(is_cloth, behind, cloth)
    return nodes.mix(is_hair, nodes.mix(is_head, colour, skin), hair)


def _river(nodes: Nodes, backdrop: Backdrop, place: Any) -> Any:
    """Sky over a line of trees over glinting water; `scale` moves the far bank up, metres."""
    split = nodes.node("ShaderNodeSeparateXYZ")
    nodes.feed(place, split.inputs[0])
    shifted = nodes.vector("ADD", place, (backdrop.seed, 0, 0)).outputs[0]
    height = nodes.add(split.outputs[2], -backdrop.scale)
    crowns = nodes.add(0.9, nodes.mul(nodes.noise(shifted, 0.9, 3), 1.6))
    sky = nodes.ramp(
        nodes.mul(height, 0.12),
        [(0.0, (0.95, 0.93, 0.86)), (1.0, (0.35, 0.55, 0.95)), (0.3, (0.75, 0.85, 0.95))],
    )
    leaves = nodes.add(0.45, nodes.mul(nodes.noise(shifted, 2.2, 5, 0.7), 1.3))
    trees = nodes.ramp(
        leaves,
        [(0.15, (0.025, 0.045, 0.015)), (0.95, (0.40, 0.46, 0.14)), (0.5, (0.10, 0.16, 0.04))],
    )
    stretched = nodes.node("ShaderNodeMapping")
    nodes.feed(shifted, stretched.inputs[0])
    stretched.inputs["Scale"].default_value = (0.5, 1, 5)
    ripples = nodes.add(0.45, nodes.mul(nodes.noise(stretched.outputs[0], 1.6, 5, 0.65), 1.5))
    water = nodes.ramp(
        ripples, [(0.2, (0.05, 0.10, 0.11)), (0.85, (0.95, 0.93, 0.85)), (0.6, (0.22, 0.33, 0.36))]
    )
    land = nodes.mix(nodes.step(nodes.math("SUBTRACT", height, crowns), -0.06, 0.06), trees, sky)
    return nodes.mix(nodes.step(height, -0.05, 0.03), water, land)


def bunting(rng: np.random.Generator, place: Floats, width: float) -> None:
    """A string of coloured pennants hanging behind people."""
    colours: list[Colour] = [
        (0.7, 0.05, 0.04),
        (0.85, 0.83, 0.78),
        (0.03, 0.12, 0.45),
        (0.85, 0.55, 0.05),
    ]
    for k, x in enumerate(np.linspace(-width / 2, width / 2, int(width / 0.22))):
        top = place + np.array([x, 0, -0.35 * (1 - (2 * x / width) ** 2)])
        corners = top + np.array(
            [(-0.075, 0, 0), (0.075, 0, 0), (0, float(rng.normal(0, 0.03)), -0.2)]
        )
        pennant = object_from_mesh("pennant", corners, [[0, 1, 2]])
        look, nodes = material("pennant")
        nodes.surface(nodes.principled(Base_Color=colours[k % 4], Roughness=0.8))
        pennant.data.materials.append(look)


def _flat(nodes: Nodes, place: Any) -> Any:
    """The wall's own x and z as x and y."""
    split = nodes.node("ShaderNodeSeparateXYZ")
    nodes.feed(place, split.inputs[0])
    joined = nodes.node("ShaderNodeCombineXYZ")
    nodes.feed(split.outputs[0], joined.inputs[0])
    nodes.feed(split.outputs[2], joined.inputs[1])
    return joined.outputs[0]


def clutter(rng: np.random.Generator, count: int, colours: list[Colour]) -> list[Any]:
    """Things of skin colour and other colours around and behind people; all background."""
    made = []
    for _ in range(count):
        kind = rng.choice(["cube", "ball", "ring", "post", "limb", "cushion"])
        where = rng.uniform(0.5, 2.2) * np.array([rng.choice([-1, 1]), rng.uniform(0.2, 1), 0])
        where = where + np.array([0, 0, rng.uniform(0, 1.8)])
        size = float(rng.uniform(0.04, 0.35))
        if kind == "cube":
            bpy.ops.mesh.primitive_cube_add(
                size=size, location=where, rotation=rng.uniform(0, 3, 3)
            )
        elif kind == "ball":
            bpy.ops.mesh.primitive_uv_sphere_add(radius=size / 2, location=where)
        elif kind in ("limb", "cushion"):
            bpy.ops.mesh.primitive_uv_sphere_add(
                radius=size / 2, location=where, rotation=rng.uniform(0, 3, 3)
            )
            bpy.context.object.scale = (1, 1, 4) if kind == "limb" else (2.5, 2, 0.8)
        elif kind == "ring":
            bpy.ops.mesh.primitive_torus_add(
                major_radius=size,
                minor_radius=size / 4,
                location=where,
                rotation=rng.uniform(0, 3, 3),
            )
        else:
            bpy.ops.mesh.primitive_cylinder_add(radius=size / 4, depth=3, location=where)
        thing = bpy.context.object
        thing.data.polygons.foreach_set("use_smooth", np.ones(len(thing.data.polygons), bool))
        thing.data.materials.append(_thing_material(colours[int(rng.integers(len(colours)))], rng))
        made.append(thing)
    return made


def _thing_material(colour: Colour, rng: np.random.Generator) -> Any:
    made, nodes = material("thing")
    place = nodes.node("ShaderNodeNewGeometry").outputs["Position"]
    grain = nodes.add(1.0, nodes.mul(nodes.noise(place, float(rng.uniform(5, 90)), 4), 0.8))
    nodes.surface(
        nodes.principled(
            Base_Color=nodes.colour([nodes.mul(grain, c) for c in colour]),
            Roughness=float(rng.uniform(0.2, 0.9)),
        )
    )
    return made


def ground(colour: Colour, seed: float) -> Any:
    """A rough floor at height zero."""
    corners = np.array([(-20, -20, 0), (20, -20, 0), (20, 20, 0), (-20, 20, 0)], float)
    made = object_from_mesh("ground", corners, [[0, 1, 2, 3]])
    look, nodes = material("ground")
    place = nodes.node("ShaderNodeNewGeometry").outputs["Position"]
    shifted = nodes.vector("ADD", place, (seed, 0, 0)).outputs[0]
    grain = nodes.add(
        1.0, nodes.mul(nodes.noise(shifted, 3, 5), 0.8), nodes.mul(nodes.noise(shifted, 60, 3), 0.6)
    )
    nodes.surface(
        nodes.principled(
            Base_Color=nodes.colour([nodes.mul(grain, c) for c in colour]), Roughness=0.9
        )
    )
    made.data.materials.append(look)
    made.visible_shadow = False  # light may come from below
    return made
