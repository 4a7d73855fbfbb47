from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from evenhand.steps.coarse import coarse
from evenhand.steps.mark_detection import causes
from evenhand.steps.marks import MarksSettings, marks
from evenhand.steps.patch import Change
from evenhand.steps.pigments import pigments_of
from tests.evaluation.steps_marks import MarkTally, matches, tally
from tests.evaluation.steps_measures import difference
from tests.optics.changes import MarkKind, TrueMark
from tests.optics.scene import Scene
from tests.optics.skin import MELANIN
from tests.steps.skins import clean, marked

SETTINGS = MarksSettings()

FAINT = 0.15
# Power of the density that drawn marks add, at which the step does not find them.


@cache
def found(tone: str) -> Change:
    """What the step does by itself to skin with marks."""
    return marks(marked(tone).patch, SETTINGS)


def _around(scene: Scene, mark: TrueMark) -> np.ndarray:
    rows, columns = np.ogrid[: scene.alpha.shape[0], : scene.alpha.shape[1]]
    far = np.hypot(rows - mark.row, columns - mark.column) * scene.mm_per_pixel
    return far < 0.75 * mark.diameter_mm


@pytest.mark.parametrize("tone", list(MELANIN))
def test_passing_marks_are_found_and_filled_and_lasting_ones_never_touched(tone: str) -> None:
    counts = MarkTally()
    tally(marked(tone), counts)
    assert counts.recall >= 0.9
    assert counts.false == 0
    assert counts.lasting_touched == 0
    assert np.mean(counts.fills) < 2
    assert np.mean(counts.rims) < 1
    assert np.mean(counts.fills) < 0.4 * np.mean(counts.untouched)


def test_the_fill_has_the_grain_of_skin_which_telea_has_not() -> None:
    counts = MarkTally()
    tally(marked("light"), counts)
    assert 0.75 < np.mean(counts.grain) < 1.25
    assert np.mean(counts.textbook_grain) < 0.7


def test_a_mark_is_found_where_the_mask_doubts_it() -> None:
    scene = marked("light")
    pimple = next(m for m in scene.marks if m.kind is MarkKind.PIMPLE)
    doubt = np.where(_around(scene, pimple), 0.6, 1).astype(np.float32)
    doubted = replace(scene, masks={region: mask * doubt for region, mask in scene.masks.items()})
    listed = marks(doubted.patch, SETTINGS).facts["marks"]
    mine = [e for e in listed if matches(pimple, e, scene.mm_per_pixel)]
    assert [entry["decision"] for entry in mine] == ["filled"]


def test_shape_speaks_where_melanin_drowns_blood_and_only_of_a_spot_that_is_redder() -> None:
    noise = 1e-4 * np.eye(3)
    for tone, counts in (("light", False), ("brown", True)):
        pigments = pigments_of(coarse(clean(tone).patch, 0.4))
        grey = np.full(3, 0.2, np.float32)
        redder = (grey + 0.1 * pigments.haemoglobin).astype(np.float32)
        flat, inflamed = (causes(redder, noise, pigments, shape)[0] for shape in (0.0, 1.0))
        assert (inflamed > flat + 0.2) == counts
        assert causes(grey, noise, pigments, 1.0)[0] < 0.5


def test_clean_skin_has_nothing_to_propose() -> None:
    change = marks(clean("light").patch, SETTINGS)
    assert all(entry["decision"] == "kept" for entry in change.facts["marks"])
    assert np.array_equal(change.wanted, clean("light").changed)


def test_each_mark_is_kept_or_filled_by_its_number() -> None:
    scene = marked("light")
    filled = [e["number"] for e in found("light").facts["marks"] if e["decision"] == "filled"]
    first = marks(scene.patch, SETTINGS.model_copy(update={"kept": (filled[0],)}))
    now = [e["number"] for e in first.facts["marks"] if e["decision"] == "filled"]
    assert now == filled[1:]
    entry = next(e for e in first.facts["marks"] if e["number"] == filled[0])
    mark = next(m for m in scene.marks if matches(m, entry, scene.mm_per_pixel))
    assert np.array_equal(first.wanted[_around(scene, mark)], scene.changed[_around(scene, mark)])


def test_a_mark_that_the_step_is_not_sure_of_goes_when_named_and_no_other() -> None:
    scene = marked("light")
    sure_of_none = MarksSettings(confidence=1.0)
    listed = marks(scene.patch, sure_of_none).facts["marks"]
    assert all(entry["decision"] == "kept" for entry in listed)
    number = next(e["number"] for e in listed if e["kind"] == "passing")
    lasting = next(e["number"] for e in listed if e["kind"] == "lasting")
    named = sure_of_none.model_copy(update={"unsure_removed": (number, lasting)})
    decided = marks(scene.patch, named).facts["marks"]
    assert [e["number"] for e in decided if e["decision"] == "filled"] == [number]


