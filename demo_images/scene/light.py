"""Light: the sun and the sky of a summer day, a studio, lamps of other colours."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import bpy
import numpy as np
from mathutils import Vector

from .assets import Floats
from .nodes import Nodes

Colour = tuple[float, float, float]


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
    """Sky colours from below the horizon to the zenith, their strength, and lamps."""

    name: str
    sky: tuple[Colour, Colour, Colour]
    strength: float
    lamps: tuple[Lamp, ...]


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


def _lamp(lamp: Lamp, subject: Floats, towards_camera: float) -> Any:
    angle = towards_camera + np.radians(lamp.azimuth)
    flat = np.cos(np.radians(lamp.height))
    away = np.array([np.sin(angle) * flat, -np.cos(angle) * flat, np.sin(np.radians(lamp.height))])
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
BLUE_SKY = ((0.20, 0.17, 0.11), (0.80, 0.82, 0.80), (0.30, 0.50, 0.95))
EVENING_SKY = ((0.22, 0.17, 0.10), (1.0, 0.74, 0.46), (0.42, 0.60, 0.95))
GREY_SKY = ((0.25, 0.24, 0.22), (0.85, 0.88, 0.92), (1.0, 1.02, 1.05))
ROOM = ((0.10, 0.09, 0.08), (0.14, 0.13, 0.12), (0.18, 0.17, 0.16))


def random_light(rng: np.random.Generator) -> Light:
    """A light of any kind a portrait may be taken in."""
    kind = str(
        rng.choice(
            ["front", "side", "back", "overcast", "evening", "studio", "bulb", "mixed", "flash"],
            p=[0.14, 0.16, 0.13, 0.13, 0.11, 0.13, 0.08, 0.07, 0.05],
        )
    )
    u = rng.uniform
    sign = float(rng.choice([-1, 1]))
    if kind in ("front", "side", "back"):
        azimuth = {"front": u(5, 50), "side": u(55, 100), "back": u(115, 180)}[kind] * sign
        sun = Lamp("SUN", azimuth, u(20, 70), u(1.5, 5), NOON, u(0.5, 6))
        return Light(kind, BLUE_SKY, u(0.3, 0.9), (sun,))
    if kind == "evening":
        sun = Lamp("SUN", u(20, 160) * sign, u(5, 22), u(1.5, 4), WARM, u(1, 8))
        fill = Lamp("AREA", -40 * sign, 20, u(2, 12), COOL, 1.6)
        return Light(kind, EVENING_SKY, u(0.35, 0.8), (sun, fill))
    if kind == "overcast":
        return Light(kind, GREY_SKY, u(0.7, 1.3), ())
    if kind == "studio":
        key = Lamp("AREA", u(20, 75) * sign, u(15, 50), u(60, 160), (1, 1, 1), u(0.4, 1.6))
        fill = Lamp("AREA", -u(20, 70) * sign, u(0, 30), u(5, 60), (1, 1, 1), 1.5)
        rim = Lamp("AREA", 150 * sign, 40, u(0, 120), (1, 1, 1), 0.6)
        return Light(kind, ROOM, u(0.2, 1.0), (key, fill, rim))
    if kind == "bulb":
        lamp = Lamp("AREA", u(-100, 100), u(10, 70), u(40, 120), BULB, u(0.1, 0.6))
        return Light(kind, tuple(tuple(np.array(c) * BULB) for c in ROOM), u(0.5, 1.5), (lamp,))  # type: ignore[arg-type]
    if kind == "mixed":
        window = Lamp("AREA", u(40, 110) * sign, u(0, 40), u(40, 120), COOL, 1.5)
        bulb = Lamp("AREA", -u(40, 110) * sign, u(20, 60), u(20, 90), BULB, 0.3)
        return Light(kind, ROOM, u(0.3, 1.0), (window, bulb))
    flash = Lamp("AREA", u(-8, 8), u(3, 12), u(60, 120), (1, 1, 1), 0.12)
    return Light(kind, ROOM, u(0.1, 0.5), (flash,))
