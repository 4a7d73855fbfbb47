"""Rows of the records as the models that go out."""

from __future__ import annotations

import hashlib
from base64 import b64decode
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, TypeVar

from sqlalchemy import func, select
from sqlalchemy.orm import Session, selectinload

from evenhand.box import Box
from evenhand.people.painting import IN
from evenhand.report.findings import findings_of
from evenhand.shoots import asked_changes, tables
from evenhand.shoots.errors import NotFoundError
from evenhand.shoots.inputs import inputs_of
from evenhand.shoots.permissions import agreed_by_name
from evenhand.shoots.renderings import Agreed
from evenhand.shoots.sign_offs import Standing, standing
from evenhand.shoots.tokens import is_open
from evenhand.web import models
from evenhand.web.access import Service

T = TypeVar("T", bound=tables.Table)


def found(session: Session, table: type[T], id: str) -> T:
    """A row by its identifier.

    Parameters
    ----------
    session : Session
    table : type
        A table's class.
    id : str

    Returns
    -------
    row of the table

    Raises
    ------
    NotFoundError
        There is none, its shoot is being deleted, or it is a portrait that was removed.
    """
    row = session.get(table, id)
    gone = (isinstance(row, tables.Shoot) and row.deleting_at is not None) or (
        isinstance(row, tables.Portrait) and row.removed_at is not None
    )
    if row is None or gone:
        what = table.__name__.lower()
        raise NotFoundError(f"There is no such {what}.", "Look it up in the list above it.")
    return row


def shoot_out(session: Session, shoot: tables.Shoot) -> models.ShootOut:
    """A shoot as it is told.

    Parameters
    ----------
    session : Session
    shoot : Shoot

    Returns
    -------
    ShootOut
    """
    count = select(func.count()).where(
        tables.Portrait.shoot_id == shoot.id, tables.Portrait.removed_at.is_(None)
    )
    return models.ShootOut(
        id=shoot.id,
        name=shoot.name,
        client=shoot.client,
        created_at=shoot.created_at,
        portraits=session.scalar(count) or 0,
    )


@dataclass(frozen=True)
class Standings:
    """What the states of a shoot's portraits depend on, read once for all of them.

    Attributes
    ----------
    agreed : mapping
        What each person agrees to now.
    signed : mapping
        The last sign-off that is not void, by portrait.
    with_client : set
        Portraits in a proof whose link is open.
    change_asked : set
        Portraits of which a change waits for an answer.
    """

    agreed: Agreed
    signed: Mapping[str, tables.SignOff]
    with_client: frozenset[str]
    change_asked: frozenset[str]

    @classmethod
    def of(cls, session: Session, shoot_id: str) -> Standings:
        """Those of a shoot.

        Parameters
        ----------
        session : Session
        shoot_id : str

        Returns
        -------
        Standings
        """
        signed = session.scalars(
            select(tables.SignOff)
            .join(tables.Portrait, tables.Portrait.id == tables.SignOff.portrait_id)
            .where(tables.Portrait.shoot_id == shoot_id, tables.SignOff.voided_at.is_(None))
            .order_by(tables.SignOff.number)
        )
        shown = session.execute(
            select(tables.ProofPortrait.portrait_id, tables.Token)
            .join(tables.Proof, tables.Proof.id == tables.ProofPortrait.proof_id)
            .join(tables.Token, tables.Token.proof_id == tables.Proof.id)
            .where(tables.Proof.shoot_id == shoot_id)
        )
        asked = session.scalars(
            select(tables.AskedChange.portrait_id)
            .join(tables.Portrait, tables.Portrait.id == tables.AskedChange.portrait_id)
            .where(
                tables.Portrait.shoot_id == shoot_id,
                tables.AskedChange.standing == asked_changes.Standing.ASKED,
            )
        )
        return cls(
            agreed_by_name(session, shoot_id),
            {sign_off.portrait_id: sign_off for sign_off in signed},
            frozenset(portrait for portrait, token in shown if is_open(token)),
            frozenset(asked),
        )


