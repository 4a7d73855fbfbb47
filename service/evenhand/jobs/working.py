"""A worker process: does jobs until it is told to stop, then finishes those it began."""

from __future__ import annotations

import os
import signal
import threading

import structlog

from evenhand.jobs.queue import JobWorker
from evenhand.memory import keep_freed_memory

GRACE_S = 60
"""How long a stopping worker may go on with what it does, seconds."""

BEHIND = 10
"""By how much workers beside the web server give way to it, in steps of niceness."""

PARENT = "EVENHAND_STARTED_BY_SERVE"
"""In the environment of workers that end with the process that started them: its number."""

log = structlog.get_logger()


def run_worker(worker: JobWorker) -> None:
    """Run a worker until a signal, or until the process that started it is gone.

    Parameters
    ----------
    worker : JobWorker
        Not started yet.
    """
    stop = threading.Event()
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda *_: stop.set())
    parent = int(os.environ.get(PARENT, "0"))
    if parent:
        os.nice(BEHIND)
    keep_freed_memory()
    worker.start()
    while not stop.wait(1.0):
        if parent and os.getppid() != parent:
            log.warning("the process that started this worker is gone")
            break
    if not worker.stop(GRACE_S):
        os._exit(0)  # threads that wait for a disk or the records would keep the process
