"""Clothes cut from the body's close-fitting helper meshes by smooth fields.

A field is positive where cloth covers the body, in metres to the cut's edge; the material leaves
out what lies below zero, so necklines, straps and hems are clean curves.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from mathutils import Vector
from numpy.typing import NDArray

from . import labels
from .assets import Floats
from .figure import Figure
from .nodes import Nodes, material
from .objects import finer, object_from_mesh, set_attribute, tube
from .pose import BONE_NAMES
from .worn import sheet, skin_weights

ARM_BONES = [k for k, b in enumerate(BONE_NAMES) if b.split(".")[0] in
             ("upperarm", "lowerarm", "forearm", "hand") or b.startswith("finger")]  # fmt: skip
"""Columns of the weights that belong to an arm below the shoulder."""

FINGER_BONES = [
    k for k, b in enumerate(BONE_NAMES) if b.startswith("finger") and b.split(".")[0][-1] != "1"
]
"""Columns of the weights that belong to the outer two parts of a finger."""


@dataclass(frozen=True)
class Cut:
    """Shape of one garment; lengths in metres.

    `neck`: one of NECKS, 'strapless', 'high' or None (a lower garment);
    `strap`: outer edge of a shoulder strap from the middle, or None for whole shoulders;
    `sleeve`: along the arm from the shoulder; `hem`: height above the ground where it ends;
    `top`: height above the ground of a lower garment's upper edge; `leg_hole`: cut like swimwear
    above the thigh;
    `mesh`: 'tights', 'skirt' or 'body', which also has fingers and lies closest; `offset`: distance
    from the body; `loose`: further out; `collar`: height of a 'high' neck above the neck joint;
    `glove`: along the arm from the shoulder where a glove starts, `fingerless` without fingers;
    `opened`: half width at the neck of an opening down the front.
    """

    name: str
    neck: str | None = None
    strap: float | None = None
    sleeve: float = 0.0
    hem: float = 0.0
    top: float | None = None
    leg_hole: bool = False
    mesh: str = "tights"
    offset: float = 0.003
    loose: float = 0.0
    collar: float = 0.055
    glove: float | None = None
    fingerless: bool = False
    opened: float = 0.0


NECKS = {
    "crew": (0.078, 0.068, 0.020),
    "scoop": (0.100, 0.145, 0.040),
    "tank": (0.072, 0.150, 0.085),
    "vee": (0.095, 0.180, 0.020),
    "boat": (0.145, 0.060, 0.040),
    "deep": (0.085, 0.190, 0.100),
}
"""Neckline: half width at the shoulder, depth in front and behind, below the neck joint, metres."""


def cut_field(figure: Figure, cut: Cut, points: Floats, weights: Floats) -> Floats:
    """Metres inside the garment's edge at rest points, negative outside."""
    if cut.glove is not None:
        return _glove_field(figure, cut, points, weights)
    field = np.full(len(points), 1.0)
    x, z = np.abs(points[:, 0]), points[:, 2]
    up = z - figure.ground
    if cut.neck:
        field = np.minimum(field, _neck_field(figure, cut, points))
        field = np.minimum(field, cut.sleeve - _along_arm(figure, points, weights))
        if cut.opened:
            front = points[:, 1] < figure.joint("neck")[1]
            below = np.clip(figure.joint("neck")[2] - z, 0, None)
            gap = x - cut.opened * (1 - 0.8 * below)
            field = np.where(front, np.minimum(field, gap), field)
    if cut.strap is not None:
        armpit = figure.joint("l-shoulder")[2] - 0.07
        field = np.minimum(field, cut.strap + 0.35 * np.clip(armpit - z, 0, None) - x)
    if cut.top is not None:
        field = np.minimum(field, cut.top - up)
        arm = weights[:, ARM_BONES].sum(1)
        field = np.minimum(field, 0.05 - arm)
    if cut.leg_hole:
        crotch = figure.joint("pelvis")[2] - 0.135
        field = np.minimum(field, z - crotch - 1.15 * np.clip(x - 0.035, 0, None))
    arm_free = weights[:, ARM_BONES].sum(1) < 0.4
    return np.where(arm_free, np.minimum(field, up - cut.hem), field)


def _neck_field(figure: Figure, cut: Cut, points: Floats) -> Floats:
    neck = figure.joint("neck")
    x, z = np.abs(points[:, 0]), points[:, 2]
    if cut.neck == "strapless":
        return neck[2] - 0.21 + 0.15 * x - z
    if cut.neck == "high":
        return neck[2] + cut.collar - z
    width, front, back = NECKS[str(cut.neck)]
    share = np.clip((points[:, 1] - neck[1] + 0.03) / 0.06, 0, 1)
    depth = front + (back - front) * share * share * (3 - 2 * share)
    below = np.clip(neck[2] - z, 0, None) / depth
    reach = x / width + below if cut.neck == "vee" else np.hypot(x / width, below)
    return (reach - 1) * width


