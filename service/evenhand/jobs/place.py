"""Where a process keeps its records and files, and what it retouches with."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from evenhand.jobs.retoucher import Engine, Retoucher
from evenhand.shoots.database import Database
from evenhand.shoots.files import Files


@dataclass(frozen=True)
class Place:
    """Records, files and the retoucher of one process."""

    database: Database
    files: Files
    retoucher: Retoucher

    @classmethod
    def at(cls, records: str, files: str, retoucher: Retoucher | None = None) -> Place:
        """Open records and files by their addresses; creates and upgrades what is not there."""
        place = cls(Database(records), Files(files), retoucher or Engine())
        place.database.upgrade()
        return place

    @property
    def steps(self) -> tuple[str, ...]:
        """Names of the steps, in the order in which they run."""
        return tuple(self.retoucher.settings())


def addresses_in(folder: Path) -> tuple[str, str]:
    """Addresses of records and files in one folder: what is used where none are given."""
    folder = folder.resolve()
    return f"sqlite:///{folder / 'records.sqlite'}", f"file://{folder / 'files'}"
