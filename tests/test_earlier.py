"""A portrait taken before the burn, from its file to the words about it."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from pathlib import Path

import numpy as np
import pytest

import evenhand
from evenhand import photo
from evenhand.computing import RetouchSettings
from evenhand.errors import WrongPhotographError
from evenhand.jobs.retoucher import Engine
from evenhand.people.finding import PeopleSettings
from evenhand.people.person import Person, Region
from evenhand.photo.photograph import Photograph
from evenhand.report import LayerReport
from evenhand.report.findings import COMPARED, NO_REDDER
from evenhand.retouching.earlier import measured, reference_for, skin_before
from tests.command_line import run
from tests.evaluation.steps_measures import difference
from tests.pictures import frame_of, pixels_in, write_file

SCENES = Path(__file__).parent / "scenes"
BURNT, UNBURNT, TWO = (SCENES / f"{name}.jpg" for name in
                       ("burnt_arm_seen", "burnt_arm_clean", "pair_seen"))  # fmt: skip
ONLY = RetouchSettings(steps=("redness",))


@lru_cache
def layer_of(path: Path) -> LayerReport:
    report = evenhand.retouch(path, "unused", ONLY, dry_run=True, before_burn=UNBURNT)
    assert report.before_burn is not None
    assert report.before_burn.name == UNBURNT.name
    (layer,) = report.layers
    return layer


@lru_cache
def shown(path: Path) -> tuple[Photograph, Sequence[Person]]:
    """A photograph and everybody in it."""
    photograph = photo.read(path)
    return photograph, Engine().find(photograph)


def test_a_burn_goes_that_is_redder_than_before() -> None:
    layer = layer_of(BURNT)
    assert COMPARED in layer.findings
    assert any(said.startswith("burn on ") for said in layer.findings)
    assert layer.facts["before"]["balanced_by"] == ["eye white", "hair"]


def test_unburnt_skin_is_no_redder_than_itself() -> None:
    layer = layer_of(UNBURNT)
    assert layer.findings == [NO_REDDER]
    assert layer.at_full_strength.mean < 0.4


def test_the_service_computes_the_same(tmp_path: Path) -> None:
    engine = Engine()
    before, (person,) = shown(UNBURNT)
    skin = engine.skin_before(before, person, UNBURNT.name)
    now, people = shown(BURNT)
    (layer,) = engine.layers(now, people, {0: {"redness": {}}}, {0: skin})
    assert layer.facts == layer_of(BURNT).facts
    (alone,) = engine.layers(now, people, {0: {"redness": {}}})
    assert "before" not in alone.facts
    clean = now.encoding.to_linear(pixels_in(UNBURNT))[layer.box.slices]
    burnt = pixels_in(SCENES / "burnt_arm_burn.png").squeeze()[layer.box.slices] > 80
    apart = [
        difference(now.encoding.to_linear(blended)[layer.box.slices], clean)[burnt].mean()
        for blended in (now.pixels, engine.blend(now, [layer], [1.0]))
    ]
    assert apart[1] < 0.6 * apart[0]


@pytest.mark.parametrize("given", [TWO, "nobody"])
def test_an_earlier_portrait_of_nobody_or_of_several_is_refused(
    given: Path | str, tmp_path: Path
) -> None:
    path = given if isinstance(given, Path) else write_file(frame_of(96, 128), tmp_path / "a.png")
    with pytest.raises(WrongPhotographError) as refused:
        skin_before(path, PeopleSettings())
    said = "it shows 2 people" if path == TWO else "nobody's skin was found"
    assert said in refused.value.trouble
    assert path.name in refused.value.trouble


def test_a_portrait_of_several_or_without_that_skin_is_refused() -> None:
    before, (person,) = shown(UNBURNT)
    skin = measured(before, person, UNBURNT.name)
    with pytest.raises(WrongPhotographError, match="it shows 2 people"):
        reference_for(*shown(TWO), skin)
    leg = type(skin)({Region.LEG: next(iter(skin.regions.values()))}, skin.unchanged)
    with pytest.raises(WrongPhotographError, match="shows leg alone"):
        reference_for(before, [person], leg)


def test_skin_that_is_blown_out_is_refused() -> None:
    before, (person,) = shown(UNBURNT)
    blown = type(before)(np.full_like(before.pixels, 255))
    with pytest.raises(WrongPhotographError, match="blown out"):
        measured(blown, person, "white.jpg")


def test_the_command_takes_one_file_at_a_time(tmp_path: Path) -> None:
    given = ["--before-burn", str(UNBURNT), "--out", str(tmp_path / "out"), "--dry-run"]
    two = run("retouch", str(BURNT), str(TWO), *given)
    assert two.exit_code == 2
    assert "--before-burn is for one file" in two.output
    missing = run("retouch", str(BURNT), "--before-burn", "nowhere.jpg", "--out", str(tmp_path))
    assert missing.exit_code == 2
    assert "nowhere.jpg" in missing.output


def test_the_command_says_what_cannot_be_compared_with(tmp_path: Path) -> None:
    given = ["--before-burn", str(TWO), "--out", str(tmp_path / "out"), "--dry-run"]
    done = run("retouch", str(BURNT), *given)
    assert done.exit_code == 1
    assert "pair_seen.jpg: it shows 2 people" in done.output
