"""What exactly a portrait looks like at given choices, as a hash that any change changes."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from sqlalchemy.orm import Session

from evenhand.shoots.errors import StaleError
from evenhand.shoots.permissions import agreed_by_name
from evenhand.shoots.record import canonical
from evenhand.shoots.tables import Layer, Person, Portrait

Choices = Mapping[tuple[str, str], float]
"""Share of the photographer's strength that is chosen, by (person, step); 1 where nothing is."""


Agreed = Mapping[str, frozenset[str]]
"""Steps that each named person of a shoot agrees to now."""


@dataclass(frozen=True)
class Shown:
    """A layer as it enters a picture.

    Attributes
    ----------
    layer : Layer
    person : Person
    strength : float
        In [0, 1]: the photographer's strength times the chosen share of it.
    """

    layer: Layer
    person: Person
    strength: float


def shown(
    session: Session,
    portrait: Portrait,
    choices: Choices | None = None,
    agreed: Agreed | None = None,
) -> list[Shown]:
    """Layers that may be shown now, at their strengths, in order of person and step.

    A layer whose person no longer agrees to the step is left out, whatever else the records say.

    Parameters
    ----------
    session : Session
    portrait : Portrait
    choices : mapping of (str, str) to float, optional
        Strength by person and step that the client chose, a factor on the studio's; 1 where left
        out.
    agreed : mapping, optional
        What each person of the shoot agrees to, where it was just read.

    Returns
    -------
    list of Shown
    """
    choices = choices or {}
    by_name = agreed_by_name(session, portrait.shoot_id) if agreed is None else agreed
    return [
        Shown(layer, person, layer.strength * choices.get((person.id, layer.step), 1.0))
        for person in portrait.people
        for layer in sorted(person.layers, key=lambda layer: layer.step)
        if layer.step in by_name.get(person.name or "", frozenset())
    ]


def state_of(
    session: Session,
    portrait: Portrait,
    choices: Choices | None = None,
    agreed: Agreed | None = None,
) -> str:
    """SHA-256 of everything that decides what the portrait looks like at these choices.

    The original's hash, each layer's file, settings, cap and strength, and the decision on every
    mark. A sign-off whose state is another one by now is stale.

    Parameters
    ----------
    session : Session
    portrait : Portrait
    choices : mapping of (str, str) to float, optional
        Strength by person and step that the client chose, a factor on the studio's.
    agreed : mapping, optional
        What each person of the shoot agrees to, where it was just read.

    Returns
    -------
    str
        64 digits.
    """
    layers = [
        [
            item.person.id,
            item.layer.step,
            item.layer.sha256,
            item.layer.cap,
            item.layer.settings,
            round(item.layer.strength, 6),
            round(item.strength, 6),
        ]
        for item in shown(session, portrait, choices, agreed)
    ]
    marks = [
        [person.id, mark.number, mark.decision or mark.proposed]
        for person in portrait.people
        for mark in person.marks
    ]
    return hashlib.sha256(canonical([portrait.sha256, layers, marks])).hexdigest()


def rendering_of(state_sha256: str, image_sha256: str) -> str:
    """The hash a sign-off is bound to: of the state and of the very bytes that were looked at.

    Parameters
    ----------
    state_sha256 : str
        From `state_of`.
    image_sha256 : str
        Of the picture that is shown.

    Returns
    -------
    str
        64 digits.
    """
    return hashlib.sha256(canonical([state_sha256, image_sha256])).hexdigest()


def as_choices(rows: list[Any]) -> dict[tuple[str, str], float]:
    """Choices from the plain rows that a sign-off keeps.

    Parameters
    ----------
    rows : list of dict
        Person, step and strength.

    Returns
    -------
    dict of (str, str) to float
    """
    return {(row["person"], row["step"]): float(row["strength"]) for row in rows}


def state_as_looked_at(
    session: Session,
    portrait: Portrait,
    choices: list[Any],
    rendering: str,
    image_sha256: str,
    then: str,
) -> str:
    """Hash of a portrait's state, which must be what somebody looked at.

    Parameters
    ----------
    session : Session
    portrait : Portrait
    choices : sequence of dict
        Person, step and strength that it was looked at with.
    rendering : str
        The hash that came with the picture that was looked at.
    image_sha256 : str
        Of that picture as it is rendered now.
    then : str
        What to do after looking again, for the error.

    Returns
    -------
    str

    Raises
    ------
    StaleError
        What was looked at is no longer what there is.
    """
    state = state_of(session, portrait, as_choices(choices))
    if rendering_of(state, image_sha256) != rendering:
        raise StaleError(
            "The picture has changed since it was looked at.", f"Look again, then {then}."
        )
    return state
