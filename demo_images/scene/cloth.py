"""Clothes cut from the body's close-fitting helper meshes by smooth fields.

A field is positive where cloth covers the body, in metres to the cut's edge; the material leaves
out what lies below zero, so necklines, straps and hems are clean curves.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from . import labels
from .assets import Floats
from .figure import Figure
from .nodes import Nodes, material
from .objects import finer, object_from_mesh, set_attribute
from .pose import BONE_NAMES

ARM_BONES = [k for k, b in enumerate(BONE_NAMES) if b.split(".")[0] in
             ("upperarm", "lowerarm", "forearm", "hand") or b.startswith("finger")]  # fmt: skip
"""Columns of the weights that belong to an arm below the shoulder."""


@dataclass(frozen=True)
class Cut:
    """Shape of one garment; lengths in metres.

    `neck`: one of NECKS, 'strapless', 'high' or None (a lower garment);
    `strap`: outer edge of a shoulder strap from the middle, or None for whole shoulders;
    `sleeve`: along the arm from the shoulder; `hem`: height above the ground where it ends;
    `top`: height above the ground of a lower garment's upper edge; `leg_hole`: cut like swimwear
    above the thigh;
    `skirt`: cut from the skirt mesh; `offset`: distance from the body; `loose`: further out.
    """

    name: str
    neck: str | None = None
    strap: float | None = None
    sleeve: float = 0.0
    hem: float = 0.0
    top: float | None = None
    leg_hole: bool = False
    skirt: bool = False
    offset: float = 0.003
    loose: float = 0.0


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
    field = np.full(len(points), 1.0)
    x, z = np.abs(points[:, 0]), points[:, 2]
    up = z - figure.ground
    if cut.neck:
        field = np.minimum(field, _neck_field(figure, cut, points))
        field = np.minimum(field, _sleeve_field(figure, cut, points, weights))
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
        return neck[2] + 0.055 - z
    width, front, back = NECKS[str(cut.neck)]
    share = np.clip((points[:, 1] - neck[1] + 0.03) / 0.06, 0, 1)
    depth = front + (back - front) * share * share * (3 - 2 * share)
    below = np.clip(neck[2] - z, 0, None) / depth
    reach = x / width + below if cut.neck == "vee" else np.hypot(x / width, below)
    return (reach - 1) * width


def _sleeve_field(figure: Figure, cut: Cut, points: Floats, weights: Floats) -> Floats:
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
    return cut.sleeve - along


@dataclass(frozen=True)
class Fabric:
    """Colour (linear RGB), second colour and pattern: 'plain', 'stripes', 'checks', 'print'."""

    colour: tuple[float, float, float]
    second: tuple[float, float, float]
    pattern: str = "plain"
    scale: float = 1.0
    shine: float = 0.0


def fabric_material(fabric: Fabric) -> Any:
    """Woven cloth with folds; transparent outside its cut."""
    made, nodes = material("cloth")
    rest = nodes.attribute("rest", "Vector")
    field = nodes.attribute("field")
    inside = nodes.above(field, 0.0)
    colour = _pattern(nodes, fabric, rest)
    weave = nodes.node("ShaderNodeTexWave")
    nodes.feed(rest, weave.inputs[0])
    weave.inputs["Scale"].default_value = 700
    stretched = nodes.node("ShaderNodeMapping")
    nodes.feed(rest, stretched.inputs[0])
    stretched.inputs["Scale"].default_value = (1.0, 1.0, 0.45)
    stretched.inputs["Rotation"].default_value = (0.3, 0.5, 0)
    folds = nodes.add(
        nodes.mul(nodes.noise(stretched.outputs[0], 14, 2), 60.0),
        nodes.mul(nodes.noise(rest, 45, 3), 8.0),
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
    ids, faces, uvs = figure.group(["helper-skirt" if cut.skirt else "helper-tights"])
    points, weights = _on_shoulders(figure, figure.points[ids]), figure.weights[ids]
    for _ in range(2 if subdivide > 2 else 1):
        faces, (points, weights), uvs = finer(faces, [points, weights], uvs)
    subdivide = min(subdivide, 2)
    field = cut_field(figure, cut, points, weights)
    faces, points, weights, field, uvs = _kept(faces, points, weights, field, uvs)
    normals = _normals(points, faces)
    ripple = np.sin(37 * points[:, 0] + 23 * points[:, 2]) * np.sin(31 * points[:, 1] + 9)
    torso = 1 - 0.6 * weights[:, ARM_BONES].sum(1)
    out = cut.offset + cut.loose * torso * (0.7 + 0.3 * ripple)
    out = out * (1 - 0.65 * _on_top(figure, points))
    points = points + normals * out[:, None]
    made = object_from_mesh(cut.name, points, faces, uvs, subdivide)
    set_attribute(made, "rest", points)
    set_attribute(made, "field", field)
    made.data.materials.append(fabric_material(fabric))
    return Garment(made, points, weights)


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
