"""Many portraits at once: one process for each core, and one bad file never stops the rest."""

from __future__ import annotations

import multiprocessing
import os
import threading
from collections.abc import Iterator, Sequence
from concurrent.futures import Future, ProcessPoolExecutor, as_completed
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass
from pathlib import Path

from evenhand.computing import RetouchSettings
from evenhand.errors import EvenhandError
from evenhand.memory import keep_freed_memory
from evenhand.photo.credentials import Certificate
from evenhand.photo.kinds import FileKind
from evenhand.processors import available
from evenhand.report import Report
from evenhand.retouching.portrait import retouch
from evenhand.retouching.results import Results

SUFFIXES = tuple(suffix for kind in FileKind for suffix in kind.suffixes)
"""Files taken from a folder; a file named by itself is tried whatever its name."""

LONGEST_NAME = 255
"""Bytes of a file's name on every common file system (POSIX's NAME_MAX on Linux)."""

UNLISTED = "Give yourself permission to read the folder, or name its files."
"""What to do about a folder that cannot be listed."""


@dataclass(frozen=True)
class Outcome:
    """What became of one file.

    Attributes
    ----------
    path : Path
        The original.
    report : Report or None
        None where it failed.
    trouble : str
        What went wrong and what to do; empty where it went well.
    """

    path: Path
    report: Report | None = None
    trouble: str = ""


def portraits_in(
    paths: Sequence[Path], out: Path | None, others: Sequence[Path] = ()
) -> tuple[list[Path], list[Outcome]]:
    """Files named, and those directly inside folders named, in order; and what cannot be done.

    A folder's files are taken by suffix; hidden ones and subfolders are left alone. A file whose
    results would replace a photograph that was named, any of them, is not done.

    Parameters
    ----------
    paths : sequence of path
    out : path or None
        Folder for the results, if any are written.
    others : sequence of path
        More photographs that nothing may replace.

    Returns
    -------
    portraits : list of path
    failed : list of Outcome
        One for each file or folder that cannot be done, with its trouble.
    """
    found: list[Path] = []
    failed: list[Outcome] = []
    for path in paths:
        if not path.is_dir():
            found.append(path)
            continue
        try:
            inside = sorted(p for p in path.iterdir() if _is_portrait(p))
        except OSError as error:
            failed.append(
                Outcome(path, trouble=f"{path}: cannot be listed ({error.strerror}). {UNLISTED}")
            )
            continue
        if not inside:
            kinds = ", ".join(kind.suffixes[0] for kind in FileKind)
            failed.append(Outcome(path, trouble=f"{path}: no photographs in it ({kinds} ...)."))
        found.extend(inside)
    if out is None:
        return found, failed
    kept, failed = _without_clashes(found, failed)
    originals = _identities([*found, *others])
    troubles = {path: _trouble_with(path, out, originals) for path in kept}
    failed += [Outcome(path, trouble=trouble) for path, trouble in troubles.items() if trouble]
    return [path for path in kept if not troubles[path]], failed


def retouch_many(
    paths: Sequence[Path],
    out: Path,
    settings: RetouchSettings,
    *,
    overwrite: bool = False,
    dry_run: bool = False,
    certificate: Certificate | None = None,
    before_burn: Path | None = None,
) -> Iterator[Outcome]:
    """Retouch each file into `out` and give each outcome as soon as it is there.

    Parameters
    ----------
    paths : sequence of path
        Photographs; as many at a time as there are processors.
    out : path
        Folder for the results.
    settings : RetouchSettings
        For all of them.
    overwrite : bool
        Replace results that are there.
    dry_run : bool
        Compute and report, write nothing.
    certificate : Certificate, optional
        Signs the results' content credentials.
    before_burn : path, optional
        A portrait of the same person from before the burn.

    Yields
    ------
    Outcome
        In the order in which they end. A photograph's trouble is told in its outcome, never raised.
    """
    workers = min(len(paths), available())
    given = settings, overwrite, dry_run, certificate, before_burn
    if workers <= 1:
        keep_freed_memory()
        for path in paths:
            yield _retouch_one(path, out, *given)
        return
    suspects: list[Path] = []
    with _pool(workers) as pool:
        futures = {pool.submit(_retouch_one, path, out, *given): path for path in paths}
        try:
            for future in as_completed(futures):
                outcome = _outcome(future, futures[future])
                if outcome is None:
                    suspects.append(futures[future])
                else:
                    yield outcome
        except BaseException:  # interrupted: what has begun is ended, the rest is not begun
            pool.shutdown(cancel_futures=True)
            raise
    for path in suspects:
        with _pool(1) as pool:
            future = pool.submit(_retouch_one, path, out, *given)
            yield _outcome(future, path) or Outcome(
                path, trouble=f"{path}: the process was ended from outside; memory may be short."
            )


