"""Reading a file that nobody has read before: in a process of its own, with limits.

A small file can ask for much: a progressive JPEG of many scans takes a minute, a damaged one may
take a decoder with it. Only what was read within the limits once is read elsewhere.
"""

from __future__ import annotations

import multiprocessing
import resource
import signal
import threading
from multiprocessing.connection import Connection
from multiprocessing.context import SpawnProcess
from pathlib import Path

from evenhand.errors import EvenhandError, UnreadablePhotographError

CPU_S = 30.0
"""Seconds of computing, on all cores together, that reading one file may take. The largest files
that are allowed, of 300 megapixels, take less than half of it."""

WALL_S = 300.0
"""Seconds after which reading is given up on however little it computes."""

MEMORY = 8 * 2**30
"""Bytes that reading may take, about four times the largest decoded file."""

ADVICE = "Open it in the program that made it and save it anew, as TIFF or a plain JPEG."
"""What to do about a file that cannot be read within the limits."""


class GuardedReader:
    """A process that reads files, and is ended when one takes too long."""

    def __init__(self) -> None:
        self.lock = threading.Lock()
        self.process: SpawnProcess | None = None
        self.pipe: Connection | None = None

    def check(self, path: Path, name: str) -> None:
        """Read a file, and throw away what was read.

        Parameters
        ----------
        path : Path
        name : str
            What messages call it.

        Raises
        ------
        EvenhandError
            What `evenhand.photo.read` raises; `UnreadablePhotographError` where it takes more time
            or memory than is allowed, or ends the process.
        """
        with self.lock:
            error = self._asked(path)
        if isinstance(error, MemoryError):
            raise UnreadablePhotographError(
                f"{name} needs more than {MEMORY >> 30} GiB of memory to be read.", ADVICE
            )
        if error is not None:
            raise error

    def close(self) -> None:
        """End the process."""
        with self.lock:
            self._end()

    def _asked(self, path: Path) -> Exception | None:
        process, pipe = self._running()
        pipe.send((str(path), CPU_S))
        try:
            if pipe.poll(WALL_S):
                error: Exception | None = pipe.recv()
                return error
            signalled = signal.SIGPROF
        except EOFError:
            process.join(WALL_S)
            signalled = signal.Signals(max(1, -(process.exitcode or 0)))
        self._end()
        if signalled == signal.SIGPROF:
            return UnreadablePhotographError(
                f"The file takes more than {CPU_S:g} s of computing to be read.", ADVICE
            )
        return UnreadablePhotographError("The file ends the program that reads it.", ADVICE)

    def _running(self) -> tuple[SpawnProcess, Connection]:
        if self.process is None or self.pipe is None or not self.process.is_alive():
            self._end()
            context = multiprocessing.get_context("spawn")
            self.pipe, theirs = context.Pipe()
            self.process = context.Process(target=_read_on, args=(theirs, MEMORY), daemon=True)
            self.process.start()
            theirs.close()
        return self.process, self.pipe

    def _end(self) -> None:
        if self.process is not None:
            self.process.kill()
            self.process.join()
        if self.pipe is not None:
            self.pipe.close()
        self.process = self.pipe = None


READER = GuardedReader()
"""The one of this process."""


def _read_on(pipe: Connection, memory: int) -> None:
    """Read one file after another until nobody asks any more."""
    from evenhand import photo

    resource.setrlimit(resource.RLIMIT_DATA, (memory, memory))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    signal.signal(signal.SIGPROF, signal.SIG_DFL)
    while True:
        try:
            path, cpu_s = pipe.recv()
        except EOFError:
            return
        # The timer counts computing of all threads; nobody catches its signal, so it ends them.
        signal.setitimer(signal.ITIMER_PROF, cpu_s)
        try:
            photo.read(path)
            answer: Exception | None = None
        except EvenhandError as error:
            short = isinstance(error.__cause__, MemoryError)
            answer = MemoryError() if short else type(error)(error.trouble, error.advice)
        except MemoryError:
            answer = MemoryError()
        except Exception as error:
            answer = UnreadablePhotographError(
                f"The file cannot be read ({type(error).__name__}).", ADVICE
            )
        signal.setitimer(signal.ITIMER_PROF, 0)
        pipe.send(answer)
