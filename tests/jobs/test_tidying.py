"""What is tidied once an hour, and what is left alone."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path
from types import SimpleNamespace

import pytest

from evenhand.jobs import queue
from evenhand.jobs.job import Kind
from evenhand.jobs.tidying import fail_lost_jobs, forget_old_runs, tidy
from evenhand.shoots import tables
from tests.jobs.fixtures import Studio, runs


def test_old_runs_are_forgotten_and_their_jobs_stay(studio: Studio) -> None:
    shoot = studio.shoot()
    studio.portrait(shoot, seed=80)
    job = studio.get(f"/v1/shoots/{shoot}/jobs")[0]["id"]
    assert forget_old_runs() == 0
    assert runs(job) == [job]
    assert forget_old_runs(timedelta(seconds=-60)) >= 1
    assert runs(job) == []
    assert studio.get(f"/v1/jobs/{job}")["state"] == "done"


def test_a_job_whose_run_ended_without_it_fails(studio: Studio) -> None:
    shoot = studio.shoot()
    portrait = studio.portrait(shoot, seed=81)
    ended = studio.get(f"/v1/shoots/{shoot}/jobs")[0]["id"]
    with studio.place.database.writing() as session:
        job = session.get_one(tables.Job, ended)
        job.state, job.created_at = "running", tables.now() - timedelta(hours=2)
        young = tables.Job(
            shoot_id=shoot, portrait_id=portrait, kind=Kind.FIND.value, state="waiting"
        )
        session.add(young)
    assert fail_lost_jobs(studio.place) == 1
    assert studio.get(f"/v1/jobs/{ended}")["state"] == "failed"
    assert studio.get(f"/v1/jobs/{young.id}")["state"] == "waiting"


def test_a_deletion_that_was_broken_off_goes_on(studio: Studio) -> None:
    shoot = studio.shoot()
    studio.portrait(shoot, seed=82)
    with studio.place.database.writing() as session:
        session.get_one(tables.Shoot, shoot).deleting_at = tables.now()
    assert studio.http.get(f"/v1/shoots/{shoot}").status_code == 404
    assert tidy(studio.place)["deletions"] == 1
    assert list(studio.place.files.listing(shoot)) == []
    with studio.place.database.reading() as session:
        assert session.get(tables.Shoot, shoot) is None


def test_what_is_in_use_stays(studio: Studio) -> None:
    shoot = studio.shoot()
    studio.portrait(shoot, seed=83)
    before = sorted(studio.place.files.listing(shoot))
    tidy(studio.place)
    assert sorted(studio.place.files.listing(shoot)) == before


def test_parts_of_an_upload_that_nobody_knows_go(studio: Studio, tmp_path: Path) -> None:
    """As a process leaves them that is killed between a part and its entry, and then the upload."""
    shoot = studio.shoot()
    begun = studio.http.post(
        f"/v1/shoots/{shoot}/uploads", headers={"Tus-Resumable": "1.0.0", "Upload-Length": "100"}
    )
    known = begun.headers["Location"].rpartition("/")[2]
    part = tmp_path / "part"
    part.write_bytes(b"half an original")
    for upload in (known, "f" * 32):
        studio.place.files.put_part(shoot, upload, "part", part)
    tidy(studio.place)
    left = [name for _, name, _, _ in studio.place.files.listing(shoot)]
    assert left == [f"uploads/{known}/part"]


def test_a_clock_that_is_set_makes_nobody_silent(monkeypatch: pytest.MonkeyPatch) -> None:
    """Workers are watched by a clock that nobody sets; their own may jump by hours."""
    clock = SimpleNamespace(now=0.0, monotonic=lambda: clock.now)
    monkeypatch.setattr(queue, "time", clock)
    watch, told = queue.Watch(), tables.now()
    for beat in range(60):
        clock.now += queue.ALIVE_EVERY_S
        jump = timedelta(hours=-1 if beat % 2 else 1)
        seen = {"alive": told + jump + timedelta(seconds=beat), "dead": told}
        silent = watch.silent(seen)
        assert "alive" not in silent
        assert ("dead" in silent) == (clock.now > queue.DEAD_AFTER_S + queue.ALIVE_EVERY_S)
    clock.now += 600  # this process itself was held up: nobody is silent because of that
    assert watch.silent({"alive": told}) == []
