"""A retoucher of a few lines for tests of everything around it: quick, exact, no networks.

It takes each bright square of the picture for a person. Its steps add or take code values, so that
a test can say what a final's pixels must be.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import imagecodecs
import numpy as np
from pydantic import BaseModel, ConfigDict, Field

from evenhand import photo
from evenhand.box import Box
from evenhand.colour.encoding import CodeValues
from evenhand.jobs.retoucher import NO_TONES, NOBODY, Wanted
from evenhand.layers.layer import Layer
from evenhand.people.person import Face, Mask, Person, Region, Scale, ScaleSource
from evenhand.photo.photograph import Photograph
from evenhand.steps.patch import RegionSkin
from evenhand.steps.reference import DaySkin
from evenhand.steps.tone import SkinTone

SIDE = 32
STEPS_PER_CODE = 64
PALE = RegionSkin(np.full(3, 0.5), np.zeros((3, 3)))
CHANGES = {"redness": (-6, 2, 2), "smoothing": (1, 1, 1), "marks": (9, 9, 9)}


class PlainSettings(BaseModel):
    """Settings of a step that adds a constant."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    strength: float = Field(1.0, ge=0, le=1, description="0 to 1")
    cap: float = Field(20.0, gt=0, le=40, description="CIEDE2000")
    times: float = Field(1.0, ge=0, le=3, description="Factor of the change")


class PlainRedness(PlainSettings):
    """Settings of the redness step: a burn is found where somebody points at one."""

    burnt_at: tuple[tuple[int, int], ...] = Field((), description="Points that are burnt")
    leave_at: tuple[tuple[int, int], ...] = Field((), description="Points to be left")
    by_region: dict[Region, float] = Field(default_factory=dict, description="0 to 1")


class PlainMarks(PlainSettings):
    """Settings of the marks step."""

    kept: tuple[int, ...] = Field((), description="Numbers kept")
    lasting_removed: tuple[int, ...] = Field((), description="Lasting numbers removed")
    unsure_removed: tuple[int, ...] = Field((), description="Unsure numbers removed")


class Plain:
    """The retoucher."""

    def settings(self) -> Mapping[str, type[BaseModel]]:
        return {"redness": PlainRedness, "smoothing": PlainSettings, "marks": PlainMarks}

    def read(self, path: Path) -> Photograph:
        return photo.read(path)

    def find(self, photograph: Photograph) -> Sequence[Person]:
        return [
            Person(
                index=index,
                face=Face(box, np.zeros((478, 2), np.float32), 0.0, 0.0, 0.9),
                scale=Scale(0.5, ScaleSource.GIVEN),
                masks={Region.FACE: Mask(box, np.ones((SIDE, SIDE), np.float32))},
            )
            for index, box in enumerate(squares(photograph.shape))
        ]

    def skin_before(self, photograph: Photograph, person: Person, name: str) -> DaySkin:
        return DaySkin({region: PALE for region in person.masks}, {})

    def skin_tone(self, photograph: Photograph, person: Person) -> SkinTone | None:
        return None

    def skin_under(self, photograph: Photograph, stroke: Mask) -> Mask:
        return stroke

    def look_for_burns(
        self, photograph: Photograph, person: Person, before: DaySkin | None
    ) -> Person | None:
        return person if person.skin_box.area else None

    def burn_outlines(self, sight: Person, settings: Mapping[str, Any]) -> list[Any]:
        """All of a person's skin where anybody points at it."""
        box = sight.skin_box
        corners = [[box.left, box.top], [box.right, box.top], [box.right, box.bottom]]
        inside = [
            box.left <= column < box.right and box.top <= row < box.bottom
            for column, row in settings["burnt_at"]
        ]
        return [np.array(corners, np.float32)] if any(inside) else []

    def layers(
        self,
        photograph: Photograph,
        people: Sequence[Person],
        wanted: Wanted,
        before: Mapping[int, DaySkin] = NOBODY,
        tones: Mapping[int, SkinTone] = NO_TONES,
    ) -> list[Layer]:
        return [
            self._layer(person, step, settings, before.get(person.index))
            for person in people
            for step, settings in wanted.get(person.index, {}).items()
        ]

    def blend(
        self, photograph: Photograph, layers: Sequence[Layer], strengths: Sequence[float]
    ) -> CodeValues:
        total = np.zeros((*photograph.shape, 3), np.float64)
        for layer, strength in zip(layers, strengths, strict=True):
            total[layer.box.slices] += strength * layer.difference / layer.steps_per_code
        result = np.rint(photograph.pixels + total)
        return np.clip(result, 0, photograph.white).astype(photograph.pixels.dtype)

    def write(
        self,
        pixels: CodeValues,
        photograph: Photograph,
        folder: Path,
        layers: Sequence[Layer],
        strengths: Sequence[float],
    ) -> Path:
        out = folder / f"final{photograph.result_suffix}"
        photo.write(pixels, photograph, out)
        return out

    def _layer(
        self, person: Person, step: str, settings: Mapping[str, Any], before: DaySkin | None
    ) -> Layer:
        chosen = self.settings()[step].model_validate(dict(settings))
        skin = person.skin(person.skin_box)[..., None]
        change = np.array(CHANGES[step], np.float64) * chosen.times * STEPS_PER_CODE  # type: ignore[attr-defined]
        difference = np.rint(skin * change).astype(np.int32)
        facts: dict[str, Any] = {}
        if isinstance(chosen, PlainMarks):
            difference, facts = self._marks(person.skin_box, difference, chosen)
        if isinstance(chosen, PlainRedness):
            burn = {"regions": ["face-skin"], "action": "taken off", "pointed_at": True,
                    "sureness": 1.0, "excess": 0.1}  # fmt: skip
            facts = {"burns": [burn] if chosen.burnt_at else [], "kept": 1.0}
            if before is not None:
                regions = [region.value for region in before.regions]
                facts["before"] = {"regions": regions, "missing": [], "balanced_by": ["hair"]}
        return Layer(
            step, person.index, person.skin_box, difference, STEPS_PER_CODE, 20.0,
            chosen.model_dump(mode="json"), facts,
        )  # fmt: skip

    def _marks(
        self, box: Box, difference: np.ndarray[Any, Any], chosen: PlainMarks
    ) -> tuple[np.ndarray[Any, Any], dict[str, Any]]:
        only = np.zeros_like(difference)
        facts = []
        for number, (row, kind) in enumerate(((4, "passing"), (20, "lasting")), 1):
            passing = kind == "passing"
            filled = number not in chosen.kept if passing else number in chosen.lasting_removed
            if filled:
                only[row : row + 4, 4:8] = difference[row : row + 4, 4:8]
            facts.append(
                {
                    "number": number, "kind": kind, "confidence": 0.9, "region": "face-skin",
                    "size_mm": 2.0, "row": box.top + row + 2.0, "column": box.left + 6.0,
                    "decision": "filled" if filled else "kept",
                }
            )  # fmt: skip
        return only, {"marks": facts}


def squares(shape: tuple[int, int]) -> list[Box]:
    """Where the people are: two squares side by side, as far as they fit."""
    boxes = [Box(8, left, 8 + SIDE, left + SIDE) for left in (8, 8 + 2 * SIDE)]
    return [box for box in boxes if box.bottom <= shape[0] and box.right <= shape[1]]


def picture(seed: int = 0, shape: tuple[int, int] = (64, 128)) -> bytes:
    """A PNG with noise, another for each seed."""
    noise = np.random.default_rng(seed).integers(60, 180, (*shape, 3), np.uint8)
    return bytes(imagecodecs.png_encode(noise, level=1))
