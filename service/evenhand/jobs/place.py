"""Where a process keeps its records and files, and what it retouches with."""

from __future__ import annotations

import time
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import quote

from evenhand.jobs.retoucher import Engine, Retoucher
from evenhand.shoots.database import Database
from evenhand.shoots.errors import WrongAddressError
from evenhand.shoots.files import Files
from evenhand.shoots.outages import RECORDS_AWAY
from evenhand.shoots.studio_key import StudioKey

PATIENCE_S = 60.0
"""How long to wait for a database that is just starting, seconds."""


@dataclass(frozen=True)
class Place:
    """Records, files and the retoucher of one process."""

    database: Database
    files: Files
    retoucher: Retoucher

    @classmethod
    def at(
        cls,
        records: str,
        files: str,
        retoucher: Retoucher | None = None,
        scratch: Path | None = None,
    ) -> Place:
        """Open records and files by their addresses; creates and upgrades what is not there.

        Parameters
        ----------
        records, files : str
            Addresses.
        retoucher : Retoucher, optional
            The engine unless given.
        scratch : Path, optional
            Folder for temporary files; see `Files`.

        Returns
        -------
        Place

        Raises
        ------
        WrongAddressError
            An address cannot be used, or no records answer there for `PATIENCE_S`.
        """
        place = cls(Database(records), Files(files, scratch), retoucher or Engine())
        deadline = time.monotonic() + PATIENCE_S
        while (outage := place.database.outage()) is not None:
            if outage is not RECORDS_AWAY:
                raise WrongAddressError(outage.trouble, outage.advice)
            if time.monotonic() > deadline:
                raise WrongAddressError(
                    "The records do not answer.", "Start the database, or give another address."
                )
            time.sleep(1)
        place.database.key = StudioKey.of(place.files)
        place.database.upgrade()
        return place

    @property
    def steps(self) -> tuple[str, ...]:
        """Names of the steps, in the order in which they run."""
        return tuple(self.retoucher.settings())


def addresses_in(folder: Path) -> tuple[str, str]:
    """Addresses of records and files in one folder: what is used where none are given.

    Parameters
    ----------
    folder : path

    Returns
    -------
    records, files : str
    """
    folder = folder.resolve()
    return f"sqlite:///{folder / 'records.sqlite'}", f"file://{quote(str(folder / 'files'))}"
