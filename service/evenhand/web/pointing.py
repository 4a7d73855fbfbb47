"""What a photographer may say about places and regions of a photograph in a step's settings."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from evenhand.errors import WrongSettingError
from evenhand.people.person import SKIN_REGIONS
from evenhand.shoots import tables

MOST_POINTS = 200
"""Points of one kind on one person: far more than burns have parts, or faces spots."""

POINTS = ("burnt_at", "leave_at", "removed_at")
"""Settings that are lists of points."""


def require_on_photograph(settings: Mapping[str, Any], portrait: tables.Portrait) -> None:
    """Refuse points that are not on the photograph, or too many, and strengths of no skin.

    Parameters
    ----------
    settings : mapping
        Of one step, as its model reads them.
    portrait : Portrait
        The portrait they are for; people were found in it.

    Raises
    ------
    WrongSettingError
        A point lies outside, there are more than `MOST_POINTS`, a region is no skin, or a strength
        is not from 0 to 1.
    """
    width, height = portrait.width or 0, portrait.height or 0
    for name in POINTS:
        points = settings.get(name, ())
        if len(points) > MOST_POINTS:
            raise WrongSettingError(
                f"{name} has {len(points)} points.",
                f"Give {MOST_POINTS} at most: one point takes the whole burn that it lies in.",
            )
        for column, row in points:
            if not (0 <= column < width and 0 <= row < height):
                raise WrongSettingError(
                    f"{name}: the point {column}, {row} lies outside the photograph.",
                    "Give column and row counted from the top left; it has "
                    f"{width} x {height} pixels.",
                )
    for region, strength in settings.get("by_region", {}).items():
        if region not in SKIN_REGIONS:
            raise WrongSettingError(
                f"by_region: {region} is not skin.",
                f"Regions of skin are {', '.join(SKIN_REGIONS)}.",
            )
        if not 0 <= strength <= 1:
            raise WrongSettingError(
                f"by_region.{region}: {strength} is not from 0 to 1.",
                "1 takes off all that is found there, 0 leaves it.",
            )
