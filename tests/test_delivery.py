"""Results appear whole or not at all, whatever happens in between."""

from __future__ import annotations

import os
import resource
import signal
import subprocess
import sys
import textwrap
import time
from pathlib import Path

import pytest

from evenhand.errors import NotWrittenError
from evenhand.photo.delivery import PARTIAL, delivery


def test_moves_what_the_block_wrote(tmp_path: Path) -> None:
    out = tmp_path / "a" / "out"
    with delivery(out, ["one.txt", "folder", "not written"]) as beside:
        (beside / "one.txt").write_text("1")
        (beside / "folder").mkdir()
        (beside / "folder" / "two.txt").write_text("2")
        assert list(out.iterdir()) == [beside]
    assert sorted(p.name for p in out.rglob("*")) == ["folder", "one.txt", "two.txt"]


def test_an_error_leaves_nothing(tmp_path: Path) -> None:
    def write_and_fail() -> None:
        with delivery(tmp_path, ["one.txt"]) as beside:
            (beside / "one.txt").write_text("1")
            raise ValueError("on purpose")

    with pytest.raises(ValueError, match="on purpose"):
        write_and_fail()
    assert list(tmp_path.iterdir()) == []


def test_an_existing_result_stays_unless_told(tmp_path: Path) -> None:
    (tmp_path / "one.txt").write_text("old")
    (tmp_path / "folder").mkdir()
    (tmp_path / "folder" / "old.txt").write_text("old")
    with (
        pytest.raises(NotWrittenError, match=r"one.txt is already there.*--overwrite"),
        delivery(tmp_path, ["one.txt"]),
    ):
        pytest.fail("the block must not run")
    assert (tmp_path / "one.txt").read_text() == "old"
    with delivery(tmp_path, ["one.txt", "folder"], overwrite=True) as beside:
        (beside / "one.txt").write_text("new")
        (beside / "folder").mkdir()
        (beside / "folder" / "new.txt").write_text("new")
    assert (tmp_path / "one.txt").read_text() == "new"
    assert [p.name for p in (tmp_path / "folder").iterdir()] == ["new.txt"]
    assert not list(tmp_path.glob(PARTIAL + "*"))


def test_a_file_where_the_folder_should_be(tmp_path: Path) -> None:
    (tmp_path / "out").write_text("")
    with (
        pytest.raises(NotWrittenError, match="choose another folder"),
        delivery(tmp_path / "out", ["one.txt"]),
    ):
        pytest.fail("the block must not run")


WRITE_LARGE = textwrap.dedent("""
    import sys
    from pathlib import Path
    from evenhand.photo.delivery import delivery
    with delivery(Path(sys.argv[1]), ["large"]) as beside:
        with open(beside / "large", "wb") as file:
            for _ in range(int(sys.argv[2])):
                file.write(bytes(1 << 16))
                file.flush()
""")


def test_the_disk_refuses(tmp_path: Path) -> None:
    """The kernel refuses the write itself: a limit on the size of a file stands for a full disk."""

    def small_files_only() -> None:
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (1 << 18, 1 << 18))

    done = subprocess.run(
        [sys.executable, "-c", WRITE_LARGE, str(tmp_path), "16"],
        preexec_fn=small_files_only,
        capture_output=True,
        text=True,
    )
    assert "NotWrittenError" in done.stderr
    assert list(tmp_path.iterdir()) == []


def test_a_killed_run_leaves_nothing_that_looks_complete(tmp_path: Path) -> None:
    process = subprocess.Popen([sys.executable, "-c", WRITE_LARGE, str(tmp_path), "1000000"])
    try:
        deadline = time.monotonic() + 180
        while not list(tmp_path.glob("*/large")):
            assert time.monotonic() < deadline
            time.sleep(0.01)
    finally:
        os.kill(process.pid, signal.SIGKILL)
        process.wait()
    assert [p.name.startswith(PARTIAL) for p in tmp_path.iterdir()] == [True]
    with delivery(tmp_path, ["large"]) as beside:
        (beside / "large").write_text("whole")
    assert (tmp_path / "large").read_text() == "whole"
