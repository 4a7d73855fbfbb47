"""Who may ask for what: tokens, scopes, and how often."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from typing import Annotated

from fastapi import Depends, Request
from fastapi.security import HTTPAuthorizationCredentials, HTTPBearer
from limits import RateLimitItemPerMinute
from limits.storage import MemoryStorage
from limits.strategies import SlidingWindowCounterRateLimiter

from evenhand.jobs.place import Place
from evenhand.jobs.queue import Queue
from evenhand.shoots.errors import OutOfScopeError, TokenRefusedError
from evenhand.shoots.tokens import Scope, open_token
from evenhand.web.logs import Sparing
from evenhand.web.previews import Previews
from evenhand.web.problems import TooManyError
from evenhand.web.readiness import Readiness
from evenhand.web.settings import ServiceSettings

SAME_WRONG = 5
"""How often in a minute one address may have the same wrong token looked up."""

bearer = HTTPBearer(
    auto_error=False, description="A studio token, or the token of a proof or permission link."
)


@dataclass(frozen=True)
class Service:
    """What every request can reach."""

    place: Place
    queue: Queue
    previews: Previews
    settings: ServiceSettings
    limiter: SlidingWindowCounterRateLimiter
    readiness: Readiness
    refusals: Sparing

    @classmethod
    def at(cls, place: Place, settings: ServiceSettings) -> Service:
        """The service of a place.

        Parameters
        ----------
        place : Place
        settings : ServiceSettings
            Its limits hold.

        Returns
        -------
        Service
        """
        memory = settings.preview_memory_mb * 1024 * 1024
        return cls(
            place,
            Queue(place.database),
            Previews(place, memory),
            settings,
            SlidingWindowCounterRateLimiter(MemoryStorage()),
            Readiness(place),
            Sparing(),
        )


def service_of(request: Request) -> Service:
    """The service that a request came to.

    Parameters
    ----------
    request : Request

    Returns
    -------
    Service
    """
    service: Service = request.app.state.service
    return service


Here = Annotated[Service, Depends(service_of)]


@dataclass(frozen=True)
class Caller:
    """Whose token a request bears."""

    id: str
    scope: Scope
    label: str
    proof_id: str | None
    shoot_id: str | None
    person_name: str | None

    @property
    def actor(self) -> str:
        """How the record names them."""
        return f"{self.scope.value} {self.id[:8]}"


def caller_of(
    request: Request,
    service: Here,
    credentials: Annotated[HTTPAuthorizationCredentials | None, Depends(bearer)],
) -> Caller:
    """Whoever asks, by their token.

    Parameters
    ----------
    request : Request
        Keeps the caller, for what is noted of it.
    service : Service
    credentials : HTTPAuthorizationCredentials or None
        The bearer token.

    Returns
    -------
    Caller

    Raises
    ------
    TokenRefusedError
        No token, or none that opens anything.
    TooManyError
        Too many requests with this token, or too many refused tokens from this address. Whoever has
        a good token is let in, whatever others at the same address try.
    """
    address = request.client.host if request.client else "unknown"
    try:
        caller = _opened(service, address, credentials)
    except TokenRefusedError:
        guesses = RateLimitItemPerMinute(service.settings.guesses_per_minute)
        if not service.limiter.hit(guesses, "guess", address):
            raise TooManyError(
                "Too many refused tokens from this address.", "Wait a minute."
            ) from None
        raise
    requests = RateLimitItemPerMinute(service.settings.requests_per_minute)
    if not service.limiter.hit(requests, "token", caller.id):
        raise TooManyError("Too many requests with this token.", "Wait a moment.")
    request.state.caller = caller
    return caller


def _opened(
    service: Service, address: str, credentials: HTTPAuthorizationCredentials | None
) -> Caller:
    if credentials is None:
        raise TokenRefusedError("A token is needed.", "Send it as Authorization: Bearer ...")
    # The same wrong token is looked up a few times a minute only.
    wrong = RateLimitItemPerMinute(SAME_WRONG)
    key = ("wrong", address, hashlib.sha256(credentials.credentials.encode()).hexdigest())
    if not service.limiter.test(wrong, *key):
        raise TokenRefusedError("This token does not open anything.", "Wait a minute, or renew it.")
    try:
        return _looked_up(service, credentials)
    except TokenRefusedError:
        service.limiter.hit(wrong, *key)
        raise


def _looked_up(service: Service, credentials: HTTPAuthorizationCredentials) -> Caller:
    with service.place.database.reading() as session:
        token = open_token(session, credentials.credentials)
        return Caller(
            token.id,
            Scope(token.scope),
            token.label,
            token.proof_id,
            token.shoot_id,
            token.person_name,
        )


def _only(*scopes: Scope) -> object:
    def check(caller: Annotated[Caller, Depends(caller_of)]) -> Caller:
        if caller.scope not in scopes:
            raise OutOfScopeError(
                f"A token of scope {caller.scope.value} does not open this.",
                f"Use one of scope {' or '.join(scopes)}.",
            )
        return caller

    return Depends(check)


Studio = Annotated[Caller, _only(Scope.STUDIO)]
Client = Annotated[Caller, _only(Scope.PROOF)]
Asked = Annotated[Caller, _only(Scope.PERMISSION)]
Anybody = Annotated[Caller, _only(*Scope)]
