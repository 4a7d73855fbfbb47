"""What was acknowledged is there after a power cut, on a disk that forgets what was not flushed.

The flushes that count are those of fsync(2) as POSIX.1-2017 has it: a file's for its bytes, a
folder's for its names.
"""

from __future__ import annotations

import hashlib
import json
import os
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

import httpx
import pytest
from sqlalchemy import select

from evenhand.jobs.place import Place, addresses_in
from evenhand.shoots import storage, tables, tokens
from tests.jobs.forgetful_disk import available, command, forgetful_disk
from tests.jobs.plain_retoucher import Plain, picture
from tests.jobs.servers import PATIENCE_S, free_port

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(not available(), reason="no file system in user space (fuse3)"),
]

DEMO = Path(__file__).parents[2] / "demo_images" / "freckles.jpg"
LEFT = ("flushed", "names")


@pytest.fixture
def disk(tmp_path: Path) -> Iterator[Path]:
    """A forgetful disk."""
    with forgetful_disk(tmp_path / "disk") as folder:
        yield folder


def wait_for(url: str) -> None:
    """Wait until a server answers."""
    deadline = time.monotonic() + PATIENCE_S
    while time.monotonic() < deadline:
        with suppress(httpx.HTTPError):
            if httpx.get(f"{url}/health").status_code == 200:
                return
        time.sleep(0.1)
    raise AssertionError("the server does not answer")


def test_what_was_acknowledged_is_there_after_a_power_cut(disk: Path, tmp_path: Path) -> None:
    records, files = addresses_in(disk / "data")
    place = Place.at(records, files, Plain())
    with place.database.writing() as session:
        _, secret = tokens.make(session, tokens.Scope.STUDIO, "test")
    place.database.close()
    port = free_port()
    url, headers = f"http://127.0.0.1:{port}", {"Authorization": f"Bearer {secret}"}
    web = subprocess.Popen(
        [sys.executable, "-m", "tests.jobs.plain_web", records, files, str(port)],
        stderr=subprocess.DEVNULL,
    )
    worker = subprocess.Popen(
        [sys.executable, "-m", "tests.jobs.plain_worker", records, files, "0", "5"],
        stderr=subprocess.DEVNULL,
    )
    acknowledged: list[tuple[Path, dict[str, bytes], str]] = []
    try:
        wait_for(url)
        with httpx.Client(base_url=url, headers=headers, timeout=PATIENCE_S) as http:
            shoot = http.post("/v1/shoots", json={"name": "Regatta"}).json()["id"]
            sent: dict[str, bytes] = {}
            for number in range(4):
                data = picture(300 + number)
                answer = http.post(f"/v1/shoots/{shoot}/portraits", content=data)
                assert answer.status_code == 201
                sent = sent | {hashlib.sha256(data).hexdigest(): data}
                command(disk, f"lay out {tmp_path / f'sent-{number}'}")
                acknowledged.append((tmp_path / f"sent-{number}", sent, ""))
            _until_done(http, shoot)
            job = http.post(f"/v1/portraits/{answer.json()['portrait']['id']}/final",
                            json={"override": "a test"}).json()["id"]  # fmt: skip
            _until_done(http, shoot)
            assert http.get(f"/v1/jobs/{job}").json()["state"] == "done"
            command(disk, f"lay out {tmp_path / 'final'}")
            acknowledged.append((tmp_path / "final", sent, job))
            gone = answer.json()["portrait"]["id"]
            assert http.delete(f"/v1/portraits/{gone}").status_code == 200
            command(disk, f"lay out {tmp_path / 'deleted'}")
    finally:
        for process in (web, worker):
            process.kill()
            process.wait()
    for folder, sent, job in acknowledged:
        for left in LEFT:
            _check(folder / left / "data", shoot, sent, job)
    for left in LEFT:
        place = Place.at(*addresses_in(tmp_path / "deleted" / left / "data"), Plain())
        with place.database.reading() as session:
            assert session.get(tables.Portrait, gone) is None
        place.database.close()
        bytes_ = [p.read_bytes() for p in (tmp_path / "deleted" / left).rglob("*") if p.is_file()]
        assert not any(data[100:200] in held for held in bytes_)


def _until_done(http: httpx.Client, shoot: str) -> None:
    deadline = time.monotonic() + PATIENCE_S
    while time.monotonic() < deadline:
        jobs = http.get(f"/v1/shoots/{shoot}/jobs").json()
        if all(job["state"] not in ("waiting", "running") for job in jobs):
            return
        time.sleep(0.2)
    raise AssertionError(jobs)


def _check(data: Path, shoot: str, sent: dict[str, bytes], job: str) -> None:
    place = Place.at(*addresses_in(data), Plain())
    with place.database.reading() as session:
        rows = session.scalars(
            select(tables.Portrait.sha256).where(tables.Portrait.shoot_id == shoot)
        ).all()
        assert set(rows) == set(sent), data
        if job:
            assert session.get_one(tables.Job, job).state == "done"
    for sha256, content in sent.items():
        assert place.files.read(shoot, sha256) == content, data
    assert list(storage.damaged(place.database, place.files)) == [], data
    place.database.close()


@pytest.mark.parametrize("again", [False, True])
def test_results_of_the_command_line_are_whole_at_every_moment(
    disk: Path, tmp_path: Path, again: bool
) -> None:
    """Where the report is, everything is, after a cut at any change of names or flush."""
    line = [sys.executable, "-m", "evenhand.cli", "retouch", str(DEMO)]
    line += ["--out", str(disk / "new" / "out")]
    environment = os.environ | {"PYTHONWARNINGS": "ignore"}
    if again:
        subprocess.run(line, check=True, capture_output=True, env=environment)
    command(disk, f"follow {tmp_path / 'moments'}")
    subprocess.run([*line, "--overwrite"], check=True, capture_output=True, env=environment)
    out = disk / "new" / "out"
    names = {p.relative_to(out): p.read_bytes() for p in out.rglob("*") if p.is_file()}
    assert len(names) > 4
    moments = sorted((tmp_path / "moments").iterdir())
    assert len(moments) > 8
    complete = 0
    for moment in moments:
        for left in LEFT:
            found = moment / left / "new" / "out"
            report = found / "freckles.report.json"
            if not report.exists() or not report.read_bytes():
                continue
            told = json.loads(report.read_bytes())
            result = (found / told["result"]["name"]).read_bytes()
            assert hashlib.sha256(result).hexdigest() == told["result"]["sha256"], moment
            mine = {name: (found / name).read_bytes() for name in names if (found / name).exists()}
            if mine == names:
                complete += 1
            else:
                assert again, moment  # an earlier run's, as whole as it was
    last = moments[-1] / "flushed" / "new" / "out"
    assert {name: (last / name).read_bytes() for name in names} == names
    assert complete