def _is_portrait(path: Path) -> bool:
    return path.suffix.lower() in SUFFIXES and not path.name.startswith(".") and path.is_file()


def _without_clashes(found: list[Path], failed: list[Outcome]) -> tuple[list[Path], list[Outcome]]:
    """Drop files whose results would bear the same name as an earlier one's."""
    taken: dict[str, Path] = {}
    kept: list[Path] = []
    for path in found:
        other = taken.setdefault(path.stem, path)
        if other is path:
            kept.append(path)
        elif other.absolute() != path.absolute():
            trouble = f"{path}: its results would have the names of those of {other}."
            failed.append(Outcome(path, trouble=f"{trouble} Use another --out for it."))
    return kept, failed


def _trouble_with(path: Path, out: Path, originals: set[tuple[int, int]]) -> str:
    """Why a file's results cannot be written into a folder; empty where they can."""
    shown = os.fsencode(path).decode(errors="backslashreplace")
    try:
        str(path.absolute()).encode()
    except UnicodeEncodeError:
        return f"{shown}: its name is not in UTF-8. Rename it, or the folder that is so named."
    names = {
        name
        for suffix in {path.suffix, *SUFFIXES}
        for name in Results.of(path.stem, suffix).in_order
    }
    longest = max(len(os.fsencode(name)) for name in names)
    if longest > LONGEST_NAME:
        return (
            f"{shown}: names of its results would have {longest} bytes, and {LONGEST_NAME} are "
            "allowed. Shorten its name."
        )
    replaced = sorted(name for name in names if _identity(out / name) in originals)
    if replaced:
        return (
            f"{shown}: its results could replace {out / replaced[0]}, an original, which is never "
            "written to. Choose another folder with --out."
        )
    return ""


def _identities(paths: Sequence[Path]) -> set[tuple[int, int]]:
    return {found for path in paths if (found := _identity(path)) is not None}


def _identity(path: Path) -> tuple[int, int] | None:
    """Which file a path leads to, None where it leads to none."""
    try:
        found = path.stat()
    except (OSError, ValueError):
        return None
    return found.st_dev, found.st_ino


def _pool(workers: int) -> ProcessPoolExecutor:
    # A forked child would inherit the locks of threads that it does not have.
    return ProcessPoolExecutor(
        workers, mp_context=multiprocessing.get_context("spawn"), initializer=_begin
    )


def _begin() -> None:
    """Each process of a batch works alone on its core, on one photograph after another."""
    import cv2

    cv2.setNumThreads(1)
    keep_freed_memory()
    threading.Thread(target=_end_with_parent, daemon=True).start()


def _end_with_parent() -> None:
    """End this process when the one that started it was killed, even before this one began."""
    parent = multiprocessing.parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)


def _outcome(future: Future[Outcome], path: Path) -> Outcome | None:
    """Result of a future; None where its process died, perhaps of another file."""
    try:
        return future.result()
    except BrokenProcessPool:
        return None


def _retouch_one(
    path: Path,
    out: Path,
    settings: RetouchSettings,
    overwrite: bool,
    dry_run: bool,
    certificate: Certificate | None,
    before_burn: Path | None,
) -> Outcome:
    try:
        report = retouch(
            path,
            out,
            settings,
            overwrite=overwrite,
            dry_run=dry_run,
            certificate=certificate,
            before_burn=before_burn,
        )
    except EvenhandError as error:
        return Outcome(path, trouble=str(error))
    except MemoryError:
        return Outcome(path, trouble=f"{path}: not enough memory. Close other programs.")
    except Exception as error:  # one bad file never stops the rest
        kind = type(error).__name__
        return Outcome(
            path, trouble=f"{path}: unexpected trouble, please report it: {kind}: {error}"
        )
    return Outcome(path, report=report)
