"""Permissions over HTTP: said to the studio, or by the person themselves through a link."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from fastapi import APIRouter
from sqlalchemy.orm import Session

from evenhand.errors import WrongSettingError
from evenhand.report import NOTICES
from evenhand.shoots import permissions, record, storage, tables, tokens
from evenhand.shoots.erasure import erase_person
from evenhand.shoots.errors import ConflictError, GuardianNeededError, NotFoundError
from evenhand.shoots.permissions import LASTING_MARKS, How
from evenhand.shoots.withdrawal import TakenOut, take_out
from evenhand.web import models
from evenhand.web.access import Asked, Caller, Here, Service, Studio
from evenhand.web.changes import clear, follow_name
from evenhand.web.problems import described
from evenhand.web.views import found, link_out, studio_out

IN_PLAIN_WORDS = {
    "redness": "Less redness: sunburn and blotches come nearer to your own skin.",
    "smoothing": "Softer skin: blotches and bands are evened, texture stays.",
    "marks": "Passing marks such as pimples and insect bites are taken out, one by one.",
    "eyes": "Eyes are made a very little lighter.",
    "tone": "A picture's light and white balance are set so that skin looks as in another of you.",
    LASTING_MARKS: "Freckles, moles, birthmarks and scars may be taken out, each by your wish.",
}
"""What a person is asked, by step."""

router = APIRouter(prefix="/v1", tags=["permissions"])


@router.get("/shoots/{shoot_id}/permissions", responses=described(NotFoundError))
def list_permissions(shoot_id: models.Id, service: Here, caller: Studio) -> models.PermissionsOut:
    """Everything that was said in a shoot, and what each person agrees to now."""
    with service.place.database.reading() as session:
        found(session, tables.Shoot, shoot_id)
        said = permissions.events(session, shoot_id)
        agreed = permissions.agreed_by_name(session, shoot_id)
        return models.PermissionsOut(
            said=[models.PermissionOut.model_validate(row) for row in said],
            agreed={name: sorted(steps) for name, steps in agreed.items()},
        )


@router.post(
    "/shoots/{shoot_id}/permissions",
    status_code=201,
    responses=described(NotFoundError, GuardianNeededError, WrongSettingError, ConflictError),
)
def give_permission(
    shoot_id: models.Id, body: models.SaidIn, service: Here, caller: Studio
) -> models.PermissionOut:
    """Record what a person agreed to; layers for it are computed from then on, and not before."""
    return _give(service, shoot_id, body, caller)


@router.post(
    "/shoots/{shoot_id}/withdrawals",
    status_code=201,
    responses=described(NotFoundError, WrongSettingError, ConflictError),
)
def withdraw_permission(
    shoot_id: models.Id, body: models.SaidIn, service: Here, caller: Studio
) -> models.WithdrawnOut:
    """Record that a person took something back; it is taken out at once, sign-offs are void."""
    return _withdraw(service, shoot_id, body, caller)


@router.post(
    "/shoots/{shoot_id}/permission-links", status_code=201, responses=described(NotFoundError)
)
def make_permission_link(
    shoot_id: models.Id, body: models.NamedIn, service: Here, caller: Studio
) -> models.LinkOut:
    """Make a link by which a person says themselves what they agree to."""
    with service.place.database.writing() as session:
        storage.lock(session, shoot_id)
        token, secret = tokens.make(
            session,
            tokens.Scope.PERMISSION,
            f"permission of {body.name}",
            lasts=timedelta(days=body.lasts_days),
            shoot_id=shoot_id,
            person_name=body.name,
        )
        record.append(
            session, shoot_id, caller.actor, "permission asked", person=body.name, link=token.id
        )
        return link_out(service, token, secret, "permission")


@router.get("/asked", tags=["links"], responses=described(NotFoundError))
def what_is_asked(service: Here, caller: Asked) -> models.AskedOut:
    """What the person of this link is asked."""
    shoot_id, name = _link(caller)
    with service.place.database.reading() as session:
        return models.AskedOut(
            studio=studio_out(session),
            shoot=found(session, tables.Shoot, shoot_id).name,
            name=name,
            child=permissions.is_child(session, shoot_id, name),
            steps={step: IN_PLAIN_WORDS.get(step, step) for step in known_steps(service)},
            agreed=sorted(permissions.agreed(session, shoot_id, name)),
            notices=NOTICES,
        )


@router.post(
    "/asked/permission",
    status_code=201,
    tags=["links"],
    responses=described(NotFoundError, GuardianNeededError, WrongSettingError),
)
def agree_by_link(body: models.SaidByLinkIn, service: Here, caller: Asked) -> models.PermissionOut:
    """Agree to steps."""
    shoot_id, name = _link(caller)
    return _give(service, shoot_id, _said(body, name), caller)


@router.post(
    "/asked/withdrawal",
    status_code=201,
    tags=["links"],
    responses=described(NotFoundError, WrongSettingError),
)
def withdraw_by_link(
    body: models.SaidByLinkIn, service: Here, caller: Asked
) -> models.WithdrawnOut:
    """Take back what was agreed to."""
    shoot_id, name = _link(caller)
    return _withdraw(service, shoot_id, _said(body, name), caller)


@router.post("/erasures", status_code=201, responses=described())
def erase(body: models.ErasureIn, service: Here, caller: Studio) -> models.ErasedOut:
    """Erase a person everywhere: portraits, faces, layers, links, packages, and their name."""
    place = service.place
    erased = erase_person(place.database, place.files, body.name, caller.actor)
    service.previews.forget()
    return models.ErasedOut.model_validate(erased)


def known_steps(service: Service) -> tuple[str, ...]:
    """Steps that can be agreed to.

    Parameters
    ----------
    service : Service

    Returns
    -------
    tuple of str
    """
    return (*service.place.steps, LASTING_MARKS)


def _give(
    service: Service, shoot_id: str, body: models.SaidIn, caller: Caller
) -> models.PermissionOut:
    _check_steps(service, body.steps)
    with service.place.database.writing() as session:
        storage.lock(session, shoot_id)
        row = permissions.give(session, shoot_id, **_as_said(body, caller))
        follow_name(session, service, shoot_id, body.name)
        return models.PermissionOut.model_validate(row)


def _withdraw(
    service: Service, shoot_id: str, body: models.SaidIn, caller: Caller
) -> models.WithdrawnOut:
    _check_steps(service, body.steps)
    with service.place.database.writing() as session:
        storage.lock(session, shoot_id)
        row = permissions.withdraw(session, shoot_id, **_as_said(body, caller))
        out = _taken_out(session, service, shoot_id, body, caller)
        permission = models.PermissionOut.model_validate(row)
    gone = clear(service, shoot_id)
    return models.WithdrawnOut(
        permission=permission,
        portraits=out.portraits,
        layers=out.layers,
        sign_offs=out.sign_offs,
        finals=out.finals,
        files=len(gone),
    )


def _taken_out(
    session: Session, service: Service, shoot_id: str, body: models.SaidIn, caller: Caller
) -> TakenOut:
    out = take_out(session, shoot_id, body.name, body.steps, actor=caller.actor)
    follow_name(session, service, shoot_id, body.name)
    return out


def _as_said(body: models.SaidIn, caller: Caller) -> dict[str, Any]:
    """What was said, by whom, how and when, as the record takes it."""
    kept = "name", "steps", "said_by", "role", "how", "said_at", "note"
    return {field: getattr(body, field) for field in kept} | {"recorded_by": caller.actor}


def _said(body: models.SaidByLinkIn, name: str) -> models.SaidIn:
    return models.SaidIn(name=name, how=How.BY_LINK, **body.model_dump())


def _check_steps(service: Service, steps: list[str]) -> None:
    unknown = [step for step in steps if step not in known_steps(service)]
    if unknown:
        raise WrongSettingError(
            f"There is no step {unknown[0]!r}.",
            f"The steps are {', '.join(known_steps(service))}.",
        )


def _link(caller: Caller) -> tuple[str, str]:
    assert caller.shoot_id is not None
    assert caller.person_name is not None
    return caller.shoot_id, caller.person_name
