"""Names of files: from a pattern, safe on every system, never a path."""

from __future__ import annotations

import re
import unicodedata
from pathlib import PurePosixPath, PureWindowsPath

from evenhand.errors import WrongSettingError

FIELDS = ("shoot", "portrait", "number")
"""What a pattern may name between braces."""

LONGEST = 180
"""Bytes, in UTF-8, of a name without its ending: 255 are allowed with what may be added to it."""


def file_name(pattern: str, *, shoot: str, portrait: str, number: int) -> str:
    """A file name without ending: ``{shoot}-{number}`` gives ``regatta-001``.

    Parameters
    ----------
    pattern : str
        Plain text and the names of `FIELDS` in braces.
    shoot, portrait : str
        Names as people wrote them.
    number : int
        Three digits at least.

    Returns
    -------
    str
        As `safe` gives it.

    Raises
    ------
    WrongSettingError
        The pattern names something else, or gives an empty name.
    """
    check_pattern(pattern)
    values = {"shoot": shoot, "portrait": stem(portrait), "number": f"{number:03d}"}
    name = re.sub(r"\{(\w+)\}", lambda field: values[field[1]], pattern)
    return safe(name)


def check_pattern(pattern: str) -> None:
    """Make sure that a pattern can be used.

    Parameters
    ----------
    pattern : str

    Raises
    ------
    WrongSettingError
        It names something else than `FIELDS`, has a stray brace, or is empty.
    """
    unknown = [name for name in re.findall(r"\{([^}]*)\}", pattern) if name not in FIELDS]
    rest = re.sub(r"\{\w+\}", "", pattern)
    if unknown or "{" in rest or "}" in rest or not pattern.strip():
        raise WrongSettingError(
            f"The name pattern {pattern!r} cannot be used.",
            f"Use plain text and {', '.join('{' + name + '}' for name in FIELDS)}.",
        )


def base(name: str) -> str:
    """The last part of whatever path a client sent along, for showing only.

    Parameters
    ----------
    name : str

    Returns
    -------
    str
        Without control characters, 1 to 255 characters; "portrait" where nothing is left.
    """
    last = PurePosixPath(PureWindowsPath(name).name).name
    shown = "".join(c for c in last if unicodedata.category(c)[0] != "C").strip()
    return shown[:255] or "portrait"


def stem(name: str) -> str:
    """A name without its ending.

    Parameters
    ----------
    name : str
        Or a path.

    Returns
    -------
    str
    """
    return base(name).rpartition(".")[0] or base(name)


def safe(name: str) -> str:
    """Letters, digits, dots, dashes and underscores; anything else becomes a dash.

    Parameters
    ----------
    name : str

    Returns
    -------
    str
        At most `LONGEST` bytes of UTF-8; "portrait" where nothing is left.
    """
    plain = unicodedata.normalize("NFC", name)
    plain = re.sub(r"[^\w.-]+", "-", plain).strip("-. ")
    plain = plain.encode()[:LONGEST].decode(errors="ignore").rstrip("-. ")
    return plain or "portrait"