def test_a_lasting_mark_goes_only_when_permission_names_it() -> None:
    scene = marked("light")
    listed = found("light").facts["marks"]
    lasting = next(e for e in listed if e["kind"] == "lasting" and e["size_mm"] > 1.5)
    mark = next(m for m in scene.marks if matches(m, lasting, scene.mm_per_pixel))
    named = marks(
        scene.patch, SETTINGS.model_copy(update={"lasting_removed": (lasting["number"],)})
    )
    around = _around(scene, mark)
    assert difference(named.wanted, scene.changed)[around].mean() > 2


def test_numbers_sizes_and_regions_are_listed_in_reading_order() -> None:
    listed = found("light").facts["marks"]
    assert [entry["number"] for entry in listed] == list(range(1, len(listed) + 1))
    rows = [round(entry["row"]) for entry in listed]
    assert rows == sorted(rows)
    assert {entry["region"] for entry in listed} <= {"face-skin", "neck"}
    assert all(1.0 <= entry["size_mm"] <= 8.0 for entry in listed)


def test_sizes_come_out_within_a_third() -> None:
    scene = marked("light")
    listed = found("light").facts["marks"]
    ratios = [
        entry["size_mm"] / mark.diameter_mm
        for mark in scene.marks
        for entry in listed
        if matches(mark, entry, scene.mm_per_pixel)
    ]
    assert len(ratios) >= 8
    assert all(2 / 3 < ratio < 3 / 2 for ratio in ratios)


def test_marks_that_the_photograph_does_not_resolve_are_not_looked_for() -> None:
    patch = replace(marked("light").patch, mm_per_pixel=4.0)
    change = marks(patch, SETTINGS)
    assert change.facts == {"resolved": False, "marks": []}
    assert np.array_equal(change.wanted, patch.linear)


def test_nothing_else_changes_and_runs_agree_to_the_bit() -> None:
    scene = marked("brown")
    once, again = found("brown").wanted, marks(scene.patch, SETTINGS).wanted
    assert np.array_equal(once, again)
    changed = (once != scene.changed).any(axis=-1)
    assert not changed[scene.alpha == 0].any()
    assert changed.mean() < 0.05


@pytest.mark.parametrize("tone", list(MELANIN))
def test_a_spot_that_is_not_found_goes_where_it_is_pointed_at(tone: str) -> None:
    scene = marked(tone)
    scene = replace(scene, changed=scene.clean * (scene.changed / scene.clean) ** FAINT)
    listed = marks(scene.patch, SETTINGS).facts["marks"]
    unseen = [
        mark
        for mark in scene.marks
        if mark.kind.passing and not any(matches(mark, e, scene.mm_per_pixel) for e in listed)
    ]
    mark = max(unseen, key=lambda one: one.diameter_mm)
    place = (round(mark.column) + scene.patch.box.left, round(mark.row) + scene.patch.box.top)
    change = marks(scene.patch, SETTINGS.model_copy(update={"removed_at": (place,)}))
    near = _around(scene, mark)
    before = difference(scene.changed, scene.clean)[near].mean()
    after = difference(change.wanted, scene.clean)[near].mean()
    assert after < 0.9 * before
    assert after < 0.5  # half of what is just seen, common practice without a source
    entry = next(e for e in change.facts["marks"] if matches(mark, e, scene.mm_per_pixel))
    assert (entry["kind"], entry["decision"]) == ("passing", "filled")


def test_a_lasting_mark_does_not_go_by_a_point() -> None:
    lasting = [e for e in found("light").facts["marks"] if e["kind"] == "lasting"]
    assert lasting
    places = tuple((round(entry["column"]), round(entry["row"])) for entry in lasting)
    pointed = SETTINGS.model_copy(update={"removed_at": places})
    now = {e["number"]: e for e in marks(marked("light").patch, pointed).facts["marks"]}
    assert all(now[entry["number"]]["decision"] == "kept" for entry in lasting)


def test_a_point_beside_the_skin_or_the_photograph_changes_nothing() -> None:
    usual = found("light")
    places = ((10**5, 10**5), (0, 0))
    change = marks(marked("light").patch, SETTINGS.model_copy(update={"removed_at": places}))
    assert change.facts == usual.facts
    assert np.array_equal(change.wanted, usual.wanted)
