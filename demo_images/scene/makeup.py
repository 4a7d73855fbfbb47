"""Make-up drawn on a face as seen from the front."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .assets import Floats
from .decals import Projection
from .face_hair import lid_rim
from .figure import Figure
from .motifs import Colour, Picture

SIZE = (0.20, 0.25)
"""Width and height of the picture, metres; its middle lies LOWER below the eyes."""

LOWER = 0.025

STEP = 0.0005
"""Metres between its pixels."""


@dataclass(frozen=True)
class MakeUp:
    """Amounts from 0 to 1 and linear colours.

    `foundation` covers the face to the jaw; `blush` the cheeks up to the temples; `bronzer` below
    the cheekbones, temples and jaw; `shadow` the lids, up to `shadow_height` metres above their
    rim; `liner` the rims, with a wing of `wing` metres.
    """

    foundation: float = 0.0
    foundation_colour: Colour = (0.5, 0.3, 0.2)
    blush: float = 0.0
    blush_colour: Colour = (0.5, 0.2, 0.2)
    bronzer: float = 0.0
    bronzer_colour: Colour = (0.3, 0.16, 0.1)
    shadow: float = 0.0
    shadow_colour: Colour = (0.1, 0.1, 0.1)
    shadow_height: float = 0.012
    liner: float = 0.0
    wing: float = 0.0


STRONG_SHADOW = 0.5
"""Density against skin, times its amount, from which eye shadow hides skin: paint."""


def place(figure: Figure) -> Projection:
    """Where the pictures lie on a face."""
    middle = figure.surface(0.0, figure.eye_level[2] - LOWER)
    axes = np.array([(1.0, 0, 0), (0, 0, 1.0), (0, -1.0, 0)])
    return Projection(middle, *axes, SIZE, 0.11, ("face", "ear"))


def draw(figure: Figure, worn: MakeUp, base: Floats) -> tuple[Picture, Picture]:
    """Pictures of the make-up that lets skin of a base colour show, and of what hides it."""
    x, z = np.meshgrid(
        np.arange(-SIZE[0] / 2, SIZE[0] / 2, STEP),
        figure.eye_level[2] - LOWER + np.arange(SIZE[1] / 2, -SIZE[1] / 2, -STEP),
    )
    eye = figure.eye_level
    apart = abs(figure.eyes[0][0])
    u, v = np.abs(x), z - eye[2]

    def soft(across: float, up: float, wide: float, high: float, tilt: float = 0.0) -> Floats:
        du, dv = u - across, v - up
        c, s = np.cos(tilt), np.sin(tilt)
        return np.exp(-(((c * du + s * dv) / wide) ** 2) - ((c * dv - s * du) / high) ** 2)

    oval = np.hypot(x / 0.072, (v + 0.020) / 0.100)
    skin = [
        (worn.foundation * np.clip((1.05 - oval) / 0.18, 0, 1), worn.foundation_colour),
        (worn.bronzer * np.clip(soft(0.052, -0.060, 0.030, 0.010, 0.6) + soft(0.062, 0.025, 0.012,
         0.03) + soft(0.05, -0.09, 0.02, 0.012, 0.5), 0, 1), worn.bronzer_colour),
        (worn.blush * np.clip(soft(1.3 * apart, -0.040, 0.022, 0.013, 0.55) + 0.6 * soft(0.055,
         -0.022, 0.018, 0.010, 0.7), 0, 1), worn.blush_colour),
    ]  # fmt: skip
    shadow, liner = _lids(figure, worn, x, z)
    hiding = [(np.clip(1.3 * worn.liner * liner, 0, 1), (0.008, 0.008, 0.009))]
    contrast = np.abs(np.log(np.array(worn.shadow_colour) / base)).mean()
    layer = (worn.shadow * shadow, worn.shadow_colour)
    if worn.shadow * contrast > STRONG_SHADOW:
        hiding.insert(0, layer)
    else:
        skin.append(layer)
    return _laid(skin), _laid(hiding)


def _lids(figure: Figure, worn: MakeUp, x: Floats, z: Floats) -> tuple[Floats, Floats]:
    """Cover of eye shadow and of the line along the lids."""
    shadow, liner = np.zeros_like(x), np.zeros_like(x)
    for centre in figure.eyes:
        rim = lid_rim(figure, centre, 1)
        low = lid_rim(figure, centre, -1)
        out = np.sign(centre[0]) * (x - centre[0])
        above = z - np.interp(x, rim[:, 0], rim[:, 2])
        below = np.interp(x, low[:, 0], low[:, 2]) - z
        ends = np.clip((out + 0.017) / 0.006, 0, 1) * np.clip((0.024 - out) / 0.010, 0, 1)
        fade = np.clip((worn.shadow_height - above) / (0.6 * worn.shadow_height), 0, 1)
        shadow += ends * fade * np.clip((above + 0.003) / 0.002, 0, 1)
        shadow += 0.6 * ends * np.clip((0.004 - below) / 0.003, 0, 1) * (below > -0.001)
        line = np.clip((0.0018 - np.abs(above - 0.0004)) / 0.0008, 0, 1) * (np.abs(out) < 0.0145)
        under = np.clip((0.0012 - np.abs(below)) / 0.0006, 0, 1) * (np.abs(out) < 0.0135)
        wing = np.abs(above - 0.5 * (out - 0.0145)) < 0.0012
        wing = wing * (out >= 0.0135) * (out < 0.0145 + worn.wing) * (worn.wing > 0)
        liner += np.maximum.reduce([line, 0.7 * under, wing.astype(float)])
    return np.clip(shadow, 0, 1), np.clip(liner, 0, 1)


def _laid(layers: list[tuple[Floats, Colour]]) -> Picture:
    """Layers over each other as one picture of colour and cover."""
    shape = layers[0][0].shape
    colour, cover = np.zeros((*shape, 3)), np.zeros(shape)
    for share, tint in layers:
        colour = share[..., None] * np.array(tint) + (1 - share[..., None]) * colour
        cover = share + (1 - share) * cover
    colour /= np.maximum(cover, 1e-6)[..., None]
    return np.concatenate([colour, cover[..., None]], 2).astype(np.float32)
