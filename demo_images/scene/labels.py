"""Exact labels of every pixel: one output channel a class, averaged over the pixel's samples."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from .nodes import Nodes

CLASSES = (
    "background",
    "face",
    "neck",
    "ear",
    "torso",
    "arm",
    "hand",
    "leg",
    "foot",
    "eye",
    "lash",
    "brow",
    "lip",
    "mouth",
    "nostril",
    "hair",
    "beard",
    "glasses",
    "jewellery",
    "hat",
    "cloth",
    "tattoo",
    "paint",
    "nail",
)
"""Names of the label indices."""

SKIN = (*range(1, 9), CLASSES.index("nail"))
"""Indices that count as skin."""

KEPT = tuple(CLASSES.index(n) for n in ("eye", "lash", "brow", "lip", "mouth", "nostril"))
"""Indices of the parts of a face that a retouch must leave alone."""

CHANNELS = (len(CLASSES) + 2) // 3
"""Colour outputs needed for one scalar a class."""

TRUTHS = ("burn", "freckle", "blemish")
"""Further outputs: how strong a marking is at each pixel, 0 to 1."""


def declare(layer: Any) -> None:
    """Add the label outputs to a view layer."""
    for k in range(CHANNELS):
        output = layer.aovs.add()
        output.name, output.type = f"label{k}", "COLOR"
    for name in TRUTHS:
        output = layer.aovs.add()
        output.name, output.type = name, "VALUE"


def write(nodes: Nodes, shares: Mapping[str, Any]) -> None:
    """Write the share of each named class from a material."""
    for k in range(CHANNELS):
        names = CLASSES[3 * k : 3 * k + 3]
        if any(name in shares for name in names):
            node = nodes.node("ShaderNodeOutputAOV", aov_name=f"label{k}")
            parts = [shares.get(name, 0.0) for name in names]
            nodes.feed(nodes.colour([*parts, 0.0][:3]), node.inputs["Color"])


def write_truth(nodes: Nodes, name: str, value: Any) -> None:
    """Write the strength of a marking from a material."""
    node = nodes.node("ShaderNodeOutputAOV", aov_name=name)
    nodes.feed(value, node.inputs["Value"])


def coverage(channels: Mapping[str, NDArray[np.float32]]) -> NDArray[np.float32]:
    """Coverage (h, w, classes) in [0, 1] summing to 1, from rendered channels.

    `channels` maps 'label0.R' and so on to (h, w) arrays. A lens lets the camera see what is
    behind it, so glasses take their share first.
    """
    first = next(iter(channels.values()))
    cover = np.zeros((*first.shape, len(CLASSES)), np.float32)
    for k in range(len(CLASSES)):
        cover[..., k] = np.clip(channels.get(f"label{k // 3}.{'RGB'[k % 3]}", 0.0), 0, 1)
    lens = CLASSES.index("glasses")
    others = np.arange(len(CLASSES)) != lens
    room = 1 - cover[..., lens]
    total = cover[..., others].sum(-1)
    scale = np.where(total > room, room / np.maximum(total, 1e-6), 1.0)
    cover[..., others] *= scale[..., None]
    cover[..., 0] += np.clip(1 - cover.sum(-1), 0, 1)
    return cover
