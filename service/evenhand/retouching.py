"""The way of a photograph: read, find people, run the steps, cap, blend, write."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from datetime import datetime
from pathlib import Path
from types import MappingProxyType
from typing import Any

import numpy as np
from pydantic import BaseModel, ConfigDict, Field, field_validator

from evenhand import layers as layering
from evenhand import photo
from evenhand.delivery import delivery, refuse_existing, refuse_original
from evenhand.earlier import reference_for, skin_before
from evenhand.layers.layer import Layer
from evenhand.people.finding import PeopleSettings, find_people
from evenhand.people.person import SKIN_REGIONS, Alpha, Person, Region
from evenhand.photo.credentials import Certificate
from evenhand.photo.photograph import Photograph
from evenhand.processors import PROCESSORS
from evenhand.report import FileReport, LayerReport, Report, Stage
from evenhand.reporting import (
    Changes,
    advice_of,
    file_report,
    layer_reports,
    people_report,
    report_of,
    total_difference,
)
from evenhand.results import Results, Writing
from evenhand.steps.eyes import EyesSettings, eyes
from evenhand.steps.gain import Gain, added
from evenhand.steps.marks import MarksSettings, marks
from evenhand.steps.patch import Change, ReferenceSkin, SkinPatch, patch_of
from evenhand.steps.redness import RednessSettings, redness
from evenhand.steps.smoothing import SmoothingSettings, smoothing

MOST_AT_ONCE = 50_000_000
"""Pixels up to which the results are written at the same time; of more, one after the other, since
each takes as much memory as the photograph."""

DARKEST = 1e-6
"""Linear light below which a gain means nothing; the smallest step of 16 bits is 15 times it."""


@dataclass(frozen=True)
class Step:
    """A step as the engine runs it.

    Attributes
    ----------
    run : callable
        The step: a patch and its settings in, the wanted change out.
    where : callable
        Mask inside which the step may change the patch.
    """

    run: Callable[[SkinPatch, Any], Change | Gain]
    where: Callable[[SkinPatch], Alpha]


STEPS: Mapping[str, Step] = {
    "marks": Step(marks, lambda patch: patch.skin),
    "redness": Step(redness, lambda patch: patch.skin),
    "smoothing": Step(smoothing, lambda patch: patch.skin),
    "eyes": Step(eyes, lambda patch: patch.masks[Region.EYE]),
}
"""Every step by name, in the order in which they run."""

READ_BY_STEPS = (*SKIN_REGIONS, Region.EYE)
"""Regions whose masks steps read; skin's are free of all the others."""

DEFAULT_STEPS = ("redness", "smoothing")
"""Steps that run when none are named."""


class RetouchSettings(BaseModel):
    """What to do to a photograph."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    steps: tuple[str, ...] = Field(
        DEFAULT_STEPS, description="Steps to run: " + ", ".join(STEPS) + "."
    )
    redness: RednessSettings = Field(default_factory=RednessSettings)
    smoothing: SmoothingSettings = Field(default_factory=SmoothingSettings)
    marks: MarksSettings = Field(default_factory=MarksSettings)
    eyes: EyesSettings = Field(default_factory=EyesSettings)
    cap: float = Field(
        30.0, gt=0, le=40, description="Largest CIEDE2000 that all layers together may make."
    )
    people: PeopleSettings = Field(default_factory=PeopleSettings)
    skin_at: tuple[tuple[int, int], ...] = Field(
        (),
        description="Points (column, row) on bare skin of the upright photograph, for skin "
        "without a face.",
    )

    @field_validator("steps")
    @classmethod
    def _known_steps(cls, steps: tuple[str, ...]) -> tuple[str, ...]:
        unknown = [step for step in steps if step not in STEPS]
        if unknown:
            raise ValueError(f"unknown step {unknown[0]!r}; there are {', '.join(STEPS)}")
        return tuple(step for step in STEPS if step in steps)


@dataclass
class Stopwatch:
    """Time by stage, for the report; stages that run at the same time count each other's CPU."""

    stages: list[Stage] = field(default_factory=list)

    @property
    def total(self) -> float:
        """Seconds of all stages together."""
        return sum(stage.seconds for stage in self.stages)

    @contextmanager
    def __call__(self, name: str) -> Iterator[None]:
        """Time the block as stage `name`."""
        wall, cpu = time.perf_counter(), time.process_time()
        yield
        stage = Stage(
            name=name,
            seconds=round(time.perf_counter() - wall, 5),
            cpu_seconds=round(time.process_time() - cpu, 5),
        )
        self.stages.append(stage)


