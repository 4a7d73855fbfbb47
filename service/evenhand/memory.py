"""Keeps freed memory for the next array: fresh pages cost as much as what is worked out in them."""

from __future__ import annotations

import ctypes

TRIM_THRESHOLD, MMAP_THRESHOLD = -1, -3
"""Numbers of the two parameters in glibc's malloc.h (mallopt(3))."""

KEPT = 512 << 20
"""Bytes of free memory above which it goes back to the system."""

LARGEST = 1 << 28
"""Bytes of an array above which it is mapped by itself and goes back when it is freed."""


def give_freed_memory_back() -> None:
    """Give all freed memory back to the system now; nothing on systems without glibc."""
    trim = getattr(ctypes.CDLL(None), "malloc_trim", None)
    if trim is not None:
        trim(0)


def keep_freed_memory() -> None:
    """Let the process keep up to `KEPT` bytes that it has freed; nothing on systems without glibc.

    Each array of a photograph is otherwise mapped afresh and cleared page by page by the system,
    a seventh of the CPU time of a whole run on 24 megapixels.
    """
    mallopt = getattr(ctypes.CDLL(None), "mallopt", None)
    if mallopt is not None:
        mallopt(TRIM_THRESHOLD, KEPT)
        mallopt(MMAP_THRESHOLD, LARGEST)
