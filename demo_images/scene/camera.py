"""A camera that frames a point of a person at a wanted height of view."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import bpy
import numpy as np
from mathutils import Vector

from .assets import Floats

SENSOR_MM = 36.0
"""Sensor height: a 35 mm film frame stood upright."""


@dataclass(frozen=True)
class Shot:
    """A view of a target.

    `azimuth` (degrees, 0 in front of the world's -y, + towards +x), `elevation`,
    `roll` (degrees), `height` of the field of view in metres at the target, lens in mm,
    aperture as f-number or None for all sharp.
    """

    target: tuple[float, float, float]
    azimuth: float
    elevation: float
    height: float
    lens: float
    roll: float = 0.0
    aperture: float | None = None
    focus: tuple[float, float, float] | None = None


def far(height: float, lens: float) -> float:
    """Metres from which a lens (mm) sees `height` metres."""
    return height * lens / SENSOR_MM


class Camera:
    """The scene's camera."""

    def __init__(self) -> None:
        self.data = bpy.data.cameras.new("camera")
        self.made: Any = bpy.data.objects.new("camera", self.data)
        bpy.context.scene.collection.objects.link(self.made)
        bpy.context.scene.camera = self.made
        self.data.sensor_fit, self.data.sensor_height = "VERTICAL", SENSOR_MM

    def take(self, shot: Shot) -> Floats:
        """Place the camera for a shot; returns where it stands."""
        self.data.lens = shot.lens
        distance = far(shot.height, shot.lens)
        azimuth, elevation = np.radians(shot.azimuth), np.radians(shot.elevation)
        away = np.array(
            [
                np.sin(azimuth) * np.cos(elevation),
                -np.cos(azimuth) * np.cos(elevation),
                np.sin(elevation),
            ]
        )
        target = np.array(shot.target)
        place = target + away * distance
        self.made.location = place
        turn = Vector(-away).to_track_quat("-Z", "Y").to_matrix()
        self.made.rotation_euler = turn.to_euler()
        self.made.rotation_euler.rotate_axis("Z", np.radians(shot.roll))
        self.data.dof.use_dof = shot.aperture is not None
        if shot.aperture:
            focus = np.array(shot.focus or shot.target)
            self.data.dof.focus_distance = float((focus - place) @ -away)
            self.data.dof.aperture_fstop = shot.aperture
        bpy.context.view_layer.update()
        return place

    def project(self, points: Floats, width: int, height: int) -> Floats:
        """Pixel places (n, 2) of world points, and depth in front as a third column."""
        turn = np.array(self.made.matrix_world.to_3x3())
        local = (points - np.array(self.made.matrix_world.translation)) @ turn
        scale = self.data.lens / SENSOR_MM * height
        depth = -local[:, 2]
        x = width / 2 + scale * local[:, 0] / depth
        y = height / 2 - scale * local[:, 1] / depth
        return np.stack([x, y, depth], 1)
