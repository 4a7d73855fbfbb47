"""Connections: how many at once, and how long each may keep the service waiting."""

from __future__ import annotations

import asyncio
import resource
from collections import Counter
from typing import Any

import structlog
from uvicorn.protocols.http.h11_impl import H11Protocol

HEADERS_S = 15.0
"""How long a connection may take to send the head of a request, seconds."""

GRACE_S = 20.0
"""How long a sender or a reader may keep the service waiting whatever they do, seconds."""

SLOWEST = 8 * 1024
"""Bytes a second that a sender must send, and a reader take, beyond that time."""

RESERVED = 96
"""Open files kept for everything but connections: database, stored files, libraries."""

FEWEST = 16
"""Connections that are allowed however few open files the system allows."""

log = structlog.get_logger()


class Doors:
    """Who is connected; makes room for whoever comes by closing the connection idle longest.

    Parameters
    ----------
    most : int
        Connections at once.
    """

    def __init__(self, most: int) -> None:
        self.most = most
        self.inside: dict[Connection, str] = {}

    def enter(self, connection: Connection, address: str) -> None:
        """Let a connection in; where it is full, an idle one of the busiest address goes.

        Parameters
        ----------
        connection : Connection
        address : str
            Of whoever connects.
        """
        self.inside[connection] = address
        if len(self.inside) > self.most:
            (self._idle() or connection).turn_out()

    def leave(self, connection: Connection) -> None:
        """Forget a connection that has ended.

        Parameters
        ----------
        connection : Connection
            One that was never let in is no error.
        """
        self.inside.pop(connection, None)

    def _idle(self) -> Connection | None:
        idle = [one for one in self.inside if not one.busy]
        if not idle:
            return None
        by_address = Counter(self.inside[one] for one in idle)
        busiest = max(by_address, key=lambda address: by_address[address])
        return next(one for one in idle if self.inside[one] == busiest)


class Connection(H11Protocol):
    """A connection that is closed if its request's head does not come in time."""

    doors: Doors
    transport: asyncio.Transport
    late: asyncio.TimerHandle | None = None
    stuck: asyncio.TimerHandle | None = None

    @property
    def busy(self) -> bool:
        """Whether a request has come whose answer is not yet sent."""
        answering = self.cycle is not None and not self.cycle.response_complete
        return answering or self.flow.write_paused

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Count it and set the time.

        Parameters
        ----------
        transport : asyncio.Transport
        """
        super().connection_made(transport)
        self._time()
        self.doors.enter(self, self.client[0] if self.client else "")

    def connection_lost(self, exc: Exception | None) -> None:
        """Count it out.

        Parameters
        ----------
        exc : Exception or None
            What ended it, if not either side.
        """
        self.doors.leave(self)
        self._forget()
        self._drained()
        super().connection_lost(exc)

    def data_received(self, data: bytes) -> None:
        """Set the time while a head is incomplete.

        Parameters
        ----------
        data : bytes
        """
        super().data_received(data)
        if self.busy:
            self._forget()
        else:
            self._time()

    def pause_writing(self) -> None:
        """Set the time in which what was written must be taken."""
        super().pause_writing()
        allowed = GRACE_S + self.transport.get_write_buffer_size() / SLOWEST
        self.stuck = self.loop.call_later(allowed, self.turn_out)

    def resume_writing(self) -> None:
        """Go on writing."""
        self._drained()
        super().resume_writing()

    def turn_out(self) -> None:
        """Close at once."""
        self.doors.leave(self)
        self.transport.abort()

    def _time(self) -> None:
        if self.late is None:
            self.late = self.loop.call_later(HEADERS_S, self.turn_out)

    def _forget(self) -> None:
        if self.late is not None:
            self.late.cancel()
            self.late = None

    def _drained(self) -> None:
        if self.stuck is not None:
            self.stuck.cancel()
            self.stuck = None


class Loop(asyncio.SelectorEventLoop):
    """An event loop whose servers give up on TLS handshakes as soon as on heads."""

    async def create_server(self, *args: Any, **more: Any) -> asyncio.Server:
        """A server that waits no longer for the start of TLS than for the head of a request.

        Parameters
        ----------
        *args, **more
            As for `asyncio.loop.create_server`.

        Returns
        -------
        asyncio.Server
        """
        if more.get("ssl"):
            more.setdefault("ssl_handshake_timeout", HEADERS_S)
        return await super().create_server(*args, **more)


def protocol_for(most: int) -> type[asyncio.Protocol]:
    """The protocol of a server that lets in `most` connections, or as many as the system allows.

    Parameters
    ----------
    most : int

    Returns
    -------
    type of asyncio.Protocol
    """
    allowed = _allowed_files() - RESERVED
    if allowed < most:
        log.warning("few open files are allowed", connections=max(FEWEST, allowed))
    doors = Doors(max(FEWEST, min(most, allowed)))
    return type("Connection", (Connection,), {"doors": doors})


def _allowed_files() -> int:
    """Files that this process may have open, after asking for as many as it can get."""
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    wanted = hard if hard != resource.RLIM_INFINITY else max(soft, 1 << 16)
    try:
        resource.setrlimit(resource.RLIMIT_NOFILE, (wanted, hard))
    except (OSError, ValueError):
        return soft
    return wanted
