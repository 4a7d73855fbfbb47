"""Opening originals so that nothing about them changes, not even their access time."""

from __future__ import annotations

import hashlib
import os
import shutil
import stat
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from io import FileIO
from pathlib import Path
from typing import BinaryIO

from evenhand.errors import UnreadablePhotographError
from evenhand.photo.damage import damaged

_NO_ACCESS_TIME = getattr(os, "O_NOATIME", 0)
"""Flag that leaves the access time alone; Linux only, and only for the file's owner."""

_CHUNK = 1 << 22
"""Bytes read at once."""

_FLAGS = os.O_RDONLY | getattr(os, "O_BINARY", 0) | getattr(os, "O_NONBLOCK", 0)
"""Read only, no translation of line ends, and no waiting where the path is a pipe."""


@dataclass(frozen=True)
class Identity:
    """Tells whether a file is still the one that was read."""

    device: int
    inode: int
    size: int
    modified_ns: int


def identity_of(file: FileIO) -> Identity:
    """The identity of an open file.

    Parameters
    ----------
    file : FileIO

    Returns
    -------
    Identity
    """
    found = os.fstat(file.fileno())
    return Identity(found.st_dev, found.st_ino, found.st_size, found.st_mtime_ns)


@contextmanager
def opened(path: Path) -> Iterator[FileIO]:
    """Open a photograph for reading and leave its times as they were.

    Parameters
    ----------
    path : path

    Yields
    ------
    FileIO
        Unbuffered, at its start; closed afterwards.

    Raises
    ------
    UnreadablePhotographError
        The path does not exist, is no regular file, is empty, or may not be read.
    """
    descriptor = _descriptor(path)
    before = os.fstat(descriptor)
    if not stat.S_ISREG(before.st_mode):
        os.close(descriptor)
        raise UnreadablePhotographError(f"{path} is not a file.", "Give the path of a photograph.")
    with FileIO(descriptor, "rb") as file:
        if before.st_size == 0:
            raise damaged(f"{path} is empty (0 bytes).")
        try:
            yield file
        finally:
            _restore_access_time(descriptor, before)


def sha256_of(file: FileIO) -> str:
    """SHA-256 of a whole file, in hexadecimal; the place in the file is left where it is.

    Parameters
    ----------
    file : FileIO

    Returns
    -------
    str
        64 digits.

    Raises
    ------
    OSError
        The file cannot be read.
    """
    digest, place = hashlib.sha256(), 0
    while chunk := os.pread(file.fileno(), _CHUNK, place):
        digest.update(chunk)
        place += len(chunk)
    return digest.hexdigest()


def copy_of(source: FileIO, file: BinaryIO) -> None:
    """Copy a whole file into an empty one, inside the system where it can.

    Parameters
    ----------
    source : FileIO
    file : binary file
        Empty, open for writing.

    Raises
    ------
    OSError
        A file cannot be read or written.
    """
    size = os.fstat(source.fileno()).st_size
    copied = 0
    with suppress(OSError, AttributeError):  # other file systems, other systems
        while copied < size:
            step = os.copy_file_range(source.fileno(), file.fileno(), size - copied, copied, copied)
            if step == 0:
                break
            copied += step
    source.seek(copied)
    file.seek(copied)
    shutil.copyfileobj(source, file, _CHUNK)


def _descriptor(path: Path) -> int:
    try:
        try:
            return os.open(path, _FLAGS | _NO_ACCESS_TIME)
        except PermissionError:
            return os.open(path, _FLAGS)
    except FileNotFoundError as error:
        raise UnreadablePhotographError(
            f"{path} does not exist.", "Check the path, or the folder's name."
        ) from error
    except PermissionError as error:
        raise UnreadablePhotographError(
            f"{path} may not be read.", "Give yourself permission to read it, or copy it elsewhere."
        ) from error
    except (OSError, ValueError) as error:
        raise UnreadablePhotographError(
            f"{path} cannot be opened ({error}).", "Check the path and the disk."
        ) from error


def _restore_access_time(descriptor: int, before: os.stat_result) -> None:
    after = os.fstat(descriptor)
    if after.st_atime_ns == before.st_atime_ns or os.utime not in os.supports_fd:
        return
    try:
        os.utime(descriptor, ns=(before.st_atime_ns, after.st_mtime_ns))
    except OSError:
        return  # not the owner: the system does not let us
