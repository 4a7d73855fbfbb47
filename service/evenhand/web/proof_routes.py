"""Proofs and sign-offs over HTTP, for the studio and for the client's link."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import timedelta
from typing import Annotated

from fastapi import APIRouter, Query, Response
from sqlalchemy import select
from sqlalchemy.orm import Session

from evenhand.errors import WrongSettingError
from evenhand.jobs.pictures import fitted
from evenhand.shoots import asked_changes, record, sign_offs, storage, tables, tokens
from evenhand.shoots.errors import (
    ConflictError,
    LockedError,
    NotFoundError,
    NotReadyError,
    StaleError,
    TokenRefusedError,
)
from evenhand.shoots.inputs import inputs_of
from evenhand.shoots.permissions import agreed_by_name
from evenhand.shoots.renderings import as_choices, rendering_of, shown, state_of
from evenhand.web import models
from evenhand.web.access import Caller, Client, Here, Service, Studio
from evenhand.web.changes import follow
from evenhand.web.image_routes import (
    PICTURE,
    PRIVATE,
    frame_of,
    frame_shape,
    parsed_strengths,
    picture_bytes,
)
from evenhand.web.previews import View
from evenhand.web.problems import described
from evenhand.web.shown_proof import shown_proof
from evenhand.web.views import (
    change_out,
    found,
    link_out,
    mark_out,
    proof_out,
    sign_off_out,
)

LARGEST_SHOWN = 2400
"""Longest side of a picture in a proof, pixels: for a screen, not for print."""

router = APIRouter(prefix="/v1", tags=["proofs"])
client = APIRouter(prefix="/v1/proof", tags=["links"])


@router.post(
    "/shoots/{shoot_id}/proofs",
    status_code=201,
    responses=described(NotFoundError, NotReadyError, ConflictError),
)
def make_proof(
    shoot_id: models.Id, body: models.ProofIn, service: Here, caller: Studio
) -> models.ProofMadeOut:
    """Make a proof and its link.

    Changes asked for under links that no longer open are answered by it, with its message.
    """
    if len(set(body.portraits)) < len(body.portraits) or len(set(body.strengths)) < len(
        body.strengths
    ):
        raise ConflictError("A portrait or a strength is named twice.", "Name each once.")
    with service.place.database.writing() as session:
        storage.lock(session, shoot_id)
        proof = tables.Proof(
            shoot_id=shoot_id, strengths=sorted(body.strengths), message=body.message
        )
        session.add(proof)
        session.flush()
        for position, portrait_id in enumerate(body.portraits):
            portrait = found(session, tables.Portrait, portrait_id)
            if portrait.shoot_id != shoot_id:
                raise NotFoundError("There is no such portrait.", "Name portraits of this shoot.")
            require_current(session, service, portrait)
            session.add(
                tables.ProofPortrait(proof_id=proof.id, portrait_id=portrait_id, position=position)
            )
            _answer_with(session, proof, portrait_id, caller)
        token, secret = tokens.make(
            session,
            tokens.Scope.PROOF,
            "proof",
            lasts=timedelta(days=body.lasts_days),
            proof_id=proof.id,
        )
        record.append(
            session,
            shoot_id,
            caller.actor,
            "proof made",
            proof=proof.id,
            portraits=body.portraits,
            strengths=proof.strengths,
        )
        session.refresh(proof)
        link = link_out(service, token, secret, "proof")
        return models.ProofMadeOut(proof=proof_out(session, proof), link=link)


@router.get("/shoots/{shoot_id}/proofs", responses=described(NotFoundError))
def list_proofs(shoot_id: models.Id, service: Here, caller: Studio) -> list[models.ProofOut]:
    """The proofs of a shoot, the newest first."""
    with service.place.database.reading() as session:
        found(session, tables.Shoot, shoot_id)
        proofs = session.scalars(
            select(tables.Proof)
            .where(tables.Proof.shoot_id == shoot_id)
            .order_by(tables.Proof.created_at.desc())
        )
        return [proof_out(session, proof) for proof in proofs.all()]


@router.get("/proofs/{proof_id}/link", responses=described(NotFoundError))
def get_proof_link(proof_id: models.Id, service: Here, caller: Studio) -> models.LinkOut:
    """The link of a proof, as it was told when it was made."""
    with service.place.database.reading() as session:
        found(session, tables.Proof, proof_id)
        token = session.scalars(select(tables.Token).where(tables.Token.proof_id == proof_id)).one()
        return link_out(service, token, tokens.told_again(session, token), "proof")


@router.delete("/proofs/{proof_id}", responses=described(NotFoundError))
def revoke_proof(proof_id: models.Id, service: Here, caller: Studio) -> models.ProofOut:
    """Revoke a proof's link at once; what was signed by it stays."""
    with service.place.database.writing() as session:
        proof = found(session, tables.Proof, proof_id)
        storage.lock(session, proof.shoot_id)
        token = session.scalars(select(tables.Token).where(tables.Token.proof_id == proof_id)).one()
        token.revoked_at = token.revoked_at or tables.now()
        record.append(session, proof.shoot_id, caller.actor, "proof revoked", proof=proof_id)
        return proof_out(session, proof)


