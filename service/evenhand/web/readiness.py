"""Whether the service can do what it is for: read, write, and find room."""

from __future__ import annotations

import threading
import time

from evenhand.jobs.place import Place
from evenhand.shoots.files import LEAST_FREE

KEPT_S = 2.0
"""How long an answer is given again, so that nobody keeps the disk busy by asking, seconds."""


class Readiness:
    """What `/ready` answers."""

    def __init__(self, place: Place) -> None:
        self.place = place
        self.lock = threading.Lock()
        self.answers: dict[str, bool] = {}
        self.at = 0.0

    def now(self) -> dict[str, bool]:
        """Records and files, each whether it can be written; and whether the disk has room."""
        with self.lock:
            if not self.answers or time.monotonic() - self.at > KEPT_S:
                free = self.place.files.free()
                self.answers = {
                    "records": self.place.database.can_write(),
                    "files": self.place.files.answers() and self.place.files.can_write(),
                    "space": free is None or free >= LEAST_FREE,
                }
                self.at = time.monotonic()
            return self.answers