def retouch(
    path: Path | str,
    out: Path | str,
    settings: RetouchSettings | None = None,
    *,
    overwrite: bool = False,
    dry_run: bool = False,
    clock: Stopwatch | None = None,
    certificate: Certificate | None = None,
    when: datetime | None = None,
    before_burn: Path | None = None,
) -> Report:
    """Retouch one photograph into a folder.

    Writes ``NAME.ext`` in the original's format, depth, profile and metadata, its layers in
    ``NAME.layers``, ``NAME.before-after.jpg``, where marks were looked for the numbered
    ``NAME.marks.jpg``, and, last, ``NAME.report.json``. The result's metadata say what was done.
    Where nobody is found nothing is written and the report's `advice` says what to do. The
    original is only read.

    Parameters
    ----------
    path : path
        JPEG, PNG, TIFF, HEIF, AVIF or camera RAW.
    out : path
        Folder for the results, made if it is not there.
    settings : RetouchSettings, optional
        Steps, their strengths and caps.
    overwrite : bool
        Replace results that are already there.
    dry_run : bool
        Compute and report, write nothing.
    clock : Stopwatch, optional
        What times the stages.
    certificate : Certificate, optional
        Signs the result with content credentials; see `evenhand.photo.credentials`.
    when : datetime, optional
        Time that the result's metadata give; now unless given.
    before_burn : path, optional
        A portrait of the same person taken before the burn, whose skin the redness step compares
        with. Both must show that one person alone: nobody is recognised.

    Returns
    -------
    Report

    Raises
    ------
    UnreadablePhotographError, UnsupportedPhotographError, PhotographTooLargeError
        The file cannot be retouched.
    NotWrittenError
        A result is already there, or `out` cannot be written.
    WrongSettingError
        A point on skin is outside the photograph, or the certificate does not fit.
    WrongPhotographError
        `before_burn` cannot be compared with; the message says why.
    """
    path, out = Path(path), Path(out)
    settings, clock = settings or RetouchSettings(), clock or Stopwatch()
    if not dry_run and not overwrite:
        refuse_existing(out, Results.of(path.stem, path.suffix).in_order)
    with clock("read"):
        photograph = photo.read(path)
    results = Results.of(path.stem, photograph.result_suffix)
    if not dry_run:
        refuse_original(path, out / results.portrait)
    with clock("people"):
        people = people_of(photograph, settings)
    references: Mapping[int, ReferenceSkin] = {}
    compared: dict[str, FileReport] = {}
    if before_burn is not None:
        with clock("earlier portrait"):
            before = skin_before(before_burn, settings.people)
            references = reference_for(photograph, people, before)
        compared["before_burn"] = file_report(before_burn)
    with clock("report"):
        told = people_report(people)
    people = [_as_steps_need(person) for person in people]
    layers = layers_of(photograph, people, settings, clock, references)
    if not layers:
        advice = advice_of(people, layers)
        report = report_of(photograph, told, Changes(), settings, clock, advice)
        return report.model_copy(update=compared)
    scales = {person.index: person.scale.mm_per_pixel for person in people}
    del people  # their masks take as much memory as the photograph, and are no longer needed
    strengths = strengths_of(settings)

    def measured(layers: Sequence[Layer]) -> list[LayerReport]:
        return layer_reports(photograph, told, layers, settings)

    if dry_run:
        with clock("blend"):
            pixels = layering.blend(photograph, layers, strengths)
        with clock("report"):
            total = total_difference(photograph, pixels, layers)
            changes = Changes(measured(layers), total)
        report = report_of(photograph, told, changes, settings, clock)
        return report.model_copy(update=compared)
    with delivery(out, results.in_order, overwrite=overwrite) as beside:
        files = Writing(photograph, strengths, scales, results, out, beside, certificate, when)
        with clock("write"):
            if photograph.frame.area <= MOST_AT_ONCE:
                changes = files.at_once(layers, measured)
            else:
                changes = files.in_turn(layers, measured)
        report = report_of(photograph, told, changes, settings, clock)
        written = {"result": file_report(beside / results.portrait), **compared}
        report = report.model_copy(update=written)
        (beside / results.report).write_text(report.model_dump_json(indent=2) + "\n")
        if not (beside / results.marks).exists():
            (out / results.marks).unlink(missing_ok=True)  # of an earlier run, replaced by this one
    return report


