"""What the redness step found, in words."""

from __future__ import annotations

from typing import Any

import pytest

from evenhand.report.findings import (
    AS_SAID,
    COMPARED,
    LIGHT_UNKNOWN,
    NO_BURN,
    NO_REDDER,
    NOT_LOOKED,
    NOT_SHOWN,
    findings_of,
)

BURN = {"regions": ["face-skin", "neck", "arm"], "action": "taken off", "excess": 0.3}
BEFORE: dict[str, Any] = {"regions": ["face-skin"], "missing": [], "balanced_by": ["hair"]}


@pytest.mark.parametrize(
    ("facts", "said"),
    [
        ({"burns": []}, [NO_BURN]),
        ({"burns": [], "looked": False}, [NOT_LOOKED]),
        ({"burns": [BURN]}, ["burn on face, neck and arm, taken off"]),
        ({"burns": [], "left_at": ["arm"]}, [AS_SAID.format(where="arm")]),
        (
            {"burns": [BURN], "left_at": ["leg", "hand"]},
            ["burn on face, neck and arm, taken off", AS_SAID.format(where="hand and leg")],
        ),
        ({"burns": [], "before": BEFORE}, [NO_REDDER]),
        ({"burns": [BURN], "before": BEFORE}, ["burn on face, neck and arm, taken off", COMPARED]),
        (
            {"burns": [], "before": {**BEFORE, "balanced_by": [], "missing": ["arm"]}},
            [NO_BURN, LIGHT_UNKNOWN, NOT_SHOWN.format(where="arm")],
        ),
        ({"grade": 2}, []),
    ],
)
def test_what_was_found_in_words(facts: dict[str, Any], said: list[str]) -> None:
    assert findings_of("redness", facts) == said


def test_other_steps_say_nothing() -> None:
    assert findings_of("smoothing", {"burns": []}) == []
