"""Glasses and hats."""

from __future__ import annotations

from typing import Any

import numpy as np
from mathutils import Vector

from . import labels
from .assets import Floats
from .figure import Figure
from .nodes import material
from .objects import tube
from .worn import Worn, rigid, sheet, solid, strip, worn

Colour = tuple[float, float, float]


def _lens(tint: float, hue: Colour) -> Any:
    """A thin lens: `tint` 0 clear to 1 opaque sunglasses, `hue` what it lets through."""
    made, nodes = material("lens")
    clear = nodes.node("ShaderNodeBsdfTransparent")
    nodes.feed(tuple((1 - 0.98 * tint) * h for h in hue), clear.inputs[0])
    glossy = nodes.node("ShaderNodeBsdfGlossy")
    glossy.inputs["Roughness"].default_value = 0.03
    fresnel = nodes.node("ShaderNodeFresnel")
    fresnel.inputs[0].default_value = 1.5
    nodes.surface(nodes.mix_shader(fresnel.outputs[0], clear.outputs[0], glossy.outputs[0]))
    labels.write(nodes, {"glasses": 1.0})
    return made


def _clear_frame(colour: Colour) -> Any:
    """See-through plastic: tinted, with bright edges."""
    made, nodes = material("frame")
    clear = nodes.node("ShaderNodeBsdfTransparent")
    nodes.feed(tuple(0.4 + 0.6 * c for c in colour), clear.inputs[0])
    solid_part = nodes.principled(Base_Color=colour, Roughness=0.15)
    nodes.surface(nodes.mix_shader(0.45, clear.outputs[0], solid_part))
    labels.write(nodes, {"glasses": 1.0})
    return made


def glasses(
    figure: Figure, colour: Colour, metal: bool, tint: float, square: float,
    hue: Colour = (1, 1, 1), clear: bool = False, size: float = 1.0, heavy: float = 1.0,
    placed: str = "eyes",
) -> list[Worn]:  # fmt: skip
    """Frame and lenses; `square` 0 round to 1 boxy, `clear` for a see-through frame.

    `size` of the lenses and `heavy` thickness of the frame against the usual; `placed` before the
    'eyes', 'low' on the nose or on the 'top' of the head.
    """
    frame = _clear_frame(colour) if clear else solid("frame", "glasses", colour, float(metal), 0.25)
    lens = _lens(tint, hue)
    parts: list[tuple[str, Floats, list[list[int]], Any]] = []
    thick = (0.0011 if metal else 0.0020) * heavy
    down = 0.016 if placed == "low" else 0.0
    angle = np.linspace(0, 2 * np.pi, 40, endpoint=False)
    power = 1 - 0.55 * square
    tall = size * (0.75 if placed == "low" else 1.0)
    ring = np.stack(
        [np.sign(np.cos(angle)) * np.abs(np.cos(angle)) ** power * 0.026 * size,
         np.zeros_like(angle),
         np.sign(np.sin(angle)) * np.abs(np.sin(angle)) ** power * 0.021 * tall], 1
    )  # fmt: skip
    bridge_y = figure.surface(0, figure.eye_level[2] - 0.004 - down)[1] - 0.003
    rims = []
    for eye in figure.eyes:
        rim = ring + np.array([eye[0] * 1.03, 0, eye[2] - 0.003 - down])
        rim[:, 1] = 0.35 * np.clip(np.abs(rim[:, 0]) - 0.03, 0, None)
        rims.append(rim)
    skin = np.concatenate([[figure.surface(x, z)[1] - y for x, y, z in rim] for rim in rims])
    front = min(bridge_y + 0.004, float(skin.min()) - thick - 0.001)
    for eye, rim in zip(figure.eyes, rims, strict=True):
        rim[:, 1] += front
        parts.append(("rim", *tube(rim, thick, closed=True), frame))
        fan = [[len(rim), k, (k + 1) % len(rim)] for k in range(len(rim))]
        parts.append(("lens", np.vstack([rim, rim.mean(0, keepdims=True)]), fan, lens))
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
        parts.append(("temple", *tube(temple, thick), frame))
    half = max(0.004, 0.035 - 0.026 * size)
    inner = np.array([[s * half, front, figure.eye_level[2] + 0.001 - down] for s in (-1, 0, 1)])
    inner[1] += [0, -0.003, 0.003]
    parts.append(("bridge", *tube(inner, thick), frame))
    if placed == "top":
        parts = [(name, _pushed_up(figure, points), *rest) for name, points, *rest in parts]
    return [worn(*part, rigid(part[1], "head")) for part in parts]


