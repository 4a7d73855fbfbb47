"""The smoothing step: blotch is evened, texture and the lines of the face are kept.

Frequency separation in optical density: the tone is what an edge-preserving filter leaves, the
blotch band lies between it and the texture band, and only the blotch band is reduced.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from pydantic import BaseModel, ConfigDict, Field

from evenhand.steps.coarse import CoarsePatch, coarse, with_gain
from evenhand.steps.masked_filters import blur, guided
from evenhand.steps.patch import Change, SkinPatch

Map = npt.NDArray[np.float32]


class SmoothingSettings(BaseModel):
    """What the smoothing step may do."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    strength: float = Field(
        0.5, ge=0, le=1, description="How much of the blotch is evened, 0 to 1."
    )
    cap: float = Field(
        8.0, gt=0, le=20, description="Largest change of any pixel, CIEDE2000 (D65)."
    )
    texture_mm: float = Field(
        1.2, ge=0.3, le=3, description="Pores, hairs and lines up to this size stay, millimetres."
    )
    tone_mm: float = Field(
        10.0, ge=4, le=30, description="Shading above this size stays, millimetres."
    )
    contrast: float = Field(
        0.06,
        ge=0.01,
        le=0.3,
        description="Steps in tone well above this are lines and stay, optical density.",
    )


def smoothing(patch: SkinPatch, settings: SmoothingSettings) -> Change:
    """Reduce a person's blotch band.

    Parameters
    ----------
    patch : SkinPatch
        One person's skin.
    settings : SmoothingSettings
        What may be done.

    Returns
    -------
    Change
        Wanted linear light at strength 1, and facts: `resolved` (whether the photograph shows the
        blotch band), `blotch_before` and `blotch_after` (deviation in optical density).
    """
    if settings.texture_mm < 2 * patch.mm_per_pixel or not (patch.skin > 0.5).any():
        return Change(patch.linear, {"resolved": False})
    skin = coarse(patch, settings.texture_mm / 3)
    blotch = blotch_band(skin, settings)
    inside = skin.skin > 0.9
    before = float(blotch[inside].std()) if inside.any() else 0.0
    return Change(
        with_gain(patch, blotch),
        {"resolved": True, "blotch_before": round(before, 5)},
    )


def blotch_band(skin: CoarsePatch, settings: SmoothingSettings) -> Map:
    """Density above texture and below tone, shape (height, width, 3)."""
    fine_tone = blur(skin.density, skin.skin, skin.pixels(settings.texture_mm) / 2)
    radius = skin.pixels(settings.tone_mm) / 2
    bands = [
        fine_tone[..., i]
        - guided(
            np.ascontiguousarray(fine_tone[..., i]),
            np.ascontiguousarray(fine_tone[..., i]),
            skin.skin,
            radius,
            settings.contrast,
        )
        for i in range(3)
    ]
    return np.stack(bands, axis=-1)
