"""Troubles that pass by themselves or by the studio's doing: a full disk, records or files away."""

from __future__ import annotations

import errno
from dataclasses import dataclass

from obstore.exceptions import BaseError
from sqlalchemy.exc import DataError, DBAPIError, IntegrityError, ProgrammingError

from evenhand.errors import NotWrittenError

AWAY = (DBAPIError, OSError, BaseError)
"""Errors of records and files that do not answer, or cannot be written."""

FAULTS = (DataError, IntegrityError, ProgrammingError)
"""Errors of the database that do not pass: the service asked for what cannot be."""

FULL = (errno.ENOSPC, errno.EDQUOT, errno.EFBIG)
NOT_WRITABLE = (errno.EROFS, errno.EACCES, errno.EPERM)
NEVER = (errno.ENAMETOOLONG, errno.EINVAL, errno.EISDIR, errno.ENOTDIR, errno.ELOOP)
"""Numbers of the file system's errors: that pass with space, with permission, and not at all."""


@dataclass(frozen=True)
class Outage:
    """Why nothing can be done just now.

    Attributes
    ----------
    trouble, advice : str
        Sentences for whoever waits.
    no_space : bool
        The disk is full.
    """

    trouble: str
    advice: str
    no_space: bool = False


DISK_FULL = Outage("The disk is full.", "Free some space; nothing else is needed.", no_space=True)
READ_ONLY = Outage(
    "The folder of records and files cannot be written.", "Allow writing to it again."
)
RECORDS_DAMAGED = Outage(
    "The records' database is damaged.", "Stop the service and restore it from a backup."
)
RECORDS_AWAY = Outage("The records do not answer just now.", "Look after the database.")
FILES_AWAY = Outage("The files do not answer just now.", "Look after the file store.")


def outage_of(error: BaseException) -> Outage | None:
    """The outage behind an error, None where waiting would not help.

    Libraries raise `OSError` for photographs that they cannot read, too; these bear no number.

    Parameters
    ----------
    error : BaseException

    Returns
    -------
    Outage or None
    """
    if isinstance(error, FAULTS):
        return None
    if isinstance(error, DBAPIError):
        return _of_records(str(error.orig).lower())
    if isinstance(error, BaseError):
        return _of_text(str(error).lower()) or FILES_AWAY
    if isinstance(error, OSError):
        return _of_number(error)
    if isinstance(error, NotWrittenError) and error.__cause__ is not None:
        return outage_of(error.__cause__)
    return None


def _of_number(error: OSError) -> Outage | None:
    if error.errno in NEVER:
        return None
    if error.errno in FULL:
        return DISK_FULL
    if error.errno in NOT_WRITABLE:
        return READ_ONLY
    told = _of_text(str(error).lower())
    if error.errno is None and not isinstance(error, ConnectionError | TimeoutError):
        return told
    return told or FILES_AWAY


def _of_records(text: str) -> Outage:
    if "malformed" in text or "not a database" in text:
        return RECORDS_DAMAGED
    return _of_text(text) or RECORDS_AWAY


def _of_text(text: str) -> Outage | None:
    if any(sign in text for sign in ("no space", "disk is full", "disk full", "quota")):
        return DISK_FULL
    if any(sign in text for sign in ("readonly", "read-only", "permission denied")):
        return READ_ONLY
    return None
