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

TRUTHS = ("burn", "freckle", "mole", "blemish")
"""Further outputs: how strong a marking is at each pixel, 0 to 1."""

BODY = ("body", "who")
"""Further outputs of skin: its share of the pixel, and that times the object's index."""

PLACE = "place"
"""Colour output of skin: its share of the pixel times its place on the body at rest, metres."""


def declare(layer: Any) -> None:
    """Add the label outputs to a view layer."""
    for k in range(CHANNELS):
        output = layer.aovs.add()
        output.name, output.type = f"label{k}", "COLOR"
    for name in (*TRUTHS, *BODY):
        output = layer.aovs.add()
        output.name, output.type = name, "VALUE"
    output = layer.aovs.add()
    output.name, output.type = PLACE, "COLOR"


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


def write_place(nodes: Nodes, rest: Any) -> None:
    """Write where on the body at rest a point of skin lies, and whose body it is."""
    write_truth(nodes, "body", 1.0)
    write_truth(nodes, "who", nodes.node("ShaderNodeObjectInfo").outputs["Object Index"])
    node = nodes.node("ShaderNodeOutputAOV", aov_name=PLACE)
    nodes.feed(rest, node.inputs["Color"])


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


HAIR_SPACING = 1.3
"""Millimetres over which hair on skin is averaged: a little more than the gaps between hairs."""

HAIR_ON_SKIN = {"brow": (0.05, 0.14), "beard": (0.3, 0.5)}
"""Classes of sparse hair: mean share from which the skin between its hairs begins to belong to it,
and wholly does. By number and width of its hairs a sparse brow (fullness 0.4) covers a sixth of its
area; a beard as sparse as that is skin with stubble."""


def with_skin_between_hairs(cover: NDArray[np.float32], mm_per_pixel: float) -> NDArray[np.float32]:
    """Coverage with the skin that shows between the hairs of a brow or beard given to that.

    At a millimetre a pixel hardly any pixel is mostly hair, yet a person who outlines a brow
    takes hair and skin between together.
    """
    filled = cover.copy()
    spread = max(0.6, HAIR_SPACING / mm_per_pixel)
    for name, (least, whole) in HAIR_ON_SKIN.items():
        index = CLASSES.index(name)
        mean = _blurred(cover[..., index], spread)
        share = np.clip((mean - least) / (whole - least), 0, 1)
        given = filled[..., list(SKIN)] * share[..., None]
        filled[..., list(SKIN)] -= given
        filled[..., index] += given.sum(-1)
    return filled


def _blurred(image: NDArray[np.float32], spread: float) -> NDArray[np.float32]:
    """Gaussian blur with a standard deviation of `spread` pixels."""
    reach = int(np.ceil(3 * spread))
    kernel = np.exp(-0.5 * (np.arange(-reach, reach + 1) / spread) ** 2)
    kernel /= kernel.sum()
    for axis in (0, 1):
        image = np.apply_along_axis(np.convolve, axis, image, kernel, mode="same")
    return image.astype(np.float32)
