"""A clock that is wrong, for processes that tests start."""

from __future__ import annotations

import os
from datetime import datetime, timedelta
from typing import Any

from evenhand.shoots import tables

HOURS = "EVENHAND_TEST_CLOCK_HOURS"
"""In the environment: by how many hours the records' clock is wrong."""


def set_clock() -> None:
    """Set the clock that the records read, as the environment says."""
    hours = float(os.environ.get(HOURS, "0"))

    class Wrong(datetime):
        @classmethod
        def now(cls, tz: Any = None) -> datetime:
            return datetime.now(tz) + timedelta(hours=hours)

    if hours:
        tables.datetime = Wrong  # type: ignore[misc]
