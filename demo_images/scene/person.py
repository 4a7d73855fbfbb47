"""A whole person in the scene: body, eyes, hair, clothes and what they wear, posed together."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from mathutils import Vector

from . import accessories, face_hair, labels
from .assets import Assets, Floats
from .cloth import Cut, Fabric, Garment, build_garment, build_hood, build_scarf, cut_field
from .eyes import build_eyes, teeth_material
from .figure import Figure, Place
from .hair import STYLES, Strands, grow, scalp_cover
from .held import Held, build_held
from .jewellery import jewellery
from .nodes import material
from .objects import move_points, object_from_mesh, set_attribute, strands
from .pose import BONE_NAMES, Pose
from .shape import Build
from .shoes import Shoes, build_shoes
from .skin import Complexion, skin_attributes, skin_material, stone_material
from .worn import Worn, skin_weights

SUN_SHIFTS = (-50, -25, 0, 25, 50)
"""Degrees of azimuth over which the sun's dose is gathered."""


@dataclass(frozen=True)
class HairColour:
    """Pigment of hair: melanin 0 (white) to 1 (black), redness, share of grey strands.

    `dye`: linear colour of dyed hair, or None.
    """

    melanin: float
    redness: float
    grey: float = 0.0
    dye: tuple[float, float, float] | None = None

    def linear(self) -> tuple[float, float, float]:
        """A linear RGB colour close to how such hair looks, for roots and stubble."""
        if self.dye:
            return tuple(0.4 * c for c in self.dye)  # type: ignore[return-value]
        light = (1 - self.melanin) ** 2.2
        warm = 0.35 + 0.3 * self.redness
        own = (0.55 * light + 0.010, (0.55 - 0.35 * warm) * light + 0.008, 0.25 * light + 0.007)
        grey = 0.35 * self.grey
        return tuple((1 - grey) * c + grey * 0.5 for c in own)  # type: ignore[return-value]


@dataclass(frozen=True)
class PersonSpec:
    """Everything that makes one person.

    `sunlit` is where the sun stood when they burned, `burn_cut` what they wore then,
    `burn_head` how much of it the head got (a cap keeps it off); `hair_cut` are fields of the
    hair's Style that differ from it; brows without a colour of their own have the beard's.
    """

    build: Build
    complexion: Complexion
    hair: str = "long"
    hair_colour: HairColour = HairColour(0.6, 0.5)
    brow: tuple[str, float] = ("eyebrow001", 1.0)
    beard: tuple[str, float, float] | None = None
    iris: tuple[float, float, float] = (0.10, 0.05, 0.02)
    clothes: tuple[tuple[Cut, Fabric], ...] = ()
    glasses: dict[str, Any] | None = None
    hat: tuple[tuple[float, float, float], str] | None = None
    jewellery: tuple[dict[str, Any], ...] = ()
    sunlit: tuple[float, float, float] = (0.3, -0.6, 0.75)
    burn_cut: Cut | None = None
    burn_head: float = 1.0
    statue: tuple[float, float, float] | None = None
    hair_cut: dict[str, Any] = field(default_factory=dict)
    brow_colour: HairColour | None = None
    headband: tuple[tuple[float, float, float], float, float] | None = None
    hood: tuple[Fabric, tuple[float, float], float] | None = None
    scarf: tuple[Fabric, float] | None = None
    shoes: Shoes | None = None
    held: Held | None = None
    meta: dict[str, Any] = field(default_factory=dict)


@dataclass
class _Moving:
    made: Any
    points: Floats
    weights: Floats