@router.get("/shoots/{shoot_id}/sign-offs", responses=described(NotFoundError))
def list_sign_offs(shoot_id: models.Id, service: Here, caller: Studio) -> list[models.SignOffOut]:
    """Sign-offs of a shoot with their standing now, the newest first."""
    with service.place.database.reading() as session:
        found(session, tables.Shoot, shoot_id)
        rows = session.execute(
            select(tables.SignOff, tables.Portrait)
            .join(tables.Portrait, tables.Portrait.id == tables.SignOff.portrait_id)
            .where(tables.Portrait.shoot_id == shoot_id, tables.Portrait.removed_at.is_(None))
            .order_by(tables.SignOff.number.desc())
        )
        return [sign_off_out(session, portrait, sign_off) for sign_off, portrait in rows.all()]


@router.get(
    "/sign-offs/{sign_off_id}/picture",
    response_class=Response,
    responses=described(NotFoundError) | PICTURE,
)
def get_signed_picture(sign_off_id: models.Id, service: Here, caller: Studio) -> Response:
    """The very picture that was looked at and signed off."""
    with service.place.database.reading() as session:
        sign_off = session.get(tables.SignOff, sign_off_id)
        if sign_off is None:
            raise NotFoundError("There is no such sign-off.", "List the shoot's sign-offs.")
        if sign_off.voided_at is not None and sign_off.void_reason not in sign_offs.PICTURE_KEPT:
            raise NotFoundError(
                "What this picture shows was taken back; it is deleted.", "List the sign-offs."
            )
        portrait = found(session, tables.Portrait, sign_off.portrait_id)
    body = service.place.files.read(portrait.shoot_id, sign_off.image_sha256)
    return Response(body, media_type="image/jpeg", headers=PRIVATE)


@client.get("", responses=described(NotFoundError))
def see_proof(service: Here, caller: Client) -> models.ShownProofOut:
    """What the client is shown: portraits, what can be chosen, marks, how far it is."""
    with service.place.database.reading() as session:
        proof = _proof(session, caller)
        return shown_proof(
            session, service, proof, session.get_one(tables.Token, caller.id).expires_at
        )


@client.get(
    "/portraits/{portrait_id}/picture",
    response_class=Response,
    responses=described(NotFoundError, NotReadyError, ConflictError, WrongSettingError) | PICTURE,
)
def see_picture(
    portrait_id: models.Id,
    service: Here,
    caller: Client,
    side: Annotated[int, Query(ge=64, le=LARGEST_SHOWN)] = 1600,
    strength: Annotated[
        float, Query(ge=0, le=1, description="For every person and step not named.")
    ] = 1.0,
    strengths: Annotated[
        str, Query(max_length=4000, description="PERSON.STEP:VALUE, separated by commas.")
    ] = "",
) -> Response:
    """A picture at offered strengths; 0 is before. Its hash is in the Rendering header."""
    chosen = parsed_strengths(strengths)
    with service.place.database.reading() as session:
        proof, portrait = _portrait(session, caller, portrait_id)
        require_current(session, service, portrait)
        choices = [
            {
                "person": item.person.id,
                "step": item.layer.step,
                "strength": chosen.get((item.person.id, item.layer.step), strength),
            }
            for item in shown(session, portrait)
        ]
        sign_offs.check_choices(portrait, proof.strengths, choices)
        body, state = _rendered(session, service, portrait, choices, side)
    rendering = rendering_of(state, hashlib.sha256(body).hexdigest())
    return Response(body, media_type="image/jpeg", headers=PRIVATE | {"Rendering": rendering})


