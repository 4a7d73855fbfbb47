"""Flushing files and folders, so that what was written is there after a power cut.

A file's bytes and its name are flushed apart: the bytes through the file, the name through the
folder that holds it (fsync(2); POSIX.1-2017, fsync).
"""

from __future__ import annotations

import errno
import os
import tempfile
from pathlib import Path

PROBE_BYTES = 16384
"""Of a file written to see whether there is room: a few blocks of any disk."""


def flush(path: Path) -> None:
    """Wait until a file's bytes, or a folder's names, are on the disk.

    Parameters
    ----------
    path : path
        A file or a folder.

    Raises
    ------
    OSError
        It cannot be opened, or the disk failed. A disk that cannot flush folders is no error.
    """
    descriptor = os.open(path, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    except OSError as error:
        if error.errno not in (errno.EINVAL, errno.ENOTSUP):
            raise  # some network disks cannot flush folders; nothing better can be had there
    finally:
        os.close(descriptor)


def flush_tree(folder: Path) -> None:
    """Flush every file and folder inside a folder, and the folder.

    Parameters
    ----------
    folder : path
        Links inside it are not followed.

    Raises
    ------
    OSError
        As for `flush`.
    """
    for inside in folder.iterdir():
        if inside.is_dir() and not inside.is_symlink():
            flush_tree(inside)
        elif inside.is_file():
            flush(inside)
    flush(folder)


def make_folder(folder: Path, mode: int = 0o777) -> None:
    """Make a folder and those above it, and flush the names of all that were made.

    Parameters
    ----------
    folder : path
        Nothing is done where it is there.
    mode : int
        Permissions of those that are made, less what the process masks.

    Raises
    ------
    OSError
        A folder cannot be made or flushed.
    """
    if folder.is_dir():
        return
    make_folder(folder.parent, mode)
    folder.mkdir(mode, exist_ok=True)
    flush(folder.parent)


def probe(folder: Path) -> None:
    """Write and flush a small file in a folder, and take it away.

    Parameters
    ----------
    folder : path

    Raises
    ------
    OSError
        That failed: the folder is missing, may not be written to, or its disk is full.
    """
    with tempfile.TemporaryFile(dir=folder) as file:
        file.write(bytes(PROBE_BYTES))
        file.flush()
        os.fsync(file.fileno())
