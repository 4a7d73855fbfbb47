"""Light: the sun and the sky of a summer day, a studio, lamps of other colours."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import bpy
import numpy as np
from mathutils import Vector

from .assets import Floats
from .nodes import Nodes, material
from .objects import object_from_mesh

Colour = tuple[float, float, float]

CATCH_AZIMUTH, CATCH_HEIGHT, CATCH_SIZE, CATCH_RADIANCE = 24.0, 26.0, 0.34, 26.0
"""Degrees to the camera's left and above it, metres across, and brightness of the catchlight."""

SLOTS = 4
"""Lamps that `Heavens` can show at once."""

SKY_MAP = 1024
"""Pixels across the map by which lamps in the sky are found: a third of a degree each."""

LEAST_LAMP = np.radians(0.7)
"""Least half width of a lamp in the sky, so that the map finds it."""


SCREEN_SIZE, SCREEN_DISTANCE = 5.0, 1.1
"""Metres across leaves before the sun, and from them to the people."""


@dataclass(frozen=True)
class Lamp:
    """One lamp. Directions are seen from the subject: azimuth 0 is the camera, + to its right.

    `size`: metres across (area lamps) or degrees across (sun); `power`: W/m2 (sun) or W.
    """

    kind: str
    azimuth: float
    height: float
    power: float
    colour: Colour
    size: float
    distance: float = 2.5


@dataclass(frozen=True)
class Light:
    """Sky colours from below the horizon to the zenith, their strength, and lamps.

    `dappled`: metres across the gaps between leaves or slats before the first lamp, or 0 for none.
    """

    name: str
    sky: tuple[Colour, Colour, Colour]
    strength: float
    lamps: tuple[Lamp, ...]
    dappled: float = 0.0


def shine(light: Light, subject: Floats, towards_camera: float) -> list[Any]:
    """Light the scene; `towards_camera` is the camera's azimuth in the world, radians."""
    world = bpy.data.worlds.new("sky")
    bpy.context.scene.world = world
    world.use_nodes = True
    nodes = Nodes(world.node_tree)
    direction = nodes.node("ShaderNodeTexCoord").outputs["Generated"]
    split = nodes.node("ShaderNodeSeparateXYZ")
    nodes.feed(direction, split.inputs[0])
    height = nodes.add(nodes.mul(split.outputs[2], 0.5), 0.5)
    low, horizon, zenith = light.sky
    background = nodes.node("ShaderNodeBackground")
    nodes.feed(
        nodes.ramp(height, [(0.42, low), (1.0, zenith), (0.54, horizon)]), background.inputs[0]
    )
    background.inputs[1].default_value = light.strength
    nodes.feed(background.outputs[0], nodes.node("ShaderNodeOutputWorld").inputs[0])
    return [_lamp(lamp, subject, towards_camera) for lamp in light.lamps]


class Heavens:
    """Sky and lamps as one far picture all round, whose values change from view to view.

    Lamp objects would make the renderer prepare every strand of hair again when one moves; here
    each lamp is a round patch of the sky with the same irradiance and apparent size.
    """

    def __init__(self, rng: np.random.Generator) -> None:
        self.screen = Screen(rng)
        world = bpy.data.worlds.new("heavens")
        bpy.context.scene.world = world
        world.use_nodes = True
        world.cycles.sampling_method, world.cycles.sample_map_resolution = "MANUAL", SKY_MAP
        nodes = Nodes(world.node_tree)
        direction = nodes.node("ShaderNodeTexCoord").outputs["Generated"]
        height = nodes.add(nodes.mul(nodes.split(direction)[2], 0.5), 0.5)
        ramp = nodes.node("ShaderNodeValToRGB")
        for position, stop in zip((0.42, 1.0), ramp.color_ramp.elements, strict=True):
            stop.position = position
        ramp.color_ramp.elements.new(0.54)
        nodes.feed(height, ramp.inputs[0])
        self.stops = ramp.color_ramp.elements
        self.sky = nodes.node("ShaderNodeBackground")
        nodes.feed(ramp.outputs[0], self.sky.inputs[0])
        self.lamps = []
        total = self.sky.outputs[0]
        for _ in range(SLOTS):
            towards = nodes.vector("DOT_PRODUCT", direction, (0, 0, 1))
            within = nodes.node("ShaderNodeMath", operation="GREATER_THAN")
            nodes.feed(towards.outputs["Value"], within.inputs[0])
            patch = nodes.node("ShaderNodeBackground")
            strength = nodes.node("ShaderNodeMath", operation="MULTIPLY")
            nodes.feed(within.outputs[0], strength.inputs[0])
            nodes.feed(strength.outputs[0], patch.inputs[1])
            both = nodes.node("ShaderNodeAddShader")
            nodes.feed(total, both.inputs[0])
            nodes.feed(patch.outputs[0], both.inputs[1])
            total = both.outputs[0]
            self.lamps.append((towards.inputs[1], within.inputs[1], strength.inputs[1],
                               patch.inputs[0]))  # fmt: skip
        nodes.feed(total, nodes.node("ShaderNodeOutputWorld").inputs[0])

    def shine(self, light: Light, towards_camera: float, subject: Floats) -> None:
        """Light a subject; `towards_camera` is the camera's azimuth in the world, radians."""
        away = _away(light.lamps[0], towards_camera) if light.lamps else np.array([0, 0, 1.0])
        self.screen.stand(subject, away, light.dappled)
        for stop, colour in zip(
            self.stops, (light.sky[0], light.sky[1], light.sky[2]), strict=True
        ):
            stop.color = (*colour, 1)
        self.sky.inputs[1].default_value = light.strength
        for k, (towards, within, strength, colour) in enumerate(self.lamps):
            if k >= len(light.lamps):
                strength.default_value = 0
                continue
            lamp = light.lamps[k]
            half = np.radians(lamp.size / 2)
            irradiance = lamp.power
            if lamp.kind != "SUN":
                half = np.arctan(lamp.size / np.sqrt(np.pi) / lamp.distance)
                irradiance = lamp.power / (np.pi * lamp.distance**2)
            half = max(float(half), LEAST_LAMP)
            towards.default_value = _away(lamp, towards_camera)
            within.default_value = float(np.cos(half))
            strength.default_value = float(irradiance / (np.pi * np.sin(half) ** 2))
            colour.default_value = (*lamp.colour, 1)


