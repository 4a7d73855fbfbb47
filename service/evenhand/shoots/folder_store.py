"""Stored files in a folder: whole or not there, and flushed before anybody is told.

Reading and listing go through obstore, as for any store.
"""

from __future__ import annotations

import fcntl
import os
import shutil
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import BinaryIO

from evenhand.photo.durable import flush, make_folder
from evenhand.shoots.scratch import Scratch

TRIES = 20
"""How often a file is put anew because its folder was taken away as empty meanwhile."""


def put(root: Path, scratch: Scratch, place: str, source: Path | bytes) -> None:
    """Write a file under its place; when this returns it survives a power cut.

    Parameters
    ----------
    root : path
        Folder of the store.
    scratch : Scratch
        On the same disk.
    place : str
        Path below the root.
    source : path or bytes

    Raises
    ------
    FileNotFoundError
        Its folder is taken away again and again.
    OSError
        It cannot be written, such as for want of space; nothing is left of it.
    """
    target = root / place
    with scratch.temporary() as folder:
        written = folder / "put"
        _write(written, _copier(source))
        for _ in range(TRIES):
            with suppress(FileNotFoundError):
                make_folder(target.parent, 0o700)
                os.replace(written, target)
                flush(target.parent)
                return
        raise FileNotFoundError(f"{target.parent} is taken away again and again")


def put_new(root: Path, scratch: Scratch, place: str, content: bytes) -> None:
    """The same for a file that is there once and for all; changes nothing where it is.

    Parameters
    ----------
    root : path
        Folder of the store.
    scratch : Scratch
        On the same disk.
    place : str
        Path below the root.
    content : bytes

    Raises
    ------
    OSError
        As for `put`.
    """
    target = root / place
    make_folder(target.parent, 0o700)
    # Not every file system has hard links; a lock does for the processes of one machine.
    descriptor = os.open(target.with_suffix(".lock"), os.O_RDWR | os.O_CREAT, 0o600)
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX)
        if not target.exists():
            put(root, scratch, place, content)
    finally:
        os.close(descriptor)


def delete(root: Path, place: str) -> None:
    """Delete a file, and the folders that are empty then; what is not there is no error.

    Parameters
    ----------
    root : path
        Folder of the store; it stays.
    place : str
        Path below the root.
    """
    target = root / place
    with suppress(FileNotFoundError):
        target.unlink()
        flush(target.parent)
    for folder in target.parents:
        if folder in (root, root.parent):
            return
        try:
            folder.rmdir()
        except FileNotFoundError:
            continue
        except OSError:
            return


def _write(path: Path, write: Callable[[BinaryIO], None]) -> None:
    descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with open(descriptor, "wb") as file:
        write(file)
        file.flush()
        os.fsync(file.fileno())


def _copier(source: Path | bytes) -> Callable[[BinaryIO], None]:
    def write(file: BinaryIO) -> None:
        if isinstance(source, bytes):
            file.write(source)
        else:
            with source.open("rb") as original:
                shutil.copyfileobj(original, file, 1 << 20)

    return write
