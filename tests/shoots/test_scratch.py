"""Temporary files lie in the data folder, are their owner's only, and go with their process."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import pytest

from evenhand.jobs.place import Place, addresses_in
from evenhand.jobs.queue import Queue
from evenhand.shoots import tokens
from evenhand.shoots.scratch import Scratch, sweep
from tests.jobs.plain_retoucher import Plain, picture
from tests.jobs.servers import PATIENCE_S
from tests.jobs.waiting import waiting_portrait

HOLDING = """
import sys, time
from pathlib import Path
from evenhand.shoots.scratch import Scratch
with Scratch(Path(sys.argv[1])).temporary() as folder:
    (folder / "original").write_bytes(b"somebody's face")
    print(folder, flush=True)
    time.sleep(600)
"""


def test_what_a_killed_process_left_is_swept_and_a_living_ones_stays(tmp_path: Path) -> None:
    processes = [
        subprocess.Popen(
            [sys.executable, "-c", HOLDING, str(tmp_path)], stdout=subprocess.PIPE, text=True
        )
        for _ in range(2)
    ]
    try:
        folders = [Path(process.stdout.readline().strip()) for process in processes]  # type: ignore[union-attr]
        processes[0].send_signal(signal.SIGKILL)
        processes[0].wait()
        assert folders[0].exists()
        Scratch(tmp_path)
        assert not folders[0].exists()
        assert (folders[1] / "original").exists()
        assert sweep(tmp_path) == 0
    finally:
        for process in processes:
            process.kill()
            process.wait()


def test_a_worker_killed_in_mid_work_leaves_no_original(tmp_path: Path) -> None:
    """Neither in the data folder, once the next process starts, nor in the temporary folder."""
    records, files = addresses_in(tmp_path / "data")
    place = Place.at(records, files, Plain())
    gate = tmp_path / "gate"
    gate.touch()
    waiting_portrait(place, Queue(place.database), 410)
    worker = subprocess.Popen(
        [sys.executable, "-m", "tests.jobs.plain_worker", records, files, "0", "5", str(gate)],
        stderr=subprocess.DEVNULL,
    )
    temporary = tmp_path / "data" / "files" / "temporary"
    deadline = time.monotonic() + PATIENCE_S
    while not list(temporary.rglob("portrait.png")):
        assert time.monotonic() < deadline
        time.sleep(0.05)
    worker.send_signal(signal.SIGKILL)
    worker.wait()
    assert list(temporary.rglob("portrait.png"))
    Place.at(records, files, Plain()).database.close()
    assert not list(temporary.rglob("portrait.png"))
    for path in Path(tempfile.gettempdir()).glob("evenhand-*/**/*"):
        assert not path.is_file() or path.read_bytes() != picture(410)
    place.database.close()


def test_only_the_owner_can_read(tmp_path: Path) -> None:
    """Whatever permissions the process would give: folders 0700, files 0600."""
    before = os.umask(0)
    try:
        place = Place.at(*addresses_in(tmp_path / "data"), Plain())
        place.files.put("a" * 32, b"somebody's face")
        sent = tmp_path / "sent"
        sent.write_bytes(b"sent")
        place.files.put_part("a" * 32, "b" * 32, "part", sent)
        with place.database.writing() as session:
            tokens.make(session, tokens.Scope.STUDIO, "test")
        with place.files.temporary() as folder:
            assert folder.stat().st_mode & 0o777 == 0o700
    finally:
        os.umask(before)
    for path in [tmp_path / "data", *(tmp_path / "data").rglob("*")]:
        expected = 0o700 if path.is_dir() else 0o600
        assert path.stat().st_mode & 0o777 == expected, path
    place.database.close()


@pytest.mark.parametrize("mode", [0o755, 0o777])
def test_a_folder_that_others_could_read_is_closed(tmp_path: Path, mode: int) -> None:
    (tmp_path / "data" / "files").mkdir(parents=True)
    (tmp_path / "data" / "files").chmod(mode)
    Place.at(*addresses_in(tmp_path / "data"), Plain()).database.close()
    assert (tmp_path / "data" / "files").stat().st_mode & 0o777 == 0o700
    assert (tmp_path / "data" / "records.sqlite").stat().st_mode & 0o777 == 0o600
