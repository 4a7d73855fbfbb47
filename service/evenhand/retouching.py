"""The way of a photograph: read, find people, run the steps, cap, blend, write."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Mapping
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import imagecodecs
import numpy as np
from pydantic import BaseModel, ConfigDict, Field, field_validator

from evenhand import layers as layering
from evenhand import photo
from evenhand.comparison import comparison, write_comparison
from evenhand.delivery import delivery, refuse_existing
from evenhand.errors import NotWrittenError, WrongPhotographError, WrongSettingError
from evenhand.layers.layer import Layer
from evenhand.people.finding import PeopleSettings, find_people
from evenhand.people.person import KEPT_REGIONS, SKIN_REGIONS, Alpha, Mask, Person, Region, union
from evenhand.photo.photograph import CodeValues, Photograph
from evenhand.report import Report, Stage
from evenhand.reporting import report_of
from evenhand.steps.eyes import EyesSettings, eyes
from evenhand.steps.gain import Gain, added
from evenhand.steps.marks import MarksSettings, marks
from evenhand.steps.patch import Change, SkinPatch, patch_of
from evenhand.steps.redness import RednessSettings, redness
from evenhand.steps.smoothing import SmoothingSettings, smoothing

MASK_WHITE = 65535
"""Code value of full membership in a mask file, the largest of 16 bits."""


FIND_RESULT = "Name its own layers with --layers, and the strengths if it was blended anew."
"""What to do where a result and its layers do not belong together."""

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
        30.0, ge=0, le=40, description="Largest CIEDE2000 that all layers together may make."
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
    """Wall time by stage, for the report."""

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


@dataclass(frozen=True)
class Results:
    """Names of a portrait's results in the folder they go to."""

    portrait: str
    layers: str
    comparison: str
    report: str

    @classmethod
    def of(cls, stem: str, suffix: str) -> Results:
        """Names for the results of a photograph called `stem` plus `suffix`."""
        return cls(
            stem + suffix, f"{stem}.layers", f"{stem}.before-after.jpg", f"{stem}.report.json"
        )

    @property
    def in_order(self) -> list[str]:
        """The report comes last: where it is, everything is."""
        return [self.layers, self.comparison, self.portrait, self.report]


def retouch(
    path: Path | str,
    out: Path | str,
    settings: RetouchSettings | None = None,
    *,
    overwrite: bool = False,
    dry_run: bool = False,
    clock: Stopwatch | None = None,
) -> Report:
    """Retouch one photograph into a folder.

    Writes ``NAME.ext`` in the original's format, depth, profile and metadata, its layers in
    ``NAME.layers``, ``NAME.before-after.jpg`` and, last, ``NAME.report.json``. Where nobody is
    found nothing is written and the report's `advice` says what to do. The original is only read.

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
        A point on skin is outside the photograph.
    """
    path, out = Path(path), Path(out)
    settings, clock = settings or RetouchSettings(), clock or Stopwatch()
    if not dry_run and not overwrite:
        refuse_existing(out, Results.of(path.stem, path.suffix).in_order)
    with clock("read"):
        photograph = photo.read(path)
    results = Results.of(path.stem, photograph.result_suffix)
    if not dry_run:
        _refuse_original(path, out / results.portrait)
    with clock("people"):
        people = people_of(photograph, settings)
    layers = layers_of(photograph, people, settings, clock)
    if not layers:
        return report_of(photograph, people, layers, settings, clock)
    with clock("blend"):
        pixels = layering.blend(photograph, layers, strengths_of(settings))
    if dry_run:
        return report_of(photograph, people, layers, settings, clock, pixels)
    with delivery(out, results.in_order, overwrite=overwrite) as beside:
        with clock("write"):
            _write_together(photograph, pixels, layers, settings, beside, results)
        report = report_of(
            photograph, people, layers, settings, clock, pixels, beside / results.portrait
        )
        (beside / results.report).write_text(report.model_dump_json(indent=2) + "\n")
    return report


def people_of(photograph: Photograph, settings: RetouchSettings) -> list[Person]:
    """People in the photograph, or the one pointed at by `settings.skin_at`."""
    return find_people(photograph, settings.people, skin_at=settings.skin_at)


def layers_of(
    photograph: Photograph,
    people: list[Person],
    settings: RetouchSettings,
    clock: Stopwatch | None = None,
) -> list[Layer]:
    """Layers of every step for every person, each inside its cap and together inside the sum's."""
    clock = clock or Stopwatch()
    layers = [
        layer
        for person in people
        if person.skin_box.area
        for layer in _layers_of_person(photograph, person, settings, clock)
    ]
    with clock("sum"):
        return layering.limit_sum(photograph, layers, settings.cap)


