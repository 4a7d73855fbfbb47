"""Freed memory stays with the process up to a limit and goes back when told, as psutil sees it."""

from __future__ import annotations

import json
import platform
import subprocess
import sys

import pytest

pytestmark = pytest.mark.skipif(
    platform.libc_ver()[0] != "glibc", reason="mallopt and malloc_trim are glibc's"
)

SCRIPT = """
import json, sys, numpy as np, psutil
from evenhand import memory

def held():
    return psutil.Process().memory_info().rss - before

if sys.argv[2] == "many":
    memory.KEPT = 64 << 20  # a smaller limit, for a smaller test
if sys.argv[1] == "kept":
    memory.keep_freed_memory()
sizes = {
    "small": [100 << 20], "large": [memory.LARGEST + (1 << 20)], "many": [memory.KEPT // 4] * 10
}
before = psutil.Process().memory_info().rss
arrays = [np.ones(size, np.uint8) for size in sizes[sys.argv[2]]]
full = held()
del arrays
freed = held()
memory.give_freed_memory_back()
print(json.dumps([sum(sizes[sys.argv[2]]), full, freed, held(), memory.KEPT]))
"""

SLACK = 8 << 20
"""Bytes that the interpreter itself may take or give."""


def held(way: str, size: str) -> list[int]:
    """Bytes asked for, held, held after they are freed and after they are given back; limit."""
    command = [sys.executable, "-c", SCRIPT, way, size]
    return json.loads(subprocess.run(command, check=True, capture_output=True, text=True).stdout)


def test_freed_memory_is_kept_until_it_is_given_back() -> None:
    asked, full, freed, given, _ = held("kept", "small")
    assert full > asked - SLACK
    assert freed > asked - SLACK
    assert given < SLACK


def test_without_asking_the_system_has_it_back_at_once() -> None:
    asked, full, freed, _, _ = held("as it is", "small")
    assert full > asked - SLACK
    assert freed < SLACK


def test_a_very_large_array_goes_back_when_it_is_freed() -> None:
    asked, full, freed, _, _ = held("kept", "large")
    assert full > asked - SLACK
    assert freed < SLACK


def test_no_more_than_the_limit_is_kept() -> None:
    asked, full, freed, _, limit = held("kept", "many")
    assert full > asked - SLACK > limit
    assert freed < limit + SLACK
