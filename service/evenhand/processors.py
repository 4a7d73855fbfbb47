"""How many threads a computation may use."""

from __future__ import annotations

import os


def available() -> int:
    """Processors that this process may run on; all of them where the system does not say."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def one_thread_for_small_matrices() -> None:
    """Keep OpenBLAS from waking threads; to be called before numpy is loaded.

    All matrices here are a few numbers wide, for which waking a thread costs more than the work.
    """
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")


PROCESSORS = max(1, min(8, available()))
# Threads for one computation, eight at most: beyond that memory is the limit.
