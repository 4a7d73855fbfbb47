"""Read the CC0 base mesh, its shape targets, skinning weights and fitted proxies from a folder."""

from __future__ import annotations

import gzip
import json
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

METRES_PER_UNIT = 0.1
"""The base mesh is modelled in decimetres."""


@dataclass
class Mesh:
    """Polygons with texture coordinates: vertices (n, 3), faces of (vertex, uv) index pairs."""

    vertices: Floats
    uvs: Floats
    groups: dict[str, list[list[tuple[int, int]]]] = field(default_factory=dict)


def read_obj(path: Path) -> Mesh:
    """Read vertices, texture coordinates and face groups of a Wavefront OBJ file."""
    vertices, uvs = [], []
    groups: dict[str, list[list[tuple[int, int]]]] = {}
    group = ""
    for line in path.read_text().splitlines():
        words = line.split()
        if not words:
            continue
        if words[0] == "v":
            vertices.append([float(x) for x in words[1:4]])
        elif words[0] == "vt":
            uvs.append([float(x) for x in words[1:3]])
        elif words[0] == "g":
            group = words[1]
        elif words[0] == "f":
            corners = [tuple(int(n) - 1 for n in word.split("/")[:2]) for word in words[1:]]
            groups.setdefault(group, []).append([(c[0], c[1]) for c in corners])
    return Mesh(np.array(vertices), np.array(uvs), groups)


class Assets:
    """The folder of parts: `assets/` and `targets/` below `folder`."""

    def __init__(self, folder: Path):
        self.folder = folder / "assets"
        self.targets = folder / "targets"
        for needed in (self.folder / "base.obj", self.targets / "macrodetails"):
            if not needed.exists():
                raise FileNotFoundError(f"{needed} is missing: give the folder of mesh parts")
        self.base = read_obj(self.folder / "base.obj")
        self.weights: dict[str, list[list[float]]] = json.loads(
            (self.folder / "weights.default.json").read_text()
        )["weights"]
        self.group_vertices = {
            name: np.array(sorted({i for face in faces for i, _ in face}))
            for name, faces in self.base.groups.items()
        }

    @lru_cache(maxsize=512)  # noqa: B019  (one Assets lives as long as the process)
    def target(self, name: str) -> tuple[NDArray[np.int64], Floats]:
        """Vertex indices and displacements of a shape target, in mesh units."""
        rows = []
        with gzip.open(self.targets / f"{name}.target.gz", "rt") as lines:
            for line in lines:
                words = line.split()
                if len(words) == 4 and not words[0].startswith("#"):
                    rows.append([float(x) for x in words])
        table = np.array(rows).reshape(-1, 4)
        return table[:, 0].astype(np.int64), table[:, 1:]

    def target_names(self, folder: str) -> list[str]:
        """Names of all targets in one folder, sorted."""
        found = sorted((self.targets / folder).glob("*.target.gz"))
        return [f"{folder}/{path.name.removesuffix('.target.gz')}" for path in found]

    def joint(self, vertices: Floats, name: str) -> Floats:
        """Centre of a joint's marker group in a shaped mesh."""
        return vertices[self.group_vertices[f"joint-{name}"]].mean(0)

    def texture(self, name: str) -> Path:
        """Path of a texture or mask image."""
        return self.folder / "textures" / name

    def fitted(self, name: str, vertices: Floats) -> Mesh:
        """Proxy mesh `name` (OBJ with MHCLO) fitted to a shaped body."""
        mesh = self._proxy(name)
        bindings, scales = self._bindings(name)
        scale = np.ones(3)
        for axis, (first, second, size) in scales.items():
            scale[axis] = abs(vertices[first, axis] - vertices[second, axis]) / size
        index, weight, offset = bindings
        points = (vertices[index] * weight[:, :, None]).sum(1) + offset * scale
        return Mesh(points, mesh.uvs, mesh.groups)

    @lru_cache(maxsize=8)  # noqa: B019
    def _proxy(self, name: str) -> Mesh:
        return read_obj(self.folder / f"{name}.obj")

    @lru_cache(maxsize=8)  # noqa: B019
    def _bindings(self, name: str) -> tuple[tuple[NDArray[np.int64], Floats, Floats], dict]:
        scales: dict[int, tuple[int, int, float]] = {}
        index, weight, offset = [], [], []
        reading = False
        for line in (self.folder / f"{name}.mhclo").read_text().splitlines():
            words = line.split()
            if not words or words[0].startswith("#"):
                continue
            if words[0] in ("x_scale", "y_scale", "z_scale"):
                scales["xyz".index(words[0][0])] = (int(words[1]), int(words[2]), float(words[3]))
            elif words[0] == "verts":
                reading = True
            elif reading and words[0].lstrip("-").replace(".", "", 1).isdigit():
                numbers = [float(word) for word in words]
                if len(numbers) == 1:
                    numbers = [numbers[0]] * 3 + [1, 0, 0, 0, 0, 0]
                index.append([int(n) for n in numbers[:3]])
                weight.append(numbers[3:6])
                offset.append(numbers[6:9] if len(numbers) >= 9 else [0, 0, 0])
            elif words[0] in ("delete_verts", "weights"):
                reading = False
        return (np.array(index), np.array(weight), np.array(offset, float)), scales


def to_metres(points: Floats) -> Floats:
    """Mesh axes (x left, y up, z front, decimetres) to scene axes (z up, -y front, metres)."""
    points = np.asarray(points)
    turned = np.stack([points[..., 0], -points[..., 2], points[..., 1]], -1)
    return turned * METRES_PER_UNIT
