"""What a portrait's layers are computed from, and whether they still are."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from sqlalchemy.orm import Session

from evenhand.shoots.permissions import LASTING_MARKS, agreed_by_name
from evenhand.shoots.record import canonical
from evenhand.shoots.tables import Person, Portrait

MARKS = "marks"
"""Name of the step whose settings the decisions on single marks go into."""


LASTING = "lasting"
"""Kind of a mark that stays with a person."""


LEAST_CONFIDENCE = 0.5
"""A mark that is passing with less confidence than this is as likely a lasting one, and stays."""


REDNESS = "redness"
"""Name of the step that may compare with an earlier portrait."""

BEFORE_BURN = "before_burn"
"""Setting of that step: which portrait of the shoot shows the same person before the burn."""

TONE = "tone"
"""Name of the step that matches a whole portrait to another of the same person."""

REFERENCE = "reference"
"""Setting of that step: the portrait of the shoot in which the person's skin is as it should be."""


Edits = tuple[tuple[str, str, str], ...]
"""Region, paint and SHA-256 of what was painted, in order."""


@dataclass(frozen=True)
class EarlierInputs:
    """The same person in another portrait: before the burn, or as their skin should look.

    Attributes
    ----------
    name, photograph_sha256 : str
        Of the portrait's file.
    sha256 : str
        Of the file with the person's masks and face geometry.
    edits : tuple of (region, paint, sha256)
        What was painted into or out of masks, in order.
    """

    name: str
    photograph_sha256: str
    sha256: str
    edits: Edits


@dataclass(frozen=True)
class PersonInputs:
    """What the layers of one person are computed from.

    Attributes
    ----------
    person_id : str
    index : int
        Number in the photograph.
    sha256 : str
        Of the file with masks and face geometry.
    edits : tuple of (region, paint, sha256)
        What was painted into or out of masks, in order.
    steps : dict of step to settings
        Only what the person agreed to.
    before_burn : EarlierInputs or None
        The same person before the burn, where the photographer named such a portrait and it still
        shows them.
    tone_of : EarlierInputs or None
        The same person as their skin should look, where the photographer named such a portrait and
        nobody else is in this one.
    """

    person_id: str
    index: int
    sha256: str
    edits: Edits
    steps: dict[str, dict[str, Any]]
    before_burn: EarlierInputs | None = None
    tone_of: EarlierInputs | None = None


@dataclass(frozen=True)
class Inputs:
    """What the layers of a portrait are computed from."""

    portrait_id: str
    shoot_id: str
    name: str
    sha256: str
    people: tuple[PersonInputs, ...]

    @property
    def wanted(self) -> bool:
        """Whether anybody agreed to anything."""
        return any(person.steps for person in self.people)

    @property
    def key(self) -> str:
        """A hash that changes when anything here does."""
        people: list[list[Any]] = [[p.index, p.sha256, p.edits, p.steps] for p in self.people]
        for person, inputs in zip(self.people, people, strict=True):
            if person.before_burn is not None:
                inputs.append(vars(person.before_burn))
            if person.tone_of is not None:
                inputs.append([TONE, vars(person.tone_of)])
        return hashlib.sha256(canonical([self.sha256, people])).hexdigest()


def inputs_of(
    session: Session,
    portrait: Portrait,
    steps: tuple[str, ...],
    agreed: Mapping[str, frozenset[str]] | None = None,
) -> Inputs:
    """Inputs of a portrait's layers as the records stand.

    Parameters
    ----------
    session : Session
    portrait : Portrait
    steps : tuple of str
        Steps that the engine knows, in order.
    agreed : mapping, optional
        What each person of the shoot agrees to, where it was just read.

    Returns
    -------
    Inputs
    """
    by_name = agreed_by_name(session, portrait.shoot_id) if agreed is None else agreed
    people = []
    for person in portrait.people:
        mine = by_name.get(person.name or "", frozenset())
        wanted = {
            step: settings_of(person, step, lasting=LASTING_MARKS in mine)
            for step in steps
            if step in mine
        }
        earlier = _elsewhere(session, person, REDNESS, BEFORE_BURN) if REDNESS in wanted else None
        alone = TONE in wanted and len(portrait.people) == 1
        tone_of = _elsewhere(session, person, TONE, REFERENCE) if alone else None
        if tone_of is None:
            wanted.pop(TONE, None)
        people.append(
            PersonInputs(
                person.id, person.index, person.sha256, _edits(person), wanted, earlier, tone_of
            )
        )
    return Inputs(portrait.id, portrait.shoot_id, portrait.name, portrait.sha256, tuple(people))


def same_person_in(session: Session, person: Person, portrait_id: str) -> Person | None:
    """The person of the same name in another portrait of the shoot; None where there is none.

    Parameters
    ----------
    session : Session
    person : Person
    portrait_id : str

    Returns
    -------
    Person or None
    """
    portrait = session.get(Portrait, portrait_id)
    if portrait is None or portrait.shoot_id != person.portrait.shoot_id or person.name is None:
        return None
    if portrait.id == person.portrait_id:
        return None
    return next((one for one in portrait.people if one.name == person.name), None)


def _elsewhere(session: Session, person: Person, step: str, setting: str) -> EarlierInputs | None:
    """The person in the portrait that the photographer named, while it still shows them."""
    portrait_id = person.settings.get(step, {}).get(setting)
    earlier = same_person_in(session, person, portrait_id) if portrait_id else None
    if earlier is None:
        return None
    portrait = earlier.portrait
    return EarlierInputs(portrait.name, portrait.sha256, earlier.sha256, _edits(earlier))


def _edits(person: Person) -> Edits:
    return tuple((edit.region, edit.paint, edit.sha256) for edit in person.edits)


def settings_of(person: Person, step: str, *, lasting: bool) -> dict[str, Any]:
    """A step's settings for a person: what the photographer set, and the decisions on marks.

    Strength is left out: choosing it computes nothing anew. So is which other portrait is compared
    with: what it shows is an input of its own.

    Parameters
    ----------
    person : Person
    step : str
    lasting : bool
        The person agrees to the removal of lasting marks.

    Returns
    -------
    dict
        Plain values.
    """
    own = ("strength", BEFORE_BURN, REFERENCE)
    settings = {k: v for k, v in person.settings.get(step, {}).items() if k not in own}
    if step == MARKS:
        decided = {mark: mark.decision for mark in person.marks if mark.decision}
        settings["kept"] = sorted(
            mark.number for mark, decision in decided.items() if decision == "keep"
        )
        settings["lasting_removed"] = sorted(
            mark.number
            for mark, decision in decided.items()
            if decision == "remove" and mark.kind == LASTING and lasting
        )
        settings["unsure_removed"] = sorted(
            mark.number
            for mark, decision in decided.items()
            if decision == "remove" and mark.kind != LASTING
        )
    return settings