def _glove_field(figure: Figure, cut: Cut, points: Floats, weights: Floats) -> Floats:
    field = _along_arm(figure, points, weights) - cut.glove
    if cut.fingerless:
        field = np.minimum(field, 0.05 * (0.5 - weights[:, FINGER_BONES].sum(1)))
    return field


def _along_arm(figure: Figure, points: Floats, weights: Floats) -> Floats:
    """Metres along the arm from the shoulder, -0.08 on the rest of the body."""
    along = np.full(len(points), -0.08)
    arm = weights[:, ARM_BONES].sum(1)
    for side, sign in (("l", 1), ("r", -1)):
        shoulder, elbow, wrist = (
            figure.joint(f"{side}-{j}") for j in ("shoulder", "elbow", "hand")
        )
        mine = points[:, 0] * sign > 0
        upper, lower = elbow - shoulder, wrist - elbow
        on_upper = (points - shoulder) @ upper / np.linalg.norm(upper)
        on_lower = (points - elbow) @ lower / np.linalg.norm(lower)
        length = np.linalg.norm(upper)
        below = on_lower > 0
        here = np.where(below, length + on_lower, np.minimum(on_upper, length))
        along = np.where(mine, arm * here + (1 - arm) * -0.08, along)
    return along


@dataclass(frozen=True)
class Fabric:
    """Colour (linear RGB), second colour and pattern: 'plain', 'stripes', 'checks', 'print'.

    `folds`: how creased, 1 usual; `sheer`: how much of what is below shows through, 0 to 1, and
    `below`: its colour; `holes`: distance in metres between the holes of lace or mesh, or 0.
    """

    colour: tuple[float, float, float]
    second: tuple[float, float, float]
    pattern: str = "plain"
    scale: float = 1.0
    shine: float = 0.0
    folds: float = 1.0
    sheer: float = 0.0
    below: tuple[float, float, float] = (0, 0, 0)
    holes: float = 0.0


def fabric_material(fabric: Fabric) -> Any:
    """Woven cloth with folds; transparent outside its cut."""
    made, nodes = material("cloth")
    rest = nodes.attribute("rest", "Vector")
    field = nodes.attribute("field")
    inside = nodes.above(field, 0.0)
    if fabric.holes:
        hole = nodes.cells(rest, 1 / fabric.holes).outputs["Distance"]
        near_hem = nodes.step(field, 0.012, 0.008)
        inside = nodes.mul(inside, nodes.above(nodes.add(hole, near_hem), 0.42))
    colour = _pattern(nodes, fabric, rest)
    if fabric.sheer:
        aslant = nodes.node("ShaderNodeLayerWeight").outputs["Facing"]
        seen = nodes.mul(fabric.sheer, nodes.without(nodes.mul(aslant, aslant)))
        colour = nodes.mix(seen, colour, fabric.below)
    weave = nodes.node("ShaderNodeTexWave")
    nodes.feed(rest, weave.inputs[0])
    weave.inputs["Scale"].default_value = 700
    stretched = nodes.node("ShaderNodeMapping")
    nodes.feed(rest, stretched.inputs[0])
    stretched.inputs["Scale"].default_value = (1.0, 1.0, 0.45)
    stretched.inputs["Rotation"].default_value = (0.3, 0.5, 0)
    creases = nodes.math("ABSOLUTE", nodes.noise(stretched.outputs[0], 11, 1))
    wrinkles = nodes.math("ABSOLUTE", nodes.noise(rest, 38, 2))
    folds = nodes.add(
        nodes.mul(creases, -400.0 * fabric.folds), nodes.mul(wrinkles, -70.0 * fabric.folds)
    )
    seam = nodes.mul(
        nodes.step(nodes.math("ABSOLUTE", nodes.add(field, -0.010)), 0.0014, 0.0), -3.0
    )
    hem = nodes.mul(nodes.step(field, 0.0112, 0.0098), 5.0)
    height = nodes.add(folds, hem, seam, nodes.mul(weave.outputs[1], 0.5))
    cloth = nodes.principled(
        Base_Color=colour,
        Roughness=0.85 - 0.5 * fabric.shine,
        Sheen_Weight=0.25,
        Normal=nodes.bump(height, 0.0002, 0.9),
    )
    clear = nodes.node("ShaderNodeBsdfTransparent").outputs[0]
    nodes.surface(nodes.mix_shader(inside, clear, cloth))
    labels.write(nodes, {"cloth": inside})
    return made


