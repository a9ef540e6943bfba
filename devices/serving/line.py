"""One connection of a page: what is said over it, and whether anyone is still there.

A page asks every few tenths of a second whether it is heard, and is answered at once. It knows a
socket and messages, no desk.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
from typing import TYPE_CHECKING, Any

from starlette.websockets import WebSocketDisconnect

from devices.serving.taps import page_name

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from starlette.websockets import WebSocket

    from devices.serving.taps import Answer

QUIET = 1.0
"""Seconds without a word after which a page does not answer; it speaks three times in each."""
_QUIETS_TO_THE_END = 4
SUPERSEDED = 4410
_SILENT = 4408
_BY_ITSELF = (1000, 1001)
"""How a browser closes what a page no longer needs (RFC 6455, 7.4.1)."""


class PageLine:
    """A page's connection. `page` is what the page calls itself, once it has said so."""

    def __init__(self, socket: WebSocket, quiet_after: float = QUIET) -> None:
        self.socket = socket
        self.quiet_after = quiet_after
        self.page: str | None = None
        self.quiet = 0
        """How many times `quiet_after` has passed since the page said anything."""
        self.left = False
        """Whether the page said itself that it goes: it was closed, or loaded anew."""

    async def tell(self, message: Mapping[str, Any]) -> None:
        """Sends a message; a page that has gone, or takes nothing, asks anew when it is back."""
        text = json.dumps(message, allow_nan=False)
        with contextlib.suppress(RuntimeError, WebSocketDisconnect, TimeoutError):
            async with asyncio.timeout(QUIET):
                await self.socket.send_text(text)

    async def answer(self, answer: Answer) -> None:
        """Says what came of a tap."""
        told: dict[str, Any] = {"type": "done", "tap": answer.number}
        if answer.refused:
            told |= {"type": "refused", "say": answer.refused}
        await self.tell(told)

    async def heard(self) -> dict[str, Any] | None:
        """The next message that is no beat, an empty one where it is no object of JSON.

        None when the page has begun or ceased to be quiet. Raises WebSocketDisconnect when it
        has gone, or was quiet for so long that its connection was ended.
        """
        while True:
            try:
                async with asyncio.timeout(self.quiet_after):
                    message = _message(await self.socket.receive())
            except WebSocketDisconnect as gone:
                self.left = gone.code in _BY_ITSELF
                raise
            except TimeoutError:
                self.quiet += 1
                if self.quiet == _QUIETS_TO_THE_END:
                    await self.end(_SILENT)
                    raise WebSocketDisconnect(_SILENT) from None
                if self.quiet == 1:
                    return None
                continue
            was_quiet, self.quiet = self.quiet, 0
            if "beat" in message:
                await self.tell({"type": "beat"})
                if was_quiet:
                    return None
                continue
            return message

    async def end(self, code: int) -> None:
        """Closes the connection."""
        with contextlib.suppress(RuntimeError, WebSocketDisconnect, TimeoutError):
            async with asyncio.timeout(QUIET):
                await self.socket.close(code)


def _message(received: Mapping[str, Any]) -> dict[str, Any]:
    """What a page said; empty where that is no object of JSON, as bytes never are."""
    if received["type"] == "websocket.disconnect":
        raise WebSocketDisconnect(received.get("code") or 1005)
    try:
        message = json.loads(received.get("text") or "")
    except (ValueError, RecursionError):
        return {}
    return message if isinstance(message, dict) else {}


class Newest:
    """The newest connection of each page: what comes late over an older one is not done."""

    def __init__(self) -> None:
        self._of: dict[str, PageLine] = {}

    def has(self, line: PageLine) -> bool:
        """Whether a connection is its page's newest; one whose page has no name yet is none."""
        return line.page is not None and self._of.get(line.page) is line

    def drop(self, line: PageLine) -> bool:
        """Forgets a connection that has gone; False where it was not its page's newest."""
        if line.page is None or not self.has(line):
            return False
        del self._of[line.page]
        return True

    async def greet(
        self, line: PageLine, name: object, turn: asyncio.Lock, last: Callable[[str], Answer]
    ) -> None:
        """Takes a page's name, ends its older connection, and says which tap was answered `last`.

        What is no name is not answered.
        """
        page = page_name(name)
        if page is None:
            return
        async with turn:
            older = self._of.get(page)
            line.page, self._of[page] = page, line
            answer = last(page)
        await line.tell({"type": "greeted", "tap": answer.number, "say": answer.refused})
        if older is not None and older is not line:
            await older.end(SUPERSEDED)