def _layers_of_person(
    photograph: Photograph, person: Person, settings: RetouchSettings, clock: Stopwatch
) -> Iterator[Layer]:
    """One person's layers; each step sees what the steps before it want, so none acts twice."""
    with clock("cut"):
        patch = patch_of(photograph, person)
    so_far = patch
    for name in settings.steps:
        with clock(name):
            change = STEPS[name].run(so_far, getattr(settings, name))
        with clock(f"{name} layer"):
            alone = _on_original(patch, so_far, change)
            yield _layer(photograph, person, name, patch, alone, settings)
        so_far = _after(so_far, change)


def _on_original(patch: SkinPatch, so_far: SkinPatch, change: Change | Gain) -> Change | Gain:
    """What a step wants of the patch as the steps before left it, as a change of the original.

    It is carried over in optical density, in which steps add up.
    """
    if isinstance(change, Gain):
        return replace(change, patch=patch)
    if so_far.linear is patch.linear:
        return change
    gain = np.ones_like(change.wanted)
    lit = (so_far.linear > DARKEST) & (change.wanted != so_far.linear)
    np.divide(change.wanted, so_far.linear, out=gain, where=lit)
    return replace(change, wanted=patch.linear * gain)


def _after(patch: SkinPatch, change: Change | Gain) -> SkinPatch:
    """The patch as the next step shall see it."""
    if isinstance(change, Gain):
        return replace(patch, evened=added(patch.evened, change.log_gain))
    return replace(patch, linear=change.wanted)


def strengths_of(settings: RetouchSettings) -> dict[str, float]:
    """Strength of each step that runs, from its settings."""
    return {name: float(getattr(settings, name).strength) for name in settings.steps}


def blend(
    layers: Path | str,
    out: Path | str,
    strengths: Mapping[str, float] | None = None,
    *,
    person: int | None = None,
    photograph: Path | str | None = None,
    overwrite: bool = False,
) -> Path:
    """Make the photograph again from its layers at other strengths, computing no step anew.

    Parameters
    ----------
    layers : path
        Layer set that `retouch` wrote.
    out : path
        Folder for the photograph.
    strengths : mapping of step to float, optional
        0 to 1 for each step, under "" for every step not named; without that a step that is not
        named keeps the strength it was made with.
    person : int, optional
        The strengths given are for this person only.
    photograph : path, optional
        The original, where it is no longer where it was.
    overwrite : bool
        Replace what is already there.

    Returns
    -------
    path
        The file written. At strength zero its pixels are the original's, bit for bit.

    Raises
    ------
    WrongPhotographError, BrokenLayersError, WrongSettingError, NotWrittenError
    """
    layers, out = Path(layers), Path(out)
    layer_set = layering.load(layers)
    original = _original_of(layer_set, layers, photograph)
    read = photo.read(original)
    layer_set.check(read)
    pixels = layering.blend(read, layer_set.layers, _weighed(layer_set, strengths or {}, person))
    name = original.stem + read.result_suffix
    _refuse_original(original, out / name)
    with delivery(out, [name], overwrite=overwrite) as beside:
        photo.write(pixels, read, beside / name)
    return out / name


@dataclass(frozen=True)
class Reverted:
    """What came back from a result.

    Attributes
    ----------
    path : Path
        The file written.
    whole : bool
        Whether its pixels are the original's, bit for bit.
    pixels_sha256 : str
        SHA-256 of its upright pixels, hexadecimal; the layer set holds the original's.
    """

    path: Path
    whole: bool
    pixels_sha256: str


def revert(
    result: Path | str,
    out: Path | str,
    layers: Path | str | None = None,
    strengths: Mapping[str, float] | None = None,
    *,
    overwrite: bool = False,
) -> Reverted:
    """Take the layers off a result again, without the original.

    Parameters
    ----------
    result : path
        A retouched photograph.
    out : path
        Folder for what comes back.
    layers : path, optional
        Its layer set; ``NAME.layers`` beside it unless named.
    strengths : mapping of step to float, optional
        What it was blended with, as for `blend`.
    overwrite : bool
        Replace what is already there.

    Returns
    -------
    Reverted
        Of a lossless file the original's pixels; of a JPEG nearly them, where a layer lay.

    Raises
    ------
    WrongPhotographError
        The file is lossless and is not the result of these layers at these strengths.
    BrokenLayersError, WrongSettingError, NotWrittenError
    """
    result, out = Path(result), Path(out)
    layer_set = layering.load(Path(layers or result.with_name(f"{result.stem}.layers")))
    read = photo.read(result)
    made_with = _weighed(layer_set, strengths or {}, None)
    if read.shape != (layer_set.original.height, layer_set.original.width):
        raise WrongPhotographError(f"{result} has another size than its layers.", FIND_RESULT)
    pixels = layering.unblend(read.pixels, layer_set.layers, made_with)
    found = layering.pixels_sha256(replace(read, pixels=pixels))
    whole = found == layer_set.original.pixels_sha256
    if not whole and read.source is not None and read.source.kind is not photo.FileKind.JPEG:
        raise WrongPhotographError(f"{result} is not what these layers made.", FIND_RESULT)
    name = result.stem + read.result_suffix
    _refuse_original(result, out / name)
    with delivery(out, [name], overwrite=overwrite) as beside:
        photo.write(pixels, read, beside / name)
    return Reverted(out / name, whole, found)


