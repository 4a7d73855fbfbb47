"""Compiling inner loops with numba, kept on disk, without the lock of the interpreter.

Numbers divide as numpy divides them: no check for zero, which would keep loops from being done
several pixels at a time.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any, ParamSpec, TypeVar, cast

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
    return _compiled(function, called_from_python=True)


def part_of_compiled(function: Callable[Arguments, Result]) -> Callable[Arguments, Result]:
    """The same for a function that compiled ones alone call, which takes less time to compile.

    Parameters
    ----------
    function : callable

    Returns
    -------
    callable
        Not to be called from Python.
    """
    return _compiled(function, called_from_python=False)


def is_kept(function: Any) -> bool:
    """Whether something compiled of the function is on disk, or could not be kept there.

    Parameters
    ----------
    function : callable
        From `compiled`.

    Returns
    -------
    bool
    """
    folder, source = function.stats.cache_path, Path(function.py_func.__code__.co_filename)
    if folder is None:
        return True
    kept = Path(folder).glob(f"{source.stem}.{function.__name__}-*.nbi")
    return any(index.stat().st_mtime > source.stat().st_mtime for index in kept)


def _compiled(
    function: Callable[Arguments, Result], *, called_from_python: bool
) -> Callable[Arguments, Result]:
    make = partial(
        njit,
        nogil=True,
        error_model="numpy",
        no_cpython_wrapper=not called_from_python,
        no_cfunc_wrapper=True,
    )
    try:
        made = make(cache=True)(function)
    except RuntimeError:  # no folder to keep it in
        made = make()(function)
    return cast(Callable[Arguments, Result], made)
