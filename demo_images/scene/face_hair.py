"""Brows, lashes, beards and moustaches as strands on the face."""

from __future__ import annotations

import numpy as np
from mathutils import Vector

from .assets import Floats
from .figure import Figure
from .hair import Strands


def brows(figure: Figure, proxy: str, fullness: float, rng: np.random.Generator) -> Strands:
    """Brow hairs over a fitted brow surface; `fullness` 0.3 (sparse) to 1.5 (bushy)."""
    mesh = figure.fitted(proxy)
    faces = [[i for i, _ in face] for faces in mesh.groups.values() for face in faces]
    corners = mesh.vertices[np.array([(f + f[:1])[:4] for f in faces])]
    area = np.linalg.norm(
        np.cross(corners[:, 2] - corners[:, 0], corners[:, 3] - corners[:, 1]), axis=1
    )
    count = int(1100 * fullness)
    picked = rng.choice(len(corners), count, p=area / area.sum())
    roots = (corners[picked] * rng.dirichlet(np.ones(4), count)[:, :, None]).sum(1)
    roots, normals = _on_skin(figure, roots)
    side = np.sign(roots[:, 0])
    eye_x, eye_z = abs(figure.eyes[0][0]), figure.eye_level[2]
    out = np.clip((np.abs(roots[:, 0]) - eye_x) / 0.022, -1, 1)
    rise = 0.65 - 0.375 * (out + 1) - 2.4 * (roots[:, 2] - eye_z - 0.030)
    heading = np.stack([side * (0.75 + 0.25 * out), 0 * out, rise], 1)
    heading = _tangent(heading + rng.normal(0, 0.12, heading.shape), normals)
    length = rng.uniform(0.0045, 0.0085, count)[:, None, None]
    along = np.linspace(0, 1, 5)[None, :, None]
    points = roots[:, None] + heading[:, None] * length * along
    points += normals[:, None] * (0.0001 + 0.0012 * np.sin(2.2 * along))
    return _strands(points, 0.000045 * np.linspace(1, 0.25, 5))


def lashes(figure: Figure, rng: np.random.Generator) -> Strands:
    """Lashes along the rims of both lids."""
    found = []
    for side, centre in (("l", figure.eyes[0]), ("r", figure.eyes[1])):
        for row, up, count, size in (("2", 1, 85, 0.0085), ("1", -1, 45, 0.0050)):
            rim = figure.points[figure.assets.group_vertices[f"helper-{side}-eyelashes-{row}"]]
            near = np.linalg.norm(rim - centre, axis=1)
            edges = np.linspace(rim[:, 0].min(), rim[:, 0].max(), 12)
            line = []
            for low, high in zip(edges[:-1], edges[1:], strict=True):
                band = np.nonzero((rim[:, 0] >= low) & (rim[:, 0] <= high))[0]
                if len(band):
                    line.append(rim[band[np.argmin(near[band])]])
            curve = np.array(line)
            at = rng.uniform(0.03, 0.97, count)
            whole = np.linspace(0, 1, len(curve))
            roots = np.stack([np.interp(at, whole, curve[:, k]) for k in range(3)], 1)
            heading = roots - centre
            heading /= np.linalg.norm(heading, axis=1, keepdims=True)
            sign = np.sign(centre[0])
            heading[:, 0] += sign * 0.25 * (roots[:, 0] - centre[0]) * sign / 0.015
            heading += rng.normal(0, 0.08, heading.shape)
            heading /= np.linalg.norm(heading, axis=1, keepdims=True)
            length = size * rng.uniform(0.7, 1.05, count) * (0.6 + 0.4 * np.sin(np.pi * at))
            along = np.linspace(0, 1, 6)[None, :, None]
            points = roots[:, None] + heading[:, None] * length[:, None, None] * along * (
                1 - 0.15 * along
            )
            points[..., 2] += up * 0.55 * length[:, None] * along[..., 0] ** 2
            found.append(points)
    return _strands(np.concatenate(found), 0.00006 * np.linspace(1, 0.2, 6))