class Screen:
    """Leaves or slats that only shadows show: a plane with gaps between people and the sun."""

    def __init__(self, rng: np.random.Generator) -> None:
        corners = SCREEN_SIZE / 2 * np.array([(-1, -1, 0), (1, -1, 0), (1, 1, 0), (-1, 1, 0)])
        self.made = object_from_mesh("screen", corners, [[0, 1, 2, 3]])
        for ray in ("camera", "diffuse", "glossy", "transmission"):
            setattr(self.made, f"visible_{ray}", False)
        look, nodes = material("screen")
        shifted = nodes.vector("ADD", nodes.node("ShaderNodeTexCoord").outputs["Object"],
                               tuple(rng.uniform(0, 50, 3)))  # fmt: skip
        size = nodes.node("ShaderNodeVectorMath", operation="SCALE")
        nodes.feed(shifted.outputs[0], size.inputs[0])
        self.scale = size.inputs["Scale"]
        place = size.outputs[0]
        if rng.random() < 0.75:
            value = nodes.add(
                nodes.mul(nodes.noise(place, 0.6, 1), 1.2), nodes.noise(place, 1.5, 2)
            )
        else:
            value = nodes.mul(nodes.math("SINE", nodes.mul(nodes.split(place)[1], np.pi)), 0.5)
        closed = nodes.above(value, float(rng.uniform(-0.15, 0.1)))
        dark = nodes.principled(Base_Color=(0, 0, 0))
        clear = nodes.node("ShaderNodeBsdfTransparent").outputs[0]
        nodes.surface(nodes.mix_shader(closed, clear, dark))
        self.made.data.materials.append(look)

    def stand(self, subject: Floats, towards_sun: Floats, gaps: float) -> None:
        """Stand before the sun with gaps of a size in metres; without gaps far away."""
        self.made.location = subject + SCREEN_DISTANCE * towards_sun if gaps else (0, 0, -500)
        self.made.rotation_euler = Vector(towards_sun).to_track_quat("Z", "Y").to_euler()
        self.scale.default_value = 1 / max(gaps, 0.01)


def _away(lamp: Lamp, towards_camera: float) -> Floats:
    """Direction from the subject to a lamp in the world."""
    angle = towards_camera + np.radians(lamp.azimuth)
    flat = np.cos(np.radians(lamp.height))
    return np.array([np.sin(angle) * flat, -np.cos(angle) * flat, np.sin(np.radians(lamp.height))])


def _lamp(lamp: Lamp, subject: Floats, towards_camera: float) -> Any:
    away = _away(lamp, towards_camera)
    data = bpy.data.lights.new("lamp", lamp.kind)
    data.energy, data.color = lamp.power, lamp.colour
    if lamp.kind == "SUN":
        data.angle = np.radians(lamp.size)
    elif lamp.kind == "AREA":
        data.size = lamp.size
    else:
        data.shadow_soft_size = lamp.size
    made = bpy.data.objects.new("lamp", data)
    made.location = subject + away * lamp.distance
    made.rotation_euler = Vector(-away).to_track_quat("-Z", "Y").to_euler()
    bpy.context.scene.collection.objects.link(made)
    return made


