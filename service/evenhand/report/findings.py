"""What the redness step found, in words."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from typing import Any

from evenhand.people.person import Region
from evenhand.steps.redness import Action

NAMES = {
    Region.FACE: "face",
    Region.NECK: "neck",
    Region.EAR: "ear",
    Region.ARM: "arm",
    Region.HAND: "hand",
    Region.TORSO: "chest or back",
    Region.LEG: "leg",
}
"""Regions of skin as a photographer names them."""

NO_BURN = "no burn found"
"""Said where nothing looks like a burn."""

TAKEN_OFF = "burn on {where}, taken off"
EASED = "redness on {where} that may be a burn: eased only; point at it to take it off"
LEFT = "redness on {where}, left: point at it if it is a burn"
"""Said of each burn, by what was done about it."""

ALONE = "redness on {where}, left: too little unburnt skin is there to compare it with"
"""Said of a burn that pointing at it does not help."""

WEAKENED = "less was taken off than is there, so that no patch is made"
"""Said where a change had to be weakened."""

AS_SAID = "left as you said: {where}"
"""Said of what the photographer pointed at to be left."""

NOT_LOOKED = "too little skin is seen to tell whether it is burnt: point at it if it is"
"""Said where nothing was found because the network could not look."""

NO_REDDER = "no redder than in the portrait taken before the burn"
COMPARED = "compared with the portrait taken before the burn"
"""Said where there is such a portrait, without and with a burn."""

LIGHT_UNKNOWN = (
    "the portrait taken before the burn counts only where you point: neither eye white nor hair is "
    "seen in both, to tell their light apart"
)
"""Said where the light of the two portraits cannot be compared."""

NOT_SHOWN = "judged without the portrait taken before the burn, which does not show it: {where}"
"""Said of skin that the earlier portrait does not show."""

WORDS = {Action.TAKEN_OFF: TAKEN_OFF, Action.EASED: EASED, Action.LEFT: LEFT}
"""Words by action."""


def findings_of(step: str, facts: Mapping[str, Any]) -> list[str]:
    """Sentences about what a step found on one person, from its facts.

    Empty for steps that find nothing, and for layers made before facts named burns.

    Parameters
    ----------
    step : str
        Name of the step.
    facts : mapping
        As the step returned them, for one person.

    Returns
    -------
    list of str
    """
    return redness_findings(facts) if step == "redness" and "burns" in facts else []


def redness_findings(facts: Mapping[str, Any]) -> list[str]:
    """Sentences about one person's burns, from the facts of the redness step.

    Parameters
    ----------
    facts : mapping
        As `evenhand.steps.redness.redness` returns them.

    Returns
    -------
    list of str
        At least one.
    """
    burns = facts.get("burns", ())
    said: dict[str, None] = {}
    for words in (*WORDS.values(), ALONE):
        named = _named({r for burn in burns if _words(burn) == words for r in burn["regions"]})
        if named:
            said[words.format(where=named)] = None
    if said and facts.get("kept", 1.0) < 1:
        said[WEAKENED] = None
    left, before = _named(facts.get("left_at", ())), facts.get("before")
    if not said:
        said[_nothing(facts, left, before)] = None
    elif left:
        said[AS_SAID.format(where=left)] = None
    if before:
        if not before["balanced_by"]:
            said[LIGHT_UNKNOWN] = None
        elif NO_REDDER not in said:
            said[COMPARED] = None
        if before["missing"]:
            said[NOT_SHOWN.format(where=_named(before["missing"]))] = None
    return list(said)


def _nothing(facts: Mapping[str, Any], left: str, before: Mapping[str, Any] | None) -> str:
    """What is said where there is no burn to tell of."""
    if left:
        return AS_SAID.format(where=left)
    if before and before["balanced_by"]:
        return NO_REDDER
    return NO_BURN if facts.get("looked", True) else NOT_LOOKED


def _words(burn: Mapping[str, Any]) -> str:
    return ALONE if burn["excess"] is None else WORDS[Action(burn["action"])]


def _named(regions: Collection[str]) -> str:
    """Regions of skin by name, with commas, and an "and" before the last; empty for none."""
    names = [name for region, name in NAMES.items() if region.value in regions]
    return " and ".join(filter(None, (", ".join(names[:-1]), *names[-1:])))
