"""Short words for building shader node trees."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import bpy

Value = Any
"""A socket, a number or a colour."""


class Nodes:
    """One material's or world's node tree, emptied, with the arithmetic a shader needs."""

    def __init__(self, tree: Any):
        self.tree = tree
        tree.nodes.clear()

    def node(self, kind: str, **settings: Any) -> Any:
        """A new node with its properties set."""
        node = self.tree.nodes.new(kind)
        for name, value in settings.items():
            setattr(node, name, value)
        return node

    def feed(self, value: Value, socket: Any) -> None:
        """Link a socket or set a constant."""
        if isinstance(value, (int, float)):
            socket.default_value = value
        elif isinstance(value, Sequence) or hasattr(value, "tolist"):
            numbers = [float(v) for v in value]
            socket.default_value = (*numbers, 1.0)[: len(socket.default_value)]
        else:
            self.tree.links.new(value, socket)

    def math(self, operation: str, *values: Value, clamp: bool = False) -> Any:
        """A scalar operation of one or two values."""
        node = self.node("ShaderNodeMath", operation=operation, use_clamp=clamp)
        for value, socket in zip(values, node.inputs, strict=False):
            self.feed(value, socket)
        return node.outputs[0]

    def add(self, *values: Value) -> Any:
        """Sum of values."""
        total = values[0]
        for value in values[1:]:
            total = self.math("ADD", total, value)
        return total

    def mul(self, *values: Value) -> Any:
        """Product of values."""
        product = values[0]
        for value in values[1:]:
            product = self.math("MULTIPLY", product, value)
        return product

    def without(self, value: Value) -> Any:
        """One minus a value."""
        return self.math("SUBTRACT", 1.0, value)

    def vector(self, operation: str, first: Value, second: Value) -> Any:
        """Vector operation; returns the node (outputs Vector and Value)."""
        node = self.node("ShaderNodeVectorMath", operation=operation)
        self.feed(first, node.inputs[0])
        self.feed(second, node.inputs[1])
        return node

    def step(self, value: Value, start: float, end: float) -> Any:
        """Smooth step from 0 at `start` to 1 at `end` (start may be the larger)."""
        node = self.node("ShaderNodeMapRange", interpolation_type="SMOOTHSTEP")
        self.feed(value, node.inputs["Value"])
        low, high = min(start, end), max(start, end)
        node.inputs["From Min"].default_value = low
        node.inputs["From Max"].default_value = high
        node.inputs["To Min"].default_value = 0.0 if start < end else 1.0
        node.inputs["To Max"].default_value = 1.0 if start < end else 0.0
        return node.outputs["Result"]

    def above(self, value: Value, threshold: float) -> Any:
        """1 where value exceeds the threshold, else 0."""
        return self.math("GREATER_THAN", value, threshold)

    def split(self, vector: Value) -> list[Any]:
        """The three parts of a vector."""
        node = self.node("ShaderNodeSeparateXYZ")
        self.feed(vector, node.inputs[0])
        return list(node.outputs)

    def joined(self, *parts: Value) -> Any:
        """A vector of three numbers."""
        node = self.node("ShaderNodeCombineXYZ")
        for part, socket in zip(parts, node.inputs, strict=True):
            self.feed(part, socket)
        return node.outputs[0]

    def is_index(self, value: Value, index: int) -> Any:
        """1 where a value equals an integer, else 0."""
        node = self.node("ShaderNodeMath", operation="COMPARE")
        self.feed(value, node.inputs[0])
        node.inputs[1].default_value = index
        node.inputs[2].default_value = 0.3
        return node.outputs[0]

    def blob(self, place: Value, centre: Sequence[float], radius: float) -> Any:
        """Gaussian of the distance from a centre; `radius` is where it falls to 1/e."""
        distance = self.vector("DISTANCE", place, centre).outputs["Value"]
        return self.math("EXPONENT", self.mul(distance, distance, -1 / radius**2))

    def noise(self, place: Value, scale: float, detail: float = 2, rough: float = 0.5) -> Any:
        """Fractal noise around zero."""
        node = self.node("ShaderNodeTexNoise", noise_dimensions="3D")
        self.feed(place, node.inputs["Vector"])
        node.inputs["Scale"].default_value = scale
        node.inputs["Detail"].default_value = detail
        node.inputs["Roughness"].default_value = rough
        return self.math("SUBTRACT", node.outputs[0], 0.5)

    def cells(self, place: Value, scale: float, feature: str = "F1") -> Any:
        """Voronoi cells; returns the node (outputs Distance and Color)."""
        node = self.node("ShaderNodeTexVoronoi", feature=feature)
        self.feed(place, node.inputs["Vector"])
        node.inputs["Scale"].default_value = scale
        return node

    def parts(self, colour: Value) -> list[Any]:
        """The three parts of a colour."""
        node = self.node("ShaderNodeSeparateColor")
        self.feed(colour, node.inputs[0])
        return list(node.outputs)[:3]

    def colour(self, parts: Sequence[Value]) -> Any:
        """A colour of three scalars."""
        node = self.node("ShaderNodeCombineColor")
        for part, socket in zip(parts, node.inputs, strict=False):
            self.feed(part, socket)
        return node.outputs[0]

    def mix(self, share: Value, first: Value, second: Value) -> Any:
        """Colour mix, `second` where share is 1."""
        node = self.node("ShaderNodeMix", data_type="RGBA")
        self.feed(share, node.inputs[0])
        self.feed(first, node.inputs[6])
        self.feed(second, node.inputs[7])
        return node.outputs[2]

    def mix_shader(self, share: Value, first: Any, second: Any) -> Any:
        """Shader mix, `second` where share is 1."""
        node = self.node("ShaderNodeMixShader")
        self.feed(share, node.inputs[0])
        self.feed(first, node.inputs[1])
        self.feed(second, node.inputs[2])
        return node.outputs[0]

    def attribute(self, name: str, output: str = "Fac") -> Any:
        """A mesh attribute."""
        return self.node("ShaderNodeAttribute", attribute_name=name).outputs[output]

    def image(self, path: str, uv: Value, colour_space: str = "Non-Color") -> Any:
        """An image texture; returns the node (outputs Color and Alpha)."""
        node = self.node("ShaderNodeTexImage")
        node.image = bpy.data.images.load(path, check_existing=True)
        node.image.colorspace_settings.name = colour_space
        self.feed(uv, node.inputs[0])
        return node

    def ramp(self, value: Value, stops: Sequence[tuple[float, Sequence[float]]]) -> Any:
        """Colour ramp through (position, colour) stops."""
        node = self.node("ShaderNodeValToRGB")
        elements = node.color_ramp.elements
        for position, colour in stops[2:]:
            elements.new(position).color = (*colour, 1)
        for element, (position, colour) in zip(elements, sorted(stops), strict=True):
            element.position = position
            element.color = (*colour, 1)
        self.feed(value, node.inputs[0])
        return node.outputs[0]

    def bump(self, height: Value, distance: float, strength: float = 1.0) -> Any:
        """A normal disturbed by a height in units of `distance` metres."""
        node = self.node("ShaderNodeBump")
        node.inputs["Strength"].default_value = strength
        node.inputs["Distance"].default_value = distance
        self.feed(height, node.inputs["Height"])
        return node.outputs[0]

    def principled(self, **inputs: Value) -> Any:
        """A principled surface; inputs are named as in Cycles, with `_` for spaces."""
        node = self.node("ShaderNodeBsdfPrincipled")
        for name, value in inputs.items():
            self.feed(value, node.inputs[name.replace("_", " ")])
        return node.outputs[0]

    def surface(self, shader: Any) -> None:
        """Set the material's surface."""
        self.feed(shader, self.node("ShaderNodeOutputMaterial").inputs[0])


def material(name: str) -> tuple[Any, Nodes]:
    """A new material and its empty node tree."""
    made = bpy.data.materials.new(name)
    made.use_nodes = True
    return made, Nodes(made.node_tree)
