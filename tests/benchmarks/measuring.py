"""Wall time, CPU time and peak memory of a piece of work, repeated."""

from __future__ import annotations

import ctypes
import gc
import statistics
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

RESET_PEAK = "5"
"""Written to /proc/self/clear_refs it sets the peak back to the present size (proc(5), Linux)."""


@dataclass(frozen=True)
class Figure:
    """Median and spread over the runs after a warm-up.

    Attributes
    ----------
    wall, cpu : list of float
        Seconds of each run.
    peak_mib : float
        Largest resident memory of the first run above what was resident before it, MiB; memory
        that the process had freed and kept was given back first, so that it counts.
    """

    wall: list[float]
    cpu: list[float]
    peak_mib: float

    @property
    def median(self) -> float:
        """Median wall time, seconds."""
        return statistics.median(self.wall)

    def as_dict(self) -> dict[str, Any]:
        """Plain values for JSON."""
        return {
            "wall": [round(s, 5) for s in self.wall],
            "cpu": [round(s, 5) for s in self.cpu],
            "median": round(self.median, 5),
            "smallest": round(min(self.wall), 5),
            "largest": round(max(self.wall), 5),
            "cpu_median": round(statistics.median(self.cpu), 5),
            "peak_mib": round(self.peak_mib, 1),
        }


def measured(work: Callable[[], object], runs: int) -> Figure:
    """Do the work once to warm up and `runs` times to measure."""
    work()
    wall, cpu, peak = [], [], 0.0
    for number in range(runs):
        gc.collect()
        before = reset_peak() if number == 0 else 0.0
        start, start_cpu = time.perf_counter(), time.process_time()
        work()
        wall.append(time.perf_counter() - start)
        cpu.append(time.process_time() - start_cpu)
        peak = peak_mib() - before if number == 0 else peak
    return Figure(wall, cpu, peak)


def reset_peak() -> float:
    """Give freed memory back, set the peak to what stays resident, and return that in MiB."""
    ctypes.CDLL(None).malloc_trim(0)
    Path("/proc/self/clear_refs").write_text(RESET_PEAK)
    return peak_mib()


def peak_mib() -> float:
    """Largest resident memory since the last reset, MiB."""
    for line in Path("/proc/self/status").read_text().splitlines():
        if line.startswith("VmHWM:"):
            return int(line.split()[1]) / 1024
    raise RuntimeError("this system does not tell the peak of resident memory")