def masks(
    path: Path | str,
    out: Path | str,
    settings: RetouchSettings | None = None,
    *,
    overwrite: bool = False,
) -> list[Path]:
    """Write the masks of a photograph, one 16-bit greyscale PNG for each person and region.

    Each has the size of the upright photograph, 65535 for full membership: ``skin.png`` and
    ``kept.png`` for everybody together, ``person-0.face-skin.png`` and so on for one.

    Parameters
    ----------
    path : path
        The photograph.
    out : path
        Folder for the masks.
    settings : RetouchSettings, optional
        Only `skin_at` is heeded.
    overwrite : bool
        Replace what is already there.

    Returns
    -------
    list of path
        The files written; empty where nobody was found.
    """
    path, out = Path(path), Path(out)
    photograph = photo.read(path)
    people = people_of(photograph, settings or RetouchSettings())
    if not people:
        return []
    files: dict[str, list[Mask]] = {
        "skin.png": [p.masks[r] for p in people for r in SKIN_REGIONS if r in p.masks],
        "kept.png": [p.masks[r] for p in people for r in KEPT_REGIONS if r in p.masks],
    }
    for person in people:
        for region, mask in person.masks.items():
            files[f"person-{person.index}.{region.value}.png"] = [mask]
    with delivery(out, list(files), overwrite=overwrite) as beside:
        for name, parts in files.items():
            _write_mask(union(parts, photograph.frame), beside / name)
    return [out / name for name in files]


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


def _original_of(layer_set: layering.LayerSet, folder: Path, photograph: Path | str | None) -> Path:
    """The file that a layer set was made from."""
    if photograph is not None:
        return Path(photograph)
    original = folder / layer_set.original.place
    if not original.is_file():
        raise WrongPhotographError(
            f"{layer_set.original.name}, which these layers were made from, is not at {original}.",
            "Say where it is with --photograph.",
        )
    return original


def _weighed(
    layer_set: layering.LayerSet, strengths: Mapping[str, float], person: int | None
) -> list[float]:
    """Strength of every layer: as given for its step or for all, else as it was made with."""
    known = {layer.step for layer in layer_set.layers} | {""}
    people = {layer.person for layer in layer_set.layers}
    unknown = sorted(set(strengths) - known)
    if unknown:
        raise WrongSettingError(
            f"There is no layer {unknown[0]!r}.", f"There are {', '.join(sorted(known - {''}))}."
        )
    if person is not None and person not in people:
        raise WrongSettingError(
            f"There is no layer of person {person}.",
            f"There are those of {', '.join(map(str, sorted(people)))}.",
        )
    return [
        made
        if person not in (None, layer.person)
        else strengths.get(layer.step, strengths.get("", made))
        for layer, made in zip(layer_set.layers, layer_set.strengths, strict=True)
    ]


def _refuse_original(original: Path, target: Path) -> None:
    if target.exists() and target.samefile(original):
        raise NotWrittenError(
            f"{target} is the original, which is never written to.",
            "Choose another folder with --out.",
        )


def _write_together(
    photograph: Photograph,
    pixels: CodeValues,
    layers: list[Layer],
    settings: RetouchSettings,
    beside: Path,
    results: Results,
) -> None:
    """Write photograph, layers and before/after picture, at the same time on both cores."""
    largest = max(layers, key=lambda layer: layer.box.area).box

    def picture() -> None:
        write_comparison(comparison(photograph, pixels, largest), beside / results.comparison)

    with ThreadPoolExecutor() as threads:
        writing: list[Future[Any]] = [
            threads.submit(photo.write, pixels, photograph, beside / results.portrait),
            threads.submit(
                layering.save,
                beside / results.layers,
                photograph,
                layers,
                strengths_of(settings),
                home=beside.parent / results.layers,
            ),
            threads.submit(picture),
        ]
    for written in writing:
        written.result()


def _write_mask(alpha: Alpha, path: Path) -> None:
    code_values = np.rint(alpha * MASK_WHITE).astype(np.uint16)
    path.write_bytes(imagecodecs.png_encode(code_values, level=1))