def _as_steps_need(person: Person) -> Person:
    """A person without the masks that no step reads; hair's is larger than all the skin's."""
    read = {region: mask for region, mask in person.masks.items() if region in READ_BY_STEPS}
    return replace(person, masks=read)


def people_of(photograph: Photograph, settings: RetouchSettings) -> list[Person]:
    """People in the photograph, or the one pointed at by `settings.skin_at`."""
    return find_people(photograph, settings.people, skin_at=settings.skin_at)


def layers_of(
    photograph: Photograph,
    people: list[Person],
    settings: RetouchSettings,
    clock: Stopwatch | None = None,
    references: Mapping[int, ReferenceSkin] = MappingProxyType({}),
) -> list[Layer]:
    """Layers of every step for every person, each inside its cap and together inside the sum's.

    `references` is skin from before a burn, in this photograph's light, by person's index.
    """
    clock = clock or Stopwatch()
    shown = [person for person in people if person.skin_box.area]
    at_once = PROCESSORS if photograph.frame.area <= MOST_AT_ONCE else 1
    with ThreadPoolExecutor(at_once) as threads:
        found = threads.map(
            lambda person: _layers_of_person(
                photograph, person, settings, clock, references.get(person.index)
            ),
            shown,
        )
        layers = [layer for those in found for layer in those]
    with clock("sum"):
        return layering.limit_sum(photograph, layers, settings.cap, in_place=True)


def _layers_of_person(
    photograph: Photograph,
    person: Person,
    settings: RetouchSettings,
    clock: Stopwatch,
    before: ReferenceSkin | None,
) -> list[Layer]:
    """One person's layers; each step sees what the steps before it want, so none acts twice.

    A layer is made of what a step wants while the next step is computed.
    """
    with clock("cut"):
        patch = replace(patch_of(photograph, person), before=before)
    so_far = patch

    def made(name: str, change: Change | Gain) -> Layer:
        with clock(f"{name} layer"):
            return _layer(photograph, person, name, patch, change, settings)

    with ThreadPoolExecutor(1) as beside:
        making = []
        for name in settings.steps:
            with clock(name):
                change = STEPS[name].run(so_far, getattr(settings, name))
            making.append(beside.submit(made, name, _on_original(patch, so_far, change)))
            so_far = _after(so_far, change)
    return [layer.result() for layer in making]


def _on_original(patch: SkinPatch, so_far: SkinPatch, change: Change | Gain) -> Change | Gain:
    """What a step wants of the patch as the steps before left it, as a change of the original.

    It is carried over in optical density, in which steps add up.
    """
    if isinstance(change, Gain):
        return replace(change, patch=patch)
    if so_far.light is patch.light:
        return change
    gain = np.ones_like(change.wanted)
    lit = (so_far.linear > DARKEST) & (change.wanted != so_far.linear)
    np.divide(change.wanted, so_far.linear, out=gain, where=lit)
    return replace(change, wanted=patch.linear * gain)


def _after(patch: SkinPatch, change: Change | Gain) -> SkinPatch:
    """The patch as the next step shall see it."""
    if isinstance(change, Gain):
        return replace(patch, evened=added(patch.evened, change.log_gain))
    return replace(patch, light=change.wanted)


def strengths_of(settings: RetouchSettings) -> dict[str, float]:
    """Strength of each step that runs, from its settings."""
    return {name: float(getattr(settings, name).strength) for name in settings.steps}


def _layer(
    photograph: Photograph,
    person: Person,
    name: str,
    patch: SkinPatch,
    change: Change | Gain,
    settings: RetouchSettings,
) -> Layer:
    """The layer of a step's change: inside its mask, inside its cap."""
    chosen = getattr(settings, name)
    return layering.layer_from_change(
        photograph,
        person.index,
        name,
        patch.box,
        change,
        STEPS[name].where(patch),
        chosen.cap,
        chosen.model_dump(),
    )
