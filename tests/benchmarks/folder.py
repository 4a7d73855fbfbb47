"""A folder of portraits through the command line: on one core, and on all of them."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

from tests.benchmarks.frames import CROPS, Case, make_frame

COMMAND = "from evenhand.cli import main; main()"
"""What the installed ``evenhand`` runs."""


def folder_figures(portraits: int, megapixels: int, rounds: int) -> dict[str, Any]:
    """Seconds that a folder takes on one core and on all, starting up included, in turns."""
    cores = sorted(os.sched_getaffinity(0))
    chosen = {"one core": cores[:1], f"{len(cores)} cores": cores}
    seconds: dict[str, list[float]] = {name: [] for name in chosen}
    with tempfile.TemporaryDirectory() as room:
        folder = _made_folder(Path(room) / "in", portraits, megapixels)
        for _ in range(rounds):
            for name, these in chosen.items():
                seconds[name].append(_seconds(folder, Path(room) / "out", these))
    alone, together = (min(times) for times in seconds.values())
    return {
        "portraits": portraits,
        "megapixels": megapixels,
        "seconds": {name: [round(s, 2) for s in times] for name, times in seconds.items()},
        "times as many on all cores": round(alone / together, 3),
    }


def _made_folder(folder: Path, portraits: int, megapixels: int) -> Path:
    """JPEG files of one person each; shares of skin take turns."""
    folder.mkdir()
    made = [make_frame(Case(megapixels, "jpeg", skin=skin), folder) for skin in CROPS]
    for number in range(portraits):
        shutil.copy(made[number % len(made)], folder / f"portrait-{number:03d}.jpg")
    for path in made:
        path.unlink()
    return folder


def _seconds(folder: Path, out: Path, cores: list[int]) -> float:
    shutil.rmtree(out, ignore_errors=True)
    start = time.perf_counter()
    subprocess.run(
        [sys.executable, "-c", COMMAND, "retouch", str(folder), "--out", str(out)],
        check=True,
        capture_output=True,
        preexec_fn=lambda: os.sched_setaffinity(0, cores),
    )
    taken = time.perf_counter() - start
    shutil.rmtree(out)
    return taken
