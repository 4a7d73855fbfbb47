"""Threads for a computation: as many as the system lets the process use, eight at most."""

from __future__ import annotations

import os
import subprocess
import sys

import psutil

from evenhand.processors import available

KEPT_TO_ONE = "import os; os.sched_setaffinity(0, {min(os.sched_getaffinity(0))})"
SIXTY_FOUR = "import os; os.sched_getaffinity = lambda process: set(range(64))"


def threads_after(done_before: str) -> int:
    """Threads that a fresh process takes for a computation."""
    code = f"{done_before}\nfrom evenhand.processors import PROCESSORS\nprint(PROCESSORS)"
    folders = {"PYTHONPATH": os.pathsep.join(map(os.path.abspath, sys.path))}
    command = [sys.executable, "-c", code]
    told = subprocess.run(command, env=os.environ | folders, capture_output=True, check=True)
    return int(told.stdout)


def test_processors_are_counted_as_psutil_counts_them() -> None:
    assert available() == len(psutil.Process().cpu_affinity())


def test_a_process_that_is_kept_to_one_processor_takes_one_thread() -> None:
    assert threads_after(KEPT_TO_ONE) == 1


def test_of_many_processors_eight_are_taken() -> None:
    assert threads_after(SIXTY_FOUR) == 8