def _pattern(nodes: Nodes, fabric: Fabric, rest: Any) -> Any:
    if fabric.pattern == "plain":
        return fabric.colour
    x, y, z = _split(nodes, rest)
    across = 2 * np.pi / (0.035 * fabric.scale)
    bands = nodes.above(nodes.math("SINE", nodes.mul(z, across)), 0.2)
    if fabric.pattern == "stripes":
        share = bands
    elif fabric.pattern == "checks":
        upright = nodes.above(
            nodes.math("SINE", nodes.mul(nodes.add(x, nodes.mul(y, 0.5)), across)), 0.2
        )
        share = nodes.mul(nodes.add(bands, upright), 0.5)
    else:
        share = nodes.step(nodes.noise(rest, 30 / fabric.scale, 2), 0.02, 0.05)
    return nodes.mix(share, fabric.colour, fabric.second)


def _split(nodes: Nodes, vector: Any) -> tuple[Any, Any, Any]:
    node = nodes.node("ShaderNodeSeparateXYZ")
    nodes.feed(vector, node.inputs[0])
    return node.outputs[0], node.outputs[1], node.outputs[2]


@dataclass
class Garment:
    """A garment's object with its rest points and skinning weights."""

    made: Any
    points: Floats
    weights: Floats


def build_garment(figure: Figure, cut: Cut, fabric: Fabric, subdivide: int) -> Garment:
    """Cut a garment for a figure."""
    ids, faces, uvs = figure.group(["body" if cut.mesh == "body" else f"helper-{cut.mesh}"])
    points, weights = figure.points[ids], figure.weights[ids]
    if cut.mesh == "body":
        subdivide -= 1
    else:
        points = _on_shoulders(figure, points)
        for _ in range(2 if subdivide > 2 else 1):
            faces, (points, weights), uvs = finer(faces, [points, weights], uvs)
        subdivide = min(subdivide, 2)
    field = cut_field(figure, cut, points, weights)
    faces, points, weights, field, uvs = _kept(faces, points, weights, field, uvs)
    normals = _normals(points, faces)
    ripple = np.sin(37 * points[:, 0] + 23 * points[:, 2]) * np.sin(31 * points[:, 1] + 9)
    torso = 1 - 0.6 * weights[:, ARM_BONES].sum(1)
    out = cut.offset + cut.loose * torso * (0.7 + 0.3 * ripple)
    if cut.mesh != "body":
        loose = np.clip(cut.loose / 0.02, 0.3, 1.0)
        out = out + loose * fabric.folds * _creases(points, fabric.scale)
    if cut.mesh != "body":
        out = out * (1 - 0.65 * _on_top(figure, points))
    points = points + normals * out[:, None]
    made = object_from_mesh(cut.name, points, faces, uvs, subdivide)
    set_attribute(made, "rest", points)
    set_attribute(made, "field", field)
    made.data.materials.append(fabric_material(fabric))
    return Garment(made, points, weights)


CREASE_DEPTH = 0.011
"""Metres from the ridges of loose cloth's folds to their hollows."""


def _creases(points: Floats, phase: float) -> Floats:
    """Metres of folds with sharp ridges: some hang, some run round a limb; `phase` moves them."""
    warp = np.sin(17 * points[:, 0] + 13 * points[:, 2] + 9 * phase)
    hanging = points @ np.array([42.0, 35.0, 3.0]) + 40 * phase + 0.8 * warp
    round_limbs = points @ np.array([11.0, 15.0, 50.0]) + 70 * phase + 1.0 * warp
    where = np.clip(0.5 + np.sin(points @ np.array([9.0, 7.0, 8.0]) + 20 * phase), 0, 1)
    depth = where * np.abs(np.sin(hanging)) + (1 - where) * np.abs(np.sin(round_limbs))
    return CREASE_DEPTH * (0.5 - depth)


def build_hood(figure: Figure, fabric: Fabric, opening: tuple[float, float], off: float) -> Garment:
    """A head scarf or hood, down over the neck.

    `opening`: half width and half height of what it leaves of the face, metres; `off`: distance
    from the skin, metres.
    """
    eye, neck = figure.eye_level, figure.joint("neck")
    top = figure.points[: figure.body_size, 2].max()
    heights = np.linspace(top - 0.004, neck[2] - 0.035, 26)
    angle = np.linspace(0, 2 * np.pi, 48, endpoint=False)
    out = np.stack([np.cos(angle), np.sin(angle), 0 * angle], 1)
    radius = np.zeros((len(heights), len(angle)))
    for r, z in enumerate(heights):
        axis = np.array([0, neck[1] - 0.012, z])
        for k, ray in enumerate(out):
            hit = figure.tree.ray_cast(Vector(axis + 0.3 * ray), Vector(-ray), 0.3)
            radius[r, k] = 0.02 if hit[0] is None else min(0.3 - hit[3], 0.17)
    for r in range(1, len(heights)):
        radius[r] = np.maximum(radius[r], 0.965 * radius[r - 1])
    for _ in range(3):
        radius = (np.roll(radius, 1, 1) + 2 * radius + np.roll(radius, -1, 1)) / 4
        radius[1:-1] = (radius[:-2] + 2 * radius[1:-1] + radius[2:]) / 4
    radius += off
    points = np.stack(
        [radius * out[:, 0], neck[1] - 0.012 + radius * out[:, 1],
         np.repeat(heights[:, None] + 0.6 * off, len(angle), 1)], -1
    ).reshape(-1, 3)  # fmt: skip
    points = np.vstack([points, points[: len(angle)].mean(0) + np.array([0, 0, 0.008])])
    faces = sheet(len(heights), len(angle))
    faces += [[(k + 1) % len(angle), k, len(points) - 1] for k in range(len(angle))]
    width, height = opening
    oval = np.hypot(points[:, 0] / width, (points[:, 2] - eye[2] + 0.028) / height)
    field = np.where(points[:, 1] < neck[1] - 0.02, (oval - 1) * width, 0.05)
    made = object_from_mesh("hood", points, faces, None, 2)
    set_attribute(made, "rest", points)
    set_attribute(made, "field", field)
    made.data.materials.append(fabric_material(fabric))
    return Garment(made, points, skin_weights(figure, points))


def build_scarf(figure: Figure, fabric: Fabric, thick: float, seed: int) -> Garment:
    """A scarf or shawl wound round the neck, `thick` metres in radius."""
    rng = np.random.default_rng(seed)
    neck = figure.joint("neck")
    angle = np.linspace(0, 2 * np.pi, 60, endpoint=False)
    parts = []
    for _ in range(2):
        ring = np.stack([np.cos(angle), np.sin(angle), 0 * angle], 1)
        ring *= [0.062 + thick, 0.064 + thick, 0]
        ring[:, 2] += rng.uniform(-0.01, 0.035) + 0.02 * np.sin(angle + rng.uniform(-0.6, 0.6))
        ring[:, 2] += 0.008 * np.sin(3 * angle + rng.uniform(0, 6))
        parts.append(tube(ring + neck - np.array([0, 0.008, 0]), thick, 10, closed=True))
    x = rng.uniform(-0.05, 0.05)
    fall = neck[2] - np.linspace(0.0, rng.uniform(0.1, 0.35), 8)
    hang = [figure.surface(x + 0.1 * (neck[2] - z) * np.sign(x), z) - [0, 0.6 * thick, 0]
            for z in fall]  # fmt: skip
    parts.append(tube(np.array(hang), 0.9 * thick, 10))
    points = np.vstack([p for p, _ in parts])
    faces, start = [], 0
    for some, its in parts:
        faces += [[i + start for i in face] for face in its]
        start += len(some)
    made = object_from_mesh("scarf", points, faces, None, 1)
    set_attribute(made, "rest", points)
    set_attribute(made, "field", np.ones(len(points)))
    made.data.materials.append(fabric_material(fabric))
    return Garment(made, points, skin_weights(figure, points))


def _on_shoulders(figure: Figure, points: Floats) -> Floats:
    """Lay the helper mesh on the skin of shoulders and neck, where it stands off."""
    share = _on_top(figure, points)
    laid = points.copy()
    for k in np.nonzero(share > 0)[0]:
        near, normal = figure.nearest(points[k])
        laid[k] = (1 - share[k]) * points[k] + share[k] * (near + 0.001 * normal)
    return laid


def _on_top(figure: Figure, points: Floats) -> Floats:
    """1 on the shoulders and the neck, where cloth rests on the body, 0 below."""
    return np.clip((points[:, 2] - figure.joint("l-shoulder")[2] + 0.10) / 0.06, 0, 1)


def _kept(
    faces: list[list[int]], points: Floats, weights: Floats, field: Floats, uvs: Floats
) -> tuple[list[list[int]], Floats, Floats, Floats, Floats]:
    """Only faces that touch the garment, renumbered."""
    kept, corners, start = [], [], 0
    for face in faces:
        if field[face].max() > -0.02:
            kept.append(face)
            corners.extend(range(start, start + len(face)))
        start += len(face)
    used = np.array(sorted({i for face in kept for i in face}))
    number = {int(i): k for k, i in enumerate(used)}
    renumbered = [[number[i] for i in face] for face in kept]
    return renumbered, points[used], weights[used], field[used], uvs[corners]


def _normals(points: Floats, faces: list[list[int]]) -> Floats:
    normals = np.zeros_like(points)
    for size in (3, 4):
        some: NDArray[np.int64] = np.array([f for f in faces if len(f) == size])
        if len(some):
            corner = points[some]
            cross = np.cross(corner[:, 2] - corner[:, 0], corner[:, -1] - corner[:, 1])
            for k in range(size):
                np.add.at(normals, some[:, k], cross)
    return normals / np.maximum(np.linalg.norm(normals, axis=1, keepdims=True), 1e-12)