WARM, NOON, COOL, BULB = (1.0, 0.76, 0.50), (1.0, 0.93, 0.83), (0.80, 0.90, 1.0), (1.0, 0.56, 0.25)
EMBER = (1.0, 0.38, 0.10)
BLUE_SKY = ((0.20, 0.17, 0.11), (0.80, 0.82, 0.80), (0.30, 0.50, 0.95))
EVENING_SKY = ((0.22, 0.17, 0.10), (1.0, 0.74, 0.46), (0.42, 0.60, 0.95))
GREY_SKY = ((0.25, 0.24, 0.22), (0.85, 0.88, 0.92), (1.0, 1.02, 1.05))
ROOM = ((0.10, 0.09, 0.08), (0.14, 0.13, 0.12), (0.18, 0.17, 0.16))


LOW_SUN_SKY = ((0.16, 0.14, 0.14), (0.9, 0.55, 0.34), (0.22, 0.36, 0.85))
STAGE: tuple[Colour, ...] = (
    (1.0, 0.04, 0.02),
    (1.0, 0.06, 0.55),
    (0.08, 0.12, 1.0),
    (0.06, 1.0, 0.15),
    (1.0, 0.42, 0.05),
    (0.05, 0.75, 0.9),
)
"""Colours of stage lamps: red, magenta, blue, green, amber and cyan; estimates by eye."""

WALLS: tuple[Colour, ...] = (
    (0.60, 0.07, 0.05),
    (0.42, 0.17, 0.10),
    (0.66, 0.44, 0.32),
    (0.12, 0.32, 0.05),
    (0.70, 0.50, 0.08),
    (0.10, 0.20, 0.55),
    (0.75, 0.30, 0.06),
)
"""Colours of red, brick, skin-coloured, green, yellow, blue and orange walls and meadows."""

CHANCES = {
    "front": 0.12, "side": 0.12, "back": 0.06, "overcast": 0.11, "studio": 0.12, "flash": 0.05,
    "noon": 0.06, "low_sun": 0.09, "evening": 0.05, "rim": 0.04, "bulb": 0.06, "mixed": 0.04,
    "stage": 0.06, "below": 0.02,
}  # fmt: skip
"""How often each light is drawn: ordinary neutral light rather more than half the time."""

TINTED, DAPPLED = 0.2, 0.18
"""Shares of daylight with a coloured wall or meadow near, and of sunlight through leaves."""


USUAL = {"front": 0.2, "side": 0.16, "back": 0.06, "overcast": 0.26, "studio": 0.2, "flash": 0.06,
         "noon": 0.06}  # fmt: skip
"""How often each light is drawn for `usual` pictures."""


def random_light(rng: np.random.Generator, usual: bool = False) -> Light:
    """A light of any kind a portrait may be taken in; `usual` ones are neutral."""
    chances = USUAL if usual else CHANCES
    kind = str(rng.choice(list(chances), p=list(chances.values())))
    sign = float(rng.choice([-1, 1]))
    if kind in ("studio", "flash", "bulb", "mixed", "stage", "below"):
        return _lamplight(rng, kind, sign)
    light = _daylight(rng, kind, sign)
    if rng.random() < TINTED:
        wall = WALLS[int(rng.integers(len(WALLS)))]
        azimuth, height = (rng.uniform(50, 130), rng.uniform(-20, 20))
        if rng.random() < 0.4:
            azimuth, height = 0.0, rng.uniform(-80, -45)
        lamp = Lamp(
            "SUN", -azimuth * sign, height, rng.uniform(0.8, 3.5), wall, rng.uniform(70, 140)
        )
        light = replace(light, name=f"{kind}+wall", lamps=(*light.lamps, lamp))
    if kind != "overcast" and rng.random() < DAPPLED:
        gaps = float(np.exp(rng.uniform(np.log(0.05), np.log(0.35))))
        sun, *others = light.lamps
        lamps = (replace(sun, size=0.5, power=1.5 * sun.power), *others)
        light = replace(light, name=f"{light.name}+leaves", lamps=lamps, dappled=gaps)
    return light


