"""How many threads a computation may use."""

from __future__ import annotations

import os

PROCESSORS = max(1, min(8, len(os.sched_getaffinity(0))))
# Processors this process may run on, eight at most: beyond that memory is the limit.
