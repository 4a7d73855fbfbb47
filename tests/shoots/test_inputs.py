"""What layers are computed from: decisions on marks become the step's own settings."""

from __future__ import annotations

import pytest

from evenhand.shoots.inputs import settings_of
from evenhand.shoots.tables import Mark, Person
from evenhand.steps.mark_detection import MarkKind
from evenhand.steps.marks import MarksSettings


def mark(number: int, confidence: float, decision: str | None, kind: str = "passing") -> Mark:
    """A mark."""
    return Mark(number=number, confidence=confidence, decision=decision, kind=kind)


def filled(marks: list[Mark], *, lasting: bool = False, **set_: float) -> set[int]:
    """Numbers of the marks that the engine's step would fill, by its documented rule.

    Passing, sure enough or named, and not kept; or lasting and named.
    """
    person = Person(settings={"marks": dict(set_)}, marks=marks)
    settings = MarksSettings.model_validate(settings_of(person, "marks", lasting=lasting))
    return {
        m.number
        for m in marks
        if (m.kind == "passing" and m.number not in settings.kept
            and (m.confidence >= settings.confidence or m.number in settings.unsure_removed))
        or m.number in settings.lasting_removed
    }  # fmt: skip


def test_kinds_are_the_steps_own() -> None:
    assert {kind.value for kind in MarkKind} == {"passing", "lasting"}


def test_without_decisions_the_step_decides() -> None:
    usual = MarksSettings().confidence
    marks = [mark(1, usual + 0.01, None), mark(2, usual - 0.01, None)]
    assert filled(marks) == {1}


def test_a_mark_is_kept() -> None:
    assert filled([mark(1, 0.9, "keep"), mark(2, 0.9, None)]) == {2}


def test_an_unsure_mark_is_removed_and_no_other() -> None:
    marks = [
        mark(1, 0.52, "remove"),
        mark(2, 0.55, None),
        mark(3, 0.53, "keep"),
        mark(4, 0.9, None),
    ]
    assert filled(marks) == {1, 4}
    assert filled(marks, confidence=0.95) == {1}


@pytest.mark.parametrize(("lasting", "expected"), [(False, set()), (True, {1})])
def test_a_lasting_mark_goes_only_by_its_own_permission(lasting: bool, expected: set[int]) -> None:
    assert filled([mark(1, 0.9, "remove", "lasting")], lasting=lasting) == expected


def test_strength_computes_nothing_anew() -> None:
    person = Person(settings={"redness": {"strength": 0.3, "cap": 5.0}}, marks=[])
    assert settings_of(person, "redness", lasting=False) == {"cap": 5.0}
