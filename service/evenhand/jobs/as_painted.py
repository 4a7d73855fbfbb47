"""People of a portrait as found, with masks as the photographer painted them."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from evenhand.box import Box
from evenhand.jobs.packing import mask_alpha, unpack, unpack_person
from evenhand.jobs.place import Place
from evenhand.layers.painted import StrengthStroke
from evenhand.people.painting import Stroke, painted, painted_together
from evenhand.people.person import Mask, Person, Region
from evenhand.shoots import tables
from evenhand.shoots.inputs import EarlierInputs, Edits, PersonInputs

SKIN = "skin"
"""Stands for every region of skin at once where something is painted out."""


def people_as_painted(
    place: Place,
    shoot_id: str,
    people: Sequence[PersonInputs],
    found: Callable[[str], Person] | None = None,
) -> list[Person]:
    """Everybody in a portrait.

    Parameters
    ----------
    place : Place
    shoot_id : str
    people : sequence of PersonInputs
    found : callable, optional
        Gives a person as found by the SHA-256 of their file; it is read where this is not given.

    Returns
    -------
    list of Person
    """
    found = found or (lambda sha256: unpack_person(place.files.read(shoot_id, sha256)))
    strokes = {one.index: _strokes(place, shoot_id, one.edits) for one in people}
    return painted_together([found(one.sha256) for one in people], strokes)


def earlier_as_painted(place: Place, shoot_id: str, person: EarlierInputs) -> Person:
    """A person in the portrait taken before their burn.

    Parameters
    ----------
    place : Place
    shoot_id : str
    person : EarlierInputs

    Returns
    -------
    Person
    """
    found = unpack_person(place.files.read(shoot_id, person.sha256))
    return painted(found, _strokes(place, shoot_id, person.edits))


def strength_strokes(
    place: Place, shoot_id: str, strokes: Sequence[tables.StrengthStroke]
) -> list[StrengthStroke]:
    """Strokes over a layer, read from their files.

    Parameters
    ----------
    place : Place
    shoot_id : str
    strokes : sequence of tables.StrengthStroke
        In order.

    Returns
    -------
    list of StrengthStroke
    """
    return [
        StrengthStroke(one.paint, one.amount, _mask(place.files.read(shoot_id, one.sha256)))
        for one in strokes
    ]


def _strokes(place: Place, shoot_id: str, edits: Edits) -> list[Stroke]:
    return [
        (None if region == SKIN else Region(region), paint, _mask(place.files.read(shoot_id, file)))
        for region, paint, file in edits
    ]


def _mask(package: bytes) -> Mask:
    facts, arrays = unpack(package)
    return Mask(Box(**facts["box"]), mask_alpha(arrays["painted"]))
