"""Limits of bodies, before anything else looks at a request: how large, and how slow."""

from __future__ import annotations

import asyncio
import re
import time

from starlette.types import ASGIApp, Message, Receive, Scope, Send

from evenhand.errors import EvenhandError
from evenhand.web import connections
from evenhand.web.problems import KINDS, TooSlowError, answer
from evenhand.web.receiving import too_large

LARGEST_JSON = 1024 * 1024
"""Bytes of a body that is not a file."""


class BodyLimits:
    """Ends requests whose bodies are too large or too slow.

    Bodies of files may be as large as their routes allow; every other one is small. What is
    announced as larger is refused unread.

    Parameters
    ----------
    app : ASGI application
    files : sequence of (method, pattern, most)
        Routes whose bodies are files, and bytes of the largest.
    """

    def __init__(self, app: ASGIApp, files: tuple[tuple[str, str, int], ...]) -> None:
        self.app = app
        self.files = tuple((method, re.compile(path), most) for method, path, most in files)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        most = self._most(scope)
        if _announced(scope) > most:
            await _refuse(too_large(most), scope, receive, send)
            return
        exchange = _Exchange(most, receive, send)
        try:
            await self.app(scope, exchange.receive, exchange.send)
        except Exception:
            if exchange.trouble is None:
                raise
        if exchange.trouble is not None and not exchange.answering:
            await _refuse(exchange.trouble, scope, receive, send)

    def _most(self, scope: Scope) -> int:
        for method, path, most in self.files:
            if scope["method"] == method and path.fullmatch(scope["path"]):
                return most
        return LARGEST_JSON


class _Exchange:
    """One request and its answer."""

    def __init__(self, most: int, receive: Receive, send: Send) -> None:
        self.most, self._receive, self._send = most, receive, send
        self.trouble: EvenhandError | None = None
        self.answering = self.whole = False
        self.came, self.waited_s = 0, 0.0

    async def receive(self) -> Message:
        """The next piece; the end of the connection where it is too large or too slow."""
        if self.whole:
            return await self._receive()
        began = time.monotonic()
        try:
            async with asyncio.timeout(self._left_s()):
                message = await self._receive()
        except TimeoutError:
            return self._end(TooSlowError("The request came too slowly.", "Send it again."))
        self.waited_s += time.monotonic() - began
        self.came += len(message.get("body", b""))
        self.whole = not message.get("more_body", False)
        if self.came > self.most:
            return self._end(too_large(self.most))
        return message

    async def send(self, message: Message) -> None:
        """Send a piece of the answer, unless the request was ended before there was one."""
        if self.trouble is None or self.answering:
            self.answering = True
            await self._send(message)

    def _end(self, trouble: EvenhandError) -> Message:
        self.trouble, self.whole = trouble, True
        return {"type": "http.disconnect"}

    def _left_s(self) -> float:
        return max(0.0, connections.GRACE_S + self.came / connections.SLOWEST - self.waited_s)


def _announced(scope: Scope) -> int:
    length = next((value for name, value in scope["headers"] if name == b"content-length"), b"0")
    return int(length) if length.isdigit() else 0


async def _refuse(error: EvenhandError, scope: Scope, receive: Receive, send: Send) -> None:
    """Answer with a problem and close the connection, so that the rest of the body is not read."""
    response = answer(KINDS[type(error)], error.trouble, error.advice)
    response.headers["Connection"] = "close"
    await response(scope, receive, send)
