"""Render with Cycles on the best device there is, and read the channels back."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

import bpy
import numpy as np
import OpenEXR
from numpy.typing import NDArray

from . import labels


def empty_scene() -> Any:
    """A new scene with nothing in it."""
    bpy.ops.wm.read_factory_settings(use_empty=True)
    scene = bpy.context.scene
    scene.render.engine = "CYCLES"
    labels.declare(scene.view_layers[0])
    return scene


def use_best_device(scene: Any) -> str:
    """Let Cycles compute on a CUDA card if there is one, else on the processor."""
    settings = bpy.context.preferences.addons["cycles"].preferences
    try:
        settings.compute_device_type = "CUDA"
        settings.get_devices()
        cards = [device for device in settings.devices if device.type == "CUDA"]
    except (TypeError, RuntimeError):
        cards = []
    for device in settings.devices:
        device.use = device in cards
    scene.cycles.device = "GPU" if cards else "CPU"
    scene.cycles.denoising_use_gpu = bool(cards)
    return cards[0].name if cards else "CPU"


def prepare(
    scene: Any, width: int, height: int, samples: int, seed: int = 7, quick: bool = False
) -> str:
    """Set size, samples and quality; returns the device's name.

    `quick`, for many small views, takes fewer bounces, removes noise more simply, and computes on
    one core: many processes share a card badly, and each would compile its kernels first.
    """
    cycles = scene.cycles
    cycles.samples, cycles.seed = samples, seed
    cycles.use_adaptive_sampling = False
    cycles.use_denoising = True
    cycles.denoiser = "OPENIMAGEDENOISE"
    cycles.denoising_input_passes = "RGB_ALBEDO_NORMAL"
    cycles.denoising_prefilter = "FAST" if quick else "ACCURATE"
    cycles.max_bounces, cycles.transparent_max_bounces = (4, 10) if quick else (5, 12)
    cycles.sample_clamp_indirect = 4
    if quick:
        scene.render.threads_mode, scene.render.threads = "FIXED", 1  # many processes side by side
        layer = scene.view_layers[0]
        layer.use_pass_normal = True
        layer.use_pass_glossy_direct = layer.use_pass_glossy_indirect = True
        layer.use_pass_glossy_color = True
    scene.cycles_curves.shape = "RIBBONS"
    render = scene.render
    render.resolution_x, render.resolution_y, render.resolution_percentage = width, height, 100
    render.use_persistent_data = True
    image = render.image_settings
    image.media_type = "MULTI_LAYER_IMAGE"
    image.file_format, image.color_depth, image.exr_codec = "OPEN_EXR_MULTILAYER", "16", "NONE"
    return "CPU" if quick else use_best_device(scene)


def render(scene: Any, scratch: Path) -> dict[str, NDArray[np.float32]]:
    """Render and return channels (h, w): Combined.R and so on, label0.R, burn, ..."""
    path = scratch / f"render_{os.getpid()}.exr"
    scene.render.filepath = str(path)
    bpy.ops.render.render(write_still=True)
    channels: dict[str, NDArray[np.float32]] = {}
    with OpenEXR.File(str(path), separate_channels=True) as picture:
        for part in picture.parts:
            for name, channel in part.channels.items():
                words = name.split(".")
                short = words[-2] if words[-1] in ("X", "V") else ".".join(words[-2:])
                channels[short] = channel.pixels.astype(np.float32)
    path.unlink()
    return channels


def normals(channels: dict[str, NDArray[np.float32]]) -> NDArray[np.float32]:
    """Normals (h, w, 3) in world axes, zero where nothing is."""
    return np.stack([channels[name] for name in ("Normal", "Normal.Y", "Normal.Z")], -1)


def gloss_share(channels: dict[str, NDArray[np.float32]]) -> NDArray[np.float32]:
    """Share of the light (h, w) that is gloss, 0 to 1, from noisy passes: smooth it before use."""
    gloss = sum(
        (channels[f"Glossy Direct.{c}"] + channels[f"Glossy Indirect.{c}"])
        * channels[f"Glossy Color.{c}"]
        for c in "RGB"
    )
    total = sum(channels[f"Combined.{c}"] for c in "RGB")
    return np.clip(gloss / np.maximum(total, 1e-4), 0, 1).astype(np.float32)


def linear_rgb(channels: dict[str, NDArray[np.float32]]) -> NDArray[np.float32]:
    """Scene-linear Rec.709 colour (h, w, 3)."""
    return np.stack([channels[f"Combined.{c}"] for c in "RGB"], -1)
