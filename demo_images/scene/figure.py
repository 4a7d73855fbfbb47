"""A shaped body at rest: its landmarks, body parts and cavities, and how points ride on it."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import Any

import numpy as np
from mathutils import Vector
from mathutils.bvhtree import BVHTree
from numpy.typing import NDArray
from PIL import Image

from .assets import METRES_PER_UNIT, Assets, Floats, Mesh, to_metres
from .labels import CLASSES
from .pose import BONE_NAMES, Pose, Posed, weight_matrix
from .shape import Build, shaped

PART_OF_BONE = {
    "head": "face",
    "neck": "neck",
    "neck2": "neck",
    "hand": "hand",
    "finger": "hand",
    "upperarm": "arm",
    "lowerarm": "arm",
    "forearm": "arm",
    "thigh": "leg",
    "shin": "leg",
    "foot": "foot",
}
"""Body part of a bone's name without side and number; every other bone is torso."""

NOSTRIL = (0.0084, 0.0125, -0.0032)
"""Middle of the left nostril's opening against the tip of the nose, metres (read off the mesh)."""

NOSTRIL_REACH = 0.006
"""Metres from that middle within which faces can belong to the nostril."""

CAVITY_REACH = 0.02
"""Metres within which a ray from inside a nostril meets its walls."""

CAVITY_SHARE = 0.5
"""A face is inside a nostril when this share of its outward rays meet the nose within reach."""


@dataclass(frozen=True)
class Place:
    """Where a person stands: metres on the ground, turned by `yaw` degrees to their own left."""

    x: float = 0.0
    y: float = 0.0
    yaw: float = 0.0
    lift: float = 0.0


