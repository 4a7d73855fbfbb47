"""Compiling inner loops with numba, kept on disk, without the lock of the interpreter.

Numbers divide as numpy divides them: no check for zero, which would keep loops from being done
several pixels at a time.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import ParamSpec, TypeVar, cast

from numba import njit

Arguments = ParamSpec("Arguments")
Result = TypeVar("Result")


def compiled(function: Callable[Arguments, Result]) -> Callable[Arguments, Result]:
    """The function compiled when it is first called, for each combination of argument types.

    Parameters
    ----------
    function : callable
        Loops over arrays and numbers, in the part of Python that numba knows.

    Returns
    -------
    callable
        What was compiled is kept for the next process beside the source, in the folder that
        ``NUMBA_CACHE_DIR`` names or in the user's cache; where none of them can be written to, each
        process compiles anew.
    """
    make = partial(njit, nogil=True, error_model="numpy")
    try:
        made = make(cache=True)(function)
    except RuntimeError:  # no folder to keep it in
        made = make()(function)
    return cast(Callable[Arguments, Result], made)
