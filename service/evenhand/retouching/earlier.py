"""An earlier portrait of the same person as the reference for burnt skin: read, measured, matched.

Nobody is recognised: whoever gives the two portraits says that they show the same person.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from evenhand import photo
from evenhand.errors import WrongPhotographError
from evenhand.people.finding import PeopleSettings, find_people
from evenhand.people.person import Person
from evenhand.photo.photograph import Photograph
from evenhand.steps.patch import ReferenceSkin, patch_of
from evenhand.steps.reference import DaySkin, day_skin, matched

ONE_PERSON = "Give a portrait from before the burn that shows this person alone, skin and all."
"""What to do about an earlier portrait that cannot be compared with."""

CUT = "Cut both photographs to the same person, or name people in the service."
"""What to do where it is not said who is meant."""


def skin_before(path: Path, settings: PeopleSettings) -> DaySkin:
    """Skin of the one person in a portrait taken before the burn.

    Parameters
    ----------
    path : path
        The earlier portrait.
    settings : PeopleSettings
        How people are looked for.

    Returns
    -------
    DaySkin

    Raises
    ------
    UnreadablePhotographError, UnsupportedPhotographError, PhotographTooLargeError
        The portrait cannot be read.
    WrongPhotographError
        It shows nobody, several people, or too little skin.
    """
    photograph = photo.read(path)
    people = [one for one in find_people(photograph, settings) if one.skin_box.area]
    if not people:
        raise WrongPhotographError(f"{path.name}: nobody's skin was found in it.", ONE_PERSON)
    if len(people) > 1:
        raise WrongPhotographError(
            f"{path.name}: it shows {len(people)} people, and nothing says who is meant.", CUT
        )
    return measured(photograph, people[0], path.name)


def measured(photograph: Photograph, person: Person, name: str) -> DaySkin:
    """A person's skin in an earlier portrait.

    Parameters
    ----------
    photograph : Photograph
        The earlier portrait.
    person : Person
        Who is meant.
    name : str
        The portrait's name, for the message.

    Returns
    -------
    DaySkin
        At least one region.

    Raises
    ------
    WrongPhotographError
        Too little skin is seen in it, or it is blown out.
    """
    skin = day_skin(patch_of(photograph, person))
    if not skin.regions:
        raise WrongPhotographError(
            f"{name}: too little of the person's skin is seen in it, or it is blown out.",
            ONE_PERSON,
        )
    return skin


def reference_for(
    photograph: Photograph, people: Sequence[Person], before: DaySkin
) -> dict[int, ReferenceSkin]:
    """The earlier skin in the light of a portrait, by index of its one person; empty for nobody.

    Parameters
    ----------
    photograph : Photograph
        The portrait to be retouched.
    people : sequence of Person
        Everybody found in it.
    before : DaySkin
        From `skin_before`.

    Returns
    -------
    dict of int to ReferenceSkin

    Raises
    ------
    WrongPhotographError
        The portrait shows several people, or no region of skin that the earlier one shows.
    """
    shown = [person for person in people if person.skin_box.area]
    name = photograph.path.name if photograph.path else "The photograph"
    if len(shown) > 1:
        raise WrongPhotographError(
            f"{name}: it shows {len(shown)} people, and the earlier portrait is of one.", CUT
        )
    return {one.index: reference_of(photograph, one, before, name) for one in shown}


def reference_of(
    photograph: Photograph, person: Person, before: DaySkin, name: str
) -> ReferenceSkin:
    """A person's earlier skin in the light of a portrait.

    Parameters
    ----------
    photograph : Photograph
        The portrait to be retouched.
    person : Person
        Who is meant.
    before : DaySkin
        Their earlier skin.
    name : str
        The portrait's name, for the message.

    Returns
    -------
    ReferenceSkin

    Raises
    ------
    WrongPhotographError
        The two portraits show no region of skin in common.
    """
    if not before.regions.keys() & person.masks.keys():
        shown = ", ".join(region.value for region in before.regions)
        raise WrongPhotographError(
            f"{name}: the earlier portrait shows {shown} alone, and nothing of that is seen here.",
            "Give an earlier portrait that shows the burnt part.",
        )
    return matched(day_skin(patch_of(photograph, person)), before)
