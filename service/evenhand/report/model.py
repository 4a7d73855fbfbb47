"""The report of one portrait: who was found, what was changed and by how much, and what to heed."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, Field

NOTICES = {
    "doctor": "A mark that changes, bleeds or grows belongs before a doctor, not under a retouch; "
    "Evenhand is no medical device.",
    "personal data": "Photographs of people and face geometry may be personal or biometric data; "
    "local law decides what you may keep and share.",
    "labelling": "Some places require retouched commercial pictures to be labelled; check yours.",
    "permission": "Retouch a person only for what they agreed to; for a child, ask the guardian.",
}
"""What must be said wherever a result is shown, by subject."""

SHORT_NOTICE = (
    "A mark that changes, bleeds or grows belongs before a doctor; this is no medical device.\n"
    "Ask permission, for a child the guardian's. Local law on personal data and on labelling "
    "retouched pictures applies."
)
"""The notices in two lines, for places where there is room for no more."""


class Model(BaseModel):
    """Frozen, and strict about names: an unknown field is an error."""

    model_config = ConfigDict(frozen=True, extra="forbid")


class BoxReport(Model):
    """Rectangle of pixels in the upright photograph, half-open."""

    top: int = Field(description="First row.")
    left: int = Field(description="First column.")
    bottom: int = Field(description="Row after the last.")
    right: int = Field(description="Column after the last.")


class Area(Model):
    """How large a region is."""

    pixels: float = Field(description="Sum of the mask's membership, in pixels.")
    mm2: float = Field(description="The same in square millimetres, at this person's scale.")


class PersonReport(Model):
    """A person that was found."""

    index: int = Field(description="Number in the photograph, from 0, left to right.")
    face: BoxReport | None = Field(
        description="Box around the face; null where no head is seen or skin was pointed at."
    )
    confidence: float | None = Field(description="Of the face, 0 to 1; null without a face.")
    roll: float | None = Field(description="Turn of the face in the picture plane, degrees.")
    yaw: float | None = Field(description="Turn of the face sideways, degrees.")
    mm_per_pixel: float = Field(description="Millimetres on skin that one pixel covers.")
    scale_source: str = Field(description="What the scale was measured from.")
    regions: dict[str, Area] = Field(description="Size of each region found, kept parts too.")


class Difference(Model):
    """How far colours moved: CIEDE2000 between original and result, D65."""

    mean: float = Field(description="Mean over the pixels that changed.")
    largest: float = Field(description="Largest of any pixel.")


class LayerReport(Model):
    """What one step changed on one person."""

    step: str = Field(description="Name of the step.")
    person: int = Field(description="Index of the person.")
    box: BoxReport = Field(description="Where the layer lies.")
    strength: float = Field(description="Strength applied in the result, 0 to 1.")
    cap: float = Field(description="Largest CIEDE2000 allowed to any pixel at strength 1.")
    at_full_strength: Difference = Field(description="Change of this layer alone at strength 1.")
    regions: dict[str, Area] = Field(description="Skin regions that the layer may change.")
    changed_pixels: int = Field(description="Pixels with any difference at strength 1.")
    settings: dict[str, Any] = Field(description="Settings of the step.")
    facts: dict[str, Any] = Field(
        description="What the step measured: burns with regions and what was done, texture "
        "kept and blotch reduced as shares of 1, marks with kind, size, place and confidence."
    )
    findings: list[str] = Field(
        default_factory=list, description="What the step found and did, in sentences."
    )


class Stage(Model):
    """Time that a stage took."""

    name: str = Field(description="read, people, a step's name, blend, write, picture.")
    seconds: float = Field(description="Wall time in seconds.")
    cpu_seconds: float = Field(description="CPU time of all threads in seconds.")


class FileReport(Model):
    """A file, by name and content."""

    name: str = Field(description="File name without folder.")
    sha256: str = Field(description="SHA-256 of the file's bytes, hexadecimal.")


class Report(Model):
    """Everything about one retouched portrait.

    Examples
    --------
    >>> import evenhand
    >>> report = evenhand.retouch(portrait, folder, dry_run=True)
    >>> report.width, report.bits, [layer.step for layer in report.layers]
    (140, 8, ['redness', 'smoothing'])
    """

    format: Literal["evenhand-report-1"] = Field(
        default="evenhand-report-1", description="Name and version of this form."
    )
    photograph: FileReport = Field(description="The original.")
    width: int = Field(description="Columns of the upright photograph.")
    height: int = Field(description="Rows of the upright photograph.")
    bits: int = Field(description="Bits of a code value: 8 or 16.")
    result: FileReport | None = Field(
        description="The retouched photograph; null in a dry run or where nobody was found."
    )
    before_burn: FileReport | None = Field(
        default=None,
        description="The portrait taken before the burn that skin was compared with, if any.",
    )
    people: list[PersonReport] = Field(description="People found; empty where there are none.")
    layers: list[LayerReport] = Field(description="Layers in the order they were computed.")
    cap: float = Field(description="Largest CIEDE2000 allowed to the sum of all layers.")
    total: Difference = Field(
        description="Change of the result against the original over all changed pixels."
    )
    seconds: float = Field(description="Wall time of the whole portrait.")
    stages: list[Stage] = Field(description="Where the time went.")
    notices: dict[str, str] = Field(
        default_factory=lambda: dict(NOTICES), description="What to heed, by subject."
    )
    versions: Mapping[str, str] = Field(description="Evenhand, Python and the main libraries.")
    notes: list[str] = Field(
        default_factory=list, description="What was noticed about the file and the people in it."
    )
    advice: str = Field(
        default="", description="What to do where nothing could be retouched; else empty."
    )