@client.put(
    "/marks/{mark_id}/wish",
    responses=described(NotFoundError, ConflictError, NotReadyError, LockedError),
)
def wish_for_mark(
    mark_id: models.Id, body: models.WishIn, service: Here, caller: Client
) -> models.MarkOut:
    """Say what shall become of a mark.

    'leave it' is done at once, and taken back at once. 'please remove' is done at once only for a
    mark that stayed by the client's own wish; for any other the studio sees it, and asks the person
    if it must.
    """
    with service.place.database.writing() as session:
        mark = session.get(tables.Mark, mark_id)
        if mark is None:
            raise NotFoundError("There is no such mark.", "See the proof's marks.")
        proof, portrait = _portrait(session, caller, mark.person.portrait_id)
        storage.lock(session, proof.shoot_id)
        agreed = agreed_by_name(session, proof.shoot_id).get(mark.person.name or "", frozenset())
        if "marks" not in agreed:
            raise NotFoundError("There is no such mark.", "See the proof's marks.")
        if sign_offs.is_locked(session, portrait):
            raise LockedError(
                "This picture is approved, so nothing in it is changed.",
                "Ask for a change first; that takes the approval back.",
            )
        if body.wish == "leave it":
            mark.decision = "keep"
        elif mark.wish == "leave it":
            mark.decision = None
        mark.wish = body.wish
        record.append(
            session,
            proof.shoot_id,
            caller.actor,
            "mark wished for",
            portrait=portrait.id,
            person=mark.person_id,
            mark=mark.number,
            wish=body.wish,
        )
        follow(session, service, portrait)
        return mark_out(mark)


@client.post(
    "/portraits/{portrait_id}/sign-off",
    status_code=201,
    responses=described(NotFoundError, NotReadyError, ConflictError, StaleError),
)
def sign_off(
    portrait_id: models.Id, body: models.SignIn, service: Here, caller: Client
) -> models.SignOffOut:
    """Sign off a portrait as it was looked at; refused if it is no longer that."""
    with _looked_at(portrait_id, body, service, caller) as (session, proof, portrait, sha256):
        signed = sign_offs.sign(
            session,
            proof,
            portrait,
            choices=[choice.model_dump() for choice in body.choices],
            rendering=body.rendering,
            image_sha256=sha256,
            signed_by=body.signed_by,
            note=body.note,
            actor=caller.actor,
        )
        asked_changes.settle(session, proof.id, portrait.id)
        return sign_off_out(session, portrait, signed)


@client.post(
    "/portraits/{portrait_id}/changes",
    status_code=201,
    responses=described(NotFoundError, NotReadyError, ConflictError, StaleError),
)
def ask_for_change(
    portrait_id: models.Id, body: models.ChangeIn, service: Here, caller: Client
) -> models.ChangeOut:
    """Ask for a change of a portrait as it was looked at; takes a sign-off of it back.

    What was asked for before in this proof, and still waits for an answer, is replaced.
    """
    with _looked_at(portrait_id, body, service, caller) as (session, proof, portrait, sha256):
        height, width = frame_shape(portrait)
        if any(place.row >= height or place.column >= width for place in body.places):
            raise ConflictError(
                "A place lies outside the picture.",
                f"The picture has {width} x {height} pixels.",
            )
        change = asked_changes.ask(
            session,
            proof,
            portrait,
            words=body.words,
            places=[place.model_dump(exclude_none=True) for place in body.places],
            choices=[choice.model_dump() for choice in body.choices],
            rendering=body.rendering,
            image_sha256=sha256,
            asked_by=body.asked_by,
            actor=caller.actor,
        )
        follow(session, service, portrait)
        return change_out(change)


@client.delete("/changes/{change_id}", responses=described(NotFoundError, ConflictError))
def take_change_back(change_id: models.Id, service: Here, caller: Client) -> models.ChangeOut:
    """Take back a change that was asked for, as long as it is not answered."""
    with service.place.database.writing() as session:
        change = session.get(tables.AskedChange, change_id)
        if change is None or change.proof_id != caller.proof_id:
            raise NotFoundError("There is no such change.", "See what was asked for in the proof.")
        proof = _proof(session, caller)
        storage.lock(session, proof.shoot_id)
        asked_changes.take_back(session, change, proof.shoot_id, caller.actor)
        return change_out(change)


