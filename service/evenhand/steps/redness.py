"""The redness step: burnt and flushed skin goes back to the person's own unburnt colour.

It works in optical density, where a pigment adds a fixed direction whatever the light: excess along
the person's haemoglobin direction is measured apart from shading and taken off.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt
from pydantic import BaseModel, ConfigDict, Field

from evenhand.people.person import SKIN_REGIONS
from evenhand.steps.coarse import CoarsePatch, coarse, with_gain
from evenhand.steps.masked_filters import guided
from evenhand.steps.patch import Change, SkinPatch

Map = npt.NDArray[np.float32]
Direction = npt.NDArray[np.float64]

GRID_MM = 0.5
"""Pixels of the coarse grid on skin: finer than any burn's edge, coarser than pores."""

PIGMENT_BY_LIGHTNESS = np.array(
    [
        [0.03, 0.58, 0.80, 0.15],
        [0.06, 0.48, 0.84, 0.27],
        [0.12, 0.41, 0.77, 0.49],
        [0.20, 0.38, 0.71, 0.60],
        [0.30, 0.36, 0.66, 0.66],
        [0.45, 0.36, 0.64, 0.68],
    ]
)
"""Skin's green reflectance and its haemoglobin direction in density, Rec. 2020."""


class RednessSettings(BaseModel):
    """What the redness step may do."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    strength: float = Field(
        0.9, ge=0, le=1, description="How much of the excess redness is taken off, 0 to 1."
    )
    cap: float = Field(
        25.0, gt=0, le=40, description="Largest change of any pixel, CIEDE2000 (D65)."
    )
    natural_kept: float = Field(
        0.5,
        ge=0,
        le=1,
        description="Share of the natural colour of cheeks, nose and ears that stays, 0 to 1.",
    )
    least_excess: float = Field(
        0.05,
        ge=0.01,
        le=0.5,
        description="Excess below which skin counts as unburnt, optical density.",
    )


def redness(patch: SkinPatch, settings: RednessSettings) -> Change:
    """Take a person's excess redness off.

    Parameters
    ----------
    patch : SkinPatch
        One person's skin.
    settings : RednessSettings
        What may be done.

    Returns
    -------
    Change
        Wanted linear light at strength 1, and facts: per region `excess_before` and `excess_after`
        in optical density and the `grade` of the burn; the `direction` used.
    """
    if not (patch.skin > 0.5).any():
        return Change(patch.linear, {"regions": {}})
    skin = coarse(patch, GRID_MM)
    direction = pigment_direction(skin)
    excess = _excess(skin, direction)
    removal = _removal(skin, excess, settings)
    wanted = with_gain(patch, removal[..., None] * direction.astype(np.float32))
    return Change(wanted, _facts(skin, excess, removal, direction))


def pigment_direction(skin: CoarsePatch) -> Direction:
    """Density that added haemoglobin brings to this person's skin, unit vector."""
    green = float(np.exp(-np.quantile(skin.density[..., 1][skin.skin > 0.9], 0.3)))
    direction = np.array(
        [
            np.interp(green, PIGMENT_BY_LIGHTNESS[:, 0], PIGMENT_BY_LIGHTNESS[:, i])
            for i in (1, 2, 3)
        ]
    )
    return direction / np.linalg.norm(direction)


def _excess(skin: CoarsePatch, direction: Direction) -> Map:
    """Haemoglobin above the person's unburnt skin, in density along `direction`."""
    chroma = direction - direction.mean()
    amount = (skin.density @ (chroma / (chroma @ chroma))).astype(np.float32)
    inside = skin.skin > 0.9
    return amount - np.float32(unburnt_level(amount[inside]))


def unburnt_level(amounts: npt.NDArray[np.float32]) -> float:
    """Level of the lower of two groups of skin, or of all of it where there is only one.

    Otsu's threshold (IEEE SMC 9(1), 1979) parts the skin in two; the parts count as two groups
    where their medians lie further apart than three times the lower part's own spread.
    """
    low, high = np.quantile(amounts, [0.005, 0.995])
    counts, edges = np.histogram(amounts, 128, (float(low), float(high) + 1e-6))
    middles = (edges[1:] + edges[:-1]) / 2
    below = np.cumsum(counts)
    sums = np.cumsum(counts * middles)
    above = below[-1] - below
    with np.errstate(divide="ignore", invalid="ignore"):
        between = below * above * (sums / below - (sums[-1] - sums) / above) ** 2
    split = middles[int(np.nanargmax(between))]
    lower, upper = amounts[amounts <= split], amounts[amounts > split]
    if len(lower) < 0.03 * len(amounts) or not len(upper):
        return float(np.median(amounts))
    spread = 1.4826 * float(np.median(np.abs(lower - np.median(lower))))
    if np.median(upper) - np.median(lower) < 4 * spread:
        return float(np.median(amounts))
    return float(np.median(lower))


def _removal(skin: CoarsePatch, excess: Map, settings: RednessSettings) -> Map:
    """Density to take off along the haemoglobin direction, smooth but for the burn's own edges."""
    smooth = guided(excess, excess, skin.skin, skin.pixels(4.0), 0.5 * settings.least_excess)
    low, high = settings.least_excess, 2 * settings.least_excess
    gate = np.clip((smooth - low) / (high - low), 0, 1)
    gate = gate * gate * (3 - 2 * gate)
    return np.asarray(np.maximum(smooth * gate, 0), np.float32)


def _facts(skin: CoarsePatch, excess: Map, removal: Map, direction: Direction) -> dict[str, Any]:
    regions = {}
    for region in SKIN_REGIONS:
        share = skin.regions.get(region)
        if share is None or share.sum() < 1:
            continue
        before = float(np.average(np.maximum(excess, 0), weights=share))
        after = float(np.average(np.maximum(excess - removal, 0), weights=share))
        regions[region.value] = {
            "excess_before": round(before, 4),
            "excess_after": round(after, 4),
            "burnt_share": round(float(np.average(removal > 0.02, weights=share)), 4),
        }
    return {"direction": [round(float(v), 4) for v in direction], "regions": regions}
