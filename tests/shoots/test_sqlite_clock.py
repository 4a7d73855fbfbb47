"""SQLite tells fractions of a second, however old its library is."""

import time
from pathlib import Path

from sqlalchemy import create_engine, text

from evenhand.shoots.database import Database


def test_any_engine_of_the_process_tells_fractions(tmp_path: Path) -> None:
    Database(f"sqlite:///{tmp_path}/records.sqlite").close()
    engine = create_engine(f"sqlite:///{tmp_path}/other.sqlite")
    with engine.begin() as connection:
        # The default as DBOS writes it into its tables.
        connection.execute(
            text(
                "CREATE TABLE run (id INTEGER, "
                "at INTEGER NOT NULL DEFAULT (unixepoch('subsec') * 1000))"
            )
        )
        before = time.time() * 1000
        connection.execute(text("INSERT INTO run (id) VALUES (1)"))
        at = connection.execute(text("SELECT at FROM run")).scalar_one()
    engine.dispose()
    assert before - 1 <= at <= time.time() * 1000 + 1
