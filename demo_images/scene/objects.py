"""Put numpy geometry into the scene: meshes with attributes, and strands of hair."""

from __future__ import annotations

from typing import Any

import bpy
import numpy as np
from numpy.typing import NDArray

from .assets import Floats


def object_from_mesh(
    name: str,
    points: NDArray[np.float64],
    faces: list[list[int]],
    uvs: NDArray[np.float64] | None = None,
    subdivide: int = 0,
) -> Any:
    """A smooth-shaded mesh object linked to the scene."""
    mesh = bpy.data.meshes.new(name)
    mesh.from_pydata(np.asarray(points).tolist(), [], faces)
    if uvs is not None:
        layer = mesh.uv_layers.new(name="UV")
        layer.data.foreach_set("uv", np.asarray(uvs, np.float32).ravel())
    mesh.polygons.foreach_set("use_smooth", np.ones(len(mesh.polygons), bool))
    made = bpy.data.objects.new(name, mesh)
    bpy.context.scene.collection.objects.link(made)
    if subdivide:
        modifier = made.modifiers.new("subdivide", "SUBSURF")
        modifier.levels = modifier.render_levels = subdivide
    return made


def set_attribute(made: Any, name: str, values: Floats, domain: str = "POINT") -> None:
    """Store one number (n,) or one vector (n, 3) for every point or face."""
    values = np.asarray(values, np.float32)
    kind, field = ("FLOAT", "value") if values.ndim == 1 else ("FLOAT_VECTOR", "vector")
    attribute = made.data.attributes.get(name) or made.data.attributes.new(name, kind, domain)
    attribute.data.foreach_set(field, values.ravel())


def move_points(made: Any, points: Floats) -> None:
    """Set the positions of all points of a mesh or of hair."""
    flat = np.asarray(points, np.float32).ravel()
    if isinstance(made.data, bpy.types.Mesh):
        made.data.vertices.foreach_set("co", flat)
        made.data.update()
    else:
        made.data.position_data.foreach_set("vector", flat)
        made.data.update_tag()


def strands(name: str, points: Floats, counts: NDArray[np.int64], radii: Floats) -> Any:
    """Hair: points (n, 3) of all strands in order, points per strand, radius per point, metres."""
    curves = bpy.data.hair_curves.new(name)
    curves.add_curves(counts.tolist())
    curves.position_data.foreach_set("vector", np.asarray(points, np.float32).ravel())
    attribute = curves.attributes.get("radius") or curves.attributes.new("radius", "FLOAT", "POINT")
    attribute.data.foreach_set("value", np.asarray(radii, np.float32))
    made = bpy.data.objects.new(name, curves)
    bpy.context.scene.collection.objects.link(made)
    return made


def tube(path: Floats, radius: float, sides: int = 8, closed: bool = False) -> tuple[Floats, list]:
    """Points and faces of a round tube along a path (n, 3)."""
    ahead = np.roll(path, -1, 0) - np.roll(path, 1, 0)
    if not closed:
        ahead[0], ahead[-1] = path[1] - path[0], path[-1] - path[-2]
    ahead /= np.maximum(np.linalg.norm(ahead, axis=1, keepdims=True), 1e-9)
    side = np.cross(ahead, [0.13, 0.21, 0.97])
    side /= np.maximum(np.linalg.norm(side, axis=1, keepdims=True), 1e-9)
    up = np.cross(side, ahead)
    angle = np.linspace(0, 2 * np.pi, sides, endpoint=False)[None, :, None]
    ring = np.cos(angle) * side[:, None] + np.sin(angle) * up[:, None]
    points = (path[:, None] + radius * ring).reshape(-1, 3)
    rings = len(path) if closed else len(path) - 1
    faces = []
    for i in range(rings):
        j = (i + 1) % len(path)
        for k in range(sides):
            m = (k + 1) % sides
            faces.append([i * sides + k, i * sides + m, j * sides + m, j * sides + k])
    return points, faces


def finer(
    faces: list[list[int]], values: list[Floats], uvs: Floats
) -> tuple[list[list[int]], list[Floats], Floats]:
    """Cut every face into quads at its edges' middles; `values` (points, weights) are averaged.

    `uvs` are the corners' texture coordinates in face order.
    """
    count = len(values[0])
    middle: dict[tuple[int, int], int] = {}
    edges: list[tuple[int, int]] = []
    for face in faces:
        for a, b in zip(face, face[1:] + face[:1], strict=True):
            key = (min(a, b), max(a, b))
            if key not in middle:
                middle[key] = count + len(edges)
                edges.append(key)
    ends = np.array(edges)
    refined, start = [], 0
    new_faces, corners = [], []
    for k, face in enumerate(faces):
        n = len(face)
        mine = uvs[start : start + n]
        start += n
        centre = count + len(edges) + k
        for i in range(n):
            after, before = face[(i + 1) % n], face[i - 1]
            edge = [middle[min(face[i], o), max(face[i], o)] for o in (after, before)]
            new_faces.append([face[i], edge[0], centre, edge[1]])
            corners += [
                mine[i],
                (mine[i] + mine[(i + 1) % n]) / 2,
                mine.mean(0),
                (mine[i] + mine[i - 1]) / 2,
            ]
    for value in values:
        centres = np.array([value[face].mean(0) for face in faces])
        refined.append(np.concatenate([value, value[ends].mean(1), centres]))
    return new_faces, refined, np.array(corners)
