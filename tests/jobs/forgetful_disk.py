"""A disk that forgets what was not flushed: a file system in user space, kept in memory.

What a power cut leaves can be laid out in an ordinary folder at any moment, in the two ways that
matter: only what was flushed, names too; or the names as they are, over bytes that were flushed.
A real file system leaves something between the two.

Usage: python -m tests.jobs.forgetful_disk FOLDER

Commands are written to the file `.control` in it: ``lay out FOLDER`` makes ``FOLDER/flushed`` and
``FOLDER/names``; ``follow FOLDER`` makes ``FOLDER/0001`` and so on, after every change of names;
``room N`` leaves room for so many bytes more; ``cut flushed`` and ``cut names`` are power cuts: the
disk is then as the one or the other has it.
"""

from __future__ import annotations

import errno
import os
import shutil
import stat
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

CONTROL = ".control"
"""Name of the file that takes commands."""


def available() -> bool:
    """Whether a file system in user space can be mounted here."""
    try:
        import mfusepy  # noqa: F401
    except (ImportError, OSError):
        return False
    return os.access("/dev/fuse", os.R_OK | os.W_OK) and shutil.which("fusermount3") is not None


@dataclass
class File:
    """A file: its bytes, and those that were flushed."""

    mode: int
    data: bytearray = field(default_factory=bytearray)
    flushed: bytes = b""
    at: float = field(default_factory=time.time)


@dataclass
class Folder:
    """A folder: its names, and those that were flushed."""

    mode: int
    names: dict[str, File | Folder] = field(default_factory=dict)
    flushed: dict[str, File | Folder] = field(default_factory=dict)
    at: float = field(default_factory=time.time)


def lay_out(folder: Folder, into: Path, *, names_as_they_are: bool) -> None:
    """Write what a power cut would leave into an ordinary folder."""
    into.mkdir(parents=True)
    for name, node in (folder.names if names_as_they_are else folder.flushed).items():
        if isinstance(node, Folder):
            lay_out(node, into / name, names_as_they_are=names_as_they_are)
        else:
            (into / name).write_bytes(node.flushed)


def _after(folder: Folder, *, names_as_they_are: bool) -> Folder:
    """A folder after a power cut."""
    left: dict[str, File | Folder] = {}
    for name, node in (folder.names if names_as_they_are else folder.flushed).items():
        if isinstance(node, Folder):
            left[name] = _after(node, names_as_they_are=names_as_they_are)
        else:
            left[name] = File(node.mode, bytearray(node.flushed), node.flushed)
    return Folder(folder.mode, left, dict(left))


