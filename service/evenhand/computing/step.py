"""A step as the engine runs it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Protocol

from evenhand.people.person import Alpha
from evenhand.steps.gain import Gain
from evenhand.steps.patch import Change, SkinPatch


class Chosen(Protocol):
    """What the settings of every step hold; the model of each has more."""

    @property
    def strength(self) -> float:
        """How much of the layer the result gets, 0 to 1."""

    @property
    def cap(self) -> float:
        """Largest CIEDE2000 (D65) that the layer may make to any pixel."""

    def model_dump(self) -> dict[str, Any]:
        """All settings as plain values."""


def on_skin(patch: SkinPatch) -> Alpha:
    """Mask of a step that changes skin, float32 in [0, 1], shape (height, width).

    Parameters
    ----------
    patch : SkinPatch
        A person and their surroundings.

    Returns
    -------
    ndarray of float32, shape (height, width)
    """
    return patch.skin


@dataclass(frozen=True)
class Step:
    """A step as the engine runs it.

    Attributes
    ----------
    name : str
        Of the layers it makes.
    run : callable
        The step: a patch and its settings in, the wanted change out.
    where : callable
        Mask inside which the step may change the patch; None where the person lacks what the step
        works on, so that it is left out.
    settings : Chosen or None
        What a step of your own runs with, a pydantic model with `strength` and `cap`; None for
        those that `RetouchSettings` has a field for.
    whole_frame : bool
        The step is given the whole photograph instead of the person's surroundings, as the
        photograph is: it sees nothing of the other steps.

    Examples
    --------
    A step of your own that makes skin a little brighter:

    >>> import evenhand
    >>> def brighter(patch, settings):
    ...     return evenhand.Change(patch.linear * (1 + 0.1 * patch.skin[..., None]))
    >>> step = evenhand.Step("brighter", brighter, settings=evenhand.SmoothingSettings(cap=3))
    >>> [layer] = evenhand.compute_layers(
    ...     photo, people, evenhand.RetouchSettings(steps=()), further=[step]
    ... )
    >>> layer.step, layer.cap
    ('brighter', 3.0)
    """

    name: str
    run: Callable[[SkinPatch, Any], Change | Gain]
    where: Callable[[SkinPatch], Alpha | None] = on_skin
    settings: Chosen | None = None
    whole_frame: bool = False