class Person:
    """Builds the objects of a person once; `pose` moves them."""

    def __init__(
        self, assets: Assets, spec: PersonSpec, seed: int, detail: int = 1, density: float = 1.0
    ):
        self.spec = spec
        self.figure = Figure(assets, spec.build)
        self.rng = np.random.default_rng(seed)
        self.moving: list[_Moving] = []
        self._body(detail)
        if spec.statue:
            return
        self._eyes_and_teeth()
        self._hair(density)
        for cut, fabric in spec.clothes:
            self._worn(build_garment(self.figure, cut, fabric, max(detail, 2)))
        if spec.hood:
            self._worn(build_hood(self.figure, *spec.hood))
        if spec.scarf:
            self._worn(build_scarf(self.figure, *spec.scarf, seed))
        self._accessories()

    def pose(self, pose: Pose, place: Place) -> None:
        """Move every object of this person."""
        self.figure.pose(pose, place)
        for part in self.moving:
            move_points(part.made, self.figure.ride(part.points, part.weights))

    @property
    def head_points(self) -> Floats:
        """Posed points of the head (for framing and boxes), world metres."""
        figure = self.figure
        head = figure.weights[: figure.body_size].argmax(1) == _HEAD
        points = figure.points[: figure.body_size][head]
        return figure.ride(points, figure.weights[: figure.body_size][head])

    def landmark(self, point: Floats, bone: str = "head") -> Floats:
        """A rest point carried with a bone, world metres."""
        return self.figure.rigid(np.asarray(point)[None], bone)[0]

    def _body(self, detail: int) -> None:
        figure, spec = self.figure, self.spec
        size = figure.body_size
        points = figure.points[:size]
        uvs = figure.assets.base.uvs[[t for f in figure.assets.base.groups["body"] for _, t in f]]
        made = object_from_mesh("body", points, figure.faces, uvs, detail)
        set_attribute(made, "rest", points)
        set_attribute(made, "part", figure.part_of_face, "FACE")
        set_attribute(made, "nostril", figure.nostrils)
        covered = STYLES[spec.hair].recede if spec.hair in STYLES else 0.0
        scalp = scalp_cover(figure, points, covered) if spec.hair in STYLES else np.zeros(size)
        inward = (points - figure.eye_level - [0, 0.09, 0.03]) * figure.normals
        set_attribute(made, "scalp", scalp * (inward.sum(1) > 0))
        set_attribute(made, "beard", face_hair.beard_cover(figure, points, "full"))
        set_attribute(made, "burn", self._sun_reached() if spec.complexion.burn else np.zeros(size))
        shade = np.full(size, -1.0)
        if spec.burn_cut:
            shade = cut_field(figure, spec.burn_cut, points, figure.weights[:size])
        set_attribute(made, "covered", shade)
        for name, values in skin_attributes(figure, spec.complexion).items():
            set_attribute(made, name, values)
        look = (
            stone_material(spec.statue) if spec.statue else skin_material(figure, spec.complexion)
        )
        made.data.materials.append(look)
        self.body = made
        self.moving.append(_Moving(made, points, figure.weights[:size]))

    def _sun_reached(self) -> Floats:
        """Dose of sun at each body vertex, 0 to 1, as the sun and the person moved about."""
        figure, spec = self.figure, self.spec
        across = np.arctan2(spec.sunlit[0], -spec.sunlit[1])
        height = np.arcsin(spec.sunlit[2] / np.linalg.norm(spec.sunlit))
        dose = np.zeros(figure.body_size)
        for shift in SUN_SHIFTS:
            angle = across + np.radians(shift)
            flat = np.cos(height)
            sun = np.array([np.sin(angle) * flat, -np.cos(angle) * flat, np.sin(height)])
            facing = np.clip(figure.normals @ sun, 0, 1)
            for k in np.nonzero(facing > 0.02)[0]:
                start = Vector(figure.points[k] + 0.004 * figure.normals[k])
                if figure.tree.ray_cast(start, Vector(sun), 1.0)[0] is not None:
                    facing[k] = 0
            dose += facing / len(SUN_SHIFTS)
        head = figure.weights[: figure.body_size, _HEAD]
        return np.clip(1.35 * dose, 0, 1) * (1 - head * (1 - spec.burn_head))

    def _eyes_and_teeth(self) -> None:
        made, points = build_eyes(self.figure, self.spec.iris)
        self._on_head(made, points)
        groups = ["helper-upper-teeth", "helper-lower-teeth", "helper-tongue"]
        ids, faces, uvs = self.figure.group(groups)
        points = self.figure.points[ids]
        made = object_from_mesh("teeth", points, faces, uvs, 1)
        tongue = np.isin(ids, self.figure.assets.group_vertices["helper-tongue"])
        set_attribute(made, "tongue", tongue.astype(float))
        made.data.materials.append(teeth_material())
        self._on_head(made, points)

    def _on_head(self, made: Any, points: Floats) -> None:
        weights = np.zeros((len(points), self.figure.weights.shape[1]))
        weights[:, _HEAD] = 1
        self.moving.append(_Moving(made, points, weights))

    def _hair(self, density: float) -> None:
        spec, figure, rng = self.spec, self.figure, self.rng
        colour = spec.hair_colour
        if spec.hair in STYLES:
            grown = grow(figure, replace(STYLES[spec.hair], **spec.hair_cut), rng, density)
            if spec.hat:
                grown = _under_hat(grown, figure.eye_level[2] + 0.045)
            made = self._strands("hair", grown, hair_material("hair", colour, 0.32))
            if made is not None:
                self.moving.append(_Moving(made, grown.points, figure.head_weights(grown.points)))
        darker = HairColour(
            min(1.0, 0.15 + colour.melanin * 0.9), colour.redness, 0.6 * colour.grey
        )
        for label, grown in (
            ("brow", face_hair.brows(figure, spec.brow[0], spec.brow[1], rng)),
            ("lash", face_hair.lashes(figure, rng)),
            ("beard", face_hair.beard(figure, *spec.beard, rng) if spec.beard else None),
        ):
            own = {"lash": HairColour(0.95, 0.3), "brow": spec.brow_colour}.get(label)
            look = hair_material(label, own or darker, 0.4)
            made = self._strands(label, grown, look) if grown else None
            if made is not None and grown:
                self._on_head(made, grown.points)

    def _strands(self, name: str, grown: Strands, look: Any) -> Any:
        if not len(grown.counts):
            return None
        made = strands(name, grown.points, grown.counts, grown.radii)
        made.data.materials.append(look)
        return made

    def _accessories(self) -> None:
        spec, figure = self.spec, self.figure
        worn: list[Worn] = []
        if spec.glasses:
            worn += accessories.glasses(figure, **spec.glasses)
        if spec.hat:
            worn += accessories.cap(figure, *spec.hat)
        if spec.headband:
            worn += accessories.headband(figure, *spec.headband)
        if spec.shoes:
            worn += build_shoes(figure, spec.shoes)
        if spec.held:
            worn.append(build_held(figure, spec.held))
        for item in spec.jewellery:
            worn += jewellery(figure, item, self._cloth_over)
        for one in worn:
            self._worn(one)

    def _worn(self, one: Worn | Garment) -> None:
        self.moving.append(_Moving(one.made, one.points, one.weights))

    def _cloth_over(self, points: Floats) -> Floats:
        """Metres from rest points of the skin to the outside of the clothes over them."""
        weights = skin_weights(self.figure, points)
        over = np.zeros(len(points))
        for cut, _ in self.spec.clothes:
            covered = cut_field(self.figure, cut, points, weights) > -0.01
            over = np.maximum(over, covered * (cut.offset + cut.loose + 0.002))
        return over


