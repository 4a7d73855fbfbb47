"""Writing files so that a result is either whole or not there at all."""

from __future__ import annotations

import errno
import os
import secrets
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import BinaryIO

from evenhand.errors import NotWrittenError

UNFINISHED_SUFFIX = ".unfinished"
"""Ending of a file that is still being written, or was left by a killed run."""


@contextmanager
def saved(
    path: Path, *, overwrite: bool = False, original: Path | None = None
) -> Iterator[BinaryIO]:
    """Open a file beside `path`; on success it is flushed to disk and takes the name `path`.

    Parameters
    ----------
    path : Path
        Where the result shall be.
    overwrite : bool
        Replace an existing file.
    original : Path or None
        A file that must never be written to, overwrite or not.

    Yields
    ------
    binary file
        Open for reading and writing.

    Raises
    ------
    NotWrittenError
        `path` exists and may not be replaced, is the original, its folder is missing or may not be
        written to, or the disk is full. Nothing is left behind.
    """
    _check_target(path, overwrite, original)
    beside = path.with_name(f".{path.name}.{secrets.token_hex(4)}{UNFINISHED_SUFFIX}")
    try:
        with open(beside, "x+b") as file:
            yield file
            file.flush()
            os.fsync(file.fileno())
        _take_name(beside, path, overwrite)
    except OSError as error:
        raise _not_written(path, error) from error
    finally:
        with suppress(OSError):
            beside.unlink(missing_ok=True)
    _flush_folder(path.parent)


def _check_target(path: Path, overwrite: bool, original: Path | None) -> None:
    if original is not None and path.exists() and original.exists() and path.samefile(original):
        raise NotWrittenError(
            f"{path} is the original photograph, which is never written to.",
            "Choose another name or folder for the result.",
        )
    if path.is_dir():
        raise NotWrittenError(f"{path} is a folder.", "Give the name of a file.")
    if not overwrite and os.path.lexists(path):
        raise _already_there(path)


def _already_there(path: Path) -> NotWrittenError:
    return NotWrittenError(
        f"{path} already exists.", "Choose another name, or allow overwriting it."
    )


def _take_name(beside: Path, path: Path, overwrite: bool) -> None:
    """Rename; without `overwrite` a file that appeared meanwhile wins."""
    if overwrite:
        os.replace(beside, path)
        return
    try:
        os.link(beside, path)  # unlike rename, fails where the name is taken
    except FileExistsError as error:
        raise _already_there(path) from error
    except OSError:  # the file system has no hard links
        if os.path.lexists(path):
            raise _already_there(path) from None
        os.replace(beside, path)


def _not_written(path: Path, error: OSError) -> NotWrittenError:
    if error.errno in (errno.ENOSPC, errno.EDQUOT, errno.EFBIG):
        return NotWrittenError(
            f"{path} was not written: the disk is full.", "Free some space and run again."
        )
    if error.errno == errno.ENOENT:
        return NotWrittenError(
            f"{path} was not written: the folder {path.parent} does not exist.", "Create it first."
        )
    if error.errno in (errno.EACCES, errno.EPERM, errno.EROFS):
        return NotWrittenError(
            f"{path} was not written: the folder {path.parent} may not be written to.",
            "Choose another folder, or change its permissions.",
        )
    return NotWrittenError(
        f"{path} was not written ({error.strerror or error}).", "Check the disk and the path."
    )


def _flush_folder(folder: Path) -> None:
    """Make the new name last through a power cut, where the system can."""
    with suppress(OSError):
        descriptor = os.open(folder, os.O_RDONLY | getattr(os, "O_DIRECTORY", 0))
        try:
            os.fsync(descriptor)
        finally:
            os.close(descriptor)
