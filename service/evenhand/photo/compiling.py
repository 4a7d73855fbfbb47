"""Compiling inner loops with numba, kept on disk, without the lock of the interpreter."""

from __future__ import annotations

from collections.abc import Callable
from typing import ParamSpec, TypeVar, cast

from numba import njit

Arguments = ParamSpec("Arguments")
Result = TypeVar("Result")


def compiled(function: Callable[Arguments, Result]) -> Callable[Arguments, Result]:
    """The function compiled when it is first called, for each combination of argument types."""
    return cast(Callable[Arguments, Result], njit(cache=True, nogil=True)(function))


def inlined(function: Callable[Arguments, Result]) -> Callable[Arguments, Result]:
    """The function compiled into those that call it."""
    return cast(
        Callable[Arguments, Result], njit(cache=True, nogil=True, inline="always")(function)
    )
