"""The service's previews: the first one, and one after a strength has changed."""

from __future__ import annotations

import hashlib
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from types import SimpleNamespace
from typing import Any

from evenhand import photo
from evenhand.computing import compute_layers
from evenhand.jobs.packing import pack_layer
from evenhand.people.finding import find_people
from evenhand.web.previews import Previews, Source, View
from tests.benchmarks.frames import Case, make_frame
from tests.benchmarks.measuring import measured

LONGER_SIDE = 2048
"""Pixels of the preview."""


def preview_figures(runs: int) -> dict[str, Any]:
    """Seconds of previews of a 24-megapixel JPEG with two layers, 2,048 pixels wide."""
    with tempfile.TemporaryDirectory() as room:
        path = make_frame(Case(24, "jpeg"), Path(room))
        photograph = photo.read(path)
        layers = compute_layers(photograph, find_people(photograph))
        stored = {hashlib.sha256(data).hexdigest(): data for data in map(pack_layer, layers)}
        previews = Previews(_place(path, stored), memory=2 << 30)
        height, width = photograph.shape
        view = View(photograph.frame, (round(height * LONGER_SIDE / width), LONGER_SIDE))
        source = Source("shoot", photograph.file_sha256, path.name)
        strength = iter(range(1, 1000))

        def show() -> None:
            amount = next(strength) % 100 / 100
            previews.picture(source, view, [(sha256, amount) for sha256 in stored])

        start, start_cpu = time.perf_counter(), time.process_time()
        show()
        first, first_cpu = time.perf_counter() - start, time.process_time() - start_cpu
        return {
            "first preview": round(first, 4),
            "first preview, CPU": round(first_cpu, 4),
            "after a change of strength": measured(show, runs).as_dict(),
        }


def _place(path: Path, stored: dict[str, bytes]) -> Any:
    """As much of a service's place as previews use: the original and its layers."""

    @contextmanager
    def as_path(shoot_id: str, sha256: str, name: str) -> Iterator[Path]:
        yield path

    files = SimpleNamespace(as_path=as_path, read=lambda shoot_id, sha256: stored[sha256])
    return SimpleNamespace(files=files, retoucher=SimpleNamespace(read=photo.read))
