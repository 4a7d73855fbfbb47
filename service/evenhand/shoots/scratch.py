"""Temporary files inside the data folder: gone with their process, swept if it was killed."""

from __future__ import annotations

import fcntl
import os
import secrets
import shutil
import tempfile
import weakref
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

PREFIX = "evenhand-"
"""Begins every name."""


class Scratch:
    """A place for the temporary files of this process.

    While the process lives it holds a lock, and nobody sweeps its place; making one sweeps the
    places of processes that no longer live.

    Parameters
    ----------
    root : Path
        Folder for the places of all processes.
    """

    def __init__(self, root: Path) -> None:
        root.mkdir(mode=0o700, parents=True, exist_ok=True)
        self.folder = root / f"{PREFIX}{secrets.token_hex(8)}"
        self.lock = _locked(self.folder.with_suffix(".lock"))
        self.folder.mkdir(mode=0o700)
        weakref.finalize(self, _leave, self.folder, self.lock)
        sweep(root)

    @contextmanager
    def temporary(self) -> Iterator[Path]:
        """A folder that is there while the block runs."""
        with tempfile.TemporaryDirectory(prefix=PREFIX, dir=self.folder) as folder:
            yield Path(folder)


def sweep(root: Path) -> int:
    """Take away the places of processes that no longer live.

    Parameters
    ----------
    root : path
        Folder in which places are made.

    Returns
    -------
    int
        How many.
    """
    swept = 0
    for lock in root.glob(f"{PREFIX}*.lock"):
        with suppress(OSError):
            descriptor = os.open(lock, os.O_RDWR)
            try:
                fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
                shutil.rmtree(lock.with_suffix(""), ignore_errors=True)
                lock.unlink(missing_ok=True)
                swept += 1
            finally:
                os.close(descriptor)
    return swept


def _leave(folder: Path, lock: int) -> None:
    """Take a place away: its process ends, or needs it no longer."""
    shutil.rmtree(folder, ignore_errors=True)
    with suppress(OSError):
        folder.with_suffix(".lock").unlink(missing_ok=True)
    os.close(lock)


def _locked(path: Path) -> int:
    """A descriptor that holds the lock of a file that is there."""
    while True:
        descriptor = os.open(path, os.O_RDWR | os.O_CREAT, 0o600)
        fcntl.flock(descriptor, fcntl.LOCK_EX)
        with suppress(FileNotFoundError):
            if os.stat(path).st_ino == os.fstat(descriptor).st_ino:
                return descriptor
        os.close(descriptor)  # somebody swept it between opening and locking
