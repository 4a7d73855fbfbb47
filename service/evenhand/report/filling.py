"""Fills the report of a portrait from what was found, computed and written."""

from __future__ import annotations

import hashlib
import platform
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from evenhand import __version__
from evenhand.box import Box
from evenhand.colour.encoding import CodeValues
from evenhand.computing import STEPS, RetouchSettings, Stopwatch, strengths_of
from evenhand.layers.changed import Change, changed
from evenhand.layers.layer import Layer
from evenhand.layers.measure import Measure
from evenhand.people.person import SKIN_REGIONS, Alpha, Person
from evenhand.photo.photograph import Photograph
from evenhand.report import (
    Area,
    BoxReport,
    Difference,
    FileReport,
    LayerReport,
    PersonReport,
    Report,
)
from evenhand.report.findings import findings_of
from evenhand.report.gamut import gamut_notes

Place = Any
"""What an array is indexed by: rows, or rows and columns."""

MEASURED = 100_000
"""Changed pixels above which only a sample is measured: the mean is then good to 0.02."""

FARTHEST = 20_000
"""Pixels of the largest change in code values that are measured besides the sample."""

LIBRARIES = ("numpy", "opencv-contrib-python", "opencv-contrib-python-headless", "mediapipe")
"""Packages whose versions can change a result."""

NOBODY = "nobody was found, so nothing is written. Point at bare skin with --skin-at X,Y."
"""What is said where there is nothing to retouch."""

NO_SKIN = (
    "{people} found, but no bare skin to retouch, so nothing is written. "
    "If there is some, point at it with --skin-at X,Y."
)
"""What is said where people were found, but not their skin."""

NOTHING_FOR_STEPS = (
    "there is nothing on anybody that {steps} could work on (eyes need to be seen), so nothing is "
    "written. Name other steps with --only."
)
"""What is said where people were found, but not what the steps asked for work on."""

NO_HEAD = (
    "no head is seen of person {index}, found by the skin alone: if it is nobody, or a stranger, "
    "take the layers off (strength 0), or point at the right skin with --skin-at X,Y."
)
"""What is noted of a person whose head the photograph does not show."""


NONE = Difference(mean=0.0, largest=0.0)
"""No difference."""


@dataclass(frozen=True)
class Changes:
    """What layers do, each and together; nothing where there are none.

    Attributes
    ----------
    layers : sequence of LayerReport
    total : Difference
        Of the result to the original.
    """

    layers: Sequence[LayerReport] = ()
    total: Difference = NONE


def report_of(
    photograph: Photograph,
    people: Sequence[PersonReport],
    changes: Changes,
    settings: RetouchSettings,
    clock: Stopwatch,
    advice: str = "",
) -> Report:
    """Everything about a portrait but the file of the result.

    Parameters
    ----------
    photograph : Photograph
        The original.
    people : sequence of PersonReport
        Who was found, from `people_report`.
    changes : Changes
        What the layers do.
    settings : RetouchSettings
        What was asked for.
    clock : Stopwatch
        Time of each stage so far.
    advice : str
        What to do where nothing could be retouched.

    Returns
    -------
    Report
        Its `result` is None until a file is written.
    """
    return Report(
        photograph=FileReport(
            name=photograph.path.name if photograph.path else "", sha256=photograph.file_sha256
        ),
        width=photograph.shape[1],
        height=photograph.shape[0],
        bits=photograph.pixels.dtype.itemsize * 8,
        result=None,
        people=list(people),
        layers=list(changes.layers),
        cap=settings.cap,
        total=changes.total,
        seconds=round(clock.total, 4),
        stages=clock.stages,
        versions=versions(),
        notes=[*photograph.notes, *gamut_notes(photograph), *headless_notes(people, settings)],
        advice=advice,
    )


def headless_notes(people: Sequence[PersonReport], settings: RetouchSettings) -> list[str]:
    """A note for each person whose head is not seen and whom nobody pointed at.

    Parameters
    ----------
    people : sequence of PersonReport
    settings : RetouchSettings
        Says whether the photographer pointed at skin.

    Returns
    -------
    list of str
        Sentences.
    """
    if settings.skin_at:
        return []
    return [NO_HEAD.format(index=person.index) for person in people if person.face is None]


