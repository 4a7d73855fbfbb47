"""A retouched photograph from a file to files: read, find people, compute, blend, write."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace
from datetime import datetime
from pathlib import Path

from evenhand import layers as layering
from evenhand import photo
from evenhand.computing import RetouchSettings, Stopwatch, compute_layers, strengths_of
from evenhand.computing.computing import MOST_AT_ONCE
from evenhand.layers.layer import Layer
from evenhand.people.finding import find_people
from evenhand.people.person import SKIN_REGIONS, Person, Region
from evenhand.photo.credentials import Certificate
from evenhand.photo.delivery import delivery, refuse_existing, refuse_original
from evenhand.report import FileReport, LayerReport, Report
from evenhand.report.filling import (
    Changes,
    advice_of,
    file_report,
    layer_reports,
    people_report,
    report_of,
    total_difference,
)
from evenhand.retouching.earlier import reference_for, skin_before
from evenhand.retouching.results import Results, Writing
from evenhand.steps.patch import ReferenceSkin

READ_BY_STEPS = (*SKIN_REGIONS, Region.EYE)
"""Regions whose masks steps read; skin's are free of all the others."""


def retouch(
    path: Path | str,
    out: Path | str,
    settings: RetouchSettings | None = None,
    *,
    permission: Mapping[int, Collection[str]] | None = None,
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
    permission : mapping of int to collection of str, optional
        Steps that each person agreed to, as for `compute_layers`.
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
        What was found and done; also written as ``NAME.report.json``.

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

    Examples
    --------
    >>> import evenhand
    >>> report = evenhand.retouch(portrait, folder)
    >>> report.layers[0].step, report.result.name
    ('redness', 'portrait.png')
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
        people = find_people(photograph, settings.people, settings.skin_at)
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
    layers = compute_layers(
        photograph, people, settings, permission=permission, references=references, clock=clock
    )
    if not layers:
        advice = advice_of(people, settings, permission)
        report = report_of(photograph, told, Changes(), settings, clock, advice)
        return report.model_copy(update=compared)
    scales = {person.index: person.scale.mm_per_pixel for person in people}
    del people  # their masks take as much memory as the photograph, and are no longer needed
    strengths = strengths_of(layers)

    def measured(layers: Sequence[Layer]) -> list[LayerReport]:
        return layer_reports(photograph, told, layers)

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
