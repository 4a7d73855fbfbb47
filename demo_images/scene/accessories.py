"""Things people wear besides clothes: glasses, caps, necklaces, earrings, a watch."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from mathutils import Vector

from . import labels
from .assets import Floats
from .figure import Figure
from .nodes import material
from .objects import object_from_mesh, tube
from .pose import BONE_NAMES

Colour = tuple[float, float, float]


@dataclass
class Worn:
    """An object with its rest points; `weights` over bones moves it."""

    made: Any
    points: Floats
    weights: Floats


def _solid(name: str, label: str, colour: Colour, metallic: float, rough: float) -> Any:
    made, nodes = material(name)
    nodes.surface(nodes.principled(Base_Color=colour, Metallic=metallic, Roughness=rough))
    labels.write(nodes, {label: 1.0})
    return made


def _lens(tint: float) -> Any:
    """A thin lens: `tint` 0 clear to 1 opaque sunglasses."""
    made, nodes = material("lens")
    clear = nodes.node("ShaderNodeBsdfTransparent")
    pass_through = 1 - 0.98 * tint
    clear.inputs[0].default_value = (pass_through, pass_through, pass_through, 1)
    glossy = nodes.node("ShaderNodeBsdfGlossy")
    glossy.inputs["Roughness"].default_value = 0.03
    fresnel = nodes.node("ShaderNodeFresnel")
    fresnel.inputs[0].default_value = 1.5
    nodes.surface(nodes.mix_shader(fresnel.outputs[0], clear.outputs[0], glossy.outputs[0]))
    labels.write(nodes, {"glasses": 1.0})
    return made


def _rigid(points: Floats, bone: str) -> Floats:
    weights = np.zeros((len(points), len(BONE_NAMES)))
    weights[:, BONE_NAMES.index(bone)] = 1
    return weights


def glasses(figure: Figure, colour: Colour, metal: bool, tint: float, square: float) -> list[Worn]:
    """Frame and lenses in front of the eyes; `square` 0 round to 1 boxy."""
    frame = _solid("frame", "glasses", colour, 1.0 if metal else 0.0, 0.25)
    lens = _lens(tint)
    worn = []
    thick = 0.0011 if metal else 0.0020
    angle = np.linspace(0, 2 * np.pi, 40, endpoint=False)
    power = 1 - 0.55 * square
    ring = np.stack(
        [np.sign(np.cos(angle)) * np.abs(np.cos(angle)) ** power * 0.026,
         np.zeros_like(angle),
         np.sign(np.sin(angle)) * np.abs(np.sin(angle)) ** power * 0.021], 1
    )  # fmt: skip
    bridge_y = figure.surface(0, figure.eye_level[2] - 0.004)[1] - 0.003
    rims = []
    for eye in figure.eyes:
        rim = ring + np.array([eye[0] * 1.03, 0, eye[2] - 0.003])
        rim[:, 1] = 0.35 * np.clip(np.abs(rim[:, 0]) - 0.03, 0, None)
        rims.append(rim)
    skin = np.concatenate([[figure.surface(x, z)[1] - y for x, y, z in rim] for rim in rims])
    front = min(bridge_y + 0.004, float(skin.min()) - thick - 0.001)
    for eye, rim in zip(figure.eyes, rims, strict=True):
        rim[:, 1] += front
        worn.append(_worn(figure, "rim", *tube(rim, thick, closed=True), frame))
        fan = [[len(rim), k, (k + 1) % len(rim)] for k in range(len(rim))]
        points = np.vstack([rim, rim.mean(0, keepdims=True)])
        worn.append(_worn(figure, "lens", points, fan, lens))
        sign = np.sign(eye[0])
        outer = rim[np.argmax(rim[:, 0] * sign)]
        ear = np.array([sign * 0.077, figure.eye_level[1] + 0.095, eye[2] + 0.008])
        ear[0] = sign * (abs(_side(figure, ear)) + 0.002)
        temple = np.array(
            [
                outer,
                outer + np.array([sign * 0.006, 0.012, 0.004]),
                ear,
                ear + np.array([0, 0.02, -0.02]),
            ]
        )
        worn.append(_worn(figure, "temple", *tube(temple, thick), frame))
    inner = np.array([[s * 0.009, front, figure.eye_level[2] + 0.001] for s in (-1, 0, 1)])
    inner[1] += [0, -0.003, 0.003]
    worn.append(_worn(figure, "bridge", *tube(inner, thick), frame))
    return worn


def _side(figure: Figure, point: Floats) -> float:
    start = Vector((np.sign(point[0]) * 0.4, point[1], point[2]))
    hit = figure.tree.ray_cast(start, Vector((-np.sign(point[0]), 0, 0)))[0]
    return float(hit[0]) if hit else float(point[0])


def _worn(figure: Figure, name: str, points: Floats, faces: list, mat: Any, bone: str = "head",
          weights: Floats | None = None) -> Worn:  # fmt: skip
    made = object_from_mesh(name, points, faces)
    made.data.materials.append(mat)
    return Worn(made, points, _rigid(points, bone) if weights is None else weights)


def cap(figure: Figure, colour: Colour, brim: str) -> list[Worn]:
    """A cap ('peak'), sun hat ('round') or beanie ('none') over the skull."""
    mat = _solid("hat", "hat", colour, 0.0, 0.9)
    top = figure.points[: figure.body_size, 2].max()
    eye = figure.eye_level
    band = eye[2] + 0.050
    centre = np.array([0, eye[1] + 0.088, band])
    radii = np.array([0.086, 0.112, top + 0.014 - band])
    rows, sides = 9, 40
    lift = np.linspace(0, np.pi / 2 * 0.98, rows)
    around = np.linspace(0, 2 * np.pi, sides, endpoint=False)
    dome = np.stack(
        [np.cos(lift)[:, None] ** 0.8 * np.cos(around)[None] * radii[0],
         np.cos(lift)[:, None] ** 0.8 * np.sin(around)[None] * radii[1],
         np.sin(lift)[:, None] * radii[2] + 0 * around[None]], -1
    ).reshape(-1, 3) + centre  # fmt: skip
    dome[:, 2] -= 0.25 * np.clip(dome[:, 1] - centre[1], 0, None) * (dome[:, 2] < band + 0.05)
    faces = [
        [
            r * sides + k,
            r * sides + (k + 1) % sides,
            (r + 1) * sides + (k + 1) % sides,
            (r + 1) * sides + k,
        ]
        for r in range(rows - 1)
        for k in range(sides)
    ]
    faces.append([(rows - 1) * sides + k for k in range(sides)])
    worn = [_worn(figure, "cap", dome, faces, mat)]
    if brim != "none":
        worn.append(_brim(figure, mat, dome[:sides], around, centre, brim))
    return worn


def _brim(figure: Figure, mat: Any, rim: Floats, around: Floats, centre: Floats, brim: str) -> Worn:
    out = 0.075 * np.ones_like(around)
    if brim == "peak":
        out = 0.075 * np.clip(-np.sin(around), 0, 1) ** 0.45
    away = rim - centre
    away[:, 2] = 0
    away /= np.linalg.norm(away, axis=1, keepdims=True)
    edge = rim + away * out[:, None] - np.array([0, 0, 1]) * (0.30 * out)[:, None]
    thick = np.array([0, 0, 0.003])
    points = np.vstack([rim, edge, rim + thick, edge + thick])
    n = len(rim)
    faces = []
    for k in range(n):
        m = (k + 1) % n
        faces += [[k, m, n + m, n + k], [2 * n + k, 3 * n + k, 3 * n + m, 2 * n + m]]
        faces.append([n + k, n + m, 3 * n + m, 3 * n + k])
    return _worn(figure, "brim", points, faces, mat)


def necklace(figure: Figure, colour: Colour, low: float, beads: bool) -> Worn:
    """A chain round the neck that hangs `low` metres below it in front, lying on the skin."""
    neck = figure.joint("neck")
    angle = np.linspace(0, 2 * np.pi, 120, endpoint=False)
    path = np.stack([0.085 * np.cos(angle), 0.075 * np.sin(angle), 0 * angle], 1) + neck
    path[:, 2] += 0.005 - (0.045 + low) * np.clip(-np.sin(angle), 0, 1) ** 1.4
    path[:, 0] *= 1 - 0.35 * np.clip(-np.sin(angle), 0, 1) ** 3
    lying, radius = [], 0.0032 if beads else 0.0011
    for point in path:
        place, normal = figure.nearest(point)
        lying.append(place + normal * radius * 0.8)
    points, faces = tube(np.array(lying), radius, closed=True)
    if beads:
        swell = np.abs(np.sin(np.repeat(np.arange(len(path)), 8) * np.pi / 2 + 0.4))
        points = np.repeat(np.array(lying), 8, 0) + (points - np.repeat(np.array(lying), 8, 0)) * (
            0.45 + 0.55 * swell[:, None]
        )
    metal = 0.0 if beads else 1.0
    mat = _solid("necklace", "jewellery", colour, metal, 0.25)
    weights = np.zeros((len(points), len(BONE_NAMES)))
    weights[:, BONE_NAMES.index("chest")] = 1
    return _worn(figure, "necklace", points, faces, mat, weights=weights)


def earrings(figure: Figure, colour: Colour, hoop: bool) -> list[Worn]:
    """Studs or hoops at the lobes."""
    mat = _solid("earring", "jewellery", colour, 1.0, 0.15)
    ears = figure.face_centres[figure.painted("mpfb_ears.jpg") > 0.5]
    worn = []
    for sign in (1, -1):
        side = ears[ears[:, 0] * sign > 0]
        if not len(side):
            continue
        low = side[side[:, 2] < np.quantile(side[:, 2], 0.12)]
        lobe = low[np.argmax(low[:, 0] * sign)] + np.array([0, 0, 0.002])
        angle = np.linspace(0, 2 * np.pi, 24, endpoint=False)
        radius = 0.014 if hoop else 0.0022
        ring = np.stack([0 * angle, radius * np.cos(angle), radius * np.sin(angle)], 1)
        centre = lobe + np.array([sign * 0.001, 0, -radius if hoop else 0])
        worn.append(
            _worn(figure, "ring", *tube(ring + centre, 0.0010 if hoop else 0.002, closed=True), mat)
        )
    return worn


def watch(figure: Figure, colour: Colour, side: str) -> Worn:
    """A band round one wrist."""
    wrist, elbow = figure.joint(f"{side}-hand"), figure.joint(f"{side}-elbow")
    axis = (wrist - elbow) / np.linalg.norm(wrist - elbow)
    centre = wrist - 0.035 * axis
    first = np.cross(axis, [0, 1, 0])
    first /= np.linalg.norm(first)
    second = np.cross(axis, first)
    angle = np.linspace(0, 2 * np.pi, 32, endpoint=False)
    rows = []
    for along in (-0.009, 0.0, 0.009):
        for a in angle:
            ray = np.cos(a) * first + np.sin(a) * second
            start = centre + along * axis
            hit = figure.tree.ray_cast(Vector(start + 0.12 * ray), Vector(-ray), 0.12)[0]
            rows.append((np.array(hit) if hit else start + 0.03 * ray) + ray * 0.0022)
    points = np.array(rows)
    n = len(angle)
    faces = [[r * n + k, r * n + (k + 1) % n, (r + 1) * n + (k + 1) % n, (r + 1) * n + k]
             for r in range(2) for k in range(n)]  # fmt: skip
    mat = _solid("watch", "jewellery", colour, 0.6, 0.3)
    bone = f"forearm.{side.upper()}"
    return _worn(figure, "watch", points, faces, mat, bone)