def advice_of(
    people: Sequence[Person],
    settings: RetouchSettings,
    permission: Mapping[int, Collection[str]] | None,
) -> str:
    """What to do where nothing could be retouched.

    Parameters
    ----------
    people : sequence of Person
        Who was found.
    settings : RetouchSettings
        What was asked for.
    permission : mapping of int to collection of str, or None
        Steps that each person agreed to, by index; None where it is not asked.

    Returns
    -------
    str
        One or two sentences.
    """
    if not people:
        return NOBODY
    shown = [person for person in people if person.skin_box.area]
    asked = {step for person in shown for step in settings.of(person.index).steps}
    if shown and not asked:
        return "no step was asked for, so nothing is written. Name steps with --only."
    if shown and permission is not None and not any(permission.get(p.index) for p in shown):
        return "nobody agreed to anything, so nothing is written. Ask, and say what they agreed to."
    if shown:
        return NOTHING_FOR_STEPS.format(steps=" and ".join(s for s in STEPS if s in asked))
    found = "1 person was" if len(people) == 1 else f"{len(people)} people were"
    return NO_SKIN.format(people=found)


def layer_reports(
    photograph: Photograph,
    people: Sequence[PersonReport],
    layers: Sequence[Layer],
) -> list[LayerReport]:
    """What each layer may change and does change.

    Parameters
    ----------
    photograph : Photograph
        The original.
    people : sequence of PersonReport
        Everybody who has a layer.
    layers : sequence of Layer

    Returns
    -------
    list of LayerReport
        In the layers' order.
    """
    regions = {person.index: person.regions for person in people}
    return [layer_report(photograph, regions[layer.person], layer) for layer in layers]


def layer_report(photograph: Photograph, regions: dict[str, Area], layer: Layer) -> LayerReport:
    """What one layer may change and does change.

    Parameters
    ----------
    photograph : Photograph
        The original.
    regions : dict of str to Area
        The person's regions by name; only those of skin are told.
    layer : Layer

    Returns
    -------
    LayerReport
    """
    original = photograph.pixels[layer.box.slices]
    change, changed_pixels = difference_of(
        photograph, original, lambda place: layer.difference[place], layer.steps_per_code
    )
    return LayerReport(
        step=layer.step,
        person=layer.person,
        box=box_report(layer.box),
        strength=strengths_of([layer])[0],
        cap=layer.cap,
        at_full_strength=change,
        regions={name: area for name, area in regions.items() if name in SKIN_REGIONS},
        changed_pixels=changed_pixels,
        settings=dict(layer.settings),
        facts=dict(layer.facts),
        findings=findings_of(layer.step, layer.facts),
    )


def total_difference(
    photograph: Photograph, pixels: CodeValues, layers: Sequence[Layer]
) -> Difference:
    """Difference of the result to the original over all pixels that changed.

    Parameters
    ----------
    photograph : Photograph
        The original.
    pixels : ndarray of uint8 or uint16, shape (height, width, 3)
        The result.
    layers : sequence of Layer
        What was blended; only their boxes are looked at.

    Returns
    -------
    Difference
        CIEDE2000 (D65).
    """
    box = Box(0, 0, 0, 0)
    for layer in layers:
        box = box.union(layer.box)
    original, result = photograph.pixels[box.slices], pixels[box.slices]
    wide = np.int16 if photograph.white == 255 else np.int32

    def change(place: Place) -> Change:
        return np.subtract(result[place], original[place], dtype=wide)

    return difference_of(photograph, original, change, 1)[0]


