"""Compiling inner loops with numba, kept on disk, without the lock of the interpreter.

Numbers divide as numpy divides them: no check for zero, which would keep loops from being done
several pixels at a time.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import ParamSpec, TypeVar, cast

from numba import njit

Arguments = ParamSpec("Arguments")
Result = TypeVar("Result")


def compiled(function: Callable[Arguments, Result]) -> Callable[Arguments, Result]:
    """The function compiled when it is first called, for each combination of argument types."""
    return cast(
        Callable[Arguments, Result], njit(cache=True, nogil=True, error_model="numpy")(function)
    )
