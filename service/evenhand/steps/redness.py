"""The redness step: burnt and flushed skin goes back to the person's own unburnt colour.

It works in optical density, where a pigment adds a fixed direction whatever the light: excess along
the person's haemoglobin direction is measured apart from shading and taken off.
"""

from __future__ import annotations

from enum import StrEnum
from typing import Any

import numpy as np
import numpy.typing as npt
from pydantic import BaseModel, ConfigDict, Field

from evenhand.people.person import SKIN_REGIONS, Region
from evenhand.steps.burn_outline import Burn
from evenhand.steps.coarse import CoarsePatch, coarse
from evenhand.steps.counterparts import other_side
from evenhand.steps.gain import Gain
from evenhand.steps.masked_filters import blur, guided
from evenhand.steps.patch import Change, SkinPatch
from evenhand.steps.pigments import Direction
from evenhand.steps.redness_measure import Excess, measure
from evenhand.steps.unburnt import EVEN_BY_NATURE, GENTLE

Map = npt.NDArray[np.float32]

GRID_MM = 0.5
"""Pixels of the coarse grid on skin: finer than any burn's edge, coarser than pores."""

WINDOW_MM = 4.0
"""Half the window in which redness is evened out before it is judged, millimetres."""

BORDER_MM = 3.0
"""Deviation of the neighbourhood of burnt skin that counts as its border, millimetres."""

NATURAL = 0.12
"""Natural redness of cheeks and nose above the rest of the face, density; beyond it is burn."""

CHEEKS_AND_NOSE = (50, 280, 4)
"""Points of the face mesh in the middle of the cheeks and on the tip of the nose."""

CHEEK_MM = 16.0
"""Deviation of the round places around those points, millimetres."""


class RednessSettings(BaseModel):
    """What the redness step may do."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    strength: float = Field(
        1.0, ge=0, le=1, description="How much of the excess redness is taken off, 0 to 1."
    )
    cap: float = Field(
        16.0, gt=0, le=40, description="Largest change of any pixel, CIEDE2000 (D65)."
    )
    natural_kept: float = Field(
        0.6,
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


class Grade(StrEnum):
    """How burnt a region is, by the mean redness that comes off its burnt part."""

    NONE = "none"
    SLIGHT = "slight"
    MODERATE = "moderate"
    STRONG = "strong"


GRADES = ((Grade.STRONG, 0.35), (Grade.MODERATE, 0.18), (Grade.SLIGHT, 0.07))
"""Mean density taken off from which a grade holds: 0.18 is about a CIEDE2000 of 6."""

BURNT = 0.04
"""Density taken off above which a place counts as burnt in the report."""

LEAST_BURNT_SHARE = 0.05
"""Share of a region that must be burnt for a grade."""


def redness(patch: SkinPatch, settings: RednessSettings) -> Change | Gain:
    """Take a person's excess redness off.

    Parameters
    ----------
    patch : SkinPatch
        One person's skin.
    settings : RednessSettings
        What may be done.

    Returns
    -------
    Change or Gain
        What is wanted at strength 1, and facts: the `direction` used, and for each region
        the `grade` of its burn, `burnt_share`, and mean excess `before` and `after` in density.
    """
    skin = coarse(patch, GRID_MM)
    if not skin.inside.any():
        return Change(patch.linear, {"regions": {}})
    direction, excess, outlined = measure(skin, other_side(patch, skin))
    burn = _burn(skin, excess, settings.least_excess)
    removal = burn - settings.natural_kept * _natural_places(patch, skin) * np.minimum(
        burn, NATURAL
    )
    log_gain = removal[..., None] * direction.astype(np.float32)
    if outlined is not None:
        log_gain = _with_outline(skin, log_gain, outlined, excess.in_light)
        direction = outlined.added / np.linalg.norm(outlined.added)
        removal = log_gain @ direction.astype(np.float32)
    return Gain(patch, log_gain, _facts(skin, excess, removal, direction))


def _burn(skin: CoarsePatch, excess: Excess, least: float) -> Map:
    """Excess without noise and mottle, with the burn's own edges, zero on unburnt skin.

    Skin counts as burnt in full from twice the least excess on, in between in part; around burnt
    skin any excess belongs to the burn, so that a soft border leaves no rim. Where no burnt group
    stands apart, little is taken off.
    """
    smooth = guided(excess.amount, excess.amount, skin.skin, skin.pixels(WINDOW_MM), 0.5 * least)
    share = np.clip(smooth / np.maximum(least, excess.least) - 1, 0, 1) * excess.in_light
    near = blur(share * share * (3 - 2 * share), skin.skin, skin.pixels(BORDER_MM))
    burn = np.maximum(smooth, 0) * np.minimum(2 * near, 1)
    most = np.maximum(excess.most, GENTLE)
    return np.asarray(most * np.tanh(burn / most), np.float32)


def _with_outline(skin: CoarsePatch, log_gain: Map, burn: Burn, in_light: Map) -> Map:
    """An outlined burn taken off whole; elsewhere, and where that takes more, the body's excess."""
    outlined = (burn.share * in_light)[..., None] * burn.added.astype(np.float32)
    body = sum(skin.regions[region] for region in EVEN_BY_NATURE if region in skin.regions)
    more = log_gain.sum(axis=-1) > outlined.sum(axis=-1)
    kept = (np.broadcast_to(body, more.shape) * more)[..., None]
    changed = log_gain + burn.trust * (1 - kept) * (outlined - log_gain)
    return np.asarray(changed, np.float32)


def _natural_places(patch: SkinPatch, skin: CoarsePatch) -> Map:
    """Where skin is naturally redder: ears, cheeks and nose, in [0, 1]."""
    places = skin.regions.get(Region.EAR, np.zeros_like(skin.skin)).copy()
    if patch.face is None or not len(patch.face.landmarks):
        return places
    factor = patch.mm_per_pixel / skin.mm_per_pixel
    points = patch.face.landmarks[list(CHEEKS_AND_NOSE)] - [patch.box.left, patch.box.top]
    rows, columns = np.ogrid[: places.shape[0], : places.shape[1]]
    sigma = skin.pixels(CHEEK_MM)
    for column, row in points * factor:
        square = ((rows - row) ** 2 + (columns - column) ** 2) / (2 * sigma * sigma)
        np.maximum(places, np.exp(-square), out=places, casting="same_kind")
    return places


def _facts(skin: CoarsePatch, excess: Excess, removal: Map, direction: Direction) -> dict[str, Any]:
    regions = {}
    for region in SKIN_REGIONS:
        share = skin.regions.get(region)
        if share is None or share.sum() < 1:
            continue
        burnt = (removal > BURNT) & (share > 0.5)
        regions[region.value] = {
            "grade": grade(removal[burnt], int((share > 0.5).sum())).value,
            "burnt_share": round(float(burnt.sum() / max(1, (share > 0.5).sum())), 4),
            "before": round(float(np.average(np.maximum(excess.amount, 0), weights=share)), 4),
            "after": round(
                float(np.average(np.maximum(excess.amount - removal, 0), weights=share)), 4
            ),
        }
    return {"direction": [round(float(value), 4) for value in direction], "regions": regions}


def grade(removal: Map, pixels: int) -> Grade:
    """Grade of a region from what comes off its burnt part, density, and its size in pixels."""
    if len(removal) < max(1, LEAST_BURNT_SHARE * pixels):
        return Grade.NONE
    mean = float(removal.mean())
    return next((name for name, least in GRADES if mean >= least), Grade.NONE)
