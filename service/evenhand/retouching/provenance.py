"""Results that say what was done to them: history and source type in XMP, credentials if signed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from pathlib import Path

from evenhand import __version__, photo
from evenhand.colour.encoding import CodeValues
from evenhand.layers.blending import strengths_of
from evenhand.layers.layer import Layer
from evenhand.photo.credentials import Certificate, sign
from evenhand.photo.photograph import Photograph

SOFTWARE = ("Evenhand", __version__)
"""Name and version that results give."""


def write_result(
    pixels: CodeValues,
    photograph: Photograph,
    path: Path,
    layers: Sequence[Layer],
    strengths: Mapping[str, float] | Sequence[float],
    certificate: Certificate | None = None,
    when: datetime | None = None,
) -> None:
    """Write a result that says which layers were applied, and sign it if a certificate is given.

    Parameters
    ----------
    pixels : ndarray like `photograph.pixels`
        The result, upright.
    photograph : Photograph
        The original; a signed result needs its file.
    path : Path
        Where to write.
    layers, strengths
        What was blended, as for `evenhand.layers.blend`.
    certificate : Certificate, optional
        Whose signature.
    when : datetime, optional
        Time of the history's entry, with its time zone; now unless given.

    Raises
    ------
    NotWrittenError, WrongSettingError
        As `evenhand.photo.write` and `evenhand.photo.credentials.sign` raise them.
    """
    photo.write(pixels, photograph, path, edit=edit_of(layers, strengths, when))
    if certificate is not None:
        assert photograph.path is not None
        steps = list(dict.fromkeys(layer.step for layer, _ in _applied(layers, strengths)))
        sign(path, photograph.path, steps, SOFTWARE, certificate)


def edit_of(
    layers: Sequence[Layer],
    strengths: Mapping[str, float] | Sequence[float],
    when: datetime | None = None,
) -> photo.Edit | None:
    """Entry of the history for layers at their strengths; None where nothing is applied.

    Parameters
    ----------
    layers : sequence of Layer
    strengths : mapping of step to float, or sequence of float
        In [0, 1]: one for each step, or one for each layer in order.
    when : datetime, optional
        With a time zone; now, if left out.

    Returns
    -------
    Edit or None

    Raises
    ------
    WrongSettingError
        A layer has no strength, or one outside [0, 1].
    """
    applied = _applied(layers, strengths)
    if not applied:
        return None
    people = {layer.person for layer, _ in applied}
    done = dict.fromkeys(
        f"{layer.step} {strength:g}" + (f" on person {layer.person}" if len(people) > 1 else "")
        for layer, strength in applied
    )
    return photo.Edit(when or datetime.now(UTC), " ".join(SOFTWARE), ", ".join(done))


def taking_off(layers: Sequence[Layer], *, whole: bool, when: datetime | None = None) -> photo.Edit:
    """Entry of the history for layers taken off again, wholly or nearly.

    Parameters
    ----------
    layers : sequence of Layer
        What is taken off.
    whole : bool
        The original came back bit for bit.
    when : datetime, optional
        With a time zone; now, if left out.

    Returns
    -------
    Edit
    """
    steps = ", ".join(dict.fromkeys(layer.step for layer in layers)) or "none"
    return photo.Edit(
        when or datetime.now(UTC),
        " ".join(SOFTWARE),
        f"layers taken off: {steps}",
        enhanced=not whole,
    )


def _applied(
    layers: Sequence[Layer], strengths: Mapping[str, float] | Sequence[float]
) -> list[tuple[Layer, float]]:
    """Layers that change anything, with their strengths."""
    values = strengths_of(layers, strengths)
    return [
        (layer, strength)
        for layer, strength in zip(layers, values, strict=True)
        if strength > 0 and layer.box.area
    ]