def portrait_out(
    session: Session,
    portrait: tables.Portrait,
    steps: tuple[str, ...],
    standings: Standings | None = None,
) -> models.PortraitOut:
    """A portrait with its state.

    Parameters
    ----------
    session : Session
    portrait : Portrait
    steps : tuple of str
        Those that the engine knows.
    standings : Standings, optional
        Of its shoot, where they were just read.

    Returns
    -------
    PortraitOut
    """
    standings = standings or Standings.of(session, portrait.shoot_id)
    names = models.PortraitOut.model_fields.keys() - {"state", "locked", "signed"}
    sign_off = standings.signed.get(portrait.id)
    state = state_of(session, portrait, steps, standings)
    return models.PortraitOut(
        **{name: getattr(portrait, name) for name in names},
        state=state,
        locked=sign_off is not None
        and sign_off.unlocked_at is None
        and standing(session, portrait, sign_off, standings.agreed) is Standing.VALID,
        signed=None if sign_off is None else signed_out(sign_off),
    )


def signed_out(sign_off: tables.SignOff) -> models.SignedOut:
    """What was signed.

    Parameters
    ----------
    sign_off : SignOff

    Returns
    -------
    SignedOut
    """
    return models.SignedOut(
        sign_off=sign_off.id,
        signed_by=sign_off.signed_by,
        signed_at=sign_off.signed_at,
        strengths=sign_off.applied,
        unlocked_at=sign_off.unlocked_at,
    )


def state_of(
    session: Session, portrait: tables.Portrait, steps: tuple[str, ...], standings: Standings
) -> str:
    """How far a portrait is.

    Parameters
    ----------
    session : Session
    portrait : Portrait
    steps : tuple of str
        Those that the engine knows.
    standings : Standings
        Of its shoot.

    Returns
    -------
    str
        One of those that `models.PortraitOut` lists.
    """
    if portrait.trouble:
        return "unreadable"
    if portrait.found_at is None:
        return "new"
    sign_off, agreed = standings.signed.get(portrait.id), standings.agreed
    if portrait.id in standings.change_asked:
        fits = portrait.layers_key == inputs_of(session, portrait, steps, agreed).key
        return "change asked for" if fits else "working"
    if sign_off is not None:
        holds = standing(session, portrait, sign_off, agreed) is Standing.VALID
        return "signed" if holds else "stale"
    if any(person.name is None for person in portrait.people):
        return "to name"
    if not any(agreed.get(person.name or "") for person in portrait.people):
        return "to ask"
    if portrait.layers_key != inputs_of(session, portrait, steps, agreed).key:
        return "working"
    return "with the client" if portrait.id in standings.with_client else "to review"


def whole_portraits(
    session: Session, shoot_id: str, *, removed: bool = False
) -> list[tables.Portrait]:
    """Portraits of a shoot with all that their states depend on, read in a few queries.

    Parameters
    ----------
    session : Session
    shoot_id : str
    removed : bool
        Those that were removed, instead of those that were not.

    Returns
    -------
    list of Portrait
        In the order in which they were added.
    """
    people = selectinload(tables.Portrait.people)
    return list(
        session.scalars(
            select(tables.Portrait)
            .where(
                tables.Portrait.shoot_id == shoot_id,
                tables.Portrait.removed_at.is_not(None)
                if removed
                else tables.Portrait.removed_at.is_(None),
            )
            .order_by(tables.Portrait.number)
            .options(
                people.selectinload(tables.Person.layers),
                people.selectinload(tables.Person.marks),
                people.selectinload(tables.Person.edits),
            )
        )
    )


def person_out(person: tables.Person, agreed: frozenset[str]) -> models.PersonOut:
    """A person as they are told.

    Parameters
    ----------
    person : Person
    agreed : frozenset of str
        Steps that they agree to now.

    Returns
    -------
    PersonOut
    """
    return models.PersonOut(
        id=person.id,
        index=person.index,
        name=person.name,
        child=person.child,
        face=person.face,
        confidence=person.confidence,
        mm_per_pixel=person.mm_per_pixel,
        regions=regions_of(person),
        agreed=sorted(agreed),
        settings=person.settings,
        by_hand=person.by_hand,
    )


def regions_of(person: tables.Person) -> list[dict[str, Any]]:
    """Regions of a person that were found or painted, each with a box that surely holds it.

    Parameters
    ----------
    person : Person

    Returns
    -------
    list of dict
        `region` and `box`.
    """
    boxes = {one["region"]: Box(**one["box"]) for one in person.regions}
    for edit in person.edits:
        if edit.paint == IN:
            box = Box(**edit.box)
            boxes[edit.region] = boxes[edit.region].union(box) if edit.region in boxes else box
    return [{"region": region, "box": vars(box)} for region, box in boxes.items()]


