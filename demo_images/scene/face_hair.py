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
    for centre in figure.eyes:
        for up, count, size in ((1, 130, 0.0082), (-1, 60, 0.0048)):
            curve = lid_rim(figure, centre, up)
            at = rng.uniform(0.02, 0.98, count)
            whole = np.linspace(0, 1, len(curve))
            roots = np.stack([np.interp(at, whole, curve[:, k]) for k in range(3)], 1)
            fan = (roots[:, 0] - centre[0]) / 0.014
            heading = np.stack([0.75 * fan, -1.0 + 0 * fan, 0.25 * up + 0 * fan], 1)
            heading += rng.normal(0, 0.09, heading.shape)
            heading /= np.linalg.norm(heading, axis=1, keepdims=True)
            outer = np.clip(fan * np.sign(centre[0]), -1, 1)
            length = size * rng.uniform(0.65, 1.0, count) * (0.72 + 0.28 * outer)
            along = np.linspace(0, 1, 7)[None, :, None]
            points = roots[:, None] + heading[:, None] * length[:, None, None] * along * (
                1 - 0.25 * along
            )
            points[..., 2] += up * 0.65 * length[:, None] * along[..., 0] ** 1.8
            found.append(points)
    return _strands(np.concatenate(found), 0.00005 * np.linspace(1, 0.2, 7))


def lid_rim(figure: Figure, centre: Floats, up: int) -> Floats:
    """Points of a lid's rim from the inner to the outer corner of one eye, at rest.

    Seen from the front, the gap between the lids is where a ray passes into the socket. `up`: +1
    for the upper lid, -1 for the lower.
    """
    rim = []
    for x in centre[0] + np.linspace(-0.0145, 0.0145, 30):
        heights = centre[2] + np.arange(-0.012, 0.012, 0.00025)
        hits = [figure.tree.ray_cast(Vector((x, -3, z)), Vector((0, 1, 0)))[0] for z in heights]
        depth = np.array([hit[1] if hit else np.inf for hit in hits])
        inside = np.nonzero(depth > centre[1] - 0.004)[0]
        if len(inside) < 3:
            continue
        edge = inside[-1] + 1 if up > 0 else inside[0] - 1
        if 0 <= edge < len(depth) and np.isfinite(depth[edge]):
            rim.append((x, depth[edge] - 0.0002, heights[edge]))
    if len(rim) < 4:
        line = centre[0] + np.linspace(-0.013, 0.013, 8)
        return np.array([figure.surface(x, centre[2]) for x in line])
    return np.array(rim)


def beard_cover(figure: Figure, points: Floats, kind: str) -> Floats:
    """How much beard grows at `points` (rest metres), 0 to 1.

    `kind`: 'full', 'patchy', 'goatee' (chin and moustache), 'moustache', 'sides' (whiskers before
    the ears) or 'strap' (along the jaw).
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
        "sides": cheek * np.clip((u - 0.045) / 0.006, 0, 1),
        "strap": np.maximum(below, cheek) * np.clip((-0.018 - v + 0.5 * u) / 0.006, 0, 1),
        "goatee": np.maximum.reduce([moustache, chin, around]),
        "full": np.maximum.reduce([moustache, chin, around, cheek, below * (u < 0.05)]),
    }["full" if kind == "patchy" else kind]
    if kind == "patchy":
        waves = np.sin(points @ [310, 190, 240]) + np.sin(points @ [-170, 290, 330] + 1)
        whole = whole * np.clip(0.5 + 1.2 * waves, 0.05, 1)
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