_HEAD = BONE_NAMES.index("head")
"""Column of the head in the weights."""


def _under_hat(grown: Strands, band: float) -> Strands:
    """Hair without the strands that start above a hat's band."""
    start = np.concatenate([[0], np.cumsum(grown.counts)[:-1]])
    kept = grown.points[start, 2] < band
    mask = np.repeat(kept, grown.counts)
    return Strands(grown.points[mask], grown.counts[kept], grown.radii[mask])


def hair_material(label: str, colour: HairColour, rough: float) -> Any:
    """Strands of natural pigment; a share of them is grey."""
    made, nodes = material(label)
    shader = nodes.node("ShaderNodeBsdfHairPrincipled", parametrization="MELANIN")
    info = nodes.node("ShaderNodeHairInfo")
    chance = info.outputs["Random"]
    own = nodes.mul(nodes.add(0.8, nodes.mul(chance, 0.4)), colour.melanin)
    white = nodes.above(nodes.math("FRACT", nodes.mul(chance, 7.31)), 1 - colour.grey)
    melanin = nodes.mul(own, nodes.add(1.0, nodes.mul(white, -0.93)))
    values = {
        "Melanin": 0.04 if colour.dye else melanin,
        "Tint": colour.dye or (1, 1, 1),
        "Melanin Redness": colour.redness,
        "Roughness": rough,
        "Radial Roughness": 0.4,
        "Random Roughness": 0.2,
    }
    for socket in shader.inputs:
        if socket.name in values:
            nodes.feed(values[socket.name], socket)
    nodes.surface(shader.outputs[0])
    labels.write(nodes, {label: 1.0})
    return made
