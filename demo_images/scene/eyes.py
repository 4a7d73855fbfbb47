"""Eyeballs with irises of any colour behind a clear cornea, and teeth."""

from __future__ import annotations

from typing import Any

import numpy as np

from . import labels
from .figure import Figure
from .nodes import Nodes, material
from .objects import object_from_mesh

IRIS_CENTRES = ((0.2900, 0.2900), (0.7075, 0.7025))
"""Texture coordinates of the two irises in the eye texture (v upwards)."""

CORNEA_RADIUS = 0.113
"""Radius of the texture's own iris in texture coordinates: wider than a real one."""

IRIS_RADIUS = 0.088
"""Radius of the iris that is drawn, in texture coordinates: 11.7 mm across on the eye."""

PUPIL = 0.36
"""Radius of the pupil as a share of the iris."""


def eye_material(figure: Figure, iris: tuple[float, float, float]) -> Any:
    """The texture's white with its vessels, and a drawn iris of a linear colour `iris`."""
    made, nodes = material("eye")
    uv = nodes.node("ShaderNodeUVMap").outputs[0]
    texture = nodes.image(str(figure.assets.folder / "brown_eye.png"), uv, "sRGB")
    colour, alpha = texture.outputs[0], texture.outputs[1]
    away: Any = 1.0
    for centre in IRIS_CENTRES:
        distance = nodes.vector("DISTANCE", uv, (*centre, 0)).outputs["Value"]
        away = nodes.math("MINIMUM", away, distance)
    inside = nodes.step(away, IRIS_RADIUS + 0.004, IRIS_RADIUS - 0.006)
    tinted = _iris(nodes, uv, away, iris)
    plain = nodes.step(away, CORNEA_RADIUS + 0.030, CORNEA_RADIUS + 0.008)
    colour = nodes.mix(plain, colour, (0.56, 0.50, 0.46))
    red, green, blue = nodes.parts(colour)
    white = nodes.colour(
        [
            nodes.mul(red, 1.25),
            nodes.mul(nodes.add(nodes.mul(green, 0.8), nodes.mul(red, 0.2)), 1.25),
            nodes.mul(nodes.add(nodes.mul(blue, 0.8), nodes.mul(red, 0.2)), 1.22),
        ]
    )
    ball = nodes.principled(
        Base_Color=nodes.mix(inside, white, tinted),
        Roughness=0.3,
        Subsurface_Weight=0.3,
        Subsurface_Scale=0.001,
    )
    clear = nodes.node("ShaderNodeBsdfTransparent").outputs[0]
    glossy = nodes.node("ShaderNodeBsdfGlossy")
    glossy.inputs["Roughness"].default_value = 0.02
    fresnel = nodes.node("ShaderNodeFresnel")
    fresnel.inputs[0].default_value = 1.38
    cornea = nodes.mix_shader(fresnel.outputs[0], clear, glossy.outputs[0])
    nodes.surface(nodes.mix_shader(alpha, cornea, ball))
    labels.write(nodes, {"eye": 1.0})
    return made


def _iris(nodes: Nodes, uv: Any, away: Any, iris: tuple[float, float, float]) -> Any:
    """Fibres that run outwards, lighter round the pupil, dark at the rim."""
    share = nodes.mul(away, 1 / IRIS_RADIUS)
    angles = []
    for centre in IRIS_CENTRES:
        from_middle = nodes.vector("SUBTRACT", uv, (*centre, 0)).outputs[0]
        angles.append(nodes.vector("NORMALIZE", from_middle, (0, 0, 0)).outputs[0])
    nearer = nodes.math("LESS_THAN", nodes.split(uv)[0], 0.5)
    around = nodes.mix(nearer, angles[1], angles[0])
    across, up, _ = nodes.split(around)
    fibres = nodes.joined(nodes.mul(across, 9.0), nodes.mul(up, 9.0), nodes.mul(share, 1.6))
    light = nodes.add(1.0, nodes.mul(nodes.noise(fibres, 1.0, 4, 0.65), 2.2))
    light = nodes.add(light, nodes.mul(nodes.step(share, 0.75, PUPIL), 0.55))
    light = nodes.mul(light, nodes.add(0.30, nodes.mul(nodes.step(share, 1.02, 0.80), 0.70)))
    light = nodes.mul(light, nodes.step(share, PUPIL - 0.03, PUPIL + 0.04))
    light = nodes.math("MAXIMUM", light, 0.02)
    return nodes.colour([nodes.mul(light, c) for c in iris])


def teeth_material() -> Any:
    """Teeth and tongue, told apart by the vertex attribute `tongue`."""
    made, nodes = material("teeth")
    nodes.surface(
        nodes.principled(
            Base_Color=nodes.mix(nodes.attribute("tongue"), (0.62, 0.57, 0.47), (0.42, 0.11, 0.10)),
            Roughness=0.25,
            Subsurface_Weight=0.4,
            Subsurface_Scale=0.002,
        )
    )
    labels.write(nodes, {"mouth": 1.0})
    return made


def build_eyes(figure: Figure, iris: tuple[float, float, float]) -> tuple[Any, np.ndarray]:
    """Eye object and its rest points."""
    mesh = figure.fitted("high-poly")
    faces = [face for group in mesh.groups.values() for face in group]
    made = object_from_mesh(
        "eyes",
        mesh.vertices,
        [[i for i, _ in face] for face in faces],
        mesh.uvs[[t for face in faces for _, t in face]],
    )
    made.data.materials.append(eye_material(figure, iris))
    return made, mesh.vertices