def _daylight(rng: np.random.Generator, kind: str, sign: float) -> Light:
    u = rng.uniform
    if kind in ("front", "side", "back"):
        azimuth = {"front": u(5, 50), "side": u(55, 100), "back": u(115, 180)}[kind] * sign
        sun = Lamp("SUN", azimuth, u(20, 70), u(1.5, 5), NOON, u(0.5, 6))
        return Light(kind, BLUE_SKY, u(0.3, 0.9), (sun,))
    if kind == "noon":
        sun = Lamp("SUN", u(-180, 180), u(60, 88), u(4, 7), NOON, 0.5)
        return Light(kind, BLUE_SKY, u(0.15, 0.4), (sun,))
    if kind == "low_sun":
        sun = Lamp("SUN", u(10, 150) * sign, u(2, 15), u(2, 5), _blend(WARM, EMBER, rng), u(0.5, 2))
        return Light(kind, LOW_SUN_SKY, u(0.2, 0.6), (sun,))
    if kind == "evening":
        sun = Lamp("SUN", u(20, 160) * sign, u(5, 22), u(1.5, 4), WARM, u(1, 8))
        fill = Lamp("AREA", -40 * sign, 20, u(2, 12), COOL, 1.6)
        return Light(kind, EVENING_SKY, u(0.35, 0.8), (sun, fill))
    if kind == "rim":
        sun = Lamp("SUN", u(140, 180) * sign, u(8, 30), u(4, 9), _blend(NOON, EMBER, rng), 0.5)
        return Light(kind, EVENING_SKY, u(0.2, 0.5), (sun,))
    return Light(kind, GREY_SKY, u(0.7, 1.3), ())


def _lamplight(rng: np.random.Generator, kind: str, sign: float) -> Light:
    u = rng.uniform
    if kind == "studio":
        key = Lamp("AREA", u(20, 75) * sign, u(15, 50), u(60, 160), (1, 1, 1), u(0.4, 1.6))
        fill = Lamp("AREA", -u(20, 70) * sign, u(0, 30), u(5, 60), (1, 1, 1), 1.5)
        rim = Lamp("AREA", 150 * sign, 40, u(0, 120), (1, 1, 1), 0.6)
        return Light(kind, ROOM, u(0.2, 1.0), (key, fill, rim))
    if kind == "bulb":
        bulb = _blend(BULB, WARM, rng)
        lamp = Lamp("AREA", u(-100, 100), u(10, 70), u(40, 120), bulb, u(0.1, 0.6))
        return Light(kind, tuple(tuple(np.array(c) * bulb) for c in ROOM), u(0.3, 1.5), (lamp,))  # type: ignore[arg-type]
    if kind == "mixed":
        window = Lamp("AREA", u(40, 110) * sign, u(0, 40), u(40, 120), COOL, 1.5)
        bulb = Lamp("AREA", -u(40, 110) * sign, u(20, 60), u(20, 90), BULB, 0.3)
        return Light(kind, ROOM, u(0.3, 1.0), (window, bulb))
    if kind == "stage":
        first, second = (STAGE[int(k)] for k in rng.choice(len(STAGE), 2, replace=False))
        white = float(u(0, 0.25))
        first, second = (tuple((1 - white) * c + white for c in one) for one in (first, second))
        lamps = [Lamp("AREA", u(30, 110) * sign, u(0, 50), u(60, 200), first, u(0.2, 1.0))]  # type: ignore[arg-type]
        if rng.random() < 0.6:
            lamps.append(Lamp("AREA", -u(30, 150) * sign, u(0, 50), u(30, 150), second, 0.5))  # type: ignore[arg-type]
        return Light(kind, ROOM, u(0.05, 1.2), tuple(lamps))
    if kind == "below":
        lamp = Lamp("AREA", u(-50, 50), u(-75, -25), u(40, 120), _blend((1, 1, 1), BULB, rng), 0.6)
        return Light(kind, ROOM, u(0.2, 1.0), (lamp,))
    flash = Lamp("AREA", u(-8, 8), u(3, 12), u(60, 120), (1, 1, 1), 0.12)
    return Light(kind, ROOM, u(0.1, 0.5), (flash,))


def _blend(first: Colour, second: Colour, rng: np.random.Generator) -> Colour:
    share = float(rng.random())
    mixed = [(1 - share) * a + share * b for a, b in zip(first, second, strict=True)]
    return mixed[0], mixed[1], mixed[2]


def catchlight(eyes: Floats, towards_camera: float) -> None:
    """A bright panel above the camera that only reflections see: the light in the eyes."""
    angle = towards_camera - np.radians(CATCH_AZIMUTH)
    flat, up = np.cos(np.radians(CATCH_HEIGHT)), np.sin(np.radians(CATCH_HEIGHT))
    away = np.array([np.sin(angle) * flat, -np.cos(angle) * flat, up])
    bpy.ops.mesh.primitive_plane_add(size=CATCH_SIZE, location=eyes + 1.6 * away)
    made = bpy.context.object
    made.rotation_euler = Vector(-away).to_track_quat("-Z", "Y").to_euler()
    look, nodes = material("catchlight")
    emission = nodes.node("ShaderNodeEmission")
    emission.inputs[1].default_value = CATCH_RADIANCE
    nodes.surface(emission.outputs[0])
    made.data.materials.append(look)
    for ray in ("camera", "diffuse", "transmission", "shadow"):
        setattr(made, f"visible_{ray}", False)
