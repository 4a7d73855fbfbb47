"""An earlier portrait of the same named person as the reference, over HTTP."""

from __future__ import annotations

from typing import Any

import imagecodecs
import numpy as np
import pytest

from evenhand.report.findings import NO_BURN, NO_REDDER
from tests.jobs.fixtures import Studio
from tests.jobs.plain_retoucher import SIDE, squares


@pytest.fixture
def days(studio: Studio) -> tuple[str, str, str, str]:
    """A shoot, the portrait before the burn, the one after, and Mara in it, who agreed."""
    shoot = studio.shoot()
    before, after = studio.portrait(shoot, 21, "before.png"), studio.portrait(shoot, 22)
    studio.named(before, "Mara", "Jon")
    mara, _ = studio.named(after, "Mara", "Jon")
    studio.agree(shoot, "Mara", "redness")
    return shoot, before, after, mara


def findings(studio: Studio, shoot: str, portrait: str) -> list[str]:
    studio.settle(shoot)
    layers = studio.get(f"/v1/portraits/{portrait}/layers")
    (said,) = (layer["findings"] for layer in layers if layer["step"] == "redness")
    return list(said)


def named(studio: Studio, mara: str, before: Any) -> Any:
    return studio.http.put(f"/v1/people/{mara}/steps/redness", json={"before_burn": before})


def test_a_layer_is_computed_against_the_portrait_that_was_named(
    studio: Studio, days: tuple[str, str, str, str]
) -> None:
    shoot, before, after, mara = days
    assert findings(studio, shoot, after) == [NO_BURN]
    answer = named(studio, mara, before)
    assert answer.json()["settings"]["redness"] == {"before_burn": before}
    assert findings(studio, shoot, after) == [NO_REDDER]
    studio.put(f"/v1/people/{mara}/steps/redness", json={})
    assert findings(studio, shoot, after) == [NO_BURN]


def test_it_counts_no_more_when_it_shows_somebody_else_or_is_gone(
    studio: Studio, days: tuple[str, str, str, str]
) -> None:
    shoot, before, after, mara = days
    named(studio, mara, before)
    assert findings(studio, shoot, after) == [NO_REDDER]
    studio.named(before, "Ida")
    assert findings(studio, shoot, after) == [NO_BURN]
    studio.named(before, "Mara")
    assert findings(studio, shoot, after) == [NO_REDDER]
    assert studio.http.delete(f"/v1/portraits/{before}").is_success
    assert findings(studio, shoot, after) == [NO_BURN]


def test_what_is_painted_into_it_computes_the_layer_anew(
    studio: Studio, days: tuple[str, str, str, str]
) -> None:
    shoot, before, after, mara = days
    named(studio, mara, before)
    studio.settle(shoot)
    key = studio.get(f"/v1/portraits/{after}")
    earlier = studio.get(f"/v1/portraits/{before}/people")[0]["id"]
    box = squares((64, 128))[0]
    paint = bytes(imagecodecs.png_encode(np.full((8, SIDE), 255, np.uint8)))
    place = f"region=face-skin&paint=out&left={box.left}&top={box.top}"
    jobs = len(studio.get(f"/v1/shoots/{shoot}/jobs"))
    studio.post(f"/v1/people/{earlier}/mask-edits?{place}", content=paint)
    assert len(studio.get(f"/v1/shoots/{shoot}/jobs")) == jobs + 2  # both portraits'
    assert findings(studio, shoot, after) == [NO_REDDER]
    assert studio.get(f"/v1/portraits/{after}")["state"] == key["state"]


def test_what_cannot_be_compared_with_is_refused(
    studio: Studio, days: tuple[str, str, str, str]
) -> None:
    shoot, before, after, mara = days
    other = studio.portrait(shoot, 23, "jon.png")
    elsewhere = studio.portrait(studio.shoot("Another"), 24)
    nobody = studio.portrait(shoot, 25, "unnamed.png")
    jon = studio.get(f"/v1/portraits/{other}/people")[0]["id"]
    studio.put(f"/v1/people/{jon}", json={"name": "Jon"})
    for given, said in (
        ("0" * 32, "no such portrait in the shoot"),
        (elsewhere, "no such portrait in the shoot"),
        (after, "this very portrait"),
        (other, "jon.png does not show Mara, but Jon"),
        (nobody, "unnamed.png does not show Mara, but nobody who has a name"),
        (5, "5 is no portrait's id"),
        ("\0", "is no portrait's id"),
    ):
        refused = named(studio, mara, given)
        assert refused.status_code == 422
        assert said in refused.json()["detail"]
    unnamed = studio.get(f"/v1/portraits/{nobody}/people")[0]["id"]
    assert "has no name yet" in named(studio, unnamed, before).json()["detail"]
    assert findings(studio, shoot, after) == [NO_BURN]
    smoothing = studio.http.put(f"/v1/people/{mara}/steps/smoothing", json={"before_burn": before})
    assert smoothing.status_code == 422
