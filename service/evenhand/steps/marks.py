"""The marks step: passing marks are proposed and filled, lasting ones are listed and kept.

Marks are found as spots in scale space, told apart by the pigment they add, and filled with the
gradients of near skin, so that tone follows the surroundings and grain is real skin's.
"""

from __future__ import annotations

from enum import StrEnum

import numpy as np
import numpy.typing as npt
from pydantic import BaseModel, ConfigDict, Field

from evenhand.people.person import SKIN_REGIONS
from evenhand.steps.mark_detection import Mark, MarkKind, find_marks
from evenhand.steps.mark_filling import fill
from evenhand.steps.patch import Change, SkinPatch

Map = npt.NDArray[np.float32]


POINTED_MM = 3.0
"""Diameter that a mark is taken for where it is pointed at and was not found, millimetres: about a
pimple's, from memory. Its filling follows it as far as it goes."""


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
    removed_at: tuple[tuple[int, int], ...] = Field(
        (),
        description="Points (column, row) of the upright photograph at which a passing mark lies, "
        "found or not.",
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
    pointed, found = _pointed_at(patch, settings, found)
    chosen = [mark for mark in found if mark in pointed or _is_filled(mark, settings)]
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


def _pointed_at(
    patch: SkinPatch, settings: MarksSettings, found: list[Mark]
) -> tuple[list[Mark], list[Mark]]:
    """Passing marks that were pointed at, and all marks: found ones and those that were not found.

    A lasting mark does not go by a point.
    """
    pointed, everything = [], list(found)
    for column, row in settings.removed_at:
        across, down = column - patch.box.left, row - patch.box.top
        height, width = patch.skin.shape
        if not (0 <= down < height and 0 <= across < width) or patch.skin[down, across] < 0.5:
            continue
        mark = _nearest(everything, down, across, patch.mm_per_pixel)
        if mark is None:
            mark = Mark(
                number=len(everything) + 1,
                row=down + 0.5,
                column=across + 0.5,
                size_mm=POINTED_MM,
                kind=MarkKind.PASSING,
                confidence=1.0,
                region=max(
                    (region for region in SKIN_REGIONS if region in patch.masks),
                    key=lambda region: float(patch.masks[region][down, across]),
                ),
            )
            everything.append(mark)
        if mark.passing:
            pointed.append(mark)
    return pointed, everything


def _nearest(marks: list[Mark], row: int, column: int, mm_per_pixel: float) -> Mark | None:
    """The mark that a point lies on."""
    for mark in marks:
        far = float(np.hypot(mark.row - row, mark.column - column)) * mm_per_pixel
        if far <= max(mark.size_mm, POINTED_MM) / 2:
            return mark
    return None


def _is_filled(mark: Mark, settings: MarksSettings) -> bool:
    """Passing, sure enough or named, and not kept; or lasting and named by permission."""
    if mark.passing:
        wanted = mark.confidence >= settings.confidence or mark.number in settings.unsure_removed
        return wanted and mark.number not in settings.kept
    return mark.number in settings.lasting_removed
