"""The time of day with fractions, for SQLite libraries too old to tell it.

DBOS on Python 3.12 asks SQLite for ``unixepoch('subsec')``, which SQLite answers from 3.42 on; the
library of Debian 12 is 3.40 and answers NULL.
"""

from __future__ import annotations

import sqlite3
import time
from typing import Any

from sqlalchemy import Engine, event

TELLS_FRACTIONS = (3, 42, 0)
"""First SQLite with the modifier 'subsec' (its release notes, 2023-05-16)."""


def tell_fractions() -> None:
    """Make every SQLite connection of this process answer ``unixepoch('subsec')``."""
    known = event.contains(Engine, "connect", _prepare)
    if sqlite3.sqlite_version_info < TELLS_FRACTIONS and not known:
        event.listen(Engine, "connect", _prepare)


def _prepare(connection: Any, _: Any) -> None:
    if isinstance(connection, sqlite3.Connection):
        connection.create_function("unixepoch", 1, _unixepoch)


def _unixepoch(modifier: str) -> float:
    """Seconds since 1970; whole ones unless asked for fractions."""
    if modifier in ("subsec", "subsecond"):
        return time.time()
    if modifier == "now":
        return int(time.time())
    raise ValueError(f"unixepoch({modifier!r}) is not answered here")
