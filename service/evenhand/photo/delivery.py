"""Results appear whole or not at all: written into a hidden folder beside, then renamed."""

from __future__ import annotations

import errno
import re
import shutil
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

from evenhand.errors import NotWrittenError
from evenhand.photo.durable import flush, flush_tree, make_folder

PARTIAL = ".evenhand-partial-"
"""How the hidden folder's name begins; what a killed run leaves is safe to delete."""

ADVICE = {
    errno.ENOSPC: "Free some space on that disk and run again.",
    errno.EDQUOT: "Your share of that disk is used up: free some space and run again.",
    errno.EFBIG: "That disk or your account does not allow files so large: choose another folder.",
    errno.EACCES: "Allow writing to that folder or choose another one.",
    errno.EPERM: "Allow writing to that folder or choose another one.",
    errno.EROFS: "That disk can only be read: choose another folder.",
    errno.ENOTDIR: "A file stands where a folder is needed: choose another folder.",
    errno.EEXIST: "A file stands where a folder is needed: choose another folder.",
    errno.ENAMETOOLONG: "Shorten the file's name or choose another folder.",
}
"""What to do about an error of the file system."""


@contextmanager
def delivery(
    out: Path, names: list[str], *, overwrite: bool = False, originals: Sequence[Path] = ()
) -> Iterator[Path]:
    """Give a hidden folder in `out`; when the block ends well, move `names` from it into `out`.

    They are on the disk when this returns, and the last one not before the others.

    Parameters
    ----------
    out : Path
        Folder for the results, made if it is not there.
    names : list of str
        Files and folders that the block writes, in the order in which they appear; put the one
        that shows the work to be complete last. A name that the block did not write is skipped.
    overwrite : bool
        Replace what is already there.
    originals : sequence of path
        What is never replaced.

    Yields
    ------
    Path
        Where to write.

    Raises
    ------
    NotWrittenError
        A result is already there, or the file system refuses; nothing is left behind then.
    """
    try:
        make_folder(out)
        if not overwrite:
            refuse_existing(out, names)
        for original in originals:
            for name in names:
                refuse_original(original, out / name)
        beside = Path(tempfile.mkdtemp(prefix=PARTIAL, dir=out))
        try:
            yield beside
            flush_tree(beside)
            _appear(out, beside, [name for name in names if (beside / name).exists()])
        finally:
            shutil.rmtree(beside, ignore_errors=True)
    except NotWrittenError as error:
        raise NotWrittenError(_without_partial(error.trouble), error.advice) from error
    except OSError as error:
        raise NotWrittenError(
            _without_partial(f"{error.filename or out}: not written ({error.strerror or error})."),
            ADVICE.get(error.errno or 0, "Check that disk and run again."),
        ) from error


def refuse_existing(out: Path, names: list[str]) -> None:
    """Make sure that a folder holds none of the names that are about to be written.

    Parameters
    ----------
    out : path
        The folder; it need not exist.
    names : list of str

    Raises
    ------
    NotWrittenError
        One of them is there.
    """
    existing = [name for name in names if (out / name).exists()]
    if existing:
        raise NotWrittenError(
            f"{out / existing[0]} is already there.",
            "Choose another folder with --out, or say --overwrite to replace it.",
        )


def refuse_original(original: Path, target: Path) -> None:
    """Make sure that a file about to be written is not the original, under whatever name.

    Parameters
    ----------
    original, target : path

    Raises
    ------
    NotWrittenError
        It is.
    """
    if target.exists() and target.samefile(original):
        raise NotWrittenError(
            f"{target} is the original, which is never written to.",
            "Choose another folder with --out.",
        )


def _without_partial(text: str) -> str:
    """A message that names the place of the result, not the hidden folder's."""
    return re.sub(rf"/{re.escape(PARTIAL)}\w+", "", text)


def _appear(out: Path, beside: Path, names: list[str]) -> None:
    """Move flushed results into their folder, the last when the others are safe there."""
    if len(names) > 1 and (out / names[-1]).is_file():
        (out / names[-1]).unlink()  # of an earlier run, whose other results go now
        flush(out)
    for last, name in enumerate(names, 1 - len(names)):
        if last == 0:
            flush(out)
        _move_into(out, beside, name)
    flush(out)


def _move_into(out: Path, beside: Path, name: str) -> None:
    target = out / name
    if target.is_dir():
        # A folder cannot be replaced in one move: the old one steps aside first.
        target.rename(beside / f"replaced-{name}")
    (beside / name).replace(target)