def difference_of(
    photograph: Photograph,
    original: CodeValues,
    change: Callable[[Place], Change],
    steps_per_code: int,
) -> tuple[Difference, int]:
    """CIEDE2000 (D65) of a change in units of ``1 / steps_per_code``, and how many pixels change.

    `change` gives the change at some places of `original`.
    Up to `MEASURED` changed pixels are all measured; of more, an even sample, and those that move
    farthest in code values.

    Parameters
    ----------
    photograph : Photograph
        Whose encoding holds.
    original : ndarray of uint8 or uint16, shape (rows, columns, 3)
        Part of the photograph.
    change : callable
        Takes a slice of rows, or a pair of index arrays, and returns signed integers, shape (...,
        3).
    steps_per_code : int
        64 or 1.

    Returns
    -------
    difference : Difference
        Mean and largest; both 0 where nothing changes.
    count : int
        Pixels that change.
    """
    reached = changed(change, len(original), MEASURED, FARTHEST)
    if not reached.count:
        return Difference(mean=0.0, largest=0.0), 0
    even = _ciede2000(photograph, original, change, reached.even, steps_per_code)
    largest = float(even.max())
    if reached.farthest.size:
        far = _ciede2000(photograph, original, change, reached.farthest, steps_per_code)
        largest = max(largest, float(far.max()))
    return Difference(mean=round(float(even.mean()), 3), largest=round(largest, 3)), reached.count


def _ciede2000(
    photograph: Photograph,
    original: CodeValues,
    change: Callable[[Place], Change],
    where: npt.NDArray[np.intp],
    steps_per_code: int,
) -> npt.NDArray[np.float32]:
    """Difference that a real-valued change makes to the code values at some places."""
    place = np.unravel_index(where, original.shape[:2])
    fine = np.float32(65535 // photograph.white / steps_per_code)
    measure = Measure(photograph.encoding, original[place])
    return measure.exactly(change(place).astype(np.float32) * fine)


def people_report(people: Sequence[Person]) -> list[PersonReport]:
    """What is known of everybody.

    Parameters
    ----------
    people : sequence of Person

    Returns
    -------
    list of PersonReport
    """
    return [person_report(person) for person in people]


def person_report(person: Person) -> PersonReport:
    """What is known of a person, without the landmarks: face geometry is not kept.

    Parameters
    ----------
    person : Person

    Returns
    -------
    PersonReport
        Angles in degrees, areas in pixels and square millimetres.
    """
    face = person.face
    return PersonReport(
        index=person.index,
        face=None if face is None else box_report(face.box),
        confidence=None if face is None else round(float(face.confidence), 4),
        roll=None if face is None else round(float(face.roll), 1),
        yaw=None if face is None else round(float(face.yaw), 1),
        mm_per_pixel=round(person.scale.mm_per_pixel, 5),
        scale_source=person.scale.source.value,
        regions={
            region.value: area_of(mask.alpha, person.scale.mm_per_pixel)
            for region, mask in person.masks.items()
        },
    )


def area_of(alpha: Alpha, mm_per_pixel: float) -> Area:
    """Size of a mask.

    Parameters
    ----------
    alpha : ndarray of float32, shape (height, width)
        In [0, 1]; half a pixel counts as half.
    mm_per_pixel : float

    Returns
    -------
    Area
        Pixels and square millimetres.
    """
    pixels = cv2.sumElems(alpha)[0]
    return Area(pixels=round(pixels, 1), mm2=round(pixels * mm_per_pixel**2, 1))


def box_report(box: Box) -> BoxReport:
    """A box for the report.

    Parameters
    ----------
    box : Box

    Returns
    -------
    BoxReport
    """
    return BoxReport(top=box.top, left=box.left, bottom=box.bottom, right=box.right)


def file_report(path: Path) -> FileReport:
    """Name and hash of a file.

    Parameters
    ----------
    path : path

    Returns
    -------
    FileReport
        SHA-256 in hexadecimal.

    Raises
    ------
    OSError
        The file cannot be read.
    """
    with path.open("rb") as file:
        return FileReport(name=path.name, sha256=hashlib.file_digest(file, "sha256").hexdigest())


def versions() -> dict[str, str]:
    """Versions of Evenhand, Python and the libraries that can change a result."""
    found = {"evenhand": __version__, "python": platform.python_version()}
    for library in LIBRARIES:
        try:
            found[library] = version(library)
        except PackageNotFoundError:
            continue
    return found
