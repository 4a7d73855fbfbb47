"""Keys to the service: random, hashed at rest, with a scope, an end and a way to take them back."""

from __future__ import annotations

import base64
import hashlib
import hmac
import secrets
from datetime import datetime, timedelta
from enum import StrEnum

from sqlalchemy import select
from sqlalchemy.orm import Session

from evenhand.shoots.errors import NotFoundError, TokenRefusedError
from evenhand.shoots.studio_key import StudioKey
from evenhand.shoots.tables import Token, new_id, now

SECRET_BYTES = 32
"""Random bytes in a token. At 256 bits a plain SHA-256 is enough to keep it: there is nothing to
guess, unlike with a password."""

STUDIO_LASTS = timedelta(days=90)
"""How long a studio token opens the service, unless said otherwise; see `renew`."""

OVERLAP = timedelta(hours=1)
"""How long a renewed token still opens, for whoever has not got the new one yet."""

PREFIX = "evenhand_"
"""Begins every token, so that one that went astray is known for what it is."""


class Scope(StrEnum):
    """What a token opens."""

    STUDIO = "studio"
    """Everything."""
    PROOF = "proof"
    """One proof: look, choose, sign off."""
    PERMISSION = "permission"
    """One person of one shoot: say what may be done, and take it back."""


def make(
    session: Session,
    scope: Scope,
    label: str,
    *,
    lasts: timedelta | None = None,
    proof_id: str | None = None,
    shoot_id: str | None = None,
    person_name: str | None = None,
) -> tuple[Token, str]:
    """A new token, and its secret: a studio token's is told this once, for a link see `told_again`.

    It ends after `lasts`; a studio token always does, after `STUDIO_LASTS` where nothing is said.

    Parameters
    ----------
    session : Session
    scope : Scope
    label : str
        For whoever lists the tokens.
    lasts : timedelta, optional
        A link without it does not end by itself.
    proof_id, shoot_id, person_name : str, optional
        What a link opens.

    Returns
    -------
    token : Token
    secret : str
    """
    if lasts is None and scope is Scope.STUDIO:
        lasts = STUDIO_LASTS
    id = new_id()
    secret = None if scope is Scope.STUDIO else _secret_of_link(session, id)
    secret = secret or PREFIX + secrets.token_urlsafe(SECRET_BYTES)
    token = Token(
        id=id,
        sha256=_hashed(secret),
        scope=scope.value,
        label=label,
        proof_id=proof_id,
        shoot_id=shoot_id,
        person_name=person_name,
        expires_at=None if lasts is None else now() + lasts,
    )
    session.add(token)
    session.flush()
    return token, secret


def told_again(session: Session, token: Token) -> str:
    """The secret of a link that was told before.

    It is made from the studio's key, which lies with the files, and the token's identifier: whoever
    has only the records cannot make it.

    Parameters
    ----------
    session : Session
    token : Token
        A link's.

    Returns
    -------
    str

    Raises
    ------
    NotFoundError
        The link was made by an earlier version, or with another key.
    """
    secret = _secret_of_link(session, token.id)
    if secret is None or _hashed(secret) != token.sha256:
        raise NotFoundError(
            "This link was told once and is not kept.", "Close it, and make a new one."
        )
    return secret


def renew(session: Session, token: Token) -> tuple[Token, str]:
    """A new studio token that lasts as long as this one did from its making; this one ends soon.

    Parameters
    ----------
    session : Session
    token : Token
        A studio's.

    Returns
    -------
    token : Token
    secret : str
    """
    lasts = STUDIO_LASTS if token.expires_at is None else token.expires_at - token.created_at
    made = make(session, Scope.STUDIO, token.label, lasts=lasts)
    soon = now() + OVERLAP
    token.expires_at = soon if token.expires_at is None else min(soon, token.expires_at)
    return made


def open_token(session: Session, secret: str) -> Token:
    """The token of a secret.

    Parameters
    ----------
    session : Session
    secret : str

    Returns
    -------
    Token

    Raises
    ------
    TokenRefusedError
        There is none, or it has expired or was revoked; which of these is not told.
    """
    token = session.scalars(select(Token).where(Token.sha256 == _hashed(secret))).first()
    if token is None or not is_open(token):
        raise TokenRefusedError(
            "This token does not open anything, or no longer.", "Ask the studio for a new one."
        )
    return token


def is_open(token: Token, at: datetime | None = None) -> bool:
    """Whether a token is neither revoked nor expired.

    Parameters
    ----------
    token : Token
    at : datetime, optional
        With a time zone; now, if left out.

    Returns
    -------
    bool
    """
    return token.revoked_at is None and (
        token.expires_at is None or token.expires_at > (at or now())
    )


def _secret_of_link(session: Session, token_id: str) -> str | None:
    """What opens a link; None where records are used without the studio's key."""
    key: StudioKey | None = session.info.get("key")
    if key is None:
        return None
    made = hmac.digest(key.secret, f"evenhand link {token_id}".encode(), "sha256")
    return PREFIX + base64.urlsafe_b64encode(made).rstrip(b"=").decode()


def _hashed(secret: str) -> str:
    return hashlib.sha256(secret.encode()).hexdigest()