class Figure:
    """One person's body at rest, in metres (z up, facing -y), and the transforms of a pose."""

    def __init__(self, assets: Assets, build: Build):
        self.assets = assets
        self.build = build
        self.vertices = shaped(assets, build)
        self.points = to_metres(self.vertices)
        self.weights = weight_matrix(assets)
        self.faces = [[i for i, _ in face] for face in assets.base.groups["body"]]
        self.body_size = int(max(max(f) for f in self.faces)) + 1
        self.tree = BVHTree.FromPolygons(self.points[: self.body_size].tolist(), self.faces)
        self.pose(Pose(), Place())

    def pose(self, pose: Pose, place: Place) -> None:
        """Take a pose at a place; later calls of `ride` and `rigid` use it."""
        self.place = place
        self.posed = Posed(self.assets, self.vertices, pose)

    def ride(self, points: Floats, weights: Floats) -> Floats:
        """Rest points (metres) moved with the pose by skinning weights, in the world."""
        return self._stand(self.posed.blend(_to_units(points), weights))

    def rigid(self, points: Floats, bone: str) -> Floats:
        """Rest points (metres) moved rigidly with one bone, in the world."""
        return self._stand(self.posed.carry(_to_units(points), bone))

    def _stand(self, units: Floats) -> Floats:
        points = to_metres(units)
        angle = np.radians(self.place.yaw)
        cos, sin = np.cos(angle), np.sin(angle)
        x, y = points[:, 0].copy(), points[:, 1].copy()
        points[:, 0] = cos * x - sin * y + self.place.x
        points[:, 1] = sin * x + cos * y + self.place.y
        points[:, 2] += self.place.lift - self.ground
        return points

    def joint(self, name: str) -> Floats:
        """A joint at rest, metres."""
        return to_metres(self.assets.joint(self.vertices, name))

    @property
    def ground(self) -> float:
        """Height of the soles at rest, in the mesh's own frame."""
        return float(self.points[: self.body_size, 2].min())

    @cached_property
    def eyes(self) -> tuple[Floats, Floats]:
        """Centres of the left and the right eye at rest."""
        return self.joint("l-eye"), self.joint("r-eye")

    @cached_property
    def eye_level(self) -> Floats:
        """Point between the eyes at rest."""
        return (self.eyes[0] + self.eyes[1]) / 2

    @cached_property
    def normals(self) -> Floats:
        """Unit normals of the body's vertices at rest (body_size, 3)."""
        normals = np.zeros((self.body_size, 3))
        for size in (3, 4):
            faces = np.array([f for f in self.faces if len(f) == size])
            if len(faces):
                corner = self.points[faces]
                cross = np.cross(corner[:, 2] - corner[:, 0], corner[:, -1] - corner[:, 1])
                for k in range(size):
                    np.add.at(normals, faces[:, k], cross)
        return normals / np.maximum(np.linalg.norm(normals, axis=1, keepdims=True), 1e-12)

    @cached_property
    def face_centres(self) -> Floats:
        """Centres of the body's faces at rest."""
        return np.array([self.points[f].mean(0) for f in self.faces])

    @cached_property
    def face_normals(self) -> Floats:
        """Normals of the body's faces at rest."""
        normals = np.array([self.normals[f].mean(0) for f in self.faces])
        return normals / np.linalg.norm(normals, axis=1, keepdims=True)

    @cached_property
    def face_areas(self) -> Floats:
        """Areas of the body's faces at rest, square metres."""
        corners = [self.points[f] for f in self.faces]
        return np.array(
            [0.5 * np.linalg.norm(np.cross(c[2] - c[0], c[-1] - c[1])) for c in corners]
        )

    @cached_property
    def face_uvs(self) -> Floats:
        """Texture coordinates of the body's face centres."""
        uvs = self.assets.base.uvs
        return np.array([uvs[[t for _, t in f]].mean(0) for f in self.assets.base.groups["body"]])

    def painted(self, texture: str) -> Floats:
        """A mask texture's value (0 to 1) at every face of the body."""
        picture = np.asarray(Image.open(self.assets.texture(texture)).convert("L"), float) / 255
        height, width = picture.shape
        column = np.clip((self.face_uvs[:, 0] * width).astype(int), 0, width - 1)
        row = np.clip(((1 - self.face_uvs[:, 1]) * height).astype(int), 0, height - 1)
        return picture[row, column]

    @cached_property
    def part_of_face(self) -> NDArray[np.int64]:
        """Label index of the body part of each face of the body."""
        share = np.zeros((len(self.faces), len(CLASSES)))
        bone_part = [_part(bone) for bone in BONE_NAMES]
        mean = np.array([self.weights[f].mean(0) for f in self.faces])
        for k, part in enumerate(bone_part):
            share[:, CLASSES.index(part)] += mean[:, k]
        return share.argmax(1)

    @cached_property
    def nostrils(self) -> Floats:
        """Share of each body vertex that lies inside a nostril, 0 to 1.

        The pits are shallow, so they are looked for on the unshaped mesh, whose faces are the same
        for everybody: faces near the two openings from which half of all rays meet the nose.
        """
        inside = _nostril_faces(self.assets)
        share = np.zeros(self.body_size)
        for k in inside:
            share[self.faces[k]] = 1.0
        return share

    @cached_property
    def nose_tip(self) -> Floats:
        """Front-most point of the nose at rest."""
        points, eye = self.points[: self.body_size], self.eye_level
        band = (np.abs(points[:, 0]) < 0.015) & (points[:, 2] < eye[2] - 0.012)
        band &= points[:, 2] > eye[2] - 0.06
        front = np.nonzero(band)[0]
        return points[front[np.argmin(points[front, 1])]]

    @cached_property
    def mouth(self) -> Floats:
        """Centre of the lips at rest."""
        lips = self.painted("mpfb_lips.jpg") > 0.5
        return self.face_centres[lips].mean(0) if lips.any() else self.nose_tip - [0, 0, 0.035]

    def surface(self, x: float, z: float) -> Floats:
        """Point of the front of the body at rest seen from the front at (x, z)."""
        hit = self.tree.ray_cast(Vector((x, -3, z)), Vector((0, 1, 0)))[0]
        return np.array(hit) if hit else np.array([x, self.eye_level[1], z])

    def nearest(self, point: Floats) -> tuple[Floats, Floats]:
        """Nearest point of the body at rest and the normal there."""
        place, normal, _, _ = self.tree.find_nearest(Vector(point))
        return np.array(place), np.array(normal)

    def head_weights(self, points: Floats) -> Floats:
        """Weights for hair and jewellery: the head above the jaw, the chest below the neck."""
        neck, head = self.joint("neck")[2], self.joint("head")[2]
        share = np.clip((points[:, 2] - (neck - 0.05)) / (head - neck + 0.01), 0, 1)
        share = share * share * (3 - 2 * share)
        weights = np.zeros((len(points), len(BONE_NAMES)))
        weights[:, BONE_NAMES.index("head")] = share
        weights[:, BONE_NAMES.index("chest")] = 1 - share
        return weights

    def fitted(self, name: str) -> Mesh:
        """A fitted proxy mesh with its vertices in metres."""
        mesh = self.assets.fitted(name, self.vertices)
        return Mesh(to_metres(mesh.vertices), mesh.uvs, mesh.groups)

    def group(self, names: list[str]) -> tuple[NDArray[np.int64], list[list[int]], Any]:
        """Vertex ids, faces renumbered to them, and corner uvs of helper groups."""
        faces = [face for name in names for face in self.assets.base.groups[name]]
        ids = np.array(sorted({i for face in faces for i, _ in face}))
        number = {int(i): k for k, i in enumerate(ids)}
        uvs = self.assets.base.uvs[[t for face in faces for _, t in face]]
        return ids, [[number[i] for i, _ in face] for face in faces], uvs


@lru_cache(maxsize=1)
def _nostril_faces(assets: Assets) -> list[int]:
    plain = Figure(assets, Build(0.5, 0.2, 0.0, (0.4, 0.3, 0.3)))
    rng = np.random.default_rng(0)
    inside = []
    for side in (1, -1):
        middle = plain.nose_tip * [0, 1, 1] + np.array(NOSTRIL) * [side, 1, 1]
        near = np.linalg.norm(plain.face_centres - middle, axis=1) < NOSTRIL_REACH
        for k in np.nonzero(near)[0]:
            rays = rng.normal(size=(60, 3))
            rays /= np.linalg.norm(rays, axis=1, keepdims=True)
            rays[rays @ plain.face_normals[k] < 0] *= -1
            start = Vector(plain.face_centres[k] + 2e-4 * plain.face_normals[k])
            hits = [plain.tree.ray_cast(start, Vector(r), CAVITY_REACH)[0] for r in rays]
            if np.mean([hit is not None for hit in hits]) > CAVITY_SHARE:
                inside.append(int(k))
    return inside


def _to_units(points: Floats) -> Floats:
    points = np.asarray(points) / METRES_PER_UNIT
    return np.stack([points[..., 0], points[..., 2], -points[..., 1]], -1)


def _part(bone: str) -> str:
    stem = bone.split(".")[0].rstrip("0123456789") if not bone.startswith("neck") else bone
    return PART_OF_BONE.get(stem, "torso")
