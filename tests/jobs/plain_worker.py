"""A worker process with the plain retoucher, for tests that kill it.

Usage: python -m tests.jobs.plain_worker RECORDS FILES SLOW_S SILENT_S [GATE]

With a gate it goes on with no photograph while that file is there.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

from evenhand.jobs import queue
from evenhand.jobs.place import Place
from evenhand.jobs.working import run_worker
from evenhand.photo.photograph import Photograph
from tests.jobs.plain_retoucher import Plain
from tests.jobs.shifted_clock import set_clock


class Slow(Plain):
    """A retoucher that takes its time, and waits at a gate."""

    def __init__(self, seconds: float, gate: Path | None) -> None:
        self.seconds, self.gate = seconds, gate

    def read(self, path: Path) -> Photograph:
        time.sleep(self.seconds)
        while self.gate is not None and self.gate.exists():
            time.sleep(0.05)
        return super().read(path)


def main() -> None:
    """Work until told to stop."""
    records, files, slow_s, silent_s, *gate = sys.argv[1:]
    queue.ALIVE_EVERY_S, queue.DEAD_AFTER_S = float(silent_s) / 4, float(silent_s)
    queue.LOOK_EVERY_S = 0.1
    set_clock()
    slow = Slow(float(slow_s), Path(gate[0]) if gate else None)
    run_worker(queue.JobWorker(Place.at(records, files, slow)))


if __name__ == "__main__":
    main()
