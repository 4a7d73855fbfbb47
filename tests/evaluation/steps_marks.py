"""How many marks are found, told apart and filled, against those drawn."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from evenhand.steps.marks import MarksSettings, marks
from tests.evaluation.steps_measures import blurred, difference, texture_kept
from tests.evaluation.steps_textbook import telea
from tests.optics.changes import TrueMark
from tests.optics.scene import Scene

LEAST_MM = 1.0
"""Marks from this diameter on count."""

PIXELS_ACROSS = 3.0
"""Pixels across from which a file resolves a mark."""

TONE_MM = 1.0
"""Width over which a fill's tone is averaged: grain, which cannot match pixel by pixel, drops."""

FILL_GROWTH = 1.5
"""Diameters of the disc in which a fill is compared: the mark and its fading edge."""


@dataclass
class MarkTally:
    """Counts over scenes."""

    passing: int = 0
    found: int = 0
    false: int = 0
    lasting: int = 0
    lasting_touched: int = 0
    scenes: int = 0
    fills: list[float] = field(default_factory=list)
    rims: list[float] = field(default_factory=list)
    untouched: list[float] = field(default_factory=list)
    textbook_fills: list[float] = field(default_factory=list)
    textbook_rims: list[float] = field(default_factory=list)
    tones: list[float] = field(default_factory=list)
    textbook_tones: list[float] = field(default_factory=list)
    grain: list[float] = field(default_factory=list)
    textbook_grain: list[float] = field(default_factory=list)

    @property
    def recall(self) -> float:
        """Share of passing marks that were proposed."""
        return self.found / max(1, self.passing)

    @property
    def false_a_face(self) -> float:
        """False proposals for each scene of a face's size."""
        return self.false / max(1, self.scenes)


def matches(mark: TrueMark, entry: Mapping[str, float], mm_per_pixel: float) -> bool:
    """Whether a listed mark lies on a drawn one."""
    down, across = entry["row"] - mark.row, entry["column"] - mark.column
    far = np.hypot(down, across) * mm_per_pixel
    return bool(far < max(1.0, mark.diameter_mm / 2))


def tally(scene: Scene, counts: MarkTally) -> npt.NDArray[np.float32]:
    """Run the marks step on a scene, add to the counts, return the result."""
    settings = MarksSettings()
    patch = scene.patch
    change = marks(patch, settings)
    mm = scene.mm_per_pixel
    proposed = [
        {"row": entry["row"] - patch.box.top, "column": entry["column"] - patch.box.left}
        for entry in change.facts["marks"]
        if entry["decision"] == "filled"
    ]
    counts.scenes += 1
    resolved = [
        mark for mark in scene.marks if mark.diameter_mm >= max(LEAST_MM, PIXELS_ACROSS * mm)
    ]
    hit = []
    for mark in resolved:
        on_it = any(matches(mark, entry, mm) for entry in proposed)
        if mark.kind.passing:
            counts.passing += 1
            counts.found += on_it
            if on_it:
                hit.append(mark)
        else:
            counts.lasting += 1
            touched = difference(change.wanted, scene.changed)[_disc(scene, mark, 0, 0.5)]
            counts.lasting_touched += bool(touched.mean() > 0.5)
    counts.false += sum(
        not any(matches(mark, entry, mm) for mark in scene.marks) for entry in proposed
    )
    _fills(scene, change.wanted, hit, counts)
    return change.wanted


def _fills(
    scene: Scene, wanted: npt.NDArray[np.float32], hit: Sequence[TrueMark], counts: MarkTally
) -> None:
    mm = scene.mm_per_pixel
    ours, before = difference(wanted, scene.clean), difference(scene.changed, scene.clean)
    discs = [(m.row, m.column, FILL_GROWTH * m.diameter_mm / 2 / mm) for m in hit]
    painted = telea(scene.patch, discs)
    clean_tone = blurred(scene.clean, TONE_MM, mm)
    our_tone = difference(blurred(wanted, TONE_MM, mm), clean_tone)
    textbook_tone = difference(blurred(painted.astype(np.float32), TONE_MM, mm), clean_tone)
    textbook = difference(painted, scene.clean)
    for mark in hit:
        inside = _disc(scene, mark, 0, FILL_GROWTH / 2)
        rim = _disc(scene, mark, FILL_GROWTH / 2 * 0.9, FILL_GROWTH / 2 * 1.25)
        counts.fills.append(float(ours[inside].mean()))
        counts.untouched.append(float(before[inside].mean()))
        counts.textbook_fills.append(float(textbook[inside].mean()))
        counts.rims.append(float(ours[rim].mean()))
        counts.textbook_rims.append(float(textbook[rim].mean()))
        counts.tones.append(float(our_tone[inside].mean()))
        counts.textbook_tones.append(float(textbook_tone[inside].mean()))
        counts.grain.append(texture_kept(scene.clean, wanted, inside, mm))
        counts.textbook_grain.append(texture_kept(scene.clean, painted, inside, mm))


def _disc(scene: Scene, mark: TrueMark, inner: float, outer: float) -> npt.NDArray[np.bool_]:
    """Ring around a mark between two distances, in its diameters, on skin."""
    rows, columns = np.ogrid[: scene.alpha.shape[0], : scene.alpha.shape[1]]
    far = np.hypot(rows - mark.row, columns - mark.column) * scene.mm_per_pixel / mark.diameter_mm
    return np.asarray((far >= inner) & (far <= outer) & (scene.alpha > 0.9))
