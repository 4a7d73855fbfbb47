"""Jobs as a client follows them: server-sent events (WHATWG HTML, section 9.2), cancel, retry."""

from __future__ import annotations

import json

from tests.jobs.fixtures import Studio
from tests.jobs.plain_retoucher import picture


def test_progress_comes_as_events_until_the_job_is_over(studio: Studio) -> None:
    shoot = studio.shoot()
    added = studio.post(f"/v1/shoots/{shoot}/portraits", content=picture(60))
    with studio.http.stream("GET", f"/v1/jobs/{added['job']}/events") as stream:
        assert stream.headers["Content-Type"].startswith("text/event-stream")
        blocks = "".join(stream.iter_text()).split("\n\n")
    events = [
        json.loads(line.removeprefix("data:"))
        for block in blocks
        for line in block.splitlines()
        if line.startswith("data:")
    ]
    assert all("event: progress" in block for block in blocks if "data:" in block)
    assert events[-1]["state"] == "done"
    progress = [event["progress"] for event in events]
    assert progress == sorted(progress)
    assert progress[-1] == 1.0


def test_a_job_that_is_over_cannot_be_cancelled_or_tried_again(studio: Studio) -> None:
    shoot = studio.shoot()
    added = studio.post(f"/v1/shoots/{shoot}/portraits", content=picture(61))
    studio.wait(added["job"])
    for action in ("cancel", "retry"):
        refused = studio.http.post(f"/v1/jobs/{added['job']}/{action}")
        assert refused.status_code == 409


def test_jobs_can_be_listed_by_state(studio: Studio) -> None:
    shoot = studio.shoot()
    studio.portrait(shoot, seed=62)
    done = studio.get(f"/v1/shoots/{shoot}/jobs?state=done")
    assert [job["kind"] for job in done] == ["find people"]
    assert studio.get(f"/v1/shoots/{shoot}/jobs?state=failed") == []
