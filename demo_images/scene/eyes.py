"""Eyeballs with irises of any colour behind a clear cornea, and teeth."""

from __future__ import annotations

from typing import Any

import numpy as np

from . import labels
from .figure import Figure
from .nodes import material
from .objects import object_from_mesh

IRIS_CENTRES = ((0.2900, 0.2900), (0.7075, 0.7025))
"""Texture coordinates of the two irises in the eye texture (v upwards)."""

IRIS_RADIUS = 0.113
"""Radius of the iris in texture coordinates."""


def eye_material(figure: Figure, iris: tuple[float, float, float]) -> Any:
    """White, iris and pupil from the texture's structure, tinted with a linear `iris` colour."""
    made, nodes = material("eye")
    uv = nodes.node("ShaderNodeUVMap").outputs[0]
    texture = nodes.image(str(figure.assets.folder / "brown_eye.png"), uv, "sRGB")
    colour, alpha = texture.outputs[0], texture.outputs[1]
    inside: Any = 0.0
    for centre in IRIS_CENTRES:
        distance = nodes.vector("DISTANCE", uv, (*centre, 0)).outputs["Value"]
        inside = nodes.math(
            "MAXIMUM", inside, nodes.step(distance, IRIS_RADIUS, IRIS_RADIUS - 0.012)
        )
    structure = nodes.math("MINIMUM", nodes.mul(nodes.parts(colour)[0], 5.5), 2.0)
    tinted = nodes.colour([nodes.mul(structure, c) for c in iris])
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
