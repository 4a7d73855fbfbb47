"""Which portrait of a shoot a photographer may name as taken before a person's burn."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from pydantic import TypeAdapter, ValidationError
from sqlalchemy.orm import Session

from evenhand.errors import WrongSettingError
from evenhand.people.person import SKIN_REGIONS
from evenhand.shoots import tables
from evenhand.shoots.inputs import BEFORE_BURN, REDNESS, same_person_in
from evenhand.web import models
from evenhand.web.views import regions_of

AN_ID = TypeAdapter(models.Id)

NAME_BOTH = "Name the person in both portraits: nobody is recognised."
"""What to do where it is not said who somebody is."""

ANOTHER = "Give the id of another portrait of this shoot that shows the person before the burn."
"""What to do where a portrait cannot be compared with."""


def without_earlier(step: str, settings: Mapping[str, Any]) -> tuple[dict[str, Any], str | None]:
    """Settings that the step itself knows, and the portrait named as the earlier one.

    Parameters
    ----------
    step : str
    settings : mapping
        As they came.

    Returns
    -------
    settings : dict
    portrait_id : str or None

    Raises
    ------
    WrongSettingError
        What was given is no identifier.
    """
    known = dict(settings)
    earlier = known.pop(BEFORE_BURN, None) if step == REDNESS else None
    if earlier is None:
        return known, None
    try:
        return known, AN_ID.validate_python(earlier)
    except ValidationError:
        raise WrongSettingError(
            f"{BEFORE_BURN}: {earlier!r} is no portrait's id.", ANOTHER
        ) from None


def require_before_burn(session: Session, person: tables.Person, portrait_id: str) -> None:
    """Refuse a portrait that does not show the same named person, and the same skin.

    Parameters
    ----------
    session : Session
    person : Person
        In the portrait that is retouched.
    portrait_id : str
        The earlier portrait.

    Raises
    ------
    WrongSettingError
        The portrait is not in the shoot, or is the very same; the person has no name, is not in it,
        or it shows none of the skin that this one shows.
    """
    shoot_id = person.portrait.shoot_id
    portrait = session.get(tables.Portrait, portrait_id)
    if portrait is None or portrait.shoot_id != shoot_id:
        raise WrongSettingError(f"{BEFORE_BURN}: there is no such portrait in the shoot.", ANOTHER)
    if portrait.id == person.portrait_id:
        raise WrongSettingError(f"{BEFORE_BURN}: that is this very portrait.", ANOTHER)
    if person.name is None:
        raise WrongSettingError(f"{BEFORE_BURN}: this person has no name yet.", NAME_BOTH)
    if not portrait.people:
        raise WrongSettingError(f"{BEFORE_BURN}: nobody was found in {portrait.name}.", ANOTHER)
    earlier = same_person_in(session, person, portrait_id)
    if earlier is None:
        names = sorted({one.name for one in portrait.people if one.name})
        shown = ", ".join(names) if names else "nobody who has a name"
        raise WrongSettingError(
            f"{BEFORE_BURN}: {portrait.name} does not show {person.name}, but {shown}.", NAME_BOTH
        )
    here, there = (_skin(one) for one in (person, earlier))
    if not here & there:
        raise WrongSettingError(
            f"{BEFORE_BURN}: {portrait.name} shows {_listed(there)} of {person.name}, and this "
            f"portrait {_listed(here)}: no skin in common.",
            ANOTHER,
        )


def _skin(person: tables.Person) -> set[str]:
    return {one["region"] for one in regions_of(person)} & {region.value for region in SKIN_REGIONS}


def _listed(regions: set[str]) -> str:
    return ", ".join(sorted(regions)) or "no skin"
