"""Who agreed to what: the last word on a step counts, and a guardian's for a child."""

from __future__ import annotations

from datetime import timedelta

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy.orm import Session

from evenhand.jobs.place import Place
from evenhand.shoots import permissions, tables
from evenhand.shoots.errors import ConflictError, GuardianNeededError, NoPermissionError
from evenhand.shoots.permissions import How, SaidBy

STEPS = ("redness", "smoothing", "marks")


def shoot_of(session: Session) -> tables.Shoot:
    """A new shoot."""
    shoot = tables.Shoot(name="Regatta")
    session.add(shoot)
    session.flush()
    return shoot


def say(session: Session, shoot: str, given: bool, steps: list[str], **more: object) -> None:
    """Somebody called Mara says something."""
    said = {"said_by": SaidBy.PERSON, "role": None, "how": How.IN_PERSON, "recorded_by": "studio"}
    act = permissions.give if given else permissions.withdraw
    act(session, shoot, "Mara", steps, **(said | more))  # type: ignore[arg-type]


@settings(
    max_examples=20,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(
    st.lists(
        st.tuples(st.booleans(), st.lists(st.sampled_from(STEPS), min_size=1, unique=True)),
        max_size=6,
    )
)
def test_the_last_word_on_each_step_counts(
    place: Place, said: list[tuple[bool, list[str]]]
) -> None:
    expected: set[str] = set()
    with place.database.writing() as session:
        shoot = shoot_of(session).id
        for given_, steps in said:
            say(session, shoot, given_, steps)
            expected = expected | set(steps) if given_ else expected - set(steps)
        assert permissions.agreed(session, shoot, "Mara") == expected
        assert permissions.agreed(session, shoot, "Jon") == frozenset()
        assert permissions.agreed(session, shoot, None) == frozenset()


def child(session: Session, shoot: tables.Shoot) -> None:
    """Mara is a child, in a portrait."""
    portrait = tables.Portrait(
        shoot_id=shoot.id, name="a", sha256="0" * 64, size=1, media_type="image/png"
    )
    session.add(portrait)
    session.flush()
    session.add(
        tables.Person(
            portrait_id=portrait.id, index=0, name="Mara", child=True, mm_per_pixel=1.0,
            regions=[], sha256="1" * 64,
        )
    )  # fmt: skip
    session.flush()


@pytest.mark.parametrize(
    ("said_by", "role"),
    [(SaidBy.PERSON, None), (SaidBy.PERSON, "mother"), (SaidBy.GUARDIAN, None),
     (SaidBy.GUARDIAN, " ")],
)  # fmt: skip
def test_for_a_child_a_guardian_agrees_by_role(
    place: Place, said_by: SaidBy, role: str | None
) -> None:
    with place.database.writing() as session:
        shoot = shoot_of(session)
        child(session, shoot)
        with pytest.raises(GuardianNeededError):
            say(session, shoot.id, True, ["redness"], said_by=said_by, role=role)
        assert permissions.agreed(session, shoot.id, "Mara") == frozenset()
        say(session, shoot.id, True, ["redness"], said_by=SaidBy.GUARDIAN, role="mother")
        assert permissions.agreed(session, shoot.id, "Mara") == {"redness"}


def test_a_child_can_take_back_what_a_guardian_said(place: Place) -> None:
    with place.database.writing() as session:
        shoot = shoot_of(session)
        child(session, shoot)
        say(session, shoot.id, True, ["redness"], said_by=SaidBy.GUARDIAN, role="father")
        say(session, shoot.id, False, ["redness"])
        assert permissions.agreed(session, shoot.id, "Mara") == frozenset()


def test_nothing_is_dated_in_the_future(place: Place) -> None:
    with place.database.writing() as session:
        shoot = shoot_of(session).id
        with pytest.raises(ConflictError):
            say(session, shoot, True, ["redness"], said_at=tables.now() + timedelta(minutes=1))


def test_another_shoot_is_another_permission(place: Place) -> None:
    with place.database.writing() as session:
        first, second = shoot_of(session).id, shoot_of(session).id
        say(session, first, True, ["redness"])
        assert permissions.agreed(session, second, "Mara") == frozenset()


def test_whoever_is_not_named_has_not_agreed(place: Place) -> None:
    with place.database.writing() as session:
        shoot = shoot_of(session).id
        nobody = tables.Person(index=0, name=None)
        with pytest.raises(NoPermissionError, match="not yet named"):
            permissions.require(session, shoot, nobody, "redness")
