"""Tone match: skin over a shoot measured against a portrait the photographer likes, and evened.

Only measured unless a strength is given: then each portrait gets a white balance and exposure for
the whole frame, as a layer of its own that can be weakened and taken off like any other.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal

import numpy as np
from pydantic import Field

from evenhand import layers as layering
from evenhand import photo
from evenhand.computing import RetouchSettings, Step, compute_layers, strengths_of
from evenhand.errors import EvenhandError, WrongPhotographError
from evenhand.people.finding import find_people
from evenhand.people.person import Person
from evenhand.photo.credentials import Certificate
from evenhand.photo.delivery import delivery, refuse_original
from evenhand.photo.photograph import Photograph
from evenhand.report import NOTICES, Model
from evenhand.retouching.provenance import write_result
from evenhand.steps.patch import Change, SkinPatch, patch_of
from evenhand.steps.tone import (
    SkinTone,
    ToneSettings,
    corrected,
    correction,
    skin_tone,
    spread,
)

NO_TONE = "Give a portrait in which one person's skin is large enough to measure."
"""What to do about a portrait without measurable skin."""


class PortraitTone(Model):
    """Skin of one portrait and what would bring it to the reference."""

    name: str = Field(description="File name without folder.")
    lab: tuple[float, float, float] = Field(description="Skin now, L*a*b*, D65.")
    lab_matched: tuple[float, float, float] = Field(
        description="Skin after the match, L*a*b*, D65: measured in the result where one was "
        "written, else foretold at full strength."
    )
    exposure: float = Field(description="Proposed change of exposure, stops.")
    balance: tuple[float, float, float] = Field(
        description="Proposed gain of each channel, Rec. 2020, at the same luminance of skin."
    )


class ToneReport(Model):
    """Skin over a shoot, before and after a tone match.

    Examples
    --------
    >>> import evenhand
    >>> report = evenhand.match_tone(portrait, [])
    >>> report.reference, report.portraits
    ('portrait.png', [])
    """

    format: Literal["evenhand-tone-1"] = Field(
        default="evenhand-tone-1", description="Name and version of this form."
    )
    reference: str = Field(description="The portrait that the others are matched to.")
    reference_lab: tuple[float, float, float] = Field(description="Its skin, L*a*b*, D65.")
    strength: float | None = Field(description="Strength applied; null where only measured.")
    portraits: list[PortraitTone] = Field(description="The others, in order.")
    spread_before: float = Field(
        description="Mean CIEDE2000 (D65) of all portraits' skin, the reference's too, to its mean."
    )
    spread_after: float = Field(description="The same after the match.")
    troubles: dict[str, str] = Field(description="Files that were not measured, and why.")
    notices: dict[str, str] = Field(
        default_factory=lambda: dict(NOTICES), description="What to heed, by subject."
    )


@dataclass
class _Shoot:
    """Tones gathered so far."""

    reference: SkinTone
    before: list[SkinTone] = field(default_factory=list)
    after: list[SkinTone] = field(default_factory=list)
    portraits: list[PortraitTone] = field(default_factory=list)
    troubles: dict[str, str] = field(default_factory=dict)


def match_tone(
    reference: Path | str,
    paths: Sequence[Path | str],
    out: Path | str | None = None,
    settings: ToneSettings | None = None,
    *,
    overwrite: bool = False,
    certificate: Certificate | None = None,
) -> ToneReport:
    """Measure the same person's skin over a shoot and, where a folder is given, even it.

    Nobody is recognised: the person measured is the one with the largest face, so give portraits
    of one person. The reference itself is left as it is.

    Parameters
    ----------
    reference : path
        A portrait whose skin the photographer likes.
    paths : sequence of path
        The others.
    out : path, optional
        Folder for ``NAME.ext`` and ``NAME.layers`` of each; without it nothing is written.
    settings : ToneSettings, optional
        Strength, cap and limits.
    overwrite : bool
        Replace results that are already there.
    certificate : Certificate, optional
        Signs the results; see `evenhand.photo.credentials`.

    Returns
    -------
    ToneReport
        A portrait that cannot be read, measured or written is among its `troubles`.

    Raises
    ------
    UnreadablePhotographError, UnsupportedPhotographError, PhotographTooLargeError
        The reference cannot be read.
    WrongPhotographError
        The reference shows no skin that can be measured.

    Examples
    --------
    >>> import evenhand
    >>> evenhand.match_tone(portrait, [portrait]).spread_before
    0.0
    """
    settings, reference = settings or ToneSettings(), Path(reference)
    shoot = _Shoot(_measured(photo.read(reference))[2])
    for path in map(Path, paths):
        if path.exists() and path.samefile(reference):
            continue
        try:
            _match(
                path, shoot, None if out is None else Path(out), settings, overwrite, certificate
            )
        except EvenhandError as error:
            shoot.troubles[path.name] = str(error)
    return ToneReport(
        reference=reference.name,
        reference_lab=_rounded(shoot.reference),
        strength=None if out is None else settings.strength,
        portraits=shoot.portraits,
        spread_before=round(spread([shoot.reference, *shoot.before]), 2),
        spread_after=round(spread([shoot.reference, *shoot.after]), 2),
        troubles=shoot.troubles,
    )


def _match(
    path: Path,
    shoot: _Shoot,
    out: Path | None,
    settings: ToneSettings,
    overwrite: bool,
    certificate: Certificate | None,
) -> None:
    """Measure one portrait and, where a folder is given, write it matched."""
    photograph = photo.read(path)
    person, patch, tone = _measured(photograph)
    wanted = correction(tone, shoot.reference, settings)
    matched = wanted.of(tone)
    if out is not None:
        step = tone_step(tone, shoot.reference, settings)
        layers = compute_layers(photograph, [person], RetouchSettings(steps=()), further=[step])
        strengths = strengths_of(layers)
        pixels = layering.blend(photograph, layers, strengths)
        names = [f"{path.stem}.layers", path.stem + photograph.result_suffix]
        refuse_original(path, out / names[1])
        with delivery(out, names, overwrite=overwrite) as beside:
            layering.save(beside / names[0], photograph, layers, strengths, out / names[0])
            write_result(pixels, photograph, beside / names[1], layers, strengths, certificate)
        linear = photograph.encoding.to_linear(pixels[patch.box.slices])
        after = skin_tone(SkinPatch(patch.box, linear, patch.masks, patch.mm_per_pixel))
        matched = after or matched
    shoot.before.append(tone)
    shoot.after.append(matched)
    shoot.portraits.append(
        PortraitTone(
            name=path.name,
            lab=_rounded(tone),
            lab_matched=_rounded(matched),
            exposure=round(wanted.exposure, 3),
            balance=(
                round(wanted.balance[0], 4),
                round(wanted.balance[1], 4),
                round(wanted.balance[2], 4),
            ),
        )
    )


def _measured(photograph: Photograph) -> tuple[Person, SkinPatch, SkinTone]:
    """The person with the largest face, and their skin."""
    people = [person for person in find_people(photograph) if person.skin_box.area]
    name = photograph.path.name if photograph.path else "The photograph"
    if not people:
        raise WrongPhotographError(f"{name}: nobody was found to measure skin on.", NO_TONE)
    person = max(people, key=lambda person: person.face.box.area if person.face else 0)
    patch = patch_of(photograph, person)
    tone = skin_tone(patch)
    if tone is None:
        raise WrongPhotographError(f"{name}: too little skin to measure its tone.", NO_TONE)
    return person, patch, tone


def measured_tone(photograph: Photograph, person: Person) -> SkinTone | None:
    """Skin of a person in a photograph.

    Parameters
    ----------
    photograph : Photograph
    person : Person

    Returns
    -------
    SkinTone or None
        None where too little skin is seen.
    """
    return skin_tone(patch_of(photograph, person)) if person.skin_box.area else None


def tone_step(tone: SkinTone, reference: SkinTone, settings: ToneSettings) -> Step:
    """The correction of the whole frame as a step.

    Parameters
    ----------
    tone, reference : SkinTone
        Skin of the same person in this portrait and in the one the photographer likes.
    settings : ToneSettings

    Returns
    -------
    Step
        Its facts tell skin now, at the reference, and as foretold at full strength, L*a*b*, D65.
    """
    wanted = correction(tone, reference, settings)
    facts = {
        "exposure": wanted.exposure,
        "balance": list(wanted.balance),
        "lab": list(_rounded(tone)),
        "lab_matched": list(_rounded(wanted.of(tone))),
        "reference_lab": list(_rounded(reference)),
    }
    return Step(
        "tone",
        lambda frame, _: Change(corrected(frame.linear, wanted), facts),
        lambda frame: np.ones(frame.light.shape[:2], np.float32),
        settings,
        whole_frame=True,
    )


def _rounded(tone: SkinTone) -> tuple[float, float, float]:
    lightness, a, b = (round(float(value), 2) for value in tone.lab)
    return lightness, a, b