def disk() -> Any:
    """The operations of the file system, as mfusepy asks for them."""
    import mfusepy

    class Disk(mfusepy.Operations):  # type: ignore[misc]
        use_ns = True

        def __init__(self) -> None:
            self.root = Folder(stat.S_IFDIR | 0o755)
            self.open_files: dict[int, File] = {}
            self.next = 1
            self.used, self.room = 0, 1 << 40
            self.following: Path | None = None
            self.followed = 0

        def _find(self, path: str) -> File | Folder:
            node: File | Folder = self.root
            for part in Path(path).parts[1:]:
                if not isinstance(node, Folder) or part not in node.names:
                    raise mfusepy.FuseOSError(errno.ENOENT)
                node = node.names[part]
            return node

        def _parent(self, path: str) -> tuple[Folder, str]:
            parent = self._find(str(Path(path).parent))
            assert isinstance(parent, Folder)
            return parent, Path(path).name

        def _changed(self) -> None:
            if self.following is not None:
                self.followed += 1
                into = self.following / f"{self.followed:04d}"
                lay_out(self.root, into / "flushed", names_as_they_are=False)
                lay_out(self.root, into / "names", names_as_they_are=True)

        def _opened(self, file: File) -> int:
            self.next += 1
            self.open_files[self.next] = file
            return self.next

        def _grow(self, file: File, length: int) -> None:
            more = length - len(file.data)
            if more > 0 and self.used + more > self.room:
                raise mfusepy.FuseOSError(errno.ENOSPC)
            self.used += more
            if more > 0:
                file.data.extend(bytes(more))
            else:
                del file.data[length:]

        def getattr(self, path: str, fh: int | None = None) -> dict[str, Any]:
            if path == f"/{CONTROL}":
                return {"st_mode": stat.S_IFREG | 0o600, "st_nlink": 1, "st_size": 0}
            node = self.open_files[fh] if fh in self.open_files else self._find(path)
            size = len(node.data) if isinstance(node, File) else 0
            at = int(node.at * 1e9)
            return {
                "st_mode": node.mode, "st_nlink": 1, "st_size": size, "st_mtime": at,
                "st_ctime": at, "st_atime": at, "st_uid": os.getuid(), "st_gid": os.getgid(),
            }  # fmt: skip

        def readdir(self, path: str, fh: int) -> list[str]:
            node = self._find(path)
            assert isinstance(node, Folder)
            return [".", "..", *node.names]

        def mkdir(self, path: str, mode: int) -> int:
            parent, name = self._parent(path)
            parent.names[name] = Folder(stat.S_IFDIR | mode)
            self._changed()
            return 0

        def create(self, path: str, mode: int, fi: Any = None) -> int:
            parent, name = self._parent(path)
            file = File(stat.S_IFREG | mode)
            parent.names[name] = file
            self._changed()
            return self._opened(file)

        def open(self, path: str, flags: int) -> int:
            if path == f"/{CONTROL}":
                return 0
            node = self._find(path)
            assert isinstance(node, File)
            return self._opened(node)

        def read(self, path: str, size: int, offset: int, fh: int) -> bytes:
            file = self.open_files.get(fh)
            if file is None:
                raise mfusepy.FuseOSError(errno.EIO)
            return bytes(file.data[offset : offset + size])

        def write(self, path: str, data: bytes, offset: int, fh: int) -> int:
            if path == f"/{CONTROL}":
                self._command(data.decode().strip())
                return len(data)
            file = self.open_files.get(fh)
            if file is None:
                raise mfusepy.FuseOSError(errno.EIO)  # opened before a power cut
            if offset + len(data) > len(file.data):
                self._grow(file, offset + len(data))
            file.data[offset : offset + len(data)] = data
            file.at = time.time()
            return len(data)

        def truncate(self, path: str, length: int, fh: int | None = None) -> int:
            if path != f"/{CONTROL}":
                node = self.open_files[fh] if fh in self.open_files else self._find(path)
                assert isinstance(node, File)
                self._grow(node, length)
            return 0

        def fsync(self, path: str, datasync: int, fh: int) -> int:
            file = self.open_files.get(fh)
            if file is not None:
                file.flushed = bytes(file.data)
                self._changed()
            return 0

        def fsyncdir(self, path: str, datasync: int, fh: int) -> int:
            node = self._find(path)
            assert isinstance(node, Folder)
            node.flushed = dict(node.names)
            self._changed()
            return 0

        def release(self, path: str, fh: int) -> int:
            self.open_files.pop(fh, None)
            return 0

        def unlink(self, path: str) -> int:
            parent, name = self._parent(path)
            gone = parent.names.pop(name)
            if isinstance(gone, File):
                self.used -= len(gone.data)
            self._changed()
            return 0

        def rmdir(self, path: str) -> int:
            parent, name = self._parent(path)
            if self._find(path).names:  # type: ignore[union-attr]
                raise mfusepy.FuseOSError(errno.ENOTEMPTY)
            del parent.names[name]
            self._changed()
            return 0

        def rename(self, old: str, new: str) -> int:
            before, name = self._parent(old)
            after, new_name = self._parent(new)
            after.names[new_name] = before.names.pop(name)
            self._changed()
            return 0

        def chmod(self, path: str, mode: int) -> int:
            node = self._find(path)
            node.mode = stat.S_IFMT(node.mode) | stat.S_IMODE(mode)
            return 0

        def chown(self, path: str, uid: int, gid: int) -> int:
            return 0

        def utimens(self, path: str, times: tuple[int, int] | None = None) -> int:
            self._find(path).at = time.time() if times is None else times[1] / 1e9
            return 0

        def statfs(self, path: str) -> dict[str, int]:
            block = 4096
            free = max(0, self.room - self.used) // block
            return {
                "f_bsize": block, "f_frsize": block, "f_blocks": self.room // block,
                "f_bfree": free, "f_bavail": free,
            }  # fmt: skip

        def _command(self, command: str) -> None:
            what, _, value = command.rpartition(" ")
            if what == "lay out":
                lay_out(self.root, Path(value) / "flushed", names_as_they_are=False)
                lay_out(self.root, Path(value) / "names", names_as_they_are=True)
            elif what == "follow":
                self.following = Path(value)
            elif what == "room":
                self.room = self.used + int(value)
            elif what == "cut":
                self.root = _after(self.root, names_as_they_are=value == "names")
                self.open_files = {}

    return Disk()


@contextmanager
def forgetful_disk(folder: Path) -> Iterator[Path]:
    """A mounted forgetful disk in a folder that is made."""
    folder.mkdir()
    command = [sys.executable, "-m", "tests.jobs.forgetful_disk", str(folder)]
    process = subprocess.Popen(command, stderr=subprocess.DEVNULL)
    deadline = time.monotonic() + 60
    while not os.path.ismount(folder):
        assert process.poll() is None, "the disk could not be mounted"
        assert time.monotonic() < deadline
        time.sleep(0.05)
    try:
        yield folder
    finally:
        subprocess.run(["fusermount3", "-u", "-z", str(folder)], check=False)
        with suppress(subprocess.TimeoutExpired):
            process.wait(3)
        process.kill()
        process.wait()


def command(disk: Path, text: str) -> None:
    """Tell the disk something."""
    descriptor = os.open(disk / CONTROL, os.O_WRONLY)
    try:
        os.write(descriptor, text.encode())
    finally:
        os.close(descriptor)


def main() -> None:
    """Mount it until it is unmounted."""
    import mfusepy

    mfusepy.FUSE(
        disk(), sys.argv[1], foreground=True, nothreads=True, attr_timeout=0, entry_timeout=0
    )


if __name__ == "__main__":
    main()
