"""What can go wrong with a shoot's records in a way the user can mend, one class for each kind."""

from __future__ import annotations

from evenhand.errors import EvenhandError


class NotFoundError(EvenhandError):
    """There is nothing of that name here, or this token may not know of it."""


class NoPermissionError(EvenhandError):
    """The person has not agreed to the step, or no longer does."""


class GuardianNeededError(EvenhandError):
    """The person is a child, and nobody says which guardian agreed."""


class StaleError(EvenhandError):
    """Picture, layers or settings are no longer those that were shown."""


class NoSignOffError(EvenhandError):
    """There is no valid sign-off for what is asked."""


class LockedError(EvenhandError):
    """The portrait is signed, and was not unlocked."""


class NotReadyError(EvenhandError):
    """Something must be computed first."""


class ConflictError(EvenhandError):
    """What is asked contradicts what is recorded."""


class TokenRefusedError(EvenhandError):
    """The token is missing, unknown, expired or revoked."""


class OutOfScopeError(EvenhandError):
    """The token is good, but not for this."""


class UploadTooLargeError(EvenhandError):
    """The file is larger than uploads may be."""


class BrokenOffError(EvenhandError):
    """The connection ended before the whole file had come."""


class WrongOffsetError(EvenhandError):
    """The part does not begin where the upload stands."""


class WrongChecksumError(EvenhandError):
    """The bytes that came are not those that were announced."""


class UploadGoneError(EvenhandError):
    """The upload was finished, ended or has expired."""


class DamagedFileError(EvenhandError):
    """A stored file is missing or its bytes have changed."""


class WrongAddressError(EvenhandError):
    """The address of the records or the files cannot be used."""


class BackupError(EvenhandError):
    """A backup cannot be written, read or restored."""
