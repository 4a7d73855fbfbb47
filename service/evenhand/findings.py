"""What the redness step found, in words."""

from __future__ import annotations

from collections.abc import Mapping
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

WORDS = {Action.TAKEN_OFF: TAKEN_OFF, Action.EASED: EASED, Action.LEFT: LEFT}
"""Words by action."""


def findings_of(step: str, facts: Mapping[str, Any]) -> list[str]:
    """Sentences about what a step found on one person, from its facts.

    Empty for steps that find nothing, and for layers made before facts named burns.
    """
    return redness_findings(facts) if step == "redness" and "burns" in facts else []


def redness_findings(facts: Mapping[str, Any]) -> list[str]:
    """Sentences about one person's burns, from the facts of the redness step.

    Parameters
    ----------
    facts : mapping
        As `evenhand.steps.redness.redness` returns them.
    """
    said: dict[str, None] = {}
    for words in (*WORDS.values(), ALONE):
        burnt = [burn for burn in facts.get("burns", ()) if _words(burn) == words]
        named = [name for region, name in NAMES.items() if _on(region, burnt)]
        if named:
            said[words.format(where=_listed(named))] = None
    if not said:
        return [NO_BURN]
    if facts.get("kept", 1.0) < 1:
        said[WEAKENED] = None
    return list(said)


def _words(burn: Mapping[str, Any]) -> str:
    return ALONE if burn["excess"] is None else WORDS[Action(burn["action"])]


def _on(region: Region, burns: list[Mapping[str, Any]]) -> bool:
    return any(region.value in burn["regions"] for burn in burns)


def _listed(names: list[str]) -> str:
    """Names with commas, and an "and" before the last."""
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"