def layer_out(layer: tables.Layer) -> models.LayerOut:
    """A layer as it is told, with what was found in words.

    Parameters
    ----------
    layer : Layer

    Returns
    -------
    LayerOut
    """
    names = models.LayerOut.model_fields.keys() - {"person", "findings", "painted"}
    return models.LayerOut(
        person=layer.person_id,
        painted=sum(stroke.step == layer.step for stroke in layer.person.strokes),
        findings=findings_of(layer.step, layer.facts),
        **{name: getattr(layer, name) for name in names},
    )


def edit_out(edit: tables.MaskEdit) -> models.MaskEditOut:
    """A mask edit as it is told.

    Parameters
    ----------
    edit : MaskEdit

    Returns
    -------
    MaskEditOut
    """
    names = models.MaskEditOut.model_fields
    return models.MaskEditOut(
        person=edit.person_id, **{name: getattr(edit, name) for name in names if name != "person"}
    )


def mark_out(mark: tables.Mark) -> models.MarkOut:
    """A mark as it is told, with what is seen of it now.

    Parameters
    ----------
    mark : Mark

    Returns
    -------
    MarkOut
    """
    names = models.MarkOut.model_fields.keys() - {"person", "shows"}
    return models.MarkOut(
        person=mark.person_id,
        # The proposal is what the layer does, so what is seen; a decision is what is to be done.
        shows="taken out" if mark.proposed == "remove" else "left",
        **{name: getattr(mark, name) for name in names},
    )


def change_out(change: tables.AskedChange) -> models.ChangeOut:
    """A change that was asked for, as it is told.

    Parameters
    ----------
    change : AskedChange

    Returns
    -------
    ChangeOut
    """
    return models.ChangeOut.model_validate(change)


def studio_out(session: Session) -> models.StudioOut:
    """The studio's name and mark; an empty name where none is set.

    Parameters
    ----------
    session : Session

    Returns
    -------
    StudioOut
    """
    studio = session.get(tables.Studio, 1)
    mark = None if studio is None or studio.mark is None else b64decode(studio.mark)
    return models.StudioOut(
        name=studio.name if studio else "",
        mark_sha256=None if mark is None else hashlib.sha256(mark).hexdigest(),
    )


def link_out(service: Service, token: tables.Token, secret: str, page: str) -> models.LinkOut:
    """A link to a page, whole where the service was told its public address.

    Parameters
    ----------
    service : Service
    token : Token
    secret : str
    page : str
        Name of the page, without a slash.

    Returns
    -------
    LinkOut
    """
    path = f"/{page}#{secret}"
    return models.LinkOut(
        id=token.id,
        token=secret,
        url=service.settings.public(path),
        path=path,
        expires_at=token.expires_at,
    )


def proof_out(session: Session, proof: tables.Proof) -> models.ProofOut:
    """A proof as the studio is told of it.

    Parameters
    ----------
    session : Session
    proof : Proof

    Returns
    -------
    ProofOut
    """
    token = session.scalars(select(tables.Token).where(tables.Token.proof_id == proof.id)).one()
    return models.ProofOut(
        id=proof.id,
        shoot_id=proof.shoot_id,
        portraits=[row.portrait_id for row in proof.portraits],
        strengths=proof.strengths,
        message=proof.message,
        created_at=proof.created_at,
        expires_at=token.expires_at,
        revoked_at=token.revoked_at,
        open=is_open(token),
    )


def sign_off_out(
    session: Session,
    portrait: tables.Portrait,
    sign_off: tables.SignOff,
    agreed: Agreed | None = None,
) -> models.SignOffOut:
    """A sign-off with its standing now.

    Parameters
    ----------
    session : Session
    portrait : Portrait
    sign_off : SignOff
    agreed : mapping, optional
        What each person of the shoot agrees to, where it was just read.

    Returns
    -------
    SignOffOut
    """
    names = models.SignOffOut.model_fields
    return models.SignOffOut(
        **{name: getattr(sign_off, name) for name in names if name != "standing"},
        standing=standing(session, portrait, sign_off, agreed),
    )
