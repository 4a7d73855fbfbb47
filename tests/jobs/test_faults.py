"""A short form of the fault test; ``python -m tests.jobs.faults`` is the long one."""

from __future__ import annotations

import pytest

from tests.jobs.faults import run
from tests.jobs.servers import postgres_programs


@pytest.mark.skipif(postgres_programs() is None, reason="PostgreSQL is not installed")
def test_nothing_is_lost_done_twice_or_left_behind() -> None:
    counted = run(jobs=8, on="servers", seed=4)
    assert counted.jobs == 8
    assert counted.kills.total() >= 2
    assert counted.sound, vars(counted)
