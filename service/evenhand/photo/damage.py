"""The error for files that are broken, whatever their format."""

from __future__ import annotations

from evenhand.errors import UnreadablePhotographError


def damaged(trouble: str) -> UnreadablePhotographError:
    """The error to raise for a damaged or truncated file; `trouble` names it and says what.

    Parameters
    ----------
    trouble : str
        A sentence.

    Returns
    -------
    UnreadablePhotographError
        To be raised by the caller.
    """
    return UnreadablePhotographError(trouble, "Copy it again from the card or the backup.")
