"""How long a fresh command takes until it helps, and until it opens the first photograph."""

from __future__ import annotations

import os
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

from tests.benchmarks.folder import COMMAND
from tests.benchmarks.frames import Case, make_frame

UNTIL_OPENED = """
import os, sys
from pathlib import Path
photograph = sys.argv.pop(1)
def look(event, arguments):
    if event == "open" and str(arguments[0]) == photograph:
        os._exit(0)
sys.addaudithook(look)
"""
"""Ends the process when the photograph itself is opened to be read."""


def start_figures(runs: int) -> dict[str, Any]:
    """Seconds of ``--help`` and up to the first photograph, after a warm-up."""
    with tempfile.TemporaryDirectory() as room:
        path = str(make_frame(Case(1, "jpeg"), Path(room)))
        work = [path, "retouch", path, "--out", str(Path(room) / "out")]
        return {
            "--help": _measured([COMMAND, "--help"], runs),
            "to the first photograph": _measured([UNTIL_OPENED + COMMAND, *work], runs),
        }


def _measured(arguments: list[str], runs: int) -> dict[str, Any]:
    wall, cpu = [], []
    for _ in range(runs + 1):
        start, before = time.perf_counter(), _cpu_of_children()
        subprocess.run([sys.executable, "-c", *arguments], check=True, stdout=subprocess.DEVNULL)
        wall.append(round(time.perf_counter() - start, 4))
        cpu.append(round(_cpu_of_children() - before, 4))
    return {
        "wall": wall[1:],
        "cpu": cpu[1:],
        "median": statistics.median(wall[1:]),
        "cpu_median": statistics.median(cpu[1:]),
        "load": round(os.getloadavg()[0], 1),
    }


def _cpu_of_children() -> float:
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime
