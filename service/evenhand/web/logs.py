"""Structured logs: one JSON object a line on standard error, without pictures, names or tokens."""

from __future__ import annotations

import logging
import sys
import threading
import time

import structlog

MOST_A_MINUTE = 30
"""Lines of one kind in a minute: warnings of the same place in a library, refusals of one status.
What is left out is counted in the next line that is not."""

REFUSALS = (400, 401, 403, 404, 408, 413, 422, 429)
"""Statuses that anybody can provoke without a token."""

KINDS_KEPT = 1000
"""Kinds of lines that are counted at a time."""


class Sparing:
    """Says which lines are written; one burst of a kind must not fill the disk."""

    def __init__(self) -> None:
        self.lock = threading.Lock()
        self.minute = 0
        self.lines: dict[object, int] = {}
        self.left_out = 0

    def left_out_before(self, kind: object) -> int | None:
        """How many lines were left out before this one; None where it is left out itself.

        Parameters
        ----------
        kind : object
            Hashable: lines of one kind are counted together.

        Returns
        -------
        int or None
        """
        with self.lock:
            minute = int(time.monotonic() / 60)
            if minute != self.minute or len(self.lines) > KINDS_KEPT:
                self.minute, self.lines = minute, {}
            self.lines[kind] = self.lines.get(kind, 0) + 1
            if self.lines[kind] > MOST_A_MINUTE:
                self.left_out += 1
                return None
            before, self.left_out = self.left_out, 0
            return before


SPARING = Sparing()


def spare_refusals(
    _: object, __: str, event: structlog.typing.EventDict
) -> structlog.typing.EventDict:
    """Leave out requests that were refused like many before.

    Parameters
    ----------
    event : dict
        The line, with the `status` of a request.

    Returns
    -------
    dict
        The same, with how many were left out before it.

    Raises
    ------
    structlog.DropEvent
        The line is to be left out.
    """
    if event.get("status") not in REFUSALS:
        return event
    before = SPARING.left_out_before(event["status"])
    if before is None:
        raise structlog.DropEvent
    if before:
        event["left_out"] = before
    return event


class SpareLibraries(logging.Filter):
    """Leaves out warnings of libraries that come from the same place as many before."""

    def filter(self, record: logging.LogRecord) -> bool:
        """Whether to write it.

        Parameters
        ----------
        record : logging.LogRecord
            Told how many lines were left out before it.

        Returns
        -------
        bool
        """
        before = SPARING.left_out_before((record.name, record.pathname, record.lineno))
        if before:
            record.msg = f"{record.msg} ({before} lines left out before)"
        return before is not None


def configure(level: int = logging.INFO) -> None:
    """Send the service's logs, and warnings of the libraries, to standard error as JSON.

    Parameters
    ----------
    level : int
        Of the service's own lines; the libraries' warnings are written whatever it is.
    """
    shared: list[structlog.typing.Processor] = [
        structlog.contextvars.merge_contextvars,
        structlog.processors.add_log_level,
        structlog.processors.TimeStamper(fmt="iso", utc=True),
        structlog.processors.format_exc_info,
    ]
    structlog.configure(
        processors=[spare_refusals, *shared, structlog.processors.JSONRenderer()],
        wrapper_class=structlog.make_filtering_bound_logger(level),
        logger_factory=structlog.PrintLoggerFactory(sys.stderr),
        cache_logger_on_first_use=True,
    )
    handler = logging.StreamHandler(sys.stderr)
    handler.setFormatter(
        structlog.stdlib.ProcessorFormatter(
            processors=[
                structlog.stdlib.ProcessorFormatter.remove_processors_meta,
                structlog.processors.JSONRenderer(),
            ],
            foreign_pre_chain=[*shared, structlog.stdlib.add_logger_name],
        )
    )
    handler.addFilter(SpareLibraries())
    root = logging.getLogger()
    root.handlers[:] = [handler]
    root.setLevel(logging.WARNING)