def _pushed_up(figure: Figure, points: Floats) -> Floats:
    """Points of glasses turned about the ears onto the top of the head."""
    ear = figure.eye_level + np.array([0, 0.095, 0.008])
    angle = np.radians(-50)
    _, y, z = (points - ear).T
    turned = np.stack(
        [
            points[:, 0],
            np.cos(angle) * y - np.sin(angle) * z,
            np.sin(angle) * y + np.cos(angle) * z,
        ],
        1,
    )
    turned[:, 1:] *= 1.12
    return turned + ear * [0, 1, 1]


def _side(figure: Figure, point: Floats) -> float:
    start = Vector((np.sign(point[0]) * 0.4, point[1], point[2]))
    hit = figure.tree.ray_cast(start, Vector((-np.sign(point[0]), 0, 0)))[0]
    return float(hit[0]) if hit else float(point[0])


def cap(figure: Figure, colour: Colour, brim: str) -> list[Worn]:
    """A cap ('peak'), sun hat ('round') or beanie ('none') over the skull."""
    mat = solid("hat", "hat", colour, 0.0, 0.9)
    top = figure.points[: figure.body_size, 2].max()
    eye = figure.eye_level
    band = eye[2] + 0.050
    centre = np.array([0, eye[1] + 0.088, band])
    radii = np.array([0.086, 0.112, top + 0.014 - band])
    rows, sides = 9, 40
    lift = np.linspace(0, np.pi / 2 * 0.98, rows)
    turn = np.linspace(0, 2 * np.pi, sides, endpoint=False)
    dome = np.stack(
        [np.cos(lift)[:, None] ** 0.8 * np.cos(turn)[None] * radii[0],
         np.cos(lift)[:, None] ** 0.8 * np.sin(turn)[None] * radii[1],
         np.sin(lift)[:, None] * radii[2] + 0 * turn[None]], -1
    ).reshape(-1, 3) + centre  # fmt: skip
    dome[:, 2] -= 0.25 * np.clip(dome[:, 1] - centre[1], 0, None) * (dome[:, 2] < band + 0.05)
    faces = sheet(rows, sides)
    faces.append([(rows - 1) * sides + k for k in range(sides)])
    made = [worn("cap", dome, faces, mat, rigid(dome, "head"))]
    if brim != "none":
        made.append(_brim(mat, dome[:sides], turn, centre, brim))
    return made


def _brim(mat: Any, rim: Floats, turn: Floats, centre: Floats, brim: str) -> Worn:
    out = 0.075 * np.ones_like(turn)
    if brim == "peak":
        out = 0.075 * np.clip(-np.sin(turn), 0, 1) ** 0.45
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
    return worn("brim", points, faces, mat, rigid(points, "head"))


def headband(figure: Figure, colour: Colour, width: float, back: float) -> list[Worn]:
    """A band of cloth round the head; `back` 0 level over the forehead to 1 over the crown."""
    centre = figure.eye_level + np.array([0, 0.09, 0.05 - 0.02 * back])
    axis = np.array([0, 0.25 + 1.0 * back, 1.0])
    points, faces = strip(figure, centre, axis, 0.16, width, 0.009)
    look = solid("headband", "hat", colour, 0.0, 0.8)
    return [worn("headband", points, faces, look, rigid(points, "head"))]