@client.get(
    "/portraits/{portrait_id}/signed",
    response_class=Response,
    responses=described(NotFoundError) | PICTURE,
)
def keep_copy(portrait_id: models.Id, service: Here, caller: Client) -> Response:
    """A copy to keep of the picture that was signed off."""
    with service.place.database.reading() as session:
        proof, portrait = _portrait(session, caller, portrait_id)
        signed = sign_offs.latest(session, portrait.id)
        if signed is None or signed.proof_id != proof.id or signed.voided_at is not None:
            raise NotFoundError("Nothing is signed off here.", "Sign off first.")
    body = service.place.files.read(portrait.shoot_id, signed.image_sha256)
    return Response(body, media_type="image/jpeg", headers=PRIVATE)


def require_current(session: Session, service: Service, portrait: tables.Portrait) -> None:
    """Make sure that a portrait's layers are what is wanted now, or are as signed.

    Parameters
    ----------
    session : Session
    service : Service
    portrait : Portrait

    Raises
    ------
    NotReadyError
        They are not, or the portrait has not been read or cannot be.
    """
    if portrait.trouble or portrait.found_at is None:
        raise NotReadyError(
            portrait.trouble or f"{portrait.name} has not been read yet.", "Wait for its job."
        )
    wanted = inputs_of(session, portrait, service.place.steps).key
    if portrait.layers_key != wanted and not sign_offs.is_locked(session, portrait):
        raise NotReadyError(
            f"The layers of {portrait.name} are being computed.", "Ask again in a moment."
        )


def _answer_with(session: Session, proof: tables.Proof, portrait_id: str, caller: Caller) -> None:
    """Answer changes that nobody can look at any more, since their links are closed."""
    for change in asked_changes.open_of(session, portrait_id):
        token = session.scalars(
            select(tables.Token).where(tables.Token.proof_id == change.proof_id)
        ).one()
        if not tokens.is_open(token):
            asked_changes.answer(
                session,
                change,
                proof.shoot_id,
                words=proof.message,
                proof_id=proof.id,
                actor=caller.actor,
            )


@contextmanager
def _looked_at(
    portrait_id: str, seen: models.SeenIn, service: Service, caller: Caller
) -> Iterator[tuple[Session, tables.Proof, tables.Portrait, str]]:
    """A transaction in which a portrait, and the picture a client speaks of, are as they were seen.

    Gives the session, proof, portrait, and SHA-256 of the picture, which is stored.
    """
    choices = [choice.model_dump() for choice in seen.choices]
    with service.place.database.reading() as session:
        proof, portrait = _portrait(session, caller, portrait_id)
        sign_offs.check_choices(portrait, proof.strengths, choices)
        require_current(session, service, portrait)
        picture, _ = _rendered(session, service, portrait, choices, seen.side)
    files = service.place.files
    stored = files.put(proof.shoot_id, picture)
    with service.place.database.writing() as session:
        storage.enter(session, files, proof.shoot_id, stored, picture, "image/jpeg")
        proof, portrait = _portrait(session, caller, portrait_id)
        if not tokens.is_open(session.get_one(tables.Token, caller.id)):
            raise TokenRefusedError("This link no longer opens.", "Ask the studio for a new one.")
        require_current(session, service, portrait)
        yield session, proof, portrait, stored.sha256


def _proof(session: Session, caller: Caller) -> tables.Proof:
    assert caller.proof_id is not None
    return found(session, tables.Proof, caller.proof_id)


def _portrait(
    session: Session, caller: Caller, portrait_id: str
) -> tuple[tables.Proof, tables.Portrait]:
    """Proof and portrait of a client's link; what is not in the proof is not there for them."""
    proof = _proof(session, caller)
    row = session.get(tables.ProofPortrait, (proof.id, portrait_id))
    if row is None or row.portrait.removed_at is not None:
        raise NotFoundError("This proof has no such portrait.", "See the proof's portraits.")
    return proof, row.portrait


def _rendered(
    session: Session,
    service: Service,
    portrait: tables.Portrait,
    choices: list[dict[str, object]],
    side: int,
) -> tuple[bytes, str]:
    """The picture at these choices and the state it shows."""
    chosen = as_choices(choices)
    layers = [(item.layer.sha256, item.strength) for item in shown(session, portrait, chosen)]
    view = View(frame_of(portrait), fitted(frame_shape(portrait), side))
    picture = picture_bytes(service, portrait, view, layers)
    return picture, state_of(session, portrait, chosen)
