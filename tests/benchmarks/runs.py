"""Measures one case: the floor, the whole run with its stages, and the textbook versions."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np

from evenhand import photo
from evenhand.computing import Stopwatch, compute_layers, strengths_of
from evenhand.memory import keep_freed_memory
from evenhand.people.finding import find_people
from evenhand.people.person import Person
from evenhand.photo.photograph import Photograph
from evenhand.report import Stage
from evenhand.retouching.portrait import retouch
from tests.benchmarks import textbook
from tests.benchmarks.floor import decode_and_encode
from tests.benchmarks.frames import Case, make_frame
from tests.benchmarks.measuring import Figure, measured, peak_mib, reset_peak

FLOOR, WHOLE = "decode and encode", "whole run"
"""Names of the figures that every case has."""

STEPS, OPENCV, SCIKIT_IMAGE = "steps", "steps, plain OpenCV", "steps, scikit-image"
"""Names of the steps by themselves, and of their textbook versions."""

TEXTBOOK_RUNS = 1
"""Runs of scikit-image's version after its warm-up: it takes half a minute."""


class PeakStopwatch(Stopwatch):
    """Notes the peak memory of each stage above what was resident when it began."""

    def __init__(self) -> None:
        super().__init__()
        self.peaks: dict[str, float] = {}

    @contextmanager
    def __call__(self, name: str) -> Iterator[None]:
        """Time the block and note its peak."""
        before = reset_peak()
        with super().__call__(name):
            yield
        self.peaks[name] = max(self.peaks.get(name, 0.0), peak_mib() - before)


def measure_case(case: Case, runs: int, *, with_textbook: bool) -> dict[str, Any]:
    """Every figure of a case in a process like a worker of a batch or the service.

    Returns
    -------
    dict
        ``stages``: times and peak memory of each; ``decoded_mib``: size of the decoded file;
        ``changed``: pixels that the layers change.
    """
    keep_freed_memory()
    with tempfile.TemporaryDirectory() as folder:
        path = make_frame(case, Path(folder))
        figures = {
            FLOOR: measured(
                lambda: decode_and_encode(path, Path(folder) / f"floor{path.suffix}"), runs
            ).as_dict()
        }
        report = retouch(path, Path(folder) / "out", dry_run=True)
        figures |= _whole_run(path, Path(folder) / "out", runs)
        if with_textbook:
            figures |= _steps_alone(path, runs)
        return {
            "stages": figures,
            "decoded_mib": report.width * report.height * 3 * report.bits / 8 / 2**20,
            "changed": sum(
                max(layer.changed_pixels for layer in report.layers if layer.person == index)
                for index in {layer.person for layer in report.layers}
            ),
        }


def _whole_run(path: Path, out: Path, runs: int) -> dict[str, Any]:
    clocks: list[Stopwatch] = []

    def whole() -> None:
        clocks.append(Stopwatch())
        retouch(path, out, overwrite=True, clock=clocks[-1])

    figures = {WHOLE: measured(whole, runs).as_dict()}
    peaks = PeakStopwatch()
    retouch(path, out, overwrite=True, clock=peaks)
    for name, peak in peaks.peaks.items():
        stages = [_total(clock, name) for clock in clocks[1:]]
        figure = Figure([s.seconds for s in stages], [s.cpu_seconds for s in stages], peak)
        figures[name] = figure.as_dict()
    return figures


def _total(clock: Stopwatch, name: str) -> Stage:
    """A stage's time over all people."""
    same = [stage for stage in clock.stages if stage.name == name]
    return Stage(
        name=name,
        seconds=sum(stage.seconds for stage in same),
        cpu_seconds=sum(stage.cpu_seconds for stage in same),
    )


def _steps_alone(path: Path, runs: int) -> dict[str, Any]:
    """Steps, caps and blend without files and search: Evenhand's and the textbook's."""
    from evenhand.layers import blend

    photograph = photo.read(path)
    people = find_people(photograph)
    skin = _skin(people, photograph)

    def evenhand_steps() -> None:
        layers = compute_layers(photograph, people)
        blend(photograph, layers, strengths_of(layers))

    frame = np.asarray(photograph.pixels, np.uint8)
    return {
        STEPS: measured(evenhand_steps, runs).as_dict(),
        OPENCV: measured(lambda: textbook.with_opencv(frame, skin), runs).as_dict(),
        SCIKIT_IMAGE: measured(
            lambda: textbook.with_scikit_image(frame, skin), TEXTBOOK_RUNS
        ).as_dict(),
    }


def _skin(people: list[Person], photograph: Photograph) -> Any:
    total = np.zeros(photograph.shape, np.float32)
    for person in people:
        np.maximum(total, person.skin(photograph.frame), out=total)
    return total
