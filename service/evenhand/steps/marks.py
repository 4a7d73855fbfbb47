"""The marks step: passing marks are proposed and filled, lasting ones are listed and kept.

Marks are found as spots in scale space, told apart by the pigment they add, and filled with the
gradients of near skin, so that tone follows the surroundings and grain is real skin's.
"""

from __future__ import annotations

from enum import StrEnum

import numpy as np
import numpy.typing as npt
from pydantic import BaseModel, ConfigDict, Field

from evenhand.steps.mark_detection import Mark, find_marks
from evenhand.steps.mark_filling import fill
from evenhand.steps.patch import Change, SkinPatch

Map = npt.NDArray[np.float32]


class MarksSettings(BaseModel):
    """What the marks step may do.

    Examples
    --------
    >>> MarksSettings(kept=[2, 5]).kept
    (2, 5)
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    strength: float = Field(1.0, ge=0, le=1, description="How much of each fill shows, 0 to 1.")
    cap: float = Field(
        30.0, gt=0, le=60, description="Largest change of any pixel, CIEDE2000 (D65)."
    )
    least_mm: float = Field(
        1.0, ge=0.5, le=5, description="Smallest mark that is looked for, millimetres across."
    )
    largest_mm: float = Field(
        8.0, ge=1, le=12, description="Largest mark that is looked for, millimetres across."
    )
    confidence: float = Field(
        0.7,
        ge=0.5,
        le=1,
        description="Least confidence that a mark is a passing one for it to be filled, 0 to 1.",
    )
    kept: tuple[int, ...] = Field((), description="Numbers of passing marks that stay as they are.")
    unsure_removed: tuple[int, ...] = Field(
        (), description="Numbers of passing marks that are filled even if confidence is less."
    )
    lasting_removed: tuple[int, ...] = Field(
        (), description="Numbers of lasting marks that the person's permission names for removal."
    )


class Decision(StrEnum):
    """What became of a mark."""

    FILLED = "filled"
    KEPT = "kept"


def marks(patch: SkinPatch, settings: MarksSettings) -> Change:
    """Fill passing marks.

    Parameters
    ----------
    patch : SkinPatch
        One person's skin.
    settings : MarksSettings
        Which marks to look for, and which of those found stay.

    Returns
    -------
    Change
        Wanted linear light at strength 1, and facts: `resolved` (whether the photograph shows
        marks of `least_mm`) and `marks`, one entry a mark with `number`, `kind`, `confidence`,
        `region`, `size_mm`, `row` and `column` in the photograph, and `decision`.

    Examples
    --------
    >>> import evenhand
    >>> patch = evenhand.patch_of(photo, people[0])
    >>> evenhand.marks(patch, evenhand.MarksSettings()).facts["marks"]
    []
    """
    found = find_marks(patch, settings.least_mm, settings.largest_mm)
    if found is None:
        return Change(patch.linear, {"resolved": False, "marks": []})
    chosen = [mark for mark in found if _is_filled(mark, settings)]
    wanted = fill(patch, chosen, found) if chosen else patch.linear
    facts = [
        {
            "number": mark.number,
            "kind": mark.kind.value,
            "confidence": round(mark.confidence, 3),
            "region": mark.region.value,
            "size_mm": round(mark.size_mm, 2),
            "row": round(patch.box.top + mark.row, 1),
            "column": round(patch.box.left + mark.column, 1),
            "decision": (Decision.FILLED if mark in chosen else Decision.KEPT).value,
        }
        for mark in found
    ]
    return Change(wanted, {"resolved": True, "marks": facts})


def _is_filled(mark: Mark, settings: MarksSettings) -> bool:
    """Passing, sure enough or named, and not kept; or lasting and named by permission."""
    if mark.passing:
        wanted = mark.confidence >= settings.confidence or mark.number in settings.unsure_removed
        return wanted and mark.number not in settings.kept
    return mark.number in settings.lasting_removed