def beard_cover(figure: Figure, points: Floats, kind: str) -> Floats:
    """How much beard grows at `points` (rest metres), 0 to 1.

    `kind`: 'full', 'goatee' (chin and moustache) or 'moustache'.
    """
    mouth, nose = figure.mouth, figure.nose_tip
    u = np.abs(points[:, 0])
    v = points[:, 2] - mouth[2]
    front = (points[:, 1] < figure.eye_level[1] + 0.085) & (u < 0.09)
    cheek_line = -0.006 + 0.72 * np.clip(u - 0.020, 0, 0.06)
    cheek = np.clip((cheek_line - v) / 0.007, 0, 1) * np.clip((u - 0.024) / 0.006, 0, 1)
    jaw = np.clip((v + 0.082 + 0.5 * np.clip(u - 0.03, 0, 1)) / 0.012, 0, 1)
    below = np.clip((-0.011 - v) / 0.005, 0, 1)
    chin = below * np.clip((0.034 - u) / 0.008, 0, 1)
    lip_top = nose[2] - mouth[2] - 0.012
    over_lip = np.clip((v - 0.003) / 0.003, 0, 1) * np.clip((lip_top - v) / 0.004, 0, 1)
    moustache = over_lip * np.clip((0.030 - u) / 0.006, 0, 1)
    around = np.clip((u - 0.024) / 0.004, 0, 1) * np.clip((0.034 - u) / 0.004, 0, 1)
    around = around * np.clip((lip_top - v) / 0.004, 0, 1) * np.clip((v + 0.03) / 0.01, 0, 1)
    whole = {
        "moustache": moustache,
        "goatee": np.maximum.reduce([moustache, chin, around]),
        "full": np.maximum.reduce([moustache, chin, around, cheek, below * (u < 0.05)]),
    }[kind]
    return whole * jaw * front


def beard(
    figure: Figure, kind: str, length: float, thick: float, rng: np.random.Generator
) -> Strands:
    """Beard hairs of `length` metres; `thick` 0.3 to 1.5 scales their number."""
    cover = beard_cover(figure, figure.face_centres, kind)
    lips = figure.painted("mpfb_lips.jpg") > 0.2
    mouth = figure.painted("mpfb_inside-mouth.jpg") > 0.2
    head = figure.weights[[f[0] for f in figure.faces]].argmax(1)
    outward = ((figure.face_centres - figure.joint("mouth")) * figure.face_normals).sum(1) > 0
    chance = cover * ~lips * ~mouth * outward * figure.face_areas * (head >= 0)
    if chance.sum() <= 0:
        return Strands(np.zeros((0, 3)), np.zeros(0, int), np.zeros(0))
    count = int(7500 * thick * min(1.0, chance.sum() / 0.016))
    picked = rng.choice(len(chance), count, p=chance / chance.sum())
    corners = np.array([(figure.faces[k] + figure.faces[k][:1])[:4] for k in picked])
    roots = (figure.points[corners] * rng.dirichlet(np.ones(4), count)[:, :, None]).sum(1)
    normals = figure.face_normals[picked]
    heading = np.stack([0.25 * np.sign(roots[:, 0]), 0 * roots[:, 0], -1 + 0 * roots[:, 0]], 1)
    heading = _tangent(heading + rng.normal(0, 0.35, heading.shape), normals) + 0.45 * normals
    heading /= np.linalg.norm(heading, axis=1, keepdims=True)
    size = length * rng.uniform(0.5, 1.1, count)[:, None, None]
    size = size * np.where(roots[:, 2] > figure.mouth[2], 0.6, 1.0)[:, None, None]
    along = np.linspace(0, 1, 7)[None, :, None]
    points = roots[:, None] + heading[:, None] * size * along
    points[..., 2] -= 0.35 * size[..., 0] * along[..., 0] ** 2
    phase = rng.uniform(0, 6.28, (count, 1, 3))
    points += 0.06 * length * along * np.sin(phase + 5 * along)
    return _strands(points, 0.00006 * np.linspace(1, 0.4, 7))


def _on_skin(figure: Figure, points: Floats) -> tuple[Floats, Floats]:
    places, normals = [], []
    for point in points:
        place, normal, _, _ = figure.tree.find_nearest(Vector(point))
        places.append(place)
        normals.append(normal)
    return np.array(places), np.array(normals)


def _tangent(heading: Floats, normals: Floats) -> Floats:
    heading = heading - normals * (heading * normals).sum(1, keepdims=True)
    return heading / np.maximum(np.linalg.norm(heading, axis=1, keepdims=True), 1e-9)


def _strands(points: Floats, radius: Floats) -> Strands:
    count, steps = points.shape[:2]
    return Strands(points.reshape(-1, 3), np.full(count, steps), np.tile(radius, count))
