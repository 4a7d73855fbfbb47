"""A short form of the fault test; ``python -m tests.jobs.faults`` is the long one."""

from __future__ import annotations

import pytest

from tests.jobs.faults import run
from tests.jobs.forgetful_disk import available
from tests.jobs.servers import postgres_programs

pytestmark = pytest.mark.slow


@pytest.mark.parametrize("on", ["servers", "disk"])
def test_nothing_is_lost_done_twice_or_left_behind(on: str) -> None:
    if on == "servers" and postgres_programs() is None:
        pytest.skip("PostgreSQL is not installed")
    if on == "disk" and not available():
        pytest.skip("no file system in user space (fuse3)")
    counted = run(jobs=8, on=on, seed=4)
    assert counted.jobs == 8
    assert counted.faults.total() >= 2
    assert counted.sound, vars(counted)
