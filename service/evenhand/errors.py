"""Everything that can go wrong in a way the user can mend, one class for each kind."""

from __future__ import annotations

from typing import Self


class EvenhandError(Exception):
    """Base of all errors that name the trouble and say what to do about it.

    Parameters
    ----------
    trouble : str
        What is wrong, naming the file or the value.
    advice : str
        What the user can do.

    Examples
    --------
    >>> import evenhand
    >>> try:
    ...     evenhand.read("no such file.jpg")
    ... except evenhand.EvenhandError as error:
    ...     print(type(error).__name__)
    UnreadablePhotographError
    """

    def __init__(self, trouble: str, advice: str) -> None:
        super().__init__(f"{trouble} {advice}")
        self.trouble = trouble
        self.advice = advice

    def __reduce__(self) -> tuple[type[Self], tuple[str, str]]:
        """Say how it is made again in another process."""
        return type(self), (self.trouble, self.advice)


class UnreadablePhotographError(EvenhandError):
    """The file is not a photograph that can be read: broken, empty, or of another kind."""


class UnsupportedPhotographError(EvenhandError):
    """The file is sound, but of a form Evenhand does not retouch: CMYK, greyscale, animated."""


class PhotographTooLargeError(EvenhandError):
    """The photograph has more pixels than the limit allows."""


class NotWrittenError(EvenhandError):
    """A result could not be written, or would have replaced an existing one."""


class WrongPhotographError(EvenhandError):
    """A layer set was opened against another photograph than the one it was made from."""


class BrokenLayersError(EvenhandError):
    """A layer set is incomplete, changed, or of an unknown version."""


class WrongSettingError(EvenhandError):
    """A setting is unknown or outside its limits."""


class MissingNetworkError(EvenhandError):
    """A network's weights are absent or damaged: the installation is incomplete."""
